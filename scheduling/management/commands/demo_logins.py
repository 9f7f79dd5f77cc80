"""`demo_logins`: who can sign in to the demo, the password, and how to pass the second step."""

from collections.abc import Iterator
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from program.models import Role, User
from scheduling.scenario import Login, kept_password, logins, recovery_codes_of

WITH_CODES = (Role.Kind.ADMINISTRATOR, Role.Kind.REGIONAL_MANAGER, Role.Kind.CLINICIAN)
MOST_CODES = 3


class Command(BaseCommand):
    help = "Print the logins of the demo."

    def handle(self, *args: Any, **options: Any) -> None:
        if not settings.DEMO:
            raise CommandError("There are logins to print in the demo only.")
        self.stdout.write("\nInvented data: nobody and nothing here is real. Sign in as\n\n")
        for login in logins():
            self.stdout.write(f"  {login.username:38} {login.kind:17} {login.where}\n")
        self.stdout.write(f"\nThe password of all of them: {kept_password(settings.DATA_DIR)}\n")
        self.stdout.write(
            "\nClinicians, managers and administrators are asked for a code as well. For what a phone would show:\n"
            f"\n  .venv/bin/python manage.py demo_code {next(logins()).username}\n"
            "\nor use a recovery code, each once:\n\n"
        )
        for login, codes in one_of_each():
            self.stdout.write(f"  {login.username:38} {'  '.join(codes[:MOST_CODES])}\n")


def one_of_each() -> Iterator[tuple[Login, list[str]]]:
    """The first of each kind that needs a second step, with the codes that are left."""
    for kind in WITH_CODES:
        login = next(login for login in logins() if login.kind == kind)
        user = User.objects.filter(username__iexact=login.username).first()
        if user is not None:
            yield login, recovery_codes_of(user)
