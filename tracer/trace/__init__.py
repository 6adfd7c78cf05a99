"""Circuit to supplies, grounds, side chains and loose ends. `supplies_of` in `supplies.py` is the front door."""
