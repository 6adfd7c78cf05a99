"""Spoiled input in great numbers: whatever is typed, the answer is a value or a problem in words."""
