"""One pass over any number of buildings: what should be flagged is opened or brought up to date, the rest closes."""

from collections.abc import Sequence
from dataclasses import dataclass

from django.db import connection

from program import clock
from program.actions.locks import FLAGS
from scheduling.flags.ground import PLACE, STAY, VISIT
from scheduling.flags.of_residents import DUE, INTERRUPTED, MISSED, OVERDUE, WEEK
from scheduling.flags.of_sessions import LATE, NOT_RECORDED, OVERTAKEN, TOO_SOON

# A pass over all buildings waits for those over one, and they for it; passes over different buildings do not meet.
# The rows are read after the lock: whoever comes second sees what the first has seen, or newer.
LOCK_ONE = "SELECT pg_advisory_xact_lock_shared(%(key)s, 0), pg_advisory_xact_lock(%(key)s, %(building)s)"
LOCK_ALL = "SELECT pg_advisory_xact_lock(%(key)s, 0)"

KINDS = ("late", "missed", "not_recorded", "due", "overdue", "interrupted", "overtaken", "too_soon")
COLUMNS = "building_id, kind, cause, sessions, residents, since, due_at, owner"
TOLD = "sessions, residents, since, due_at, owner"
FOUND = ",\n".join(
    [PLACE, VISIT, STAY, WEEK, LATE, MISSED, NOT_RECORDED, DUE, OVERDUE, INTERRUPTED, OVERTAKEN, TOO_SOON]
)
WANTED = (
    f"WITH {FOUND},\nwanted AS MATERIALIZED ({' UNION ALL '.join(f'SELECT {COLUMNS} FROM {one}' for one in KINDS)})"  # noqa: S608 - made of our own words
)

# What is open and no longer wanted is found by counting both in one heap: no plan can know how many there are.
REFRESH = f"""{WANTED},
closed AS (
    UPDATE scheduling_flag AS flag SET closed_at = greatest(flag.opened_at, %(moment)s)
     WHERE flag.id = ANY(ARRAY(
        SELECT max(heap.id)
          FROM (SELECT building_id, kind, cause, id FROM scheduling_flag
                 WHERE closed_at IS NULL AND building_id = ANY(%(building_ids)s)
                UNION ALL
                SELECT building_id, kind, cause, NULL FROM wanted) AS heap
         GROUP BY heap.building_id, heap.kind, heap.cause
        HAVING count(heap.id) = count(*)))
       AND flag.closed_at IS NULL
    RETURNING flag.id
),
written AS (
    INSERT INTO scheduling_flag AS flag ({COLUMNS}, opened_at)
    SELECT {COLUMNS}, %(moment)s FROM wanted ORDER BY since, building_id, kind, cause
        ON CONFLICT (building_id, kind, cause) WHERE closed_at IS NULL
        DO UPDATE SET ({TOLD}) = ROW ({", ".join(f"excluded.{name}" for name in TOLD.split(", "))})
     WHERE ({", ".join(f"flag.{name}" for name in TOLD.split(", "))})
           IS DISTINCT FROM ({", ".join(f"excluded.{name}" for name in TOLD.split(", "))})
    RETURNING xmax = 0 AS is_new
)
SELECT (SELECT count(*) FROM written WHERE is_new), (SELECT count(*) FROM closed)
"""  # noqa: S608 - made of our own words


@dataclass(frozen=True, slots=True)
class Refreshed:
    """How many flags a pass opened and closed."""

    opened: int
    closed: int


def refresh(building_ids: Sequence[int]) -> Refreshed:
    """Two statements, whatever the number of buildings; the scope must hold them, in an open transaction."""
    with connection.cursor() as cursor:
        if len(building_ids) == 1:
            cursor.execute(LOCK_ONE, {"key": FLAGS, "building": building_ids[0]})
        else:
            cursor.execute(LOCK_ALL, {"key": FLAGS})
        # The moment is taken with the lock: whoever had to wait for it judges by a later one than who was first.
        cursor.execute(REFRESH, {"moment": clock.now(), "building_ids": list(building_ids)})
        opened, closed = cursor.fetchone()
    return Refreshed(opened, closed)
