"""Many logs over time."""
