"""More of what happens to a way in is on record: lockouts, closed accounts, second factors that people end themselves."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("program", "0004_the_day"),
    ]

    operations = [
        migrations.AlterField(
            model_name="signinevent",
            name="kind",
            field=models.CharField(
                choices=[
                    ("signed in", "Signed In"),
                    ("password set", "Password Set"),
                    ("link made", "Link Made"),
                    ("link used", "Link Used"),
                    ("second factor set up", "Factor Set Up"),
                    ("second factor reset", "Factor Reset"),
                    ("second factor ended", "Factor Ended"),
                    ("recovery codes made", "Codes Made"),
                    ("sessions ended", "Sessions Ended"),
                    ("token made", "Token Made"),
                    ("token ended", "Token Ended"),
                    ("locked out", "Locked Out"),
                    ("account closed", "Account Closed"),
                    ("account opened", "Account Opened"),
                ],
                max_length=20,
            ),
        ),
    ]
