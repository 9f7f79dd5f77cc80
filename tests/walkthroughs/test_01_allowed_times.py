"""Which times are allowed."""

import pytest

from tests.conftest import House
from tests.walkthroughs.following import book, clock_times, judged, times_on, with_aide

MONDAY = "2026-11-30"


@pytest.fixture
def monday(arrowfen: House) -> House:
    return with_aide(arrowfen)


def test_every_possible_start_of_monday_is_listed(monday: House) -> None:
    resident = monday.resident()
    starts = times_on(monday, resident, MONDAY)

    assert starts == clock_times("08:00", "11:30") + clock_times("13:30", "16:30")
    assert len(starts) == 36 + 31 == 67


@pytest.mark.parametrize(
    ("start", "rule", "said"),
    [
        ("11:36", "meal", "lunch 12:00–13:00"),
        ("13:24", "rest", "the rest after lunch until 13:30"),
        ("11:33", "not_a_whole_turn", "every 6 minutes from 08:00: 11:30 or 11:36"),
        ("16:36", "after_closing", "Would end 17:06, after closing at 17:00."),
    ],
)
def test_each_refusal_says_which_rule_it_is(monday: House, start: str, rule: str, said: str) -> None:
    resident = monday.resident()
    told = judged(monday, resident, f"{MONDAY}T{start}")
    refused = book(monday, resident, f"{MONDAY}T{start}")

    assert (told["allowed"], told["rule"]) == (False, rule)
    assert said in told["sentence"]
    assert (refused.status_code, refused.json()["detail"]) == (409, told["sentence"])


def test_an_allowed_start_is_booked(monday: House) -> None:
    resident = monday.resident()

    assert judged(monday, resident, f"{MONDAY}T11:30")["allowed"] is True
    assert book(monday, resident, f"{MONDAY}T11:30").status_code == 201
