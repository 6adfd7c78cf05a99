"""Circuit to supplies, grounds, side chains and loose ends. `supplies_of` in `lists/supplies.py` answers for one module."""
