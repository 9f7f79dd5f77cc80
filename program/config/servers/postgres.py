"""PostgreSQL from its wheel: made once, found again, started, stopped."""

import shutil
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from subprocess import TimeoutExpired
from urllib.parse import quote

import psutil  # type: ignore[import-untyped] # it ships no types
import psycopg

from program.config.servers.account import Account, NoServer
from program.config.servers.place import Place, short_name
from program.config.servers.processes import anyone_in, lives_in, written_pid

PORT = 5432
OWNER, APP, DATABASE = "service_owner", "service_app", "service"
# A socket's whole path has room for 103 bytes on some systems, and its name takes 17 of them.
LONGEST_SOCKET_FOLDER = 80
START_SECONDS = 60

ROLES = {
    OWNER: "LOGIN CREATEDB NOSUPERUSER NOCREATEROLE NOBYPASSRLS",
    APP: "LOGIN NOCREATEDB NOSUPERUSER NOCREATEROLE NOBYPASSRLS",
}


@dataclass(frozen=True, slots=True)
class Postgres:
    account: Account
    folder: Path

    @property
    def cluster(self) -> Path:
        return self.folder / "cluster"

    @property
    def log(self) -> Path:
        return self.folder / "server.log"

    @property
    def socket_folder(self) -> Path:
        inside = self.folder / "socket"
        if len(str(inside).encode()) <= LONGEST_SOCKET_FOLDER:
            return inside
        return Path("/tmp") / short_name(inside, self.account)  # noqa: S108 - made private_folder, or refused

    def url(self, role: str) -> str:
        return f"postgresql://{role}@/{DATABASE}?host={quote(str(self.socket_folder))}&port={PORT}"


def postgres_in(place: Place) -> Postgres:
    return Postgres(place.account, place.folder / "postgres")


def start_postgres(postgres: Postgres, programs: Path, *, durable: bool) -> None:
    """Make the cluster where there is none, start the server where none lives, make the roles and the database."""
    postgres.account.private_folder(postgres.folder)
    postgres.account.private_folder(postgres.socket_folder)
    if not postgres.cluster.exists():
        make_cluster(postgres, programs)
    if not is_running(postgres):
        forget_the_dead(postgres)
        write_settings(postgres, durable=durable)
        pg_ctl(postgres, programs, "-l", postgres.log, "-w", "-t", START_SECONDS, "start")
    with superuser(postgres) as connection:
        make_roles_and_database(connection)


def stop_postgres(postgres: Postgres, programs: Path) -> None:
    if is_running(postgres):
        pg_ctl(postgres, programs, "-m", "fast", "-w", "-t", START_SECONDS, "stop")
    if postgres.socket_folder.parent != postgres.folder:
        shutil.rmtree(postgres.socket_folder, ignore_errors=True)


def is_running(postgres: Postgres) -> bool:
    return lives_in(written_pid(postgres.cluster / "postmaster.pid"), postgres.cluster, name="postgres")


def make_cluster(postgres: Postgres, programs: Path) -> None:
    # initdb marks its folder as finished long before it is, so it works under another name.
    scratch = postgres.folder / "cluster.scratch"
    shutil.rmtree(scratch, ignore_errors=True)
    made = postgres.account.run(
        programs / "initdb",
        *("-D", scratch, "-U", "postgres", "-A", "trust", "-E", "UTF8", "--no-sync"),
        # Plain --no-locale would leave lower('Ä') as it is.
        *("--no-locale", "--locale-provider=builtin", "--builtin-locale=C.UTF-8"),
        seconds=120,
    )
    if made.returncode:
        raise NoServer(
            f"PostgreSQL could not make its files in {postgres.folder} ({last_line(made.stderr)}): "
            "make room or give rights there, or set DATABASE_URL to a server of your own."
        )
    with (scratch / "postgresql.conf").open("a") as settings:
        settings.write("include 'service.conf'\n")
    scratch.rename(postgres.cluster)


def write_settings(postgres: Postgres, *, durable: bool) -> None:
    """Written before every start, because the folder may have been moved since the last one."""
    socket_folder = str(postgres.socket_folder).replace('"', '""').replace("'", "''")
    lines = [
        "listen_addresses = ''",
        f"port = {PORT}",
        f"unix_socket_directories = '\"{socket_folder}\"'",
        "timezone = 'UTC'",
        "log_timezone = 'UTC'",
        # Its log knows nobody: neither the statement that failed nor the key that it clashed with.
        "log_min_error_statement = panic",
        "log_error_verbosity = terse",
    ]
    if not durable:
        lines += ["fsync = off", "synchronous_commit = off", "full_page_writes = off"]
    settings = postgres.cluster / "service.conf"
    settings.write_text("\n".join(lines) + "\n")
    postgres.account.take(settings)


def forget_the_dead(postgres: Postgres) -> None:
    """Let go of the lock files of a server killed without a word, once all its processes are gone."""
    until = time.monotonic() + START_SECONDS
    while anyone_in(postgres.cluster, name="postgres"):
        if time.monotonic() > until:
            raise NoServer(
                f"Processes of a killed PostgreSQL still work in {postgres.cluster}: end them, then start again."
            )
        time.sleep(0.05)
    pid = written_pid(postgres.cluster / "postmaster.pid")
    if pid is None or not psutil.pid_exists(pid):
        # Then PostgreSQL clears up by itself, and more carefully.
        return
    (postgres.cluster / "postmaster.pid").unlink(missing_ok=True)
    for left in (f".s.PGSQL.{PORT}", f".s.PGSQL.{PORT}.lock"):
        (postgres.socket_folder / left).unlink(missing_ok=True)


def pg_ctl(postgres: Postgres, programs: Path, *options: str | Path | int) -> None:
    verb = options[-1]
    try:
        told = postgres.account.run(
            programs / "pg_ctl", "-D", postgres.cluster, *map(str, options), seconds=START_SECONDS + 10
        )
    except TimeoutExpired:
        raise NoServer(f"PostgreSQL did not {verb} in time: look at the end of {postgres.log}.") from None
    if told.returncode:
        why = last_line(log_end(postgres.log)) or last_line(told.stderr)
        raise NoServer(
            f"PostgreSQL did not {verb} ({why}): look at the end of {postgres.log}, "
            "or set DATABASE_URL to a server of your own."
        )


def log_end(log: Path) -> str:
    try:
        return log.read_text(errors="replace")[-2000:]
    except FileNotFoundError:
        return ""


def last_line(text: str) -> str:
    return text.strip().rsplit("\n", 1)[-1].strip()


@contextmanager
def superuser(postgres: Postgres) -> Iterator[psycopg.Connection]:
    """The local role postgres; waits for a server that somebody else has just started."""
    until = time.monotonic() + START_SECONDS
    while True:
        try:
            connection = psycopg.connect(
                host=str(postgres.socket_folder), port=PORT, user="postgres", dbname="postgres", autocommit=True
            )
            break
        except psycopg.OperationalError as error:
            if time.monotonic() > until or not is_running(postgres):
                raise NoServer(
                    f"PostgreSQL does not answer ({last_line(str(error))}): run `make stop`, then start again."
                ) from None
            time.sleep(0.05)
    with connection:
        yield connection


def make_roles_and_database(connection: psycopg.Connection) -> None:
    known = {name for (name,) in connection.execute("SELECT rolname FROM pg_roles")}
    for role, rights in ROLES.items():
        if role not in known:
            connection.execute(f"CREATE ROLE {role} {rights}")
    if DATABASE not in {name for (name,) in connection.execute("SELECT datname FROM pg_database")}:
        connection.execute(f"CREATE DATABASE {DATABASE} OWNER {OWNER}")
