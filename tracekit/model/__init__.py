"""Frozen records that the stages hand to one another."""
