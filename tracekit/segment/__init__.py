"""From samples to wiring, cycles and periods."""
