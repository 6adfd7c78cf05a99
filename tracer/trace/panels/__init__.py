"""Fuse and relay positions of a panel: what belongs there, and what is really plugged in."""
