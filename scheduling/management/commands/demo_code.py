"""`demo_code NAME`: the code of the second step that somebody of the demo would read off a phone."""

from argparse import ArgumentParser
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from program.models import User
from scheduling.scenario import logins, present_code_of


class Command(BaseCommand):
    help = "Print the present code of somebody of the demo."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("name", help="the address the person signs in with, as demo_logins prints it")

    def handle(self, *args: Any, **options: Any) -> None:
        if not settings.DEMO:
            raise CommandError("There are codes to print in the demo only.")
        name = options["name"].lower()
        user = User.objects.filter(username__iexact=name).first()
        if user is None or name not in {login.username.lower() for login in logins()}:
            raise CommandError("Nobody of the demo has that name. See demo_logins for those there are.")
        code = present_code_of(user)
        if code is None:
            raise CommandError(f"{user.name} signs in with the password alone.")
        self.stdout.write(f"{code}\n")
