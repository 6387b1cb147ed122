"""A second simulator of pick-and-place stations that shares nothing with `tracekit.simulate`, for tests alone."""
