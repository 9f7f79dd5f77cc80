"""A new building from its workbook."""

from program.management.files import FileCommand
from program.models import Import


class Command(FileCommand):
    help = "Starts a building from its workbook: places, hours, stations, people and their shifts."
    kind = Import.Kind.BUILDING
