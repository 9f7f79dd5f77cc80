"""A load is one that the station has, or a sentence says which are near."""

from decimal import Decimal

import pytest

from program.rules.loads import wrong_load

STEPS = {"lightest": Decimal(5), "heaviest": Decimal(220), "step": Decimal("2.5"), "unit": "lb"}


@pytest.mark.parametrize(
    ("load", "sentence"),
    [
        ("5", ""),
        ("27.5", ""),
        ("220", ""),
        ("220.5", "This station ends at 220 lb. Correct the load."),
        ("9999", "This station ends at 220 lb. Correct the load."),
        ("4", "This station begins at 5 lb. Correct the load."),
        ("26", "This station goes in steps of 2.5 lb: 25 or 27.5."),
    ],
)
def test_a_load_is_one_of_the_station(load: str, sentence: str) -> None:
    assert wrong_load(Decimal(load), **STEPS) == sentence


def test_a_station_without_a_heaviest_load_ends_nowhere() -> None:
    assert wrong_load(Decimal(900), **STEPS | {"heaviest": None}) == ""
