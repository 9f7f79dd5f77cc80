"""Many buildings with residents and a history of sessions, written as rows at once."""

from django.db import connection

from tests.conftest import MONDAY, House, build_house

RESIDENTS = """
WITH new_person AS (
    INSERT INTO program_person (id) SELECT gen_random_uuid() FROM generate_series(1, %(residents)s) RETURNING id
),
new_resident AS (
    INSERT INTO program_resident (building_id, version, person_id, key, unit_id, given_name, family_name, date_of_birth,
        room, bed, since, enrolled_at, help_sixths, escort_people, escort_minutes, helper_notes, recovery_hours,
        sessions_before, preferred_half, agreed_on, agreed_by, agreement_authority)
    SELECT %(building)s, 1, id, id::text, %(unit)s, 'Given', 'Family', '1940-01-01', '', '', '2026-01-01', '2026-01-01',
           2, 0, 0, '{}', 48, 0, '', '2026-01-01', 'the resident', ''
      FROM (SELECT id, left(id::text, 36) FROM new_person) AS person
    RETURNING id
)
INSERT INTO program_prescription (building_id, resident_id, number, sessions_a_week, entered_by_id, entered_at)
SELECT %(building)s, id, 1, 2, %(by)s, '2026-01-01' FROM new_resident
"""
# Two sessions a week: of a hundred 85 done, 7 given up, 4 tried, 4 never recorded; next week's are published.
SESSIONS = """
INSERT INTO program_session (building_id, version, resident_id, person_id, prescription_id, starts_at, ends_at,
    day_closes_at, published_at, help_sixths, escort_sixths, escort_minutes, recovery_hours, left_out, is_locked,
    started_at, sets_done, last_set_ended_at, attempted_at, given_up_at, held_from, held_until, is_cut, is_too_soon)
SELECT plan.building_id, 1, resident.id, resident.person_id, plan.id, planned.at, planned.at + interval '30 minutes',
       date_trunc('day', planned.at) + interval '22 hours', planned.at - interval '5 days', 2, 0, 0, 48, '{}', false,
       CASE WHEN planned.is_done THEN planned.at END, CASE WHEN planned.is_done THEN 5 ELSE 0 END,
       CASE WHEN planned.is_done THEN planned.at + interval '30 minutes' END,
       CASE WHEN planned.is_over AND luck.had BETWEEN 92 AND 95 THEN planned.at END,
       CASE WHEN planned.is_over AND luck.had BETWEEN 85 AND 91 THEN planned.at END,
       CASE WHEN NOT planned.is_over THEN planned.at END,
       CASE WHEN NOT planned.is_over THEN planned.at + interval '48 hours 30 minutes' END, planned.is_over, luck.had = 0
  FROM program_prescription AS plan
  JOIN program_resident AS resident ON resident.id = plan.resident_id
 CROSS JOIN generate_series(-%(weeks)s, 0) AS week (number)
 CROSS JOIN generate_series(0, 1) AS second (number)
 CROSS JOIN LATERAL (SELECT (resident.id * 7 + week.number * 13 + second.number * 31 + 10000) %% 100 AS had) AS luck
 CROSS JOIN LATERAL (
    SELECT at, at < %(moment)s AS is_over, at < %(moment)s AND luck.had < 85 AS is_done
      FROM (SELECT %(moment)s + week.number * interval '7 days'
                   + (resident.id %% 2 + second.number * 3) * interval '1 day'
                   + (resident.id %% 40) * interval '12 minutes' - interval '36 hours') AS one (at)) AS planned
 WHERE plan.building_id = %(building)s
"""


def full_houses(count: int, *, residents: int, weeks: int) -> list[House]:
    """So many buildings, each with so many residents and two sessions a week of so many weeks."""
    houses = [build_house(f"House {number}") for number in range(count)]
    with connection.cursor() as cursor:
        for house in houses:
            kept = {"building": house.building.pk, "by": house.clinician.pk, "moment": MONDAY}
            cursor.execute(RESIDENTS, kept | {"unit": house.unit.pk, "residents": residents})
            cursor.execute(SESSIONS, kept | {"weeks": weeks})
    return houses
