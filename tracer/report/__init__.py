"""Results to text, JSON, CSV and print. Nothing is worked out here, only shown."""
