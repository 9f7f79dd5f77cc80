"""`make_reports`: what is due is asked for and made at once, without a worker."""

from typing import Any

from django.core.management.base import BaseCommand

from reports.actions import make_due_reports


class Command(BaseCommand):
    help = "Make the reports of the weeks and months that are over, where nobody has asked for them yet."

    def handle(self, *args: Any, **options: Any) -> None:
        for name, count in make_due_reports():
            if count:
                self.stdout.write(f"{name}: reports made: {count}")
                self.stdout.flush()
