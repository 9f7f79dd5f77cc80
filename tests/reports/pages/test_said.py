"""Figures in words, and where their marks lie."""

from datetime import UTC, datetime

import pytest

from reports.drawing import Part, RatioBar, ShareMarks, ratio_bar, share_marks, top_of, week_bars
from reports.figures import attendance
from reports.pages.said import (
    Said,
    attendance_said,
    call_words,
    completion_said,
    missed_most,
    moment_words,
    volume_said,
    withdrawn_said,
)
from reports.pages.side_by_side import pooled_figures
from tests.reports.pages.invented import STOPPED_RECORDING, figures


def plain(said: Said) -> tuple[str, str, str]:
    return tuple(part.replace("\u00a0", " ") for part in (said.figure, said.counts, said.mark))


def test_attendance_is_said_with_its_interval_and_its_counts():
    # Newcombe 1998, method 3: 45 of 50 is 78.6 to 95.7, 4 of 5 is 37.6 to 96.4.
    assert plain(attendance_said(attendance(done=45, published=50, not_recorded=0))) == (
        "90.0 % (78.6–95.7)",
        "45 of 50",
        "",
    )
    assert plain(attendance_said(attendance(done=4, published=5, not_recorded=0))) == (
        "80.0 % (37.6–96.4)",
        "4 of 5",
        "",
    )


def test_more_than_a_twentieth_not_recorded_is_said_as_a_range():
    assert plain(attendance_said(attendance(done=40, published=50, not_recorded=6))) == (
        "80.0–92.0 % (67.0–96.8)",
        "40 to 46 of 50",
        "range: 12 % not recorded",
    )
    # 2 of 50 are 4 %: still one share.
    assert plain(attendance_said(attendance(done=40, published=50, not_recorded=2)))[2] == ""


def test_nothing_published_is_no_share_and_no_mark():
    assert plain(attendance_said(attendance(done=0, published=0, not_recorded=0))) == ("none published", "", "")
    assert share_marks(attendance(done=0, published=0, not_recorded=0)) is None


def test_completion_is_a_ratio_and_may_pass_the_whole():
    assert plain(completion_said({"done": 47, "prescribed": 55.43, "ratio": 0.848})) == (
        "85 %",
        "47 of 55.4 prescribed",
        "",
    )
    assert plain(completion_said({"done": 12, "prescribed": 10.0, "ratio": 1.2})) == (
        "120 %",
        "12 of 10 prescribed",
        "",
    )
    assert plain(completion_said({"done": 0, "prescribed": 0.0, "ratio": None})) == ("none prescribed", "", "")


def test_volume_names_what_the_equipment_cost():
    assert plain(volume_said({"share": 0.786, "residents": 2, "equipment": 0.02})) == (
        "78.6 %",
        "mean of 2 residents; 2.0 % was left out because a station was closed",
        "",
    )
    assert plain(volume_said({"share": None, "residents": 0, "equipment": None}))[0] == "none planned"


@pytest.mark.parametrize(
    ("missed", "said"),
    [
        ({"resident": 0, "clinical": 0, "our side": 0}, "none missed"),
        ({"resident": 1, "clinical": 0, "our side": 5}, "our side, 5 of 6"),
        ({"resident": 2, "clinical": 1, "our side": 2}, "resident and our side, 2 each of 5"),
    ],
)
def test_the_class_of_reasons_named_most_is_said_with_its_count(missed, said):
    assert missed_most(missed) == said


def test_a_call_says_since_when():
    assert call_words(figures(recording=STOPPED_RECORDING)) == "Stopped recording since Tue 10 Nov"
    assert call_words(figures()) == ""


def test_notice_and_moments_are_said_plainly():
    assert (
        withdrawn_said({"notice_hours_median": 52.0})
        == "half of all withdrawals came 52 hours or more before the start"
    )
    assert withdrawn_said({"notice_hours_median": None}) == "none"
    assert moment_words(datetime(2026, 12, 1, tzinfo=UTC)) == "Tue 1 Dec 2026, 00:00"


def test_marks_lie_on_one_axis_from_nothing_to_all():
    marks = share_marks({"share": 0.5, "low": 0.0, "high": 1.0, "is_range": False})

    assert marks == ShareMarks(low=8.0, high=208.0, dot=108.0)


def test_a_range_has_a_hollow_bar_and_no_dot():
    marks = share_marks({"share": 0.5, "low": 0.25, "high": 1.0, "is_range": True, "least": 0.5, "most": 0.75})

    assert marks == ShareMarks(low=58.0, high=208.0, least=108.0, width=50.0)


def test_bars_of_completion_share_an_axis_that_holds_the_longest():
    assert (top_of([]), top_of([None, 0.4]), top_of([0.4, 1.1])) == (1.0, 1.0, 1.25)
    assert ratio_bar(1.25, 1.25) == RatioBar(width=120.0, whole=96.0)
    assert ratio_bar(0.5, 1.0) == RatioBar(width=60.0, whole=120.0)
    assert ratio_bar(None, 1.0) is None


def test_weeks_are_drawn_end_to_end_on_one_scale():
    weeks = [{"done": 30, "missed": 20, "not_recorded": 10}, {"done": 0, "missed": 0, "not_recorded": 30}]

    assert week_bars(weeks) == [
        [Part("done", 0.0, 60.0), Part("missed", 60.0, 40.0), Part("not-recorded", 100.0, 20.0)],
        [Part("not-recorded", 0.0, 60.0)],
    ]
    assert week_bars([{"done": 0, "missed": 0, "not_recorded": 0}]) == [[]]


def test_a_region_is_the_sum_of_its_buildings_and_no_mean_of_shares():
    pooled = pooled_figures([figures(45, 50), figures(4, 5), figures(0, 0)])

    # Newcombe 1998, method 3: 49 of 55 is 78.2 to 94.9; the mean of the shares would be 85.0.
    assert plain(attendance_said(pooled["attendance"])) == ("89.1 % (78.2–94.9)", "49 of 55", "")
    # 47 and 6 and 2 done of three times 55.43 prescribed.
    assert plain(completion_said(pooled["completion"])) == ("33 %", "55 of 166.3 prescribed", "")
    assert pooled["missed"] == {"resident": 6, "clinical": 0, "our side": 0}
