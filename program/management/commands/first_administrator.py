"""`first_administrator NAME`: the first person who can sign in, on a new installation."""

from argparse import ArgumentParser
from getpass import getpass
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from program.actions.people import first_administrator
from program.models import scope
from program.rules.errors import Refused


class Command(BaseCommand):
    help = "Make the first administrator of a new installation; asks for a password."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("username", help="the name to sign in with")
        parser.add_argument("--name", default="", help="the name that others see; the sign-in name if not given")
        parser.add_argument("--email")

    def handle(self, *args: Any, **options: Any) -> None:
        password = getpass("Password: ")
        if getpass("Again: ") != password:
            raise CommandError("The two passwords are not the same. Try again.", returncode=2)
        try:
            with scope([], is_administration=True):
                user = first_administrator(
                    username=options["username"],
                    name=options["name"] or options["username"],
                    email=options["email"],
                    password=password,
                )
        except Refused as refusal:
            raise CommandError(refusal.sentence, returncode=2) from None
        self.stdout.write(f"{user.name} can sign in now and start buildings.")
