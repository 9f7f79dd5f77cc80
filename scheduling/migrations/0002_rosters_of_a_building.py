"""Whose rosters these are, and their place in the audit trail."""

from django.db import migrations

from program.models.ground import audited, shown_by_building


class Migration(migrations.Migration):
    dependencies = [("scheduling", "0001_what_is_proposed"), ("program", "0002_whose_rows")]

    operations = [shown_by_building("scheduling_roster"), audited("scheduling_roster")]
