"""Pages of what is true."""
