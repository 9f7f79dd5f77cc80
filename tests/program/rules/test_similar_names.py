"""Whose name could be taken for whose."""

import pytest

from program.rules.similar_names import alike, are_alike

ROSE = ("Rose", "Oak")


@pytest.mark.parametrize(
    "other",
    [("Rose", "Fenwright"), ("Ada", "Oak"), ("ROSE", "OAK"), ("Rosa", "Oaks"), ("Rose", "Oakes"), ("Roze", "Oakk")],
)
def test_a_shared_or_nearly_shared_name_is_alike(other):
    assert are_alike(ROSE, other) is True


@pytest.mark.parametrize("other", [("Ada", "Fenwright"), ("Oak", "Rose"), ("", "")])
def test_other_names_are_not_alike(other):
    assert are_alike(ROSE, other) is False


def test_it_is_alike_both_ways():
    # The ratio of difflib depends on the order of its arguments; whose name is read first must not matter.
    names = [("Wilma", "Testmann"), ("Wilhelmina", "Testmann"), ("Vilma", "Tesman"), ("Tess", "Vale"), ("Ted", "Vail")]

    assert [are_alike(a, b) for a in names for b in names] == [are_alike(b, a) for a in names for b in names]


def test_those_who_are_alike_are_named_in_order():
    assert alike(ROSE, [("Ada", "Oak"), ("Ted", "Vale"), ("Rose", "Elm")]) == [("Ada", "Oak"), ("Rose", "Elm")]
