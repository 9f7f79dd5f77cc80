"""The judge of every roster, whoever made it: one small function a rule, none of it shared with the solver."""

from scheduling.check.rules import RULES, Broken, broken_rules
from scheduling.check.value import value

__all__ = ["RULES", "Broken", "broken_rules", "value"]
