"""Networks of resistors and loads solved, from arrays alone: nothing here knows a vehicle."""
