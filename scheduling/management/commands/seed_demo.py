"""`seed_demo`: the invented organisation of the demo, made once by the same actions that people use."""

import subprocess
import sys
from argparse import ArgumentParser
from concurrent.futures import ThreadPoolExecutor
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from program.models import scope
from scheduling.scenario import BUILDINGS, Seeded, is_seeded, kept_password, seed_building, seed_organisation

# Buildings are made side by side, each by a process of its own.
SIDE_BY_SIDE = 2


class Command(BaseCommand):
    help = "Fill an empty database with the invented organisation of the demo; does nothing when it is there."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--building", choices=[plan.name for plan in BUILDINGS], help="only this one")

    def handle(self, *args: Any, **options: Any) -> None:
        if not settings.DEMO:
            raise CommandError("Invented people are made in the demo only: set DEMO=1 on a database of its own.")
        with scope([], is_administration=True):
            seed_organisation(password=kept_password(settings.DATA_DIR))
        if options["building"]:
            self._make(options["building"])
        elif not is_seeded():
            self._say("Inventing twelve weeks in six buildings: this takes a minute or two, only the first time.")
            self._make_all()

    def _make_all(self) -> None:
        with ThreadPoolExecutor(SIDE_BY_SIDE) as pool:
            ended = list(pool.map(self._in_its_own_process, [plan.name for plan in BUILDINGS]))
        if any(ended):
            raise CommandError("Not every building was made. Run seed_demo again: it goes on where it stopped.")

    def _in_its_own_process(self, name: str) -> int:
        command = [sys.executable, str(settings.BASE_DIR / "manage.py"), "seed_demo", "--building", name]
        return subprocess.run(command, check=False).returncode  # noqa: S603 - our own program and names

    def _make(self, name: str) -> None:
        plan = next(plan for plan in BUILDINGS if plan.name == name)
        if seeded := seed_building(plan, tell=self._say):
            self._say(said(seeded))

    def _say(self, sentence: str) -> None:
        self.stdout.write(sentence)
        # Into a pipe it would wait for more.
        self.stdout.flush()


def said(seeded: Seeded) -> str:
    sessions = ", ".join(f"{count} {state}" for state, count in sorted(seeded.sessions.items()))
    seconds = ", ".join(f"{part} {spent:.1f} s" for part, spent in seeded.seconds.items())
    return (
        f"{seeded.name}: {seeded.residents} residents; sessions: {sessions}; {seeded.unplaced} not placed. ({seconds})"
    )
