"""Which links lie on a way: between a pin and its sources, under one setting of all switches, with the direction of diodes kept."""
