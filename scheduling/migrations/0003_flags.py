"""What is due: flags, derived from other rows and so without a place of their own in the audit trail."""

import django.contrib.postgres.fields
import django.db.models.deletion
from django.db import migrations, models

from program.models.ground import granted, shown_by_building


class Migration(migrations.Migration):
    dependencies = [("program", "0002_whose_rows"), ("scheduling", "0002_rosters_of_a_building")]

    operations = [
        migrations.CreateModel(
            name="Flag",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("late", "Late"),
                            ("missed", "Missed"),
                            ("not recorded", "Not Recorded"),
                            ("due", "Due"),
                            ("overdue", "Overdue"),
                            ("interrupted", "Interrupted"),
                            ("overtaken", "Overtaken"),
                            ("too soon", "Too Soon"),
                        ],
                        max_length=12,
                    ),
                ),
                ("cause", models.CharField(max_length=80)),
                (
                    "sessions",
                    django.contrib.postgres.fields.ArrayField(
                        base_field=models.BigIntegerField(), blank=True, default=list, size=None
                    ),
                ),
                (
                    "residents",
                    django.contrib.postgres.fields.ArrayField(
                        base_field=models.BigIntegerField(), blank=True, default=list, size=None
                    ),
                ),
                ("since", models.DateTimeField()),
                ("due_at", models.DateTimeField(blank=True, null=True)),
                (
                    "owner",
                    models.CharField(
                        choices=[("coordinator", "Coordinator"), ("staff", "Staff"), ("clinician", "Clinician")],
                        max_length=11,
                    ),
                ),
                ("opened_at", models.DateTimeField()),
                ("closed_at", models.DateTimeField(blank=True, null=True)),
                (
                    "building",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to="program.building"
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.UniqueConstraint(
                        condition=models.Q(("closed_at__isnull", True)),
                        fields=("building", "kind", "cause"),
                        name="one_open_flag_a_cause",
                        violation_error_message="That is flagged already.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("closed_at__isnull", True), ("closed_at__gte", models.F("opened_at")), _connector="OR"
                        ),
                        name="a_flag_closes_after_it_opens",
                        violation_error_message="A flag cannot close before it opens.",
                    ),
                ],
            },
        ),
        shown_by_building("scheduling_flag"),
        # Closing sets a time: what was flagged stays as history. Not audited: every row it follows from is.
        granted("SELECT, INSERT, UPDATE", "scheduling_flag"),
    ]
