"""Valkey from its wheel: behind a password on the loopback address, found again by the file it was started with."""

import os
import secrets
import time
from dataclasses import dataclass
from pathlib import Path

import redis
from redis.backoff import NoBackoff
from redis.retry import Retry

from program.config.servers.account import Account, NoServer
from program.config.servers.place import Place
from program.config.servers.ports import HOST, free_port, is_free
from program.config.servers.processes import lives_in, written_pid

START_SECONDS = 60
# Between choosing a free port and taking it another program may take it.
TRIES = 5


@dataclass(frozen=True, slots=True)
class Valkey:
    account: Account
    folder: Path

    @property
    def settings(self) -> Path:
        return self.folder / "valkey.conf"

    @property
    def log(self) -> Path:
        return self.folder / "server.log"

    @property
    def url(self) -> str:
        port, password = self.door()
        return f"redis://:{password}@{HOST}:{port}/0"

    def door(self) -> tuple[int, str]:
        """Port and password, from the settings; 0 and a new password where there are none yet."""
        try:
            told = dict(line.split(" ", 1) for line in self.settings.read_text().splitlines())
            return int(told["port"]), told["requirepass"]
        except (FileNotFoundError, KeyError, ValueError):
            return 0, secrets.token_hex(24)


def valkey_in(place: Place) -> Valkey:
    return Valkey(place.account, place.folder / "valkey")


def start_valkey(valkey: Valkey, program: Path, *, durable: bool) -> None:
    valkey.account.private_folder(valkey.folder)
    if is_running(valkey):
        if not answers_in_time(valkey):
            raise NoServer("Valkey runs but does not answer: run `make stop`, then start again.")
        return
    for _ in range(TRIES):
        write_settings(valkey, durable=durable)
        valkey.account.run(program, valkey.settings)
        if answers_in_time(valkey):
            return
    raise NoServer(f"Valkey did not start: look at the end of {valkey.log}, or set REDIS_URL to a server of your own.")


def stop_valkey(valkey: Valkey) -> None:
    """Ask it to write what it holds and go, and wait until it has."""
    if not is_running(valkey):
        return
    try:
        client(valkey).shutdown()
    except redis.RedisError as error:
        raise NoServer(f"Valkey did not stop ({error}): look at the end of {valkey.log}.") from None
    until = time.monotonic() + START_SECONDS
    while is_running(valkey):
        if time.monotonic() > until:
            raise NoServer(f"Valkey did not stop in time: look at the end of {valkey.log}.")
        time.sleep(0.01)


def is_running(valkey: Valkey) -> bool:
    return lives_in(written_pid(valkey.folder / "valkey.pid"), valkey.folder, name="valkey")


def answers_in_time(valkey: Valkey) -> bool:
    """Wait while it lives and is loading; a server that is not there any more needs no waiting."""
    until = time.monotonic() + START_SECONDS
    # The process number is written a moment after the command has returned.
    certain_at = time.monotonic() + 1
    while time.monotonic() < until:
        try:
            with client(valkey) as asked:
                asked.ping()
            return True
        except redis.RedisError:
            if time.monotonic() > certain_at and not is_running(valkey):
                return False
            time.sleep(0.01)
    return False


def client(valkey: Valkey) -> redis.Redis:
    port, password = valkey.door()
    # Without retries: a server that has just gone would be waited for.
    return redis.Redis(host=HOST, port=port, password=password, socket_timeout=10, retry=Retry(NoBackoff(), 0))


def write_settings(valkey: Valkey, *, durable: bool) -> None:
    port, password = valkey.door()
    lines = [
        f"bind {HOST}",
        f"port {port if port and is_free(port) else free_port()}",
        f"requirepass {password}",
        "daemonize yes",
        f"dir {quoted(valkey.folder)}",
        f"pidfile {quoted(valkey.folder / 'valkey.pid')}",
        f"logfile {quoted(valkey.log)}",
        "maxmemory-policy noeviction",
        f"appendonly {'yes' if durable else 'no'}",
        'save ""',
    ]
    valkey.settings.unlink(missing_ok=True)
    descriptor = os.open(valkey.settings, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(descriptor, "w") as settings:
        settings.write("\n".join(lines) + "\n")
    valkey.account.take(valkey.settings)


def quoted(path: Path) -> str:
    return '"' + str(path).replace("\\", "\\\\").replace('"', '\\"') + '"'
