"""The API of what is true."""
