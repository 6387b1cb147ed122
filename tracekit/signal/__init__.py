"""Vectorised segment-wise arithmetic on arrays."""
