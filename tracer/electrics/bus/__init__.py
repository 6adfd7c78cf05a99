"""A bus with its terminations: resistance between its lines in order and with one thing changed, and levels."""
