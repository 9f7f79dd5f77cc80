"""All buildings of a period side by side: which need a call, then each by its region, pooled and never ranked."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import groupby
from typing import Any

from django.http import HttpRequest

from program.models import Building
from reports.drawing import RatioBar, ShareMarks, ratio_bar, share_marks, top_of
from reports.figures import pooled_attendance
from reports.models import Report
from reports.pages.said import (
    Said,
    attendance_said,
    call_words,
    completion_said,
    lasts_words,
    missed_most,
    moment_words,
    not_recorded_of,
)
from reports.periods import Period

State = Report.State
NOT_MADE = (State.FAILED, State.REFUSED)


@dataclass(frozen=True, slots=True)
class Standing:
    """A building's newest report of a period, and the newest try, which may still be at work or have failed."""

    building: Building
    made: Report | None
    newest: Report | None

    @property
    def figures(self) -> Mapping[str, Any] | None:
        return self.made.figures if self.made else None

    @property
    def as_of(self) -> datetime | None:
        """Of the figures; without any, of the try."""
        report = self.made or self.newest
        return report.as_of.astimezone(self.building.zone) if report else None

    @property
    def is_waiting(self) -> bool:
        return self.newest is not None and self.newest.state == State.WAITING

    @property
    def failure(self) -> str:
        """Why the newest try came to nothing."""
        return self.newest.failure if self.newest and self.newest.state in NOT_MADE else ""

    @property
    def failed(self) -> str:
        """`Report failed` or `Report refused`, where there is a failure."""
        return f"Report {self.newest.state}" if self.newest and self.failure else ""

    @property
    def state(self) -> str:
        if self.made:
            return "made"
        if self.newest is None:
            return "not made"
        return f"{self.newest.state}: {self.failure}" if self.failure else str(self.newest.state)


def standings(request: HttpRequest, buildings: Iterable[Building], period: Period) -> list[Standing]:
    reports = Report.objects.visible_to(request.user).of_period(period)
    made = {report.building_id: report for report in reports.filter(state=State.MADE).newest()}
    newest = {report.building_id: report for report in reports.defer("figures").newest()}
    return [Standing(building, made.get(building.pk), newest.get(building.pk)) for building in buildings]


@dataclass(frozen=True, slots=True)
class Figures:
    """One line of the table: pictures, and the words beside them."""

    marks: ShareMarks | None
    attendance: Said
    bar: RatioBar | None
    completion: Said
    not_recorded: int
    too_soon: int
    missed: str


def line_of(figures: Mapping[str, Any], top: float) -> Figures:
    return Figures(
        marks=share_marks(figures["attendance"]),
        attendance=attendance_said(figures["attendance"]),
        bar=ratio_bar(figures["completion"]["ratio"], top),
        completion=completion_said(figures["completion"], not_recorded_of(figures["attendance"])),
        not_recorded=figures["attendance"]["not_recorded"],
        too_soon=figures["too_soon"],
        missed=missed_most(figures["missed"]),
    )


@dataclass(frozen=True, slots=True)
class Row:
    standing: Standing
    line: Figures | None


@dataclass(frozen=True, slots=True)
class RegionTable:
    name: str
    rows: list[Row]
    total: Figures | None
    pooled: int


@dataclass(frozen=True, slots=True)
class Call:
    building: Building
    what: str
    sentences: list[str]


def tables_of(standing: Sequence[Standing]) -> tuple[list[RegionTable], list[Row]]:
    """The regions' tables, and apart from them the buildings under an outbreak closure."""
    top = top_of(one.figures["completion"]["ratio"] for one in standing if one.figures)
    apart = [one for one in standing if one.figures and one.figures["outbreak"]]
    compared = [one for one in standing if one not in apart]
    tables = []
    for name, group in groupby(compared, key=lambda one: one.building.region.name):
        there = list(group)
        pooled = [one.figures for one in there if one.figures]
        tables.append(
            RegionTable(
                name,
                [_row(one, top) for one in there],
                line_of(pooled_figures(pooled), top) if len(pooled) > 1 else None,
                len(pooled),
            )
        )
    return tables, [_row(one, top) for one in apart]


def _row(standing: Standing, top: float) -> Row:
    return Row(standing, line_of(standing.figures, top) if standing.figures else None)


def pooled_figures(figures: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    """What the region's line shows: sums over its buildings, and shares of the sums."""
    kinds = figures[0]["missed"]
    return {
        "attendance": pooled_attendance(one["attendance"] for one in figures),
        "completion": pooled_completion(figures),
        "too_soon": sum(one["too_soon"] for one in figures),
        "missed": {kind: sum(one["missed"][kind] for one in figures) for kind in kinds},
    }


def pooled_completion(figures: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    done = sum(one["completion"]["done"] for one in figures)
    prescribed = sum(one["completion"]["prescribed"] for one in figures)
    return {"done": done, "prescribed": prescribed, "ratio": done / prescribed if prescribed else None}


def calls_of(standing: Iterable[Standing]) -> list[Call]:
    """Buildings to ring, by name: stopped recording, stopped training, or without the report that was asked for."""
    found = []
    for one in standing:
        if one.failure:
            found.append(Call(one.building, one.failed, [one.failure]))
        # A closed building cannot train: it stands under its own heading.
        if one.figures and not one.figures["outbreak"] and (what := call_words(one.figures)):
            found.append(Call(one.building, what, _why(one.figures)))
    return sorted(found, key=lambda call: call.building.name.casefold())


def _why(figures: Mapping[str, Any]) -> list[str]:
    recording = figures["recording"]
    told = [recording["sentence"], lasts_words(recording)]
    if recording["state"] == "stopped training" and any(figures["missed"].values()):
        told.append(f"Reasons for what was missed: {missed_most(figures['missed'])}.")
    return [sentence for sentence in told if sentence]


def as_of_words(standing: Iterable[Standing]) -> str:
    """As of when the figures are: the midnight of each building, or the moment, or the oldest and the newest one."""
    moments = [one.as_of for one in standing if one.made and one.as_of]
    local = {moment_words(moment) for moment in moments}
    instants = sorted({moment.astimezone(UTC) for moment in moments})
    if not moments:
        return ""
    if len(local) == 1:
        return f"{local.pop()}, by each building's clock"
    told = [f"{moment_words(moment)} UTC" for moment in instants]
    return told[0] if len(told) == 1 else f"{told[0]} to {told[-1]}"
