"""One job at one vehicle: what was read and seen, each with its conditions, kept in one file that only grows; and what that proves.

Nothing here needs the vehicle once a case is open, so nothing heavy is imported but in `opening`.
"""
