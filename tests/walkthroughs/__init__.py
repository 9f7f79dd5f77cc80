"""The worked days, followed over the API."""
