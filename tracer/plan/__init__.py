"""What to measure at the vehicle, in which order, with which lamp, and what to expect: decided here once, for every command, form and page.

Plain values only: what they are called in a sentence is said in `report`.
"""
