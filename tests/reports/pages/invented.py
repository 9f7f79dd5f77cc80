"""Reports as a worker would have left them, with invented figures of the kept shape."""

from typing import Any

from program import clock
from program.models import Building, User
from reports.figures import attendance
from reports.models import Report, Run
from reports.periods import Period

NOVEMBER = Period.named("month", "2026-11")


def recording(state: str = "recording", **known: str) -> dict[str, Any]:
    return {"state": state, "since": None, "last_recorded_on": None, "last_done_on": None, "sentence": ""} | known


def figures(done: int = 45, published: int = 50, not_recorded: int = 0, **changed: Any) -> dict[str, Any]:
    missed = published - done - not_recorded
    return {
        "attendance": attendance(done=done, published=published, not_recorded=not_recorded),
        "completion": {"done": done + 2, "prescribed": 55.43, "ratio": (done + 2) / 55.43},
        "missed": {"resident": missed, "clinical": 0, "our side": 0},
        "reasons": [{"reason": "declined", "class": "resident", "sessions": missed}] if missed else [],
        "withdrawn": {
            "before_the_day": 4,
            "through_hold_absence_leaving_closure": 3,
            "notice_hours_median": 52.0,
        },
        "unplanned": 2,
        "too_soon": 1,
        "late_starts": 3,
        "stopped_early": 1,
        "late_entries": 5,
        "volume": {"share": 0.786, "residents": 12, "equipment": 0.02},
        "reached": [
            {"help_sixths": 2, "words": "one helps three", "residents": 10, "with_session": 9},
            {"help_sixths": 12, "words": "two staff", "residents": 3, "with_session": 3},
        ],
        "recording": recording(),
        "weeks": [
            {"week": "2026-W45", "done": done, "published": published, "not_recorded": not_recorded}
            | {"missed": missed, "withdrawn": 2},
            {"week": "2026-W46", "done": 0, "published": 0, "not_recorded": 0, "missed": 0, "withdrawn": 0},
        ],
        "closures": [],
        "outbreak": False,
        "residents": {"in_the_programme": 13, "days": 390},
    } | changed


STOPPED_RECORDING = recording(
    "stopped recording",
    since="2026-11-10",
    last_recorded_on="2026-11-09",
    last_done_on="2026-11-09",
    sentence="Nothing was written since Tue 10 Nov: 38 sessions are not recorded.",
)
STOPPED_TRAINING = recording(
    "stopped training",
    since="2026-11-17",
    last_recorded_on="2026-11-28",
    last_done_on="2026-11-16",
    sentence="No session was done since Tue 17 Nov, though 14 were planned.",
)
OUTBREAK = {
    "outbreak": True,
    "closures": [{"reason": "outbreak", "what": "building", "from": "2026-11-02", "until": "2026-11-09"}],
}


def asked(by: User | None, period: Period = NOVEMBER) -> Run:
    now = clock.now()
    return Run.objects.create(period_kind=period.kind, period_name=period.name, as_of=now, asked_by=by, asked_at=now)


def report(
    building: Building,
    kept: dict[str, Any] | None = None,
    *,
    run: Run | None = None,
    period: Period = NOVEMBER,
    state: str = "made",
    failure: str = "",
) -> Report:
    """Of the schedule, as of the end of the period, unless a run asked for it."""
    is_made = state == "made"
    return Report.objects.create(
        building=building,
        run=run,
        period_kind=period.kind,
        period_name=period.name,
        starts_at=period.starts_at(building.zone),
        ends_at=period.ends_at(building.zone),
        as_of=run.as_of if run else period.ends_at(building.zone),
        is_scheduled=run is None,
        state=state,
        failure=failure,
        asked_at=clock.now(),
        made_at=clock.now() if is_made else None,
        figures=(kept or figures()) if is_made else None,
    )
