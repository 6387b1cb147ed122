"""From cycles to figures."""
