"""No row can point into another building, whoever writes it (control: the key dropped, and it can)."""

import psycopg
import pytest
from django.apps import apps
from django.db import models

from program.models import Slot
from tests.promises.catalog import BEFORE_THE_SCOPE, keys, secured_models, tables_with
from tests.promises.conftest import SUPERUSER, Doorway
from tests.promises.furnished import Furnished

FOREIGN_KEY_VIOLATION = "23503"
TwoHouses = tuple[Furnished, Furnished]


@pytest.mark.django_db
def test_tables_of_a_building_are_joined_by_keys_that_hold_the_building() -> None:
    of_a_building = tables_with("building_id") - BEFORE_THE_SCOPE
    within = [key for key in keys() if key[1] in of_a_building and key[3] in of_a_building]
    joined = {(source, columns[1]) for _, source, columns, _ in within if columns[0] == "building_id"}
    declared = {
        (model._meta.db_table, field.column)
        for model in apps.get_models()
        for field in model._meta.local_fields
        if model._meta.db_table in of_a_building
        and field.is_relation
        and field.related_model._meta.db_table in of_a_building
    }

    assert [key for key in within if len(key[2]) != 2 or key[2][0] != "building_id"] == []
    assert joined == declared
    assert len(joined) == 26


# A copy of a row clashes with it before its keys are looked at: all other rules are taken away, and rolled back.
WITHOUT_OTHER_RULES = """
DO $$
DECLARE found record;
BEGIN
    FOR found IN SELECT conrelid::regclass AS source, conname FROM pg_constraint c WHERE contype IN ('c', 'u', 'x')
        AND connamespace = 'public'::regnamespace
        AND NOT EXISTS (SELECT 1 FROM pg_constraint f WHERE f.contype = 'f' AND f.conindid = c.conindid)
    LOOP EXECUTE format('ALTER TABLE %s DROP CONSTRAINT %I', found.source, found.conname); END LOOP;
    FOR found IN SELECT indexrelid::regclass AS name FROM pg_index i JOIN pg_class k ON k.oid = i.indexrelid
        WHERE indisunique AND relnamespace = 'public'::regnamespace
        AND NOT EXISTS (SELECT 1 FROM pg_constraint c WHERE c.conindid = i.indexrelid)
    LOOP EXECUTE format('DROP INDEX %s', found.name); END LOOP;
END $$
"""


@pytest.mark.django_db(transaction=True)
def test_no_row_can_point_at_a_row_of_another_building(two_houses: TwoHouses, connect_as: Doorway) -> None:
    here, there = two_houses
    states: list[str] = []
    of_a_building = tables_with("building_id") - BEFORE_THE_SCOPE
    # As superuser no policy is asked: the keys alone refuse.
    with connect_as(SUPERUSER) as other:
        other.execute(WITHOUT_OTHER_RULES)
        for model in secured_models():
            for field in model._meta.local_fields:
                target = field.related_model.__name__ if field.is_relation else ""
                is_within = field.is_relation and field.related_model._meta.db_table in of_a_building
                if is_within and target in there.rows and model.__name__ in here.rows:
                    key, foreign = here.rows[model.__name__].pk, there.rows[target].pk
                    states += [_state_of(other, *told) for told in _pointed(model, field.column, key, foreign)]

    assert len(states) == 2 * 26
    assert set(states) == {FOREIGN_KEY_VIOLATION}


@pytest.mark.django_db(transaction=True)
def test_without_its_key_a_row_can_point_into_another_building(two_houses: TwoHouses, connect_as: Doorway) -> None:
    """The control of the test above."""
    here, there = two_houses
    with connect_as(SUPERUSER) as other:
        other.execute(WITHOUT_OTHER_RULES)
        other.execute("ALTER TABLE program_slot DROP CONSTRAINT program_slot_station_is_of_the_same_building")
        pointed = _pointed(Slot, "station_id", here.rows["Slot"].pk, there.rows["Station"].pk)

        assert _state_of(other, *pointed[0]) == "accepted"


def _pointed(model: type[models.Model], column: str, key: object, foreign: object) -> list[tuple[str, list[object]]]:
    """Both ways a row comes to point there: changed, and made as a copy that differs in this alone."""
    table = model._meta.db_table
    columns = [field.column for field in model._meta.local_fields if field.column != "id"]
    copied = ", ".join("%s" if name == column else f'"{name}"' for name in columns)
    quoted = ", ".join(f'"{name}"' for name in columns)
    return [
        (f'UPDATE {table} SET "{column}" = %s WHERE id = %s', [foreign, key]),  # noqa: S608 - names of our own tables
        (f"INSERT INTO {table} ({quoted}) SELECT {copied} FROM {table} WHERE id = %s", [foreign, key]),  # noqa: S608 - names of our own tables
    ]


def _state_of(other: psycopg.Connection, statement: str, parameters: list[object]) -> str:
    try:
        with other.transaction():
            assert other.execute(statement, parameters).rowcount == 1
    except psycopg.Error as error:
        return error.sqlstate or ""
    return "accepted"
