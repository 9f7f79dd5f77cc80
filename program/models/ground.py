"""What a migration adds to each table beyond Django's reach: whose rows show, keys within a building, the audit trail.

Every function returns SQL that the migration runs, forward only: a promise is not taken back.
"""

from django.conf import settings
from django.db.migrations.operations.special import RunSQL

# NULLIF: once a first SET LOCAL has ended the setting reads '', not NULL. The cast stands outside the sub-select,
# which PostgreSQL then evaluates once a statement.
IN_SCOPE = "{column} = ANY ((SELECT NULLIF(current_setting('app.buildings', true), ''))::bigint[])"
ASKED_BY = "{column} = (SELECT NULLIF(current_setting('app.user_id', true), ''))::bigint"


def secured(table: str) -> str:
    return f"ALTER TABLE {table} ENABLE ROW LEVEL SECURITY; ALTER TABLE {table} FORCE ROW LEVEL SECURITY;"


def shown_by_building(table: str, column: str = "building_id") -> RunSQL:
    """Rows exist only for transactions whose scope holds their building; and rows of one building may be pointed at."""
    in_scope = IN_SCOPE.format(column=column)
    return RunSQL(
        f"{secured(table)}"
        f"CREATE POLICY rows_of_the_buildings_in_scope ON {table} USING ({in_scope}) WITH CHECK ({in_scope});"
        f"ALTER TABLE {table} ADD CONSTRAINT {table}_is_of_one_building UNIQUE (building_id, id);",
        RunSQL.noop,
    )


def same_building(table: str, **targets: str) -> RunSQL:
    """Keys over (building, id): no row can point at a row of another building. `targets`: column to table."""
    keys = "".join(
        f"ALTER TABLE {table} ADD CONSTRAINT {table}_{column}_is_of_the_same_building"
        f" FOREIGN KEY (building_id, {column}_id) REFERENCES {target} (building_id, id)"
        " DEFERRABLE INITIALLY IMMEDIATE;"
        for column, target in targets.items()
    )
    return RunSQL(keys, RunSQL.noop)


def audited(*tables: str) -> RunSQL:
    """Every change of a row of these tables writes a line of the trail, in the same transaction."""
    return RunSQL(
        "".join(
            f"CREATE TRIGGER every_change_is_on_record AFTER INSERT OR UPDATE OR DELETE ON {table}"
            " FOR EACH ROW EXECUTE FUNCTION write_audit();"
            for table in tables
        ),
        RunSQL.noop,
    )


def granted(rights: str, *tables: str) -> RunSQL:
    """What the role of the service may do, and nothing beyond."""
    role = f'"{settings.DATABASE_ROLE}"'
    return RunSQL(
        "".join(f"REVOKE ALL ON {table} FROM {role}; GRANT {rights} ON {table} TO {role};" for table in tables),
        RunSQL.noop,
    )


WRITE_AUDIT = """
CREATE FUNCTION write_audit() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public AS $$
DECLARE
    -- Secrets, and long answers that are kept where they stand.
    kept_out text[] := '{password,last_login,progress,problem,answer,rows}';
    old_row jsonb := CASE WHEN TG_OP <> 'INSERT' THEN to_jsonb(OLD) - kept_out END;
    new_row jsonb := CASE WHEN TG_OP <> 'DELETE' THEN to_jsonb(NEW) - kept_out END;
    row_now jsonb := coalesce(new_row, old_row);
    was jsonb := old_row;
    is_now jsonb := new_row;
BEGIN
    IF TG_OP = 'UPDATE' THEN
        SELECT jsonb_object_agg(key, value) INTO was
          FROM jsonb_each(old_row) WHERE value IS DISTINCT FROM new_row -> key;
        SELECT jsonb_object_agg(key, value) INTO is_now
          FROM jsonb_each(new_row) WHERE value IS DISTINCT FROM old_row -> key;
        IF was IS NULL THEN
            RETURN NULL;
        END IF;
    END IF;
    INSERT INTO program_audit (building_id, user_id, request_id, action, noun, row_id, before, after, resident_ids,
                               happened_at, written_at)
    VALUES (
        CASE TG_TABLE_NAME WHEN 'program_building' THEN NULL ELSE (row_now ->> 'building_id')::bigint END,
        NULLIF(current_setting('app.user_id', true), '')::bigint,
        coalesce(current_setting('app.request_id', true), ''),
        lower(TG_OP),
        replace(replace(TG_TABLE_NAME, 'program_', ''), 'scheduling_', ''),
        row_now ->> 'id',
        was,
        is_now,
        CASE
            WHEN TG_TABLE_NAME = 'program_resident' THEN ARRAY[(row_now ->> 'id')::bigint]
            WHEN row_now ? 'resident_id' THEN ARRAY[(row_now ->> 'resident_id')::bigint]
            ELSE '{}'
        END,
        coalesce(NULLIF(current_setting('app.moment', true), '')::timestamptz, clock_timestamp()),
        clock_timestamp()
    );
    RETURN NULL;
END
$$;

CREATE FUNCTION write_view(building bigint, what text, residents bigint[]) RETURNS void
LANGUAGE sql SECURITY DEFINER SET search_path = pg_catalog, public AS $$
    INSERT INTO program_audit (building_id, user_id, request_id, action, noun, row_id, resident_ids,
                               happened_at, written_at)
    VALUES (
        building,
        NULLIF(current_setting('app.user_id', true), '')::bigint,
        coalesce(current_setting('app.request_id', true), ''),
        'view', left(what, 60), '', residents,
        coalesce(NULLIF(current_setting('app.moment', true), '')::timestamptz, clock_timestamp()),
        clock_timestamp()
    );
$$;
"""
