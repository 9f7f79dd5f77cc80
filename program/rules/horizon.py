"""How far ahead the times of recurring commitments and shifts are made."""

from datetime import timedelta

HORIZON = timedelta(days=400)
