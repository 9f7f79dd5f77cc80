"""A house with a row in every table of a building, each marked with a word that nobody elsewhere may ever read."""

from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from uuid import uuid4

from django.db import models

from program.actions.tokens import make_token
from program.models import (
    Answer,
    ApiToken,
    Building,
    Closure,
    Commitment,
    CommitmentTime,
    Hold,
    Hours,
    Import,
    Incident,
    Pairing,
    Set,
    Unit,
    User,
)
from program.models.scoped import set_scope
from reports.models import Report, Run
from scheduling.models import Flag, Roster
from tests import factories
from tests.conftest import MONDAY, House, build_house
from tests.program.actions.arranging import booked

SHIFT_DAY = date(2026, 12, 3)
TEN = datetime(2026, 12, 1, 15, 0, tzinfo=UTC)


@dataclass
class Furnished:
    """The house, its mark, and one row of each model by the model's name."""

    house: House
    mark: str
    rows: dict[str, models.Model]


def place_of(mark: str) -> str:
    """The mark in the name of the building itself, which is no care data: a regional manager may read it."""
    return mark.replace("canary", "place")


def furnish(name: str) -> Furnished:
    mark = f"canary-of-{name}"
    house = build_house(f"{name} {place_of(mark)}")
    for station in house.stations:
        station.exercise = f"press {mark}"
        station.save(update_fields=["exercise"])
    Unit.objects.filter(pk=house.unit.pk).update(name=f"Wing {mark}")
    resident = house.resident(family_name=f"Rose {mark}", room=f"7 {name}")
    other = house.resident(family_name=f"Oak {mark}")
    third = house.resident(family_name=f"Elm {mark}")
    session = booked(house, resident, TEN)
    rows = {"Building": house.building, "Unit": house.unit, "Station": house.stations[0]}
    rows |= {
        "Resident": resident,
        "Other": other,
        "Third": third,
        "Session": session,
        "Slot": session.slots.first(),
        "Record": session.records.first(),
    }
    rows |= {"Clearance": resident.clearances.get(), "Prescription": resident.prescriptions.get()}
    rows |= {"PrescriptionLine": rows["Prescription"].lines.first(), "Hours": Hours.objects.of(house.building).first()}
    rows["Flag"] = Flag.objects.create(
        building=house.building,
        kind="due",
        cause=f"resident:{other.pk}:{mark}",
        residents=[other.pk],
        since=MONDAY,
        owner="coordinator",
        opened_at=MONDAY,
    )
    return Furnished(house, mark, rows | _care(house, mark, resident, other, session) | _plans(house, mark))


def _care(house: House, mark: str, resident: models.Model, other: models.Model, session: models.Model) -> dict:
    building = house.building
    kept = {"building": building, "resident": resident}
    commitment = Commitment.objects.create(
        **kept,
        uid=f"{mark}-1",
        kind="therapy",
        title=mark,
        starts="2026-12-04T10:00",
        timezone=building.timezone,
        minutes=30,
        last_confirmed_on=date(2026, 11, 1),
    )
    from_, until = datetime(2026, 12, 4, 15, tzinfo=UTC), datetime(2026, 12, 4, 15, 30, tzinfo=UTC)
    return {
        "Commitment": commitment,
        "CommitmentTime": CommitmentTime.objects.create(
            **kept, commitment=commitment, starts_at=from_, ends_at=until, blocks_from=from_, blocks_until=until
        ),
        "Hold": Hold.objects.create(
            **kept,
            kind="away",
            reason="leave",
            release_note=mark,
            starts_at=MONDAY + timedelta(days=20),
            set_by=house.aide,
            set_at=MONDAY,
        ),
        "Incident": Incident.objects.create(
            **kept,
            session=session,
            event_id=uuid4(),
            sign="dizziness",
            note=mark,
            happened_at=MONDAY,
            done_by=house.aide,
            entered_by=house.aide,
            entered_at=MONDAY,
        ),
        "Pairing": Pairing.objects.create(building=building, kind="together", first=resident, second=other),
        "Set": Set.objects.create(
            building=building,
            session=session,
            event_id=uuid4(),
            done_by=house.aide,
            entered_by=house.aide,
            entered_at=MONDAY,
            station=house.stations[0],
            exercise=mark,
            load=20,
            load_unit="kg",
            load_kg=20,
            repetitions=8,
            seconds=60,
            ended_at=MONDAY,
        ),
    }


def _plans(house: House, mark: str) -> dict:
    building = house.building
    on_the_circuit = factories.on_the_circuit(building, house.aide, SHIFT_DAY, 9 * 60, 10 * 60)
    return {
        "Shift": on_the_circuit.shift,
        "ShiftTime": on_the_circuit,
        "Closure": Closure.objects.create(
            building=building,
            station=house.stations[4],
            reason="other",
            note=mark,
            starts_at=MONDAY + timedelta(days=30),
            entered_by=house.coordinator,
            entered_at=MONDAY,
        ),
        "Roster": Roster.objects.create(
            building=building, monday=date(2026, 12, 7), asked_by=house.coordinator, asked_at=MONDAY
        ),
        "Import": Import.objects.create(
            building=building,
            kind="residents",
            file_name=f"{mark}.csv",
            rows=[],
            entered_by=house.coordinator,
            entered_at=MONDAY,
        ),
        **_reports(house, mark),
        "Answer": _answer(house, mark),
        "ApiToken": _token(house.coordinator, mark),
        "User": house.aide,
        "Role": house.aide.roles.get(),
        "Start": a_start(house.coordinator, mark),
    }


def _reports(house: House, mark: str) -> dict:
    """One that could not be made: figures hold no word of anybody."""
    about = {"period_kind": "week", "period_name": "2026-W48", "as_of": MONDAY, "asked_at": MONDAY}
    run = Run.objects.create(asked_by=house.coordinator, **about)
    report = Report.objects.create(
        building=house.building,
        run=run,
        starts_at=datetime(2026, 11, 23, 5, tzinfo=UTC),
        ends_at=datetime(2026, 11, 30, 5, tzinfo=UTC),
        state="failed",
        failure=f"Broken at {place_of(mark)}.",
        **about,
    )
    return {"Run": run, "Report": report}


def _answer(house: House, mark: str) -> Answer:
    """Shown to the person who asked alone, so that it is written as them."""
    everywhere = list(Building.objects.values_list("pk", flat=True))
    set_scope(everywhere, user_id=house.coordinator.pk)
    kept = Answer.objects.create(
        user=house.coordinator, key=mark, fingerprint="0" * 64, status=200, body=mark.encode(), made_at=MONDAY
    )
    set_scope(everywhere, user_id=None)
    return kept


def _token(person: User, mark: str) -> ApiToken:
    """Shown to its person alone, so that it is written as them."""
    everywhere = list(Building.objects.values_list("pk", flat=True))
    set_scope(everywhere, user_id=person.pk)
    kept, _ = make_token(user=person, name=mark, days=30)
    set_scope(everywhere, user_id=None)
    return kept


def a_start(person: User, mark: str) -> Import:
    """A workbook that starts a building: of no building yet, and shown to whoever sent it alone."""
    everywhere = list(Building.objects.values_list("pk", flat=True))
    set_scope(everywhere, user_id=person.pk)
    kept = Import.objects.create(
        kind="building", file_name=f"{mark}.xlsx", rows=[], entered_by=person, entered_at=MONDAY
    )
    set_scope(everywhere, user_id=None)
    return kept
