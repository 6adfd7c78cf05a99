"""What a dead part takes along, and what several dead parts share."""
