"""What happens on the day: incidents, and how a start made sure of the person."""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

import program.models.scoped
from program.models.ground import audited, granted, same_building, shown_by_building


class Migration(migrations.Migration):
    dependencies = [
        ("program", "0003_people"),
    ]

    operations = [
        migrations.AddField(
            model_name="record",
            name="identified_by",
            field=models.CharField(blank=True, max_length=30),
        ),
        migrations.CreateModel(
            name="Incident",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("version", models.PositiveIntegerField(default=1, editable=False)),
                ("event_id", models.UUIDField()),
                ("sign", models.CharField(max_length=40)),
                ("note", models.CharField(blank=True, max_length=300)),
                ("happened_at", models.DateTimeField()),
                ("phone_happened_at", models.DateTimeField(blank=True, null=True)),
                ("entered_at", models.DateTimeField()),
                ("seen_at", models.DateTimeField(blank=True, null=True)),
                ("seen_note", models.CharField(blank=True, max_length=300)),
                (
                    "building",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to="program.building"
                    ),
                ),
                (
                    "done_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "entered_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "hold",
                    program.models.scoped.BuildingForeignKey(
                        blank=True,
                        db_constraint=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="program.hold",
                    ),
                ),
                (
                    "resident",
                    program.models.scoped.BuildingForeignKey(
                        db_constraint=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="incidents",
                        to="program.resident",
                    ),
                ),
                (
                    "seen_by",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "session",
                    program.models.scoped.BuildingForeignKey(
                        blank=True,
                        db_constraint=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="incidents",
                        to="program.session",
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.UniqueConstraint(
                        fields=("building", "event_id"),
                        name="an_incident_is_told_once",
                        violation_error_message="That has been told already.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("sign", ""), _negated=True),
                        name="an_incident_names_its_sign",
                        violation_error_message="Say what was seen.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("seen_at__isnull", True), ("seen_by__isnull", True)),
                            models.Q(("seen_at__isnull", False), ("seen_by__isnull", False)),
                            _connector="OR",
                        ),
                        name="a_seen_incident_says_by_whom",
                        violation_error_message="An incident is seen by a named person.",
                    ),
                ],
            },
        ),
        shown_by_building("program_incident"),
        same_building("program_incident", resident="program_resident", session="program_session", hold="program_hold"),
        audited("program_incident"),
        granted("SELECT, INSERT, UPDATE", "program_incident"),
    ]
