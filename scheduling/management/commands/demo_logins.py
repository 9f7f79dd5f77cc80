"""`demo_logins`: who can sign in to the demo, and the password."""

from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from scheduling.scenario import kept_password, logins


class Command(BaseCommand):
    help = "Print the logins of the demo."

    def handle(self, *args: Any, **options: Any) -> None:
        if not settings.DEMO:
            raise CommandError("There are logins to print in the demo only.")
        self.stdout.write("\nInvented data: nobody and nothing here is real. Sign in as\n\n")
        for login in logins():
            self.stdout.write(f"  {login.username:38} {login.kind:17} {login.where}\n")
        self.stdout.write(f"\nThe password of all of them: {kept_password(settings.DATA_DIR)}\n")
