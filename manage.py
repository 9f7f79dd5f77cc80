#!/usr/bin/env python
"""Django's commands. Changes of the tables run as the owner of the database, everything else as the service's role."""

import os
import sys

from django.core.management import execute_from_command_line

from program.config.demo import Trouble, environment_of_the_running_demo

# It reads a file and writes an answer, wherever it is run: no server, no secret.
ALONE = {"solve_roster"}
NOTHING = {
    "DEMO": "no",
    "DJANGO_DEBUG": "yes",
    "DJANGO_SECRET_KEY": "none",
    "DATABASE_URL": "postgresql:///none",
    "REDIS_URL": "redis://none",
}
# Asked in another window than the one in which the demo runs, without any of its settings.
BESIDE_THE_DEMO = {"demo_code", "demo_logins"}
OWNER_COMMANDS = {"migrate", "makemigrations", "sqlmigrate", "showmigrations", "dbshell"}


def main() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "program.config.settings")
    if set(sys.argv[1:2]) & OWNER_COMMANDS and "DATABASE_OWNER_URL" in os.environ:
        os.environ["DATABASE_URL"] = os.environ["DATABASE_OWNER_URL"]
    if set(sys.argv[1:2]) & ALONE:
        os.environ.update(NOTHING)
    if set(sys.argv[1:2]) & BESIDE_THE_DEMO and "DATABASE_URL" not in os.environ:
        try:
            os.environ.update(environment_of_the_running_demo())
        except Trouble as trouble:
            sys.exit(str(trouble))
    execute_from_command_line(sys.argv)


if __name__ == "__main__":
    main()
