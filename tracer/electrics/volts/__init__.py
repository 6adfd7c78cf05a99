"""The volts of a module's rows: what must be read where, what a reading would prove, and what is not computed."""
