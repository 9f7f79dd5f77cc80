"""What a week adds up to, by hand."""

from datetime import timedelta
from decimal import Decimal

import pytest

from program.rules.lines import Happened
from reports.figures import Closed, Pause, Plan, Reason, attendance, figures_of
from reports.periods import Period
from tests.reports.facts import LONG_AGO, asleep, done, facts, lines, missed, stay, visit, wall, withdrawn

MON, TUE, WED, THU, FRI = (f"2026-11-{day}T10:00" for day in (23, 24, 25, 26, 27))


def counts(figures: dict) -> tuple[int, int, int]:
    told = figures["attendance"]
    return told["done"], told["published"], told["not_recorded"]


def test_every_published_session_is_done_missed_or_not_recorded() -> None:
    figures = figures_of(facts(done(MON), missed(TUE, "declined"), asleep(WED), visit(THU), missed(FRI, "no staff")))

    assert counts(figures) == (1, 5, 1)
    assert figures["missed"] == {"resident": 2, "clinical": 0, "our side": 1}
    assert figures["reasons"] == [
        {"reason": "asleep", "class": "resident", "sessions": 1},
        {"reason": "declined", "class": "resident", "sessions": 1},
        {"reason": "no staff", "class": "our side", "sessions": 1},
    ]


def test_one_that_was_begun_and_has_no_set_is_missed_without_a_word() -> None:
    figures = figures_of(facts(visit(MON, happened=Happened(started_at=wall(MON)))))

    assert counts(figures) == (0, 1, 0)
    assert figures["reasons"] == [{"reason": "no reason written", "class": "our side", "sessions": 1}]


def test_an_open_day_does_not_count_yet_but_what_is_done_in_it_does() -> None:
    figures = figures_of(facts(done(MON), visit("2026-11-23T15:00"), missed(MON, "pain"), as_of="2026-11-23T16:00"))

    assert counts(figures) == (1, 1, 0)
    # By the closing of the day, 17:00, all three count.
    assert counts(figures_of(facts(done(MON), visit(MON), missed(MON, "pain"), as_of="2026-11-23T17:00"))) == (1, 3, 1)


def test_withdrawals_before_the_day_or_through_a_hold_are_nobodys() -> None:
    figures = figures_of(
        facts(
            done(MON),
            withdrawn(TUE, "2026-11-23T23:59", "planned again"),
            withdrawn(WED, "2026-11-25T00:00", "hospital"),
            withdrawn(THU, "2026-11-26T09:00", "declined"),
        )
    )

    assert counts(figures) == (1, 2, 0)
    assert figures["missed"]["resident"] == 1
    # 10 h 1 min, 10 h and 1 h before the start.
    assert figures["withdrawn"] == {
        "before_the_day": 1,
        "through_hold_absence_leaving_closure": 1,
        "notice_hours_median": 10.0,
    }


def test_a_hold_for_pain_takes_a_session_of_the_same_day_out_of_attendance() -> None:
    hold = Pause(wall("2026-11-24T08:00"), None, set_at=wall("2026-11-24T08:00"))
    session = withdrawn(TUE, "2026-11-24T08:00", "pain")

    assert counts(figures_of(facts(session, stays=(stay(1, pauses=(hold,)),)))) == (0, 0, 0)
    # The control: without the hold it is a clinical miss.
    assert counts(figures_of(facts(session))) == (0, 1, 0)


def test_nothing_published_is_no_share_and_no_bar() -> None:
    told = figures_of(facts())["attendance"]

    assert (told["share"], told["low"], told["high"], told["is_range"]) == (None, None, None, False)


@pytest.mark.parametrize(("not_recorded", "is_range"), [(5, False), (6, True)])
def test_more_than_one_in_twenty_not_recorded_makes_a_range(not_recorded: int, is_range: bool) -> None:
    assert attendance(done=80, published=100, not_recorded=not_recorded)["is_range"] == is_range


def test_a_range_runs_from_none_of_them_done_to_all_of_them_done() -> None:
    told = attendance(done=45, published=60, not_recorded=5)

    assert (told["least"], told["most"], told["share"]) == (0.75, round(50 / 60, 6), 0.75)
    # The lower end of 45/60 and the upper end of 50/60, derived by Newcombe's formula (test_intervals.py).
    assert (round(told["low"], 4), round(told["high"], 4)) == (0.6277, 0.9069)


def test_prescribed_is_sessions_a_week_by_days_in_the_programme() -> None:
    """Away from Tuesday 22:00: of the week only Monday counts, 2 × 1/7 = 0.29 (worked day 18)."""
    away = Pause(wall("2026-11-24T22:00"), None, set_at=wall("2026-11-24T22:00"))
    figures = figures_of(facts(stays=(stay(1, pauses=(away,)),)))

    assert figures["completion"] == {"done": 0, "prescribed": 0.29, "ratio": 0.0}
    assert figures["residents"] == {"in_the_programme": 1, "days": 1}


def test_the_first_day_counts_and_the_day_of_leaving_does_not() -> None:
    came = stay(1, enrolled_at=wall("2026-11-25T09:00"))
    left = stay(2, until=wall("2026-11-25T18:00"))
    stopped = stay(3, agreement_withdrawn_at=wall("2026-11-24T12:00"))
    figures = figures_of(facts(stays=(came, left, stopped)))

    # Wed-Sun, Mon-Tue and Mon.
    assert figures["residents"] == {"in_the_programme": 3, "days": 5 + 2 + 1}


def test_the_version_in_force_prescribes_and_an_unplanned_session_counts_as_done() -> None:
    plans = (Plan(1, LONG_AGO, 2), Plan(2, wall("2026-11-26T12:00"), 3))
    unplanned = done(MON, is_published=False)
    figures = figures_of(facts(done(WED), unplanned, stays=(stay(1, plans=plans),)))

    # Three days of two a week and four of three.
    assert figures["completion"] == {"done": 2, "prescribed": round((3 * 2 + 4 * 3) / 7, 2), "ratio": round(14 / 18, 6)}
    assert (figures["unplanned"], counts(figures)) == (1, (1, 1, 0))


def test_volume_is_the_mean_of_ratios_and_shows_equipment_apart() -> None:
    plan = lines(400, 200, 100, 200, 150)
    cut_short = done(MON, resident=2, sets=2, planned=plan, kilograms_done=Decimal(600))
    whole = done(MON, resident=3, planned=lines(800, 400, 200, 400, 300), kilograms_done=Decimal(2100))
    told = figures_of(facts(cut_short, whole))

    # Worked day 16: 57.1 % and 100 % are 78.6 %; 85.7 % would be the ratio of sums.
    assert told["volume"] == {"share": round((600 / 1050 + 1) / 2, 6), "residents": 2, "equipment": 0.0}
    assert told["stopped_early"] == 1
    out_of_order = done(MON, sets=4, planned=plan, left_out=frozenset({3}), kilograms_done=Decimal(950))
    told = figures_of(facts(out_of_order))
    assert told["volume"] == {"share": round(950 / 1050, 6), "residents": 1, "equipment": round(100 / 1050, 6)}
    assert told["stopped_early"] == 0


def test_missed_sessions_are_planned_and_not_done_and_weightless_plans_have_no_ratio() -> None:
    plan = lines(100)
    told = figures_of(
        facts(done(MON, planned=plan, kilograms_done=Decimal(100)), missed(WED, "declined", planned=plan))
    )
    weightless = figures_of(facts(done(MON, planned=lines(0))))

    assert told["volume"]["share"] == 0.5
    assert weightless["volume"] == {"share": None, "residents": 0, "equipment": None}


def test_residents_reached_by_help_level() -> None:
    told = figures_of(facts(done(MON, resident=1), stays=(stay(1), stay(2), stay(3, help_sixths=12))))

    assert told["reached"] == [
        {"help_sixths": 2, "words": "one helps three", "residents": 2, "with_session": 1},
        {"help_sixths": 12, "words": "two staff", "residents": 1, "with_session": 0},
    ]


def test_late_starts_begin_past_the_grace_and_not_at_it() -> None:
    told = figures_of(facts(done(MON, late_minutes=30), done(WED, late_minutes=31), done(FRI, is_too_soon=True)))

    assert (told["late_starts"], told["too_soon"]) == (1, 1)


def test_a_month_is_told_by_the_weeks_it_touches() -> None:
    november = Period.named("month", "2026-11")
    told = figures_of(facts(done(MON), done("2026-11-30T10:00"), period=november, as_of="2026-12-01T00:00"))

    assert [(week["week"], week["done"]) for week in told["weeks"]] == [
        ("2026-W44", 0),
        ("2026-W45", 0),
        ("2026-W46", 0),
        ("2026-W47", 0),
        ("2026-W48", 1),
        ("2026-W49", 1),
    ]


def test_closures_are_told_by_local_days_and_an_outbreak_stands_apart() -> None:
    outbreak = Closed("outbreak", "building", wall("2026-11-24T08:00"), wall("2026-11-25T08:00"))
    over = Closed("holiday", "building", LONG_AGO, LONG_AGO + timedelta(days=1))
    told = figures_of(facts(closures=(over, outbreak)))

    assert told["closures"] == [{"reason": "outbreak", "what": "building", "from": "2026-11-24", "until": "2026-11-25"}]
    assert told["outbreak"] is True


AWAY = Pause(wall("2026-11-24T08:00"), wall("2026-11-24T12:00"), set_at=wall("2026-11-26T09:00"))
LATER = "2026-11-26T09:00"


@pytest.mark.parametrize("reason", ["out", "closed", "hospital", "hold", "declined"])
def test_of_a_day_that_is_over_no_word_alone_excuses(reason: str) -> None:
    figures = figures_of(facts(withdrawn(TUE, LATER, reason)))

    assert (counts(figures), sum(figures["missed"].values())) == ((0, 1, 0), 1)
    # Nobody was told of it before it began.
    assert figures["withdrawn"]["notice_hours_median"] is None


@pytest.mark.parametrize(
    ("more", "closures", "is_excused"),
    [
        ({"pauses": (AWAY,)}, (), True),
        ({"pauses": (Pause(wall("2026-11-24T10:30"), None, AWAY.set_at),)}, (), False),
        ({"until": wall("2026-11-23T12:00")}, (), True),
        ({"until": wall("2026-11-25T12:00")}, (), False),
        ({"agreement_withdrawn_at": wall("2026-11-23T12:00")}, (), True),
        ({}, (Closed("holiday", "building", AWAY.starts_at, AWAY.ends_at),), True),
        ({"unit_id": 7}, (Closed("outbreak", "unit", AWAY.starts_at, None, unit_id=7),), True),
        ({"unit_id": 8}, (Closed("outbreak", "unit", AWAY.starts_at, None, unit_id=7),), False),
        ({}, (Closed("out of order", "station", AWAY.starts_at, None),), False),
    ],
)
def test_of_a_day_that_is_over_what_lies_over_the_session_excuses(
    more: dict, closures: tuple[Closed, ...], is_excused: bool
) -> None:
    figures = figures_of(facts(withdrawn(TUE, LATER, "closed"), stays=(stay(1, **more),), closures=closures))

    assert figures["attendance"]["published"] == (0 if is_excused else 1)
    assert figures["withdrawn"]["through_hold_absence_leaving_closure"] == (1 if is_excused else 0)


def test_a_hold_that_is_released_before_the_start_has_taken_the_session_off_all_the_same() -> None:
    session = withdrawn("2026-11-24T10:30", "2026-11-24T09:00", "pain")
    released = Pause(wall("2026-11-24T09:00"), wall("2026-11-24T10:00"), set_at=wall("2026-11-24T09:00"))
    over = Pause(wall("2026-11-24T08:00"), wall("2026-11-24T08:30"), set_at=wall("2026-11-24T08:00"))
    declined = withdrawn("2026-11-24T15:00", "2026-11-24T09:30", "declined")

    assert counts(figures_of(facts(session, stays=(stay(1, pauses=(released,)),)))) == (0, 0, 0)
    # The controls: a hold that was over by then, and a word that is none of a hold's.
    assert counts(figures_of(facts(session, stays=(stay(1, pauses=(over,)),)))) == (0, 1, 0)
    assert counts(figures_of(facts(declined, stays=(stay(1, pauses=(released,)),)))) == (0, 1, 0)


def test_who_slept_at_first_and_stopped_for_a_warning_sign_missed_it_for_that() -> None:
    slept_at, began_at = wall(TUE), wall("2026-11-24T14:00")
    ended_at = began_at + timedelta(minutes=1)
    session = visit(
        TUE,
        happened=Happened(started_at=began_at, attempted_at=slept_at, ended_at=ended_at),
        reasons=(
            Reason("attempt", slept_at, "asleep", "resident"),
            Reason("ended", ended_at, "warning sign", "clinical"),
        ),
    )

    assert figures_of(facts(session))["missed"] == {"resident": 0, "clinical": 1, "our side": 0}
