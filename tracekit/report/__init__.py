"""From results to pages and files."""
