"""A month of an invented region, written in bulk: so many buildings of so many residents, two sessions a week each."""

from datetime import UTC, datetime
from decimal import Decimal

from django.db import connection

from program.models import Building, Person, Prescription, PrescriptionLine, Region, Resident, Station, Unit, User
from program.models.scoped import set_scope
from tests import factories

STATIONS = 5

# Mondays and Thursdays for every other resident, Tuesdays and Fridays for the rest; ninety in a hundred done.
SESSIONS = """
INSERT INTO program_session (building_id, resident_id, person_id, prescription_id, starts_at, ends_at, day_closes_at,
    published_at, help_sixths, escort_sixths, escort_minutes, recovery_hours, left_out, is_locked, sets_done,
    started_at, last_set_ended_at, is_cut, is_too_soon, version)
SELECT plan.building_id, resident.id, resident.person_id, plan.id, day + at, day + at + interval '30 minutes',
       day + interval '22 hours', day - interval '7 days', 2, 0, 0, 48, '{}', false,
       CASE WHEN is_done THEN 5 ELSE 0 END, CASE WHEN is_done THEN day + at END,
       CASE WHEN is_done THEN day + at + interval '28 minutes' END, true, false, 1
  FROM program_prescription plan
  JOIN program_resident resident ON resident.id = plan.resident_id
  CROSS JOIN generate_series('2026-11-02'::timestamptz, '2026-11-29', interval '1 day') day
  CROSS JOIN LATERAL (SELECT interval '14 hours' + (resident.id %% 16) * interval '30 minutes' AS at,
                             (resident.id + extract(day FROM day)::int) %% 10 > 0 AS is_done) told
 WHERE plan.building_id = ANY(%s) AND extract(isodow FROM day)::int IN (1 + resident.id %% 2, 4 + resident.id %% 2)
"""
LINES = """
INSERT INTO program_record (building_id, session_id, event_id, kind, happened_at, done_by_id, entered_by_id, entered_at,
    reason, reason_class, note, replaced_because, identified_by)
SELECT building_id, id, gen_random_uuid(), CASE WHEN sets_done > 0 THEN 'started' ELSE 'attempt' END, starts_at, %s, %s,
       starts_at, CASE WHEN sets_done > 0 THEN '' ELSE 'asleep' END,
       CASE WHEN sets_done > 0 THEN '' ELSE 'resident' END,
       '', '', ''
  FROM program_session WHERE building_id = ANY(%s)
"""
SETS = """
INSERT INTO program_set (building_id, session_id, event_id, station_id, exercise, load, load_unit, load_kg, repetitions,
    seconds, ended_at, done_by_id, entered_by_id, entered_at, stop_reason, pain_cannot_be_rated, replaced_because)
SELECT session.building_id, session.id, gen_random_uuid(), line.station_id, line.exercise, line.load, line.load_unit,
       line.load_kg, 9, 80, session.started_at + (2 + 6 * line.position) * interval '1 minute', %s, %s,
       session.started_at + interval '40 minutes', '', false, ''
  FROM program_session session
  JOIN program_prescriptionline line ON line.prescription_id = session.prescription_id
 WHERE session.building_id = ANY(%s) AND session.sets_done > 0
"""


def month_of(buildings: int, residents: int) -> tuple[User, list[Building]]:
    """A regional manager and the buildings of the region, with November 2026 written."""
    region = Region.objects.create(name=f"{buildings} buildings")
    manager = factories.with_role(None, "regional manager", region=region)
    there = [factories.BuildingFactory(region=region) for _ in range(buildings)]
    set_scope([*Building.objects.values_list("pk", flat=True)], user_id=None)
    for building in there:
        _people(building, residents, by=manager)
    keys = [building.pk for building in there]
    with connection.cursor() as cursor:
        cursor.execute(SESSIONS, [keys])
        cursor.execute(LINES, [manager.pk, manager.pk, keys])
        cursor.execute(SETS, [manager.pk, manager.pk, keys])
    return manager, there


def _people(building: Building, count: int, *, by: User) -> None:
    unit = Unit.objects.create(building=building, name="North")
    stations = Station.objects.bulk_create(
        factories.StationFactory.build(building=building, name=f"S{place}", position=place) for place in range(STATIONS)
    )
    persons = Person.objects.bulk_create(Person() for _ in range(count))
    residents = Resident.objects.bulk_create(
        factories.ResidentFactory.build(building=building, unit=unit, person=person) for person in persons
    )
    long_ago = datetime(2026, 1, 1, tzinfo=UTC)
    plans = Prescription.objects.bulk_create(
        Prescription(building=building, resident=one, number=1, entered_by=by, entered_at=long_ago) for one in residents
    )
    PrescriptionLine.objects.bulk_create(
        PrescriptionLine(
            building=building,
            prescription=plan,
            station=station,
            position=place,
            exercise=station.exercise,
            load=Decimal(20),
            load_unit="kg",
            load_kg=Decimal(20),
        )
        for plan in plans
        for place, station in enumerate(stations)
    )
