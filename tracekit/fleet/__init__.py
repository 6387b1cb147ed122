"""Many logs on one machine and on many."""
