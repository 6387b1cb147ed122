"""What all tests share: properties are tried on the same examples in every run, without a stop-watch."""

from hypothesis import settings

settings.register_profile("steady", derandomize=True, deadline=None, max_examples=50)
settings.load_profile("steady")
