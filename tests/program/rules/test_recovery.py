from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from program.rules.recovery import Claim, Held, Span, recovered_at, spans

MONDAY = datetime(2026, 11, 30, 15, 0, tzinfo=UTC)
HOUR = timedelta(hours=1)


@st.composite
def claims(draw, *, only_bookings=False):
    """Up to eight visits within three weeks, some at the very same minute."""
    starts = draw(st.lists(st.integers(0, 21 * 24 * 60), max_size=8))
    return [
        Claim(
            key,
            MONDAY + timedelta(minutes=start),
            MONDAY + timedelta(minutes=start + draw(st.integers(1, 90))),
            is_fact=not only_bookings and draw(st.booleans()),
            recovery=draw(st.integers(48, 200)) * HOUR,
        )
        for key, start in enumerate(starts)
    ]


def held_spans(held):
    return sorted((answer.span for answer in held.values() if answer.span), key=lambda span: span.start)


@given(claims())
def test_no_two_spans_of_a_person_share_an_instant(claimed):
    for earlier, later in pairwise(held_spans(spans(claimed))):
        assert earlier.until <= later.start


@given(claims())
def test_every_claim_is_answered_and_every_span_takes_time(claimed):
    held = spans(claimed)

    assert set(held) == {claim.key for claim in claimed}
    assert all(span.start < span.until for span in held_spans(held))


@given(claims())
def test_every_instant_of_a_facts_recovery_is_held_by_some_fact(claimed):
    held = spans(claimed)
    by_facts = held_spans({claim.key: held[claim.key] for claim in claimed if claim.is_fact})
    for fact in (claim for claim in claimed if claim.is_fact):
        reached = fact.start
        for span in by_facts:
            if span.start <= reached < span.until:
                reached = span.until
        assert reached >= fact.recovered_at


@given(claims())
def test_a_booking_never_holds_more_than_it_asked_for(claimed):
    held = spans(claimed)
    for booking in (claim for claim in claimed if not claim.is_fact):
        span = held[booking.key].span
        asked = Span(booking.start, booking.recovered_at)
        assert span is None or (asked.start <= span.start and span.until <= asked.until)
        assert held[booking.key].is_cut is (span != asked)


@given(claims(only_bookings=True))
def test_bookings_that_leave_each_other_alone_keep_all_they_ask_for(claimed):
    in_order = sorted(claimed, key=lambda claim: claim.start)
    if any(later.start < earlier.recovered_at for earlier, later in pairwise(in_order)):
        in_order = in_order[:1]

    assert spans(in_order) == {
        claim.key: Held(Span(claim.start, claim.recovered_at), is_cut=False) for claim in in_order
    }


@given(claims())
def test_a_fact_is_too_soon_exactly_when_it_starts_before_another_has_recovered(claimed):
    held, facts = spans(claimed), [claim for claim in claimed if claim.is_fact]
    for fact in facts:
        order = (fact.start, fact.end, str(fact.key))
        earlier = [other for other in facts if (other.start, other.end, str(other.key)) < order]
        assert held[fact.key].is_too_soon is any(fact.start < other.recovered_at for other in earlier)


@given(claims(), st.randoms(use_true_random=False))
def test_the_order_of_arrival_makes_no_difference(claimed, random):
    shuffled = claimed[:]
    random.shuffle(shuffled)

    assert spans(shuffled) == spans(claimed)


def test_recovery_is_never_below_48_hours():
    claim = Claim("r", MONDAY, MONDAY + HOUR, is_fact=True, recovery=2 * HOUR)

    assert claim.recovered_at == MONDAY + 49 * HOUR


def test_48_hours_are_elapsed_time_across_the_clock_change():
    # Walk-through 7: done Sat 13 Mar 2027 10:00-10:30 EST, free again Mon 15 Mar 11:30 EDT.
    saturday = datetime(2027, 3, 13, 15, 0, tzinfo=UTC)
    claim = Claim("r", saturday, saturday + HOUR / 2, is_fact=True)

    assert claim.recovered_at == datetime(2027, 3, 15, 15, 30, tzinfo=UTC)


def test_a_person_is_recovered_when_the_last_of_all_recoveries_ends():
    first = Claim(1, MONDAY, MONDAY + HOUR, is_fact=True, recovery=200 * HOUR)
    second = replace(first, key=2, start=MONDAY + 60 * HOUR, end=MONDAY + 61 * HOUR, recovery=48 * HOUR)

    assert recovered_at([first, second]) == MONDAY + 201 * HOUR
    assert recovered_at([]) is None
