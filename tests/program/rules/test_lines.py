from datetime import UTC, datetime, timedelta

from hypothesis import given
from hypothesis import strategies as st

from program.rules.lines import DoneSet, Happened, Line, what_happened

NINE = datetime(2026, 11, 30, 14, 0, tzinfo=UTC)


def at(minutes):
    return NINE + timedelta(minutes=minutes)


def test_nothing_written_is_nothing_that_happened():
    assert what_happened([], []) == Happened()


def test_a_set_implies_a_start():
    assert what_happened([], [DoneSet(at(10), 90)]) == Happened(
        started_at=at(10) - timedelta(seconds=90), sets_done=1, last_set_ended_at=at(10)
    )


def test_the_earliest_start_counts_told_or_implied():
    assert what_happened([Line("started", at(12)), Line("started", at(3))], [DoneSet(at(10), 90)]).started_at == at(3)


def test_an_end_tapped_before_the_last_set_is_taken_as_at_the_last_set():
    assert what_happened([Line("ended", at(20))], [DoneSet(at(25), 60)]).ended_at == at(25)


def test_an_end_without_a_set_is_not_before_its_start():
    assert what_happened([Line("started", at(5)), Line("ended", at(2))], []) == Happened(
        started_at=at(5), ended_at=at(5)
    )


def test_the_latest_attempt_counts_and_others_do_not_start_anything():
    told = what_happened([Line("attempt", at(5)), Line("attempt", at(30)), Line("moved", at(1))], [])

    assert told == Happened(attempted_at=at(30))


def test_giving_up_and_withdrawing_are_kept_beside_each_other():
    assert what_happened([Line("given up", at(1)), Line("withdrawn", at(2))], []) == Happened(
        given_up_at=at(1), withdrawn_at=at(2)
    )


lines = st.lists(
    st.builds(
        Line, st.sampled_from(["started", "ended", "attempt", "given up", "withdrawn"]), st.integers(0, 300).map(at)
    )
)
sets = st.lists(st.builds(DoneSet, st.integers(0, 300).map(at), st.integers(1, 900)))


@given(lines, sets, st.randoms(use_true_random=False))
def test_the_order_of_arrival_makes_no_difference(told, done, random):
    shuffled_lines, shuffled_sets = told[:], done[:]
    random.shuffle(shuffled_lines)
    random.shuffle(shuffled_sets)

    assert what_happened(shuffled_lines, shuffled_sets) == what_happened(told, done)


@given(lines, sets)
def test_what_happened_is_what_the_table_can_hold(told, done):
    happened = what_happened(told, done)

    assert (happened.last_set_ended_at is None) is (happened.sets_done == 0)
    if happened.sets_done:
        assert happened.started_at <= happened.last_set_ended_at
    if happened.ended_at and happened.started_at:
        assert happened.ended_at >= happened.started_at
