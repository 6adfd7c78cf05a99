"""Circuit to volts, bus resistance and key-off draw."""
