"""A file from the command line: judged and shown as a table, written only with `--apply`."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any, NoReturn

from django.core.management.base import BaseCommand

from program import access
from program.actions.imports import apply_import, judge_file
from program.models import Building, Import, User, scope
from program.rules.errors import Refused

REFUSED = 2
COUNTED = ("new", "changed", "unchanged", "refused")


class FileCommand(BaseCommand):
    """Exit status 0 for a preview or what was applied, 2 with sentences for what was refused."""

    kind: Import.Kind

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path, metavar="FILE")
        parser.add_argument("--as", dest="username", required=True, metavar="USERNAME", help="who does this")
        parser.add_argument("--apply", action="store_true", help="write it; without this it is only shown")
        if self.kind != Import.Kind.BUILDING:
            parser.add_argument("--building", required=True, metavar="NAME")

    def handle(self, *args: Any, **options: Any) -> None:
        by = User.objects.filter(username__iexact=options["username"], is_active=True).first()
        if by is None:
            self._refuse(f"Nobody signs in as “{options['username']}”.")
        try:
            content = options["file"].read_bytes()
        except OSError as error:
            self._refuse(f"{options['file'].name} cannot be read: {error.strerror}.")
        try:
            refusals = self._run(by, content, options)
        except Refused as refusal:
            self._refuse(refusal.sentence)
        if refusals:
            raise SystemExit(REFUSED)

    def _run(self, by: User, content: bytes, options: dict[str, Any]) -> list[dict[str, Any]]:
        is_administration = access.is_administrator(by)
        with scope(by.care_building_ids(), user_id=by.pk, is_administration=is_administration):
            building = self._building(by, options)
            access.require(by, "import files" if building else "start a building", building)
            imported = judge_file(
                kind=self.kind,
                content=content,
                file_name=options["file"].name,
                by=by,
                building=building,
                person_key=options.get("person_key"),
            )
            self._show(imported)
            if options["apply"]:
                apply_import(imported=imported, by=by)
                self.stdout.write("Applied.")
            else:
                self.stdout.write("Nothing is written yet. Add --apply to write it.")
        refusals: list[dict[str, Any]] = imported.refusals
        return refusals

    def _building(self, by: User, options: dict[str, Any]) -> Building | None:
        if "building" not in options:
            return None
        building = Building.objects.visible_to(by).filter(name__iexact=options["building"]).first()
        if building is None:
            self._refuse(f"There is no building “{options['building']}” for you.")
        return building

    def _show(self, imported: Import) -> None:
        for name in COUNTED:
            self.stdout.write(f"{name:<10}{imported.counts[name]:>6}")
        for row in imported.rows:
            for change in row["changes"]:
                was, becomes = change["was"], change["becomes"]
                self.stdout.write(f"line {row['line']}: {change['field']}: {was} -> {becomes}")
            if "sentence" in row:
                self.stdout.write(f"line {row['line']}: {row['sentence']}")
        for refusal in imported.refusals:
            place = " ".join(filter(None, [refusal["sheet"], f"line {refusal['line']}", refusal["field"]]))
            self.stderr.write(f"{place}: {refusal['sentence']}")

    def _refuse(self, sentence: str) -> NoReturn:
        self.stderr.write(sentence)
        raise SystemExit(REFUSED)
