"""Whose rows these are, keys that stay within a building, the audit trail, and what the service's role may do."""

from django.conf import settings
from django.db import migrations

from program.models.ground import (
    ASKED_BY,
    IN_SCOPE,
    WRITE_AUDIT,
    audited,
    granted,
    same_building,
    secured,
    shown_by_building,
)

OF_A_BUILDING = [
    "program_unit",
    "program_hours",
    "program_closure",
    "program_station",
    "program_shift",
    "program_shifttime",
    "program_resident",
    "program_pairing",
    "program_clearance",
    "program_hold",
    "program_prescription",
    "program_prescriptionline",
    "program_commitment",
    "program_commitmenttime",
    "program_session",
    "program_slot",
    "program_record",
    "program_set",
]

PERSON_BEING_SETTLED = "person_id = ANY ((SELECT NULLIF(current_setting('app.persons', true), ''))::uuid[])"

SETTLING = f"""
CREATE POLICY sessions_of_the_persons_being_settled ON program_session FOR SELECT USING ({PERSON_BEING_SETTLED});
CREATE POLICY spans_of_the_persons_being_settled ON program_session FOR UPDATE
    USING ({PERSON_BEING_SETTLED}) WITH CHECK ({PERSON_BEING_SETTLED});
"""

# The trail: shown by building, what belongs to none to administrators alone; only the two functions add to it.
TRAIL = f"""
{secured("program_audit")}
CREATE POLICY trail_of_the_buildings_in_scope ON program_audit FOR SELECT USING (
    {IN_SCOPE.format(column="building_id")}
    OR (building_id IS NULL AND current_setting('app.administration', true) = 'yes')
);
CREATE POLICY everything_is_on_record ON program_audit FOR INSERT WITH CHECK (true);
CREATE FUNCTION nobody_rewrites_the_trail() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION 'The audit trail cannot be changed.' USING ERRCODE = 'insufficient_privilege';
END
$$;
CREATE TRIGGER nobody_rewrites_the_trail BEFORE UPDATE OR DELETE ON program_audit
    FOR EACH ROW EXECUTE FUNCTION nobody_rewrites_the_trail();
CREATE TRIGGER nobody_empties_the_trail BEFORE TRUNCATE ON program_audit
    FOR EACH STATEMENT EXECUTE FUNCTION nobody_rewrites_the_trail();
"""

ARRIVALS = f"""
{secured("program_import")}
CREATE POLICY imports_of_the_buildings_in_scope ON program_import
    USING ({IN_SCOPE.format(column="building_id")} OR (building_id IS NULL AND {ASKED_BY.format(column="entered_by_id")}))
    WITH CHECK ({IN_SCOPE.format(column="building_id")} OR (building_id IS NULL AND {ASKED_BY.format(column="entered_by_id")}));
{secured("program_answer")}
CREATE POLICY answers_to_the_person_who_asked ON program_answer
    USING ({ASKED_BY.format(column="user_id")}) WITH CHECK ({ASKED_BY.format(column="user_id")});
"""

ROLE = f'"{settings.DATABASE_ROLE}"'
DEFAULTS = f"""
GRANT USAGE ON SCHEMA public TO {ROLE};
GRANT SELECT, INSERT, UPDATE ON ALL TABLES IN SCHEMA public TO {ROLE};
GRANT USAGE, SELECT ON ALL SEQUENCES IN SCHEMA public TO {ROLE};
ALTER DEFAULT PRIVILEGES IN SCHEMA public GRANT SELECT, INSERT, UPDATE ON TABLES TO {ROLE};
ALTER DEFAULT PRIVILEGES IN SCHEMA public GRANT USAGE, SELECT ON SEQUENCES TO {ROLE};
REVOKE INSERT, UPDATE ON django_migrations FROM {ROLE};
REVOKE EXECUTE ON FUNCTION write_view(bigint, text, bigint[]) FROM PUBLIC;
GRANT EXECUTE ON FUNCTION write_view(bigint, text, bigint[]) TO {ROLE};
"""

# Lines that are only ever replaced: the rest of the row is nobody's to change.
WRITTEN_ONCE = "SELECT, INSERT, UPDATE (replaced_at, replaced_by_id, replaced_because)"


class Migration(migrations.Migration):
    dependencies = [
        ("program", "0001_what_is_true"),
        ("sessions", "0001_initial"),
        ("account", "0001_initial"),
        ("contenttypes", "0002_remove_content_type_name"),
    ]

    operations = [
        migrations.RunSQL(WRITE_AUDIT, migrations.RunSQL.noop),
        *[shown_by_building(table) for table in OF_A_BUILDING],
        migrations.RunSQL(SETTLING + TRAIL + ARRIVALS, migrations.RunSQL.noop),
        same_building("program_hours", unit="program_unit"),
        same_building("program_closure", unit="program_unit", station="program_station"),
        same_building("program_shifttime", shift="program_shift"),
        same_building("program_resident", unit="program_unit"),
        same_building("program_pairing", first="program_resident", second="program_resident"),
        same_building("program_clearance", resident="program_resident"),
        same_building("program_hold", resident="program_resident"),
        same_building("program_prescription", resident="program_resident"),
        same_building("program_prescriptionline", prescription="program_prescription", station="program_station"),
        same_building("program_commitment", resident="program_resident"),
        same_building("program_commitmenttime", commitment="program_commitment", resident="program_resident"),
        same_building("program_session", resident="program_resident", prescription="program_prescription"),
        same_building("program_slot", session="program_session", station="program_station"),
        same_building("program_record", session="program_session"),
        same_building(
            "program_set", session="program_session", station="program_station", line="program_prescriptionline"
        ),
        # Times of a commitment follow from it and are made again; everything else is on record.
        audited(*[table for table in OF_A_BUILDING if table != "program_commitmenttime"]),
        audited("program_region", "program_building", "program_user", "program_role", "program_import"),
        migrations.RunSQL(DEFAULTS, migrations.RunSQL.noop),
        granted("SELECT", "program_audit"),
        granted("SELECT, INSERT, DELETE", "program_commitmenttime", "program_pairing"),
        granted("SELECT, INSERT, UPDATE, DELETE", "program_hours", "program_shifttime", "program_slot"),
        granted("SELECT, INSERT, UPDATE, DELETE", "program_answer", "django_session"),
        granted("SELECT, INSERT", "program_prescription", "program_prescriptionline"),
        granted(WRITTEN_ONCE, "program_record", "program_set"),
    ]
