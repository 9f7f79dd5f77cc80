"""Whose rows these are: the scope of a transaction, and the word that every door begins with."""

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, Self

from django.db import connection, models, transaction
from django.db.models.functions import Lower

from program import clock

if TYPE_CHECKING:
    from program.models.people import User
    from program.models.places import Building


@contextmanager
def scope(
    building_ids: Iterable[int],
    *,
    user_id: int | None = None,
    request_id: str = "",
    is_administration: bool = False,
    reported: Iterable[int] = (),
) -> Iterator[None]:
    """A transaction in which the database shows the rows of these buildings only, and writes down who asked.

    The settings end with the transaction, so nothing of them is left on a pooled connection.
    """
    with transaction.atomic():
        set_scope(
            building_ids,
            user_id=user_id,
            request_id=request_id,
            is_administration=is_administration,
            reported=reported,
        )
        yield


def set_scope(
    building_ids: Iterable[int],
    *,
    user_id: int | None,
    request_id: str = "",
    is_administration: bool = False,
    reported: Iterable[int] = (),
) -> None:
    """Say for the rest of the open transaction who asks, and for which buildings.

    Of the buildings in `reported` only saved reports show.
    """
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT set_config('app.buildings', %s, true), set_config('app.user_id', %s, true),"
            " set_config('app.request_id', %s, true), set_config('app.administration', %s, true),"
            " set_config('app.moment', %s, true), set_config('app.persons', '', true),"
            " set_config('app.reported', %s, true)",
            [
                array_of(int(building_id) for building_id in building_ids),
                str(user_id or ""),
                request_id[:64],
                "yes" if is_administration else "",
                clock.now().isoformat(),
                array_of(int(building_id) for building_id in reported),
            ],
        )


@contextmanager
def whole_person(person_ids: Iterable[Any]) -> Iterator[None]:
    """Within the block the database also shows these persons' sessions in other buildings.

    For settling only: recovery holds between any two sessions of a person, wherever they were. No door reads in here.
    """
    with connection.cursor() as cursor:
        cursor.execute("SELECT set_config('app.persons', %s, true)", [array_of(person_ids)])
    try:
        yield
    finally:
        if not connection.needs_rollback:
            with connection.cursor() as cursor:
                cursor.execute("SELECT set_config('app.persons', '', true)")


def array_of(keys: Iterable[Any]) -> str:
    """Keys as PostgreSQL writes an array in a setting."""
    return "{" + ",".join(map(str, keys)) + "}"


class OfBuildingQuerySet(models.QuerySet[Any]):
    """Rows that belong to one building each."""

    def visible_to(self, user: "User") -> Self:
        """Those of the buildings in which the person has a role in the care of residents now."""
        return self.filter(building_id__in=user.care_building_ids())

    def of(self, building: "Building") -> Self:
        return self.filter(building=building)


class BuildingForeignKey(models.ForeignKey[Any, Any]):
    """A reference inside one building.

    The key itself is made by the migration over (building, id), so that no row can point into another building;
    Django cannot declare such a key.
    """

    def __init__(self, to: Any, **options: Any) -> None:
        options.setdefault("on_delete", models.PROTECT)
        options["db_constraint"] = False
        super().__init__(to, **options)


class OfBuilding(models.Model):
    """A row of one building, shown only to those who have a role there."""

    building = models.ForeignKey("program.Building", models.PROTECT, related_name="+")

    objects = OfBuildingQuerySet.as_manager()

    class Meta:
        abstract = True


class Versioned(models.Model):
    """A row that is edited: every change names the version it changes, and makes the next one."""

    version = models.PositiveIntegerField(default=1, editable=False)

    class Meta:
        abstract = True


def is_finite(field: str) -> models.Func:
    """Neither of PostgreSQL's two endless instants, which would hold a station for ever."""
    return models.Func(models.F(field), function="isfinite", output_field=models.BooleanField())


def ends_after_it_starts(name: str, start: str = "starts_at", end: str = "ends_at") -> models.CheckConstraint:
    return models.CheckConstraint(
        name=name,
        condition=models.Q(**{f"{end}__gt": models.F(start)}) & models.Q(is_finite(start)) & models.Q(is_finite(end)),
        violation_error_message="The end must come after the start.",
    )


def only_one(name: str, *fields: str, sentence: str, **condition: Any) -> models.UniqueConstraint:
    return models.UniqueConstraint(
        fields=fields,
        name=name,
        violation_error_message=sentence,
        condition=models.Q(**condition) if condition else None,
    )


def one_spelling(name: str, sentence: str, *, within: str = "building") -> models.UniqueConstraint:
    """No two names in a building that differ only in capitals."""
    return models.UniqueConstraint(within, Lower("name"), name=name, violation_error_message=sentence)
