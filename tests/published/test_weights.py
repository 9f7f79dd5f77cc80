"""The international pound: 0.45359237 kg exactly (NIST SP 811, appendix B)."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from program.rules.units import in_unit, is_whole_multiple, kilograms

# NIST SP 811, appendix B, multiplied out by hand.
POUNDS = [
    ("1", "0.45359237"),
    ("2.5", "1.133980925"),
    ("5", "2.26796185"),
    ("10", "4.5359237"),
    ("25", "11.33980925"),
    ("45", "20.41165665"),
    ("100", "45.359237"),
    ("135", "61.23496995"),
]
KILOGRAMS = [("1", "2.2046226218"), ("2.5", "5.5115565546"), ("20", "44.0924524370"), ("100", "220.4622621849")]


@pytest.mark.parametrize(("pounds", "exact"), POUNDS)
def test_pounds_are_kilograms_exactly(pounds, exact):
    assert kilograms(Decimal(pounds), "lb") == Decimal(exact)


@pytest.mark.parametrize(("entered", "ten_places"), KILOGRAMS)
def test_kilograms_are_pounds_to_ten_places(entered, ten_places):
    assert in_unit(Decimal(entered), "lb").quantize(Decimal("1e-10")) == Decimal(ten_places)


@given(st.decimals(min_value=0, max_value=999_999, places=3), st.sampled_from(["kg", "lb"]))
def test_what_was_entered_comes_back_as_the_same_number(load, unit):
    assert in_unit(kilograms(load, unit), unit) == load


@pytest.mark.parametrize(
    ("load", "step", "is_whole"), [("62.5", "2.5", True), ("0.3", "0.1", True), ("63", "2.5", False)]
)
def test_steps_are_counted_without_binary_dust(load, step, is_whole):
    assert is_whole_multiple(Decimal(load), Decimal(step)) == is_whole


@pytest.mark.parametrize("convert", [kilograms, in_unit])
def test_another_unit_is_refused(convert):
    with pytest.raises(ValueError, match="A load is in kg or lb, not in “stone”"):
        convert(Decimal(1), "stone")
