"""Calendars of residents from an iCalendar file."""

from argparse import ArgumentParser

from program.management.files import FileCommand
from program.models import Import


class Command(FileCommand):
    help = "Reads residents' calendars from an .ics file."
    kind = Import.Kind.CALENDARS

    def add_arguments(self, parser: ArgumentParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("--person-key", metavar="KEY", help="whose calendar it is, where the file does not say")
