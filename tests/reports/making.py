"""Reports asked for over the API and made as a worker makes them."""

from collections.abc import Sequence
from datetime import datetime
from decimal import Decimal
from typing import Any
from uuid import uuid4

from program.models import Building, Prescription, Record, Resident, Role, Session, Set, User
from program.models.scoped import set_scope
from program.rules.lines import DoneSet, Line, what_happened
from reports import actions
from reports.tasks import make
from tests import factories
from tests.conftest import House
from tests.program.api.asking import Api
from tests.walkthroughs.following import wall

AFTER_W49 = wall("2026-12-07T00:00")


def see_everywhere() -> None:
    """A task's scope has ended: the test sees all buildings again."""
    set_scope([*Building.objects.values_list("pk", flat=True)], user_id=None)


def manager_of(house: House) -> User:
    """The regional manager of the house's region, with no role in the house."""
    return factories.with_role(None, Role.Kind.REGIONAL_MANAGER, region=house.building.region)


def make_all(run_id: int) -> None:
    """What the workers do with a run, one building after the other."""
    for report_id, building_id in actions.reports_of_run(run_id):
        make(report_id, building_id)
    see_everywhere()


def run_over_api(person: User, kind: str = "week", name: str = "2026-W49", **sent: Any) -> dict[str, Any]:
    """Ask for reports, let the workers make them, and look at the run."""
    api = Api(person)
    asked = api.post("report-runs/", {"period_kind": kind, "period_name": name, **sent})
    assert asked.status_code == 202, asked.content
    make_all(asked.json()["id"])
    return api.get(f"report-runs/{asked.json()['id']}/").json()


def report_over_api(
    person: User, house: House, kind: str = "week", name: str = "2026-W49", **sent: Any
) -> dict[str, Any]:
    """One building's report, asked for, made and read over the API."""
    told = run_over_api(person, kind, name, buildings=[house.building.pk], **sent)
    [row] = told["buildings"]
    report = Api(person).get(f"reports/{row['report']}/").json()
    assert (report["state"], report["failure"]) == ("made", "")
    return report


def in_bulk(
    house: House, residents: Sequence[Resident], starts: Sequence[datetime], *, done: int, sets: int = 1
) -> list[Session]:
    """Published sessions of past weeks, `done` of them done: as the actions leave them, written in one go."""
    building, rows = house.building, []
    plans = dict(Prescription.objects.of(building).values_list("resident_id", "pk"))
    for place, (resident, start) in enumerate(zip(residents, starts, strict=True)):
        minutes = [Record(session=None, kind="started", happened_at=start)] if place < done else []
        marks = [start.replace(minute=start.minute + 2 * (number + 1)) for number in range(sets)] if minutes else []
        follows = what_happened(
            [Line("started", start) for _ in minutes], [DoneSet(mark, seconds=60) for mark in marks]
        )
        row = Session(
            building=building,
            resident=resident,
            person_id=resident.person_id,
            prescription_id=plans[resident.pk],
            starts_at=start,
            ends_at=start.replace(minute=start.minute + 29),
            day_closes_at=start.replace(hour=22, minute=0),
            published_at=start.replace(day=1),
            help_sixths=2,
            is_cut=True,
        )
        for name in follows.__dataclass_fields__:
            setattr(row, name, getattr(follows, name))
        rows.append((row, minutes, marks))
    Session.objects.bulk_create([row for row, _, _ in rows])
    who = {"building": building, "done_by": house.aide, "entered_by": house.aide}
    Record.objects.bulk_create(
        Record(
            **who, session=row, kind="started", happened_at=row.starts_at, entered_at=row.starts_at, event_id=uuid4()
        )
        for row, minutes, _ in rows
        if minutes
    )
    _write_sets(house, [(row, mark) for row, _, marks in rows for mark in marks], who)
    return [row for row, _, _ in rows]


def _write_sets(house: House, marks: list[tuple[Session, datetime]], who: dict[str, Any]) -> None:
    Set.objects.bulk_create(
        Set(
            **who,
            session=row,
            station=house.stations[number % len(house.stations)],
            exercise="leg press",
            load=Decimal(20),
            load_unit="kg",
            load_kg=Decimal(20),
            repetitions=10,
            seconds=60,
            ended_at=mark,
            entered_at=mark,
            event_id=uuid4(),
        )
        for number, (row, mark) in enumerate(marks)
    )
