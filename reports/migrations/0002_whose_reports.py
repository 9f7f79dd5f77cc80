"""Whose reports these are: shown to the building and to those who answer for its reports; what is made stays made."""

from django.db import migrations

from program.models.ground import IN_SCOPE, audited, granted, secured

REPORTED = "building_id = ANY ((SELECT NULLIF(current_setting('app.reported', true), ''))::bigint[])"
SHOWN = f"{IN_SCOPE.format(column='building_id')} OR {REPORTED}"

WHOSE = f"""
{secured("reports_report")}
CREATE POLICY reports_of_the_buildings_in_scope ON reports_report USING ({SHOWN}) WITH CHECK ({SHOWN});
ALTER TABLE reports_report ADD CONSTRAINT reports_report_is_of_one_building UNIQUE (building_id, id);
"""

# Instead of lines in the trail: the figures would be in them whole, and nobody's care is in the figures. Who asked
# stands on the run, and a report that was made cannot be changed at all; to make it again is to make another.
MADE_STAYS = """
CREATE FUNCTION a_made_report_stays() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION 'A report that was made cannot be changed.' USING ERRCODE = 'insufficient_privilege';
END
$$;
CREATE TRIGGER a_made_report_stays BEFORE UPDATE ON reports_report
    FOR EACH ROW WHEN (OLD.state = 'made') EXECUTE FUNCTION a_made_report_stays();
"""


class Migration(migrations.Migration):
    dependencies = [("reports", "0001_reports"), ("program", "0002_whose_rows")]

    operations = [
        migrations.RunSQL(WHOSE + MADE_STAYS, migrations.RunSQL.noop),
        audited("reports_run"),
        granted("SELECT, INSERT, UPDATE", "reports_report"),
        granted("SELECT, INSERT", "reports_run"),
    ]
