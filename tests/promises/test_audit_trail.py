"""Every change is on record, once, in its own transaction; and the record is nobody's to change."""

from collections.abc import Iterator
from contextlib import contextmanager, suppress
from datetime import timedelta

import psycopg
import pytest
from django.apps import apps
from django.db import DatabaseError, connection, models, transaction

from program.actions.changing import change
from program.actions.places import change_building
from program.models import Audit, Hours, Resident, User, scope
from tests.conftest import MONDAY, House
from tests.promises.catalog import asked
from tests.promises.conftest import OWNER, SUPERUSER, Doorway
from tests.promises.furnished import Furnished

TwoHouses = tuple[Furnished, Furnished]
NOT_PRIVILEGED = "42501"
UNRECORDED = {
    # The trail itself; answers and sign-ins that pass by themselves; what follows from a commitment and is made again.
    "program_audit",
    "program_answer",
    "program_commitmenttime",
    # Flags are derived from rows that are on record, and made again every minute.
    "scheduling_flag",
    # A number without a name: the stays that point at it are on record.
    "program_person",
    # What secrets are compared with: what happens to them is a sign-in event, which is on record.
    "program_link",
    "program_tries",
    "program_apitoken",
}
# A report says itself when and for whom it was made, and then stays as it is.
PASS_BY = {"Answer", "ApiToken", "CommitmentTime", "Flag", "Report"}
# Rows that are written once: their first writing is the only change there is, beside being replaced.
WRITTEN_ONCE = {"Prescription", "PrescriptionLine", "Pairing", "Run"}


def our_tables() -> set[str]:
    return {model._meta.db_table for model in apps.get_models() if model._meta.app_label in {"program", "scheduling"}}


@contextmanager
def recorded() -> Iterator[list[Audit]]:
    """The lines of the trail that the block adds."""
    lines: list[Audit] = []
    last = Audit.objects.order_by("-pk").values_list("pk", flat=True).first() or 0
    yield lines
    lines += Audit.objects.filter(pk__gt=last).order_by("pk")


def a_change(row: models.Model) -> None:
    """Write one column of the row anew, through the database alone."""
    names = {
        "Set": ("replaced_because", "entered twice"),
        "Record": ("replaced_because", "entered twice"),
        "Slot": ("is_held", False),
        "Session": ("is_locked", True),
        "Region": ("name", "Another region"),
        "User": ("name", "Another name"),
        "Role": ("until", "2030-01-01T00:00:00Z"),
        "Unit": ("name", "Another wing"),
        "Import": ("counts", {"new": 1}),
    }
    name, worth = names.get(type(row).__name__, ("version", 7))
    assert type(row)._base_manager.filter(pk=row.pk).update(**{name: worth}) == 1


@pytest.mark.django_db
def test_every_table_of_ours_writes_to_the_trail() -> None:
    triggers = asked(
        "SELECT tgrelid::regclass::text FROM pg_trigger WHERE tgname = 'every_change_is_on_record' AND tgenabled = 'O'"
    )

    assert our_tables() - {table for (table,) in triggers} == UNRECORDED


@pytest.mark.django_db(transaction=True)
def test_a_change_of_any_row_is_one_line_in_its_own_transaction(two_houses: TwoHouses) -> None:
    here, _ = two_houses
    house = here.house
    rows = here.rows | {"Region": house.building.region, "User": house.aide, "Role": house.aide.roles.get()}
    changeable = [row for name, row in rows.items() if name not in PASS_BY | WRITTEN_ONCE]
    told, left = {}, {}
    as_coordinator = {"user_id": house.coordinator.pk, "is_administration": True}
    for row in changeable:
        with scope([house.building.pk], **as_coordinator):
            with recorded() as lines:
                a_change(row)
            told[type(row).__name__] = len(lines)
            transaction.set_rollback(True)
        with scope([house.building.pk], **as_coordinator):
            left[type(row).__name__] = Audit.objects.filter(pk__in=[one.pk for one in lines]).count()

    assert told == dict.fromkeys(told, 1)
    assert left == dict.fromkeys(told, 0)
    assert set(told) == {type(row).__name__ for row in rows.values()} - PASS_BY - WRITTEN_ONCE


@pytest.mark.django_db(transaction=True)
def test_the_line_says_who_what_when_and_what_was_there_before(two_houses: TwoHouses) -> None:
    here, _ = two_houses
    house, resident = here.house, here.rows["Resident"]
    with scope([house.building.pk], user_id=house.coordinator.pk, request_id="r-1"), recorded() as lines:
        change(resident, version=None, room="12 B")

    assert [
        (one.user_id, one.request_id, one.action, one.noun, one.row_id, one.building_id, one.resident_ids)
        for one in lines
    ] == [(house.coordinator.pk, "r-1", "update", "resident", str(resident.pk), house.building.pk, [resident.pk])]
    assert lines[0].before == {"room": "7 Arrowfen", "version": 1}
    assert lines[0].after == {"room": "12 B", "version": 2}


@pytest.mark.django_db(transaction=True)
def test_a_deletion_keeps_the_whole_row(two_houses: TwoHouses) -> None:
    here, _ = two_houses
    hours = here.rows["Hours"]
    key = hours.pk
    with scope([here.house.building.pk]), recorded() as lines:
        Hours.objects.get(pk=key).delete()

    assert [(one.action, one.row_id, one.after, one.before["starts_minute"]) for one in lines] == [
        ("delete", str(key), None, hours.starts_minute)
    ]


@pytest.mark.django_db(transaction=True)
def test_a_write_that_changes_nothing_is_no_change(two_houses: TwoHouses) -> None:
    here, _ = two_houses
    with scope([here.house.building.pk]), recorded() as lines:
        Resident.objects.filter(pk=here.rows["Resident"].pk).update(room="7 Arrowfen")

    assert lines == []


@pytest.mark.django_db(transaction=True)
def test_no_password_is_ever_on_record() -> None:
    with scope([], user_id=None, is_administration=True), recorded() as lines:
        someone = User.objects.create_user(username="someone", name="Someone", password="a-word-that-is-secret")
        before = someone.password
        someone.set_password("another-word-that-is-secret")
        someone.save()

    told = str([(one.before, one.after) for one in lines])
    assert [one.action for one in lines] == ["insert"]
    assert [secret for secret in ("password", before, someone.password) if secret in told] == []


@pytest.mark.django_db(transaction=True)
def test_a_refused_action_leaves_no_line(two_houses: TwoHouses) -> None:
    here, _ = two_houses
    with scope([here.house.building.pk], is_administration=True):
        with recorded() as lines, suppress(RuntimeError), transaction.atomic():
            change_building(building=here.house.building, margin_minutes=15)
            raise RuntimeError("after the change, before its commit")
        here.house.building.refresh_from_db()
        with recorded() as kept:
            change_building(building=here.house.building, margin_minutes=15)

    assert [one.noun for one in kept] == ["building"]
    assert lines == []


@pytest.mark.django_db(transaction=True)
def test_a_look_is_written_by_its_function(two_houses: TwoHouses) -> None:
    here, _ = two_houses
    building, resident = here.house.building.pk, here.rows["Resident"].pk
    with scope([building], user_id=here.house.aide.pk, request_id="r-2"), recorded() as lines:
        asked("SELECT write_view(%s, %s, %s)::text", building, "resident", [resident])

    assert [
        (one.action, one.noun, one.user_id, one.request_id, one.building_id, one.resident_ids) for one in lines
    ] == [("view", "resident", here.house.aide.pk, "r-2", building, [resident])]


SILENCERS = [
    "UPDATE program_audit SET noun = 'nothing'",
    "DELETE FROM program_audit",
    "INSERT INTO program_audit (action, noun, request_id, row_id, resident_ids, happened_at, written_at)"
    " VALUES ('insert', 'resident', '', '', '{}', now(), now())",
    "DROP TABLE program_audit",
    "ALTER TABLE program_resident DISABLE TRIGGER every_change_is_on_record",
    "DROP TRIGGER every_change_is_on_record ON program_resident",
    "DROP FUNCTION write_audit() CASCADE",
    "CREATE OR REPLACE FUNCTION write_audit() RETURNS trigger LANGUAGE plpgsql AS 'BEGIN RETURN NULL; END'",
    "SET session_replication_role = replica",
    "SELECT set_config('session_replication_role', 'replica', true)",
    "ALTER TABLE program_audit DISABLE ROW LEVEL SECURITY",
    "SET ROLE service_owner",
]


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("statement", SILENCERS)
def test_the_service_can_neither_rewrite_nor_silence_the_trail(two_houses: TwoHouses, statement: str) -> None:
    here, _ = two_houses
    with scope([here.house.building.pk]):
        before = Audit.objects.count()
        with pytest.raises(DatabaseError) as refused, transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(statement)
        assert Audit.objects.count() == before

    assert refused.value.__cause__.sqlstate == NOT_PRIVILEGED


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("statement", SILENCERS[:2])
@pytest.mark.parametrize("role", [OWNER, SUPERUSER])
def test_owner_and_superuser_are_stopped_by_the_trigger(
    two_houses: TwoHouses, connect_as: Doorway, role: str, statement: str
) -> None:
    assert two_houses
    with connect_as(role) as other:
        if role == OWNER:
            # Forced, the owner finds no row to change; let it see them, and the trigger is what stops it.
            other.execute("ALTER TABLE program_audit NO FORCE ROW LEVEL SECURITY")
        with pytest.raises(psycopg.errors.InsufficientPrivilege, match="audit trail cannot be changed"):
            other.execute(statement)


@pytest.mark.django_db(transaction=True)
def test_the_owner_cannot_empty_the_trail_as_the_migrations_leave_it(
    two_houses: TwoHouses, connect_as: Doorway
) -> None:
    assert two_houses
    with connect_as(OWNER) as other:
        # The tests switch this trigger off, to clear up after themselves.
        other.execute("ALTER TABLE program_audit ENABLE TRIGGER nobody_empties_the_trail")
        with pytest.raises(psycopg.errors.InsufficientPrivilege, match="audit trail cannot be changed"):
            other.execute("TRUNCATE program_audit")


@pytest.mark.django_db(transaction=True)
def test_without_its_triggers_the_trail_is_silent_and_can_be_rewritten(
    two_houses: TwoHouses, connect_as: Doorway
) -> None:
    """The control: with the guards gone nothing is written, and what was written goes."""
    here, _ = two_houses
    with connect_as(SUPERUSER) as other:
        count = "SELECT count(*) FROM program_audit"
        other.execute("ALTER TABLE program_resident DISABLE TRIGGER every_change_is_on_record")
        before = other.execute(count).fetchone()
        other.execute("UPDATE program_resident SET room = '1' WHERE id = %s", [here.rows["Resident"].pk])
        assert other.execute(count).fetchone() == before

        other.execute("ALTER TABLE program_audit DISABLE TRIGGER nobody_rewrites_the_trail")
        assert other.execute("DELETE FROM program_audit").rowcount == before[0] > 0


@pytest.mark.django_db
def test_the_line_has_the_databases_own_time_beside_the_services(arrowfen: House) -> None:
    arrowfen.resident()
    line = Audit.objects.filter(noun="resident").order_by("-pk").first()
    [(server_time,)] = asked("SELECT clock_timestamp()")

    assert line.happened_at == MONDAY
    assert abs(server_time - line.written_at) < timedelta(minutes=1)
