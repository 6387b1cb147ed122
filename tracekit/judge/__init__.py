"""From figures to findings."""
