"""Figures: how good and how fast, printed side by side; nothing here is asserted by a clock."""
