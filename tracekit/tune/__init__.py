"""From findings to settings."""
