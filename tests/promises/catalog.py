"""What the database says of itself."""

from typing import Any

from django.apps import apps
from django.db import connection, models

# Roles decide what the scope is, so they are read before there is one; they say nothing of residents.
BEFORE_THE_SCOPE = {"program_role"}
SECURED_OTHERWISE = {"program_apitoken", "program_answer"}


def asked(query: str, *parameters: Any) -> list[tuple[Any, ...]]:
    with connection.cursor() as cursor:
        cursor.execute(query, parameters or None)
        return cursor.fetchall()


def tables_with(column: str) -> set[str]:
    query = (
        "SELECT table_name FROM information_schema.columns"
        " JOIN information_schema.tables USING (table_name, table_schema)"
        " WHERE column_name = %s AND table_schema = 'public' AND table_type = 'BASE TABLE'"
    )
    return {name for (name,) in asked(query, column)}


# Each key between two tables, as (constraint, from table, its columns, to table).
KEYS = """
SELECT con.conname, source.relname, array_agg(att.attname ORDER BY place.n), target.relname
  FROM pg_constraint con
  JOIN pg_class source ON source.oid = con.conrelid
  JOIN pg_class target ON target.oid = con.confrelid
  JOIN unnest(con.conkey) WITH ORDINALITY AS place (attnum, n) ON true
  JOIN pg_attribute att ON att.attrelid = con.conrelid AND att.attnum = place.attnum
 WHERE con.contype = 'f' AND source.relnamespace = 'public'::regnamespace
 GROUP BY con.oid, con.conname, source.relname, target.relname
 ORDER BY 1
"""


def keys() -> list[tuple[str, str, list[str], str]]:
    return asked(KEYS)


def secured_tables() -> set[str]:
    return (tables_with("building_id") | SECURED_OTHERWISE) - BEFORE_THE_SCOPE


def secured_models() -> list[type[models.Model]]:
    return [model for model in apps.get_models() if model._meta.db_table in secured_tables()]
