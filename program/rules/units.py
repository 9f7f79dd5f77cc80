"""Loads in the unit they were entered in, and exactly the same load in kilograms."""

from decimal import Context, Decimal, Inexact
from typing import Final

# The international pound, exact since 1 July 1959 (NIST SP 811, appendix B).
POUND_IN_KILOGRAMS: Final = Decimal("0.45359237")
LOAD_UNITS: Final = ("kg", "lb")

# A product that would not fit is an error, never a rounded load.
_EXACT = Context(prec=60, traps=[Inexact])
_QUOTIENT = Context(prec=60)


def kilograms(value: Decimal, unit: str) -> Decimal:
    """The same load in kilograms, exactly. Raises ValueError for another unit than kg or lb."""
    if unit == "kg":
        return value
    if unit == "lb":
        return _EXACT.multiply(value, POUND_IN_KILOGRAMS)
    raise ValueError(f"A load is in kg or lb, not in “{unit}”.")


def in_unit(value_in_kilograms: Decimal, unit: str) -> Decimal:
    """Kilograms in kg or lb; what was entered in lb comes back as the same number."""
    if unit == "kg":
        return value_in_kilograms
    if unit == "lb":
        return _QUOTIENT.divide(value_in_kilograms, POUND_IN_KILOGRAMS)
    raise ValueError(f"A load is in kg or lb, not in “{unit}”.")


def is_whole_multiple(load: Decimal, step: Decimal) -> bool:
    return _QUOTIENT.remainder(load, step) == 0
