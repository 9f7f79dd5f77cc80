"""What is scarce is locked before it is judged: the help of a building first, then persons in order of their ids."""

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from uuid import UUID

from django.db import connection

from program.models import Building, Person

# Any numbers, so that our locks are never taken for another part's.
PLAN, ROSTER, REPORT, FLAGS, SEEDING = 4811, 4812, 4813, 4814, 4815


def lock_plan(*, building: Building) -> None:
    """Until the transaction ends nobody else books, moves or publishes in this building."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_advisory_xact_lock(%s, %s)", [PLAN, building.pk])


def lock_persons(*, person_ids: Iterable[UUID]) -> None:
    """Until the transaction ends nobody else writes sessions of these persons, in whatever building."""
    wanted = sorted(set(person_ids))
    # Not the plain FOR UPDATE, which would block every insert that refers to the row.
    locked = Person.objects.select_for_update(no_key=True).filter(pk__in=wanted).order_by("pk")
    if len(list(locked.values_list("pk", flat=True))) != len(wanted):
        raise LookupError("A person to be locked does not exist.")


@contextmanager
def working_on(kind: int, key: int) -> Iterator[bool]:
    """Whether this process alone works on the job within the block; False where another one does.

    Held by the connection, not by a transaction, so that each step of the work may have its own: the database lets go
    when the process is killed.
    """
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_try_advisory_lock(%s, %s)", [kind, key])
        (is_ours,) = cursor.fetchone()
    try:
        yield is_ours
    finally:
        if is_ours and not connection.needs_rollback:
            with connection.cursor() as cursor:
                cursor.execute("SELECT pg_advisory_unlock(%s, %s)", [kind, key])


def is_worked_on(kind: int, key: int) -> bool:
    """Whether some living process works on the job now."""
    with working_on(kind, key) as is_ours:
        return not is_ours
