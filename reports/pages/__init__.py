"""Pages of what it adds up to."""
