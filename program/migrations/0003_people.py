"""How people sign in: one-time links, wrong tries, tokens of programs, and the trail of all of these."""

import datetime

import django.db.models.deletion
import django.db.models.expressions
from django.conf import settings
from django.db import migrations, models

from program.models.ground import ASKED_BY, audited, granted, secured

# A token shows to its person, to administrators, and to whoever presents it: the setting holds the hash of what was sent.
TOKENS = f"""
{secured("program_apitoken")}
CREATE POLICY tokens_of_the_person ON program_apitoken
    USING (
        {ASKED_BY.format(column="user_id")}
        OR hash = NULLIF(current_setting('app.token', true), '')
        OR current_setting('app.administration', true) = 'yes'
    )
    WITH CHECK (
        {ASKED_BY.format(column="user_id")}
        OR hash = NULLIF(current_setting('app.token', true), '')
        OR current_setting('app.administration', true) = 'yes'
    );
"""


class Migration(migrations.Migration):
    dependencies = [
        ("mfa", "0003_authenticator_type_uniq"),
        ("program", "0002_whose_rows"),
        ("usersessions", "0001_initial"),
    ]

    operations = [
        migrations.AddField(
            model_name="user",
            name="signed_out_at",
            field=models.DateTimeField(blank=True, null=True),
        ),
        migrations.CreateModel(
            name="SignInEvent",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("signed in", "Signed In"),
                            ("password set", "Password Set"),
                            ("link made", "Link Made"),
                            ("link used", "Link Used"),
                            ("second factor set up", "Factor Set Up"),
                            ("second factor reset", "Factor Reset"),
                            ("sessions ended", "Sessions Ended"),
                            ("token made", "Token Made"),
                            ("token ended", "Token Ended"),
                        ],
                        max_length=20,
                    ),
                ),
                ("at", models.DateTimeField()),
                ("note", models.CharField(blank=True, max_length=120)),
                (
                    "by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "user",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="sign_in_events",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="Tries",
            fields=[
                (
                    "user",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        primary_key=True,
                        related_name="tries",
                        serialize=False,
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                ("wrong_in_a_row", models.PositiveSmallIntegerField(default=0)),
                ("last_step", models.BigIntegerField(default=0)),
            ],
            options={
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("wrong_in_a_row__lte", 100)),
                        name="a_password_is_not_guessed_for_ever",
                        violation_error_message="Too many wrong tries in a row.",
                    )
                ],
            },
        ),
        migrations.CreateModel(
            name="ApiToken",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("name", models.CharField(max_length=60)),
                ("hash", models.CharField(max_length=64, unique=True)),
                ("prefix", models.CharField(max_length=8)),
                ("made_at", models.DateTimeField()),
                ("expires_at", models.DateTimeField()),
                ("last_used_at", models.DateTimeField(null=True, blank=True)),
                ("ended_at", models.DateTimeField(null=True, blank=True)),
                (
                    "user",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="api_tokens",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            ("expires_at__gt", models.F("made_at")),
                            models.Func(models.F("made_at"), function="isfinite", output_field=models.BooleanField()),
                            models.Func(
                                models.F("expires_at"), function="isfinite", output_field=models.BooleanField()
                            ),
                        ),
                        name="a_token_expires_after_it_is_made",
                        violation_error_message="The end must come after the start.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "expires_at__lte",
                                django.db.models.expressions.CombinedExpression(
                                    models.F("made_at"),
                                    "+",
                                    models.Value(datetime.timedelta(days=90), output_field=models.DurationField()),
                                ),
                            )
                        ),
                        name="a_token_lives_for_90_days_at_most",
                        violation_error_message="A token lives for 90 days at most.",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="Link",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("hash", models.CharField(max_length=64, unique=True)),
                ("made_at", models.DateTimeField()),
                ("expires_at", models.DateTimeField()),
                ("used_at", models.DateTimeField(null=True, blank=True)),
                ("replaced_at", models.DateTimeField(null=True, blank=True)),
                (
                    "made_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "user",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="links", to=settings.AUTH_USER_MODEL
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            ("expires_at__gt", models.F("made_at")),
                            models.Func(models.F("made_at"), function="isfinite", output_field=models.BooleanField()),
                            models.Func(
                                models.F("expires_at"), function="isfinite", output_field=models.BooleanField()
                            ),
                        ),
                        name="a_link_expires_after_it_is_made",
                        violation_error_message="The end must come after the start.",
                    ),
                    models.UniqueConstraint(
                        condition=models.Q(("replaced_at__isnull", True), ("used_at__isnull", True)),
                        fields=("user",),
                        name="a_person_has_one_link_that_works",
                        violation_error_message="Somebody else has made a link for this person just now.",
                    ),
                ],
            },
        ),
        migrations.RunSQL(TOKENS, migrations.RunSQL.noop),
        # The tables of the library hold secrets, so they stay out of the trail; our own rows say what happened.
        audited("program_signinevent"),
        granted("SELECT, INSERT", "program_signinevent"),
        granted("SELECT, INSERT, UPDATE", "program_link", "program_tries", "program_apitoken"),
        granted("SELECT, INSERT, UPDATE, DELETE", "mfa_authenticator", "usersessions_usersession"),
    ]
