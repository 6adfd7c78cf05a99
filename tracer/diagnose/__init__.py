"""Where to measure next: what explains the readings of a case, and the measurement that tells most per effort."""
