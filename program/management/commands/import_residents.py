"""Residents of a building from a table."""

from program.management.files import FileCommand
from program.models import Import


class Command(FileCommand):
    help = "Reads residents, agreements, clearances and exercise plans from a .csv or .xlsx file."
    kind = Import.Kind.RESIDENTS
