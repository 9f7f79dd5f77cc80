"""The database keeps buildings apart even where the service forgets to (control: the same reads with a guard gone)."""

from importlib import import_module

import pytest
from django.conf import settings
from django.db import ProgrammingError, transaction

from program.models import Answer, ApiToken, Import, Record, Resident, Session, Slot, Unit, scope
from program.models.ground import granted
from program.models.scoped import whole_person
from tests.promises.catalog import asked, secured_models, secured_tables
from tests.promises.conftest import OWNER, SUPERUSER, Doorway
from tests.promises.furnished import Furnished

TwoHouses = tuple[Furnished, Furnished]
# Shown to a person, not to a building.
OF_A_PERSON = (Answer, ApiToken)


@pytest.mark.django_db
def test_row_security_is_enabled_and_forced_on_every_table_of_a_building() -> None:
    rows = asked(
        "SELECT relname FROM pg_class WHERE relkind IN ('r', 'p') AND relnamespace = 'public'::regnamespace"
        " AND relrowsecurity AND relforcerowsecurity"
    )

    assert {name for (name,) in rows} == secured_tables()
    assert len(secured_tables()) == 26


@pytest.mark.django_db
def test_every_policy_of_a_building_table_asks_for_the_scope() -> None:
    policies = asked("SELECT tablename, coalesce(qual, '') || coalesce(with_check, '') FROM pg_policies")
    open_to_all = {(table, said) for table, said in policies if "app." not in said}

    # The trail alone: only its two functions may write to it, and they must always be able to.
    assert open_to_all == {("program_audit", "true")}


@pytest.mark.django_db
def test_the_role_of_the_service_owns_nothing_and_may_pass_no_guard() -> None:
    role = settings.DATABASE_ROLE
    flags = asked(
        "SELECT rolsuper, rolbypassrls, rolcreaterole, rolcreatedb, rolreplication FROM pg_roles WHERE rolname = %s",
        role,
    )
    owned = asked(
        "SELECT relname FROM pg_class WHERE pg_get_userbyid(relowner) = %s"
        " UNION ALL SELECT proname FROM pg_proc WHERE pg_get_userbyid(proowner) = %s"
        " UNION ALL SELECT nspname FROM pg_namespace WHERE pg_get_userbyid(nspowner) = %s",
        role,
        role,
        role,
    )
    member_of = asked("SELECT pg_get_userbyid(roleid) FROM pg_auth_members WHERE pg_get_userbyid(member) = %s", role)

    assert asked("SELECT current_user") == [(role,)]
    assert flags == [(False, False, False, False, False)]
    assert (owned, member_of) == ([], [])


@pytest.mark.django_db
def test_the_service_may_neither_empty_a_table_nor_make_one() -> None:
    role = settings.DATABASE_ROLE
    granted_rights = {
        right
        for (right,) in asked(
            "SELECT DISTINCT privilege_type FROM information_schema.role_table_grants"
            " WHERE grantee = %s AND table_schema = 'public'",
            role,
        )
    }
    makes = asked("SELECT has_schema_privilege(%s, 'public', 'CREATE')", role)

    # The tests alone are given TRUNCATE, to clear up after themselves; no migration grants it (next test).
    assert granted_rights - {"TRUNCATE"} == {"SELECT", "INSERT", "UPDATE", "DELETE"}
    assert makes == [(False,)]


def test_no_migration_grants_more_than_reading_and_writing_rows() -> None:
    granting = [
        operation.sql
        for name in (
            "program.migrations.0002_whose_rows",
            "program.migrations.0003_people",
            "scheduling.migrations.0002_rosters_of_a_building",
            "scheduling.migrations.0003_flags",
            "reports.migrations.0002_whose_reports",
        )
        for operation in _operations(name)
        if "GRANT" in str(getattr(operation, "sql", ""))
    ]

    assert granting != []
    assert [text for text in granting if "TRUNCATE" in text.replace("BEFORE TRUNCATE", "") or "GRANT ALL" in text] == []
    assert "TRUNCATE" in granted("SELECT, TRUNCATE", "a_table").sql


def _operations(name: str) -> list:
    return import_module(name).Migration.operations


@pytest.mark.django_db
def test_what_a_building_wrote_can_be_deleted_only_where_it_is_made_again() -> None:
    deletable = {
        table
        for (table,) in asked(
            "SELECT table_name FROM information_schema.role_table_grants"
            " WHERE grantee = %s AND privilege_type = 'DELETE' AND table_schema = 'public'",
            settings.DATABASE_ROLE,
        )
    }

    assert deletable == {
        "django_session",
        "mfa_authenticator",
        "program_answer",
        "program_commitmenttime",
        "program_hours",
        "program_pairing",
        "program_shifttime",
        "program_slot",
        "usersessions_usersession",
    }


@pytest.mark.django_db
def test_there_is_no_view_and_no_function_that_reads_as_somebody_else() -> None:
    views = asked("SELECT relname FROM pg_class WHERE relkind IN ('v', 'm') AND relnamespace = 'public'::regnamespace")
    definers = asked("SELECT proname FROM pg_proc WHERE prosecdef AND pronamespace = 'public'::regnamespace ORDER BY 1")
    open_paths = asked(
        "SELECT proname FROM pg_proc WHERE prosecdef AND pronamespace = 'public'::regnamespace"
        " AND NOT coalesce(proconfig::text, '') LIKE '%%search_path=%%'"
    )

    assert views == []
    assert definers == [("write_audit",), ("write_view",)]
    assert open_paths == []


def _counts(mark: int) -> dict[str, tuple[int, int]]:
    """Rows of the building, and of all others, as every manager gives them without a filter."""
    told = {}
    for model in secured_models():
        rows = model._base_manager.all()
        column = "user__roles__building_id" if model in OF_A_PERSON else "building_id"
        others = rows.exclude(**{column: mark})
        if model is Import:
            # A workbook that starts a building has none yet, and is shown to whoever sent it.
            others = others.exclude(building=None, entered_by__roles__building=mark)
        told[model.__name__] = (rows.filter(**{column: mark}).count(), others.count())
    return told


@pytest.mark.django_db(transaction=True)
def test_every_table_shows_the_rows_of_the_scope_and_no_others(two_houses: TwoHouses) -> None:
    here, _ = two_houses
    with scope([here.house.building.pk], user_id=here.house.coordinator.pk):
        told = _counts(here.house.building.pk)

    assert {name for name, (own, _) in told.items() if own == 0} == set()
    assert {name: foreign for name, (_, foreign) in told.items() if foreign} == {}


@pytest.mark.django_db(transaction=True)
def test_without_a_scope_every_table_is_empty(two_houses: TwoHouses) -> None:
    here, _ = two_houses
    assert {name: counts for name, counts in _counts(here.house.building.pk).items() if counts != (0, 0)} == {}

    # Also after a scope has ended on the same connection, where the setting reads "" and no longer NULL.
    with scope([here.house.building.pk], user_id=here.house.coordinator.pk):
        assert Session.objects.count() == 1
    assert {name: counts for name, counts in _counts(here.house.building.pk).items() if counts != (0, 0)} == {}


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize(
    ("role", "without", "foreign"),
    [
        (SUPERUSER, None, 24),
        (OWNER, None, 0),
        (OWNER, "ALTER TABLE {table} NO FORCE ROW LEVEL SECURITY", 24),
        (settings.DATABASE_ROLE, None, 0),
    ],
)
def test_a_guard_taken_out_shows_foreign_rows(
    two_houses: TwoHouses, connect_as: Doorway, role: str, without: str | None, foreign: int
) -> None:
    """The control: the same reads under the scope of one building; 24 tables leak with the guard gone, none with it."""
    here, _ = two_houses
    leaking = 0
    with connect_as(role) as other:
        other.execute("SELECT set_config('app.buildings', %s, true)", [f"{{{here.house.building.pk}}}"])
        for model in secured_models():
            table = model._meta.db_table
            if without:
                other.execute(without.format(table=table))
            if model not in OF_A_PERSON:
                query = f"SELECT count(*) FROM {table} WHERE building_id <> %s"  # noqa: S608 - names of our own tables
                leaking += other.execute(query, [here.house.building.pk]).fetchone()[0] > 0

    assert leaking == foreign


@pytest.mark.django_db(transaction=True)
def test_a_row_of_another_building_is_neither_written_nor_changed(two_houses: TwoHouses) -> None:
    here, there = two_houses
    foreign = there.house.building.pk
    with scope([here.house.building.pk], user_id=here.house.coordinator.pk):
        with pytest.raises(ProgrammingError, match="row-level security"), transaction.atomic():
            Unit.objects.create(building_id=foreign, name="slipped in")
        with pytest.raises(ProgrammingError, match="row-level security"), transaction.atomic():
            Unit.objects.filter(pk=here.rows["Unit"].pk).update(building_id=foreign)
        assert Unit.objects.filter(pk=there.rows["Unit"].pk).update(name="changed") == 0


@pytest.mark.django_db(transaction=True)
def test_settling_sees_a_persons_sessions_and_nothing_else_of_the_other_building(two_houses: TwoHouses) -> None:
    here, there = two_houses
    with scope([here.house.building.pk]), whole_person([there.rows["Session"].person_id]):
        seen = list(Session.objects.exclude(building=here.house.building).values_list("pk", flat=True))
        others = [
            model._base_manager.exclude(building=here.house.building).count() for model in (Resident, Slot, Record)
        ]

    assert seen == [there.rows["Session"].pk]
    assert others == [0, 0, 0]
