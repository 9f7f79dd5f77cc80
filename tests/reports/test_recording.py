"""Which buildings need a call, told apart: those that stopped training and those that only stopped recording."""

from program.rules.week import local_instant
from reports.figures import Closed, figures_of
from reports.periods import Period
from tests.reports.facts import LONG_AGO, W48, ZONE, done, facts, missed, stay, visit, wall

NOVEMBER = Period.named("month", "2026-11")
END = "2026-12-01T00:00"


def told(*visits: object, **more: object) -> dict:
    return figures_of(facts(*visits, **({"period": NOVEMBER, "as_of": END} | more)))["recording"]


def week(*visits: object, **more: object) -> dict:
    return told(*visits, **({"period": W48, "as_of": "2026-11-30T00:00"} | more))


def starts(*days: int) -> list[str]:
    return [f"2026-11-{day:02}T10:00" for day in days]


def test_three_open_days_without_a_word_are_stopped_recording() -> None:
    silent = [visit(start) for start in starts(24, 25, 26, 27)]

    assert told(done("2026-11-23T10:00"), *silent) == {
        "state": "stopped recording",
        "since": "2026-11-24",
        "last_recorded_on": "2026-11-23",
        "last_done_on": "2026-11-23",
        "sentence": "Nothing was written since Tue 24 Nov: 4 sessions are not recorded.",
    }


def test_two_days_or_one_word_among_them_are_not() -> None:
    assert told(done("2026-11-25T10:00"), *[visit(start) for start in starts(26, 27)])["state"] == "recording"
    last = done("2026-11-27T15:00")
    assert told(*[visit(start) for start in starts(25, 26, 27)], last)["state"] == "recording"


def test_days_that_are_still_open_prove_nothing() -> None:
    silent = [visit(start) for start in starts(25, 26, 27)]

    assert told(*silent, as_of="2026-11-27T16:59")["state"] == "recording"
    assert told(*silent, as_of="2026-11-27T17:00")["state"] == "stopped recording"


def test_written_but_never_done_is_stopped_training() -> None:
    given_up = [missed(start, "no staff") for start in starts(25, 26, 27)]
    answer = told(done("2026-11-24T10:00"), *given_up)

    assert (answer["state"], answer["since"], answer["last_done_on"]) == (
        "stopped training",
        "2026-11-25",
        "2026-11-24",
    )
    assert answer["sentence"] == "No session was done since Wed 25 Nov: 3 were published."
    assert answer["last_recorded_on"] == "2026-11-27"


def test_nothing_published_for_a_week_though_residents_are_enrolled_is_stopped_training() -> None:
    answer = told(done("2026-11-20T10:00"))

    assert (answer["state"], answer["since"]) == ("stopped training", "2026-11-21")
    assert answer["sentence"] == "Nothing was published since Sat 21 Nov, though residents are enrolled."
    # The last seven days begin on Tuesday the 24th.
    assert told(done("2026-11-24T10:00"))["state"] == "recording"


def test_a_building_with_nobody_in_the_programme_or_that_never_began_has_published_nothing() -> None:
    assert told(stays=())["state"] == "nothing published"
    assert told(stays=(stay(),), has_begun_before=False)["state"] == "nothing published"
    # The control: who had begun has stopped.
    assert told(stays=(stay(),), has_begun_before=True)["state"] == "stopped training"


def test_a_closed_building_has_not_stopped() -> None:
    silent = [visit(start) for start in starts(18, 19, 20)]
    outbreak = Closed("outbreak", "building", local_instant(NOVEMBER.days[20], 0, ZONE), None)
    ward = Closed("outbreak", "unit", LONG_AGO, None)
    station = Closed("out of order", "station", LONG_AGO, None)

    assert told(*silent, closures=(outbreak,))["state"] == "closed"
    assert told(*silent, closures=(outbreak,))["sentence"] == "The building is closed since Sat 21 Nov (outbreak)."
    assert told(*silent, closures=(ward, station))["state"] == "stopped recording"


def test_a_closure_of_a_day_does_not_hide_that_training_stopped() -> None:
    holiday = Closed("holiday", "building", wall("2026-11-26T00:00"), wall("2026-11-27T00:00"))

    assert told(done("2026-11-20T10:00"), closures=(holiday,))["state"] == "stopped training"


def test_a_building_of_two_days_a_week_is_told_to_have_stopped_by_the_weeks_before() -> None:
    earlier = (done("2026-11-17T10:00"), visit("2026-11-20T10:00"))
    silent = [visit(start) for start in starts(24, 27)]

    assert week(*silent, earlier=earlier) == {
        "state": "stopped recording",
        "since": "2026-11-20",
        "last_recorded_on": "2026-11-17",
        "last_done_on": "2026-11-17",
        "sentence": "Nothing was written since Fri 20 Nov: 3 sessions are not recorded.",
    }
    # The control: by the week alone nobody knows.
    assert week(*silent)["state"] == "recording"


def test_nobody_is_told_that_sessions_are_recorded_where_most_are_not() -> None:
    silent = [visit(start) for start in starts(24, 27)]

    assert week(*silent)["sentence"] == "Most sessions are not recorded: 2 of 2."
    assert week(*silent, *[done(start) for start in starts(23, 25)])["sentence"] == "Sessions are recorded."


def test_a_visit_that_nobody_had_planned_ends_the_silence() -> None:
    silent = [visit(start) for start in starts(23, 24, 25, 26)]
    unplanned = done("2026-11-26T11:00", is_published=False, resident=2)

    assert week(*silent)["sentence"] == "Nothing was written since Mon 23 Nov: 4 sessions are not recorded."
    assert week(*silent, unplanned)["sentence"] == "Most sessions are not recorded: 4 of 4."
    assert week(unplanned)["state"] == "nothing published"


def test_a_week_an_hour_shorter_is_a_whole_week_without_a_session() -> None:
    """The clocks of New York go forward on 8 March 2026, in W10."""
    ends = {"2026-W09": "2026-03-02T00:00", "2026-W10": "2026-03-09T00:00", "2026-W11": "2026-03-16T00:00"}
    states = [
        told(period=Period.named("week", name), as_of=end, stays=(stay(1),))["state"] for name, end in ends.items()
    ]

    assert states == ["stopped training"] * 3
