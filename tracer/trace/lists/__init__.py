"""The list of one module: rows, side chains, census, key states of its pins, and whether it is complete."""
