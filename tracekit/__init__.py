"""tracekit reads what a logger recorded at a vacuum pick-and-place station and says what is wrong."""
