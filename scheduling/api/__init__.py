"""The doors of what is proposed, in JSON."""
