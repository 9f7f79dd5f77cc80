"""What is scarce is locked before it is judged: the help of a building first, then persons in order of their ids."""

from collections.abc import Iterable
from uuid import UUID

from django.db import connection

from program.models import Building, Person

# Any number, so that our locks are never taken for another part's.
PLAN = 4811


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
