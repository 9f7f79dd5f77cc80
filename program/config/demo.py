"""`make demo`: the whole service on one machine, from nothing to an address to open, and away again on Ctrl-C."""

import argparse
import fcntl
import os
import secrets
import signal
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from types import FrameType

import psutil  # type: ignore[import-untyped] # it ships no types

from program.config.children import Child, end, first_dead, remember, remembered, start_child
from program.config.servers import NoServer, ensure_servers, stop_servers
from program.config.servers.ports import HOST, free_port, is_free

PROJECT = Path(__file__).resolve().parents[2]
READY_SECONDS = 60
# Asking a running demo to stop takes as long as its slowest child.
STOP_SECONDS = 60
STOP_SIGNALS = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)


class Trouble(Exception):
    """The demo cannot go on; the message says why and what to do."""


@dataclass(frozen=True, slots=True)
class Demo:
    folder: Path

    @property
    def servers(self) -> Path:
        return self.folder / "servers"

    @property
    def logs(self) -> Path:
        return self.folder / "logs"

    @property
    def running(self) -> Path:
        return self.folder / "running.json"


def say(sentence: str) -> None:
    # The terminal may be gone, which must not keep the rest from being stopped.
    with suppress(OSError):
        sys.stdout.write(f"{sentence}\n")
        sys.stdout.flush()


def run(demo: Demo) -> None:
    demo.logs.mkdir(parents=True, exist_ok=True)
    with only_one_demo(demo):
        end(remembered(demo.running)[1])
        remember(demo.running, address="", processes=[psutil.Process()])
        children: list[Child] = []
        try:
            go(demo, children)
        finally:
            # A second Ctrl-C would leave half of it running.
            for asked in STOP_SIGNALS:
                signal.signal(asked, signal.SIG_IGN)
            say("Stopping.")
            end([child.process for child in children])
            stop_servers(demo.servers)
            demo.running.unlink(missing_ok=True)


def go(demo: Demo, children: list[Child]) -> None:
    say("Starting the database and the queue.")
    port = chosen_port()
    environment = environment_of(demo, port)
    prepare(environment)
    for name, command in commands(demo, port).items():
        children.append(start_child(name, command, environment=environment, cwd=PROJECT, logs=demo.logs))
        remember(
            demo.running,
            address=f"http://localhost:{port}",
            processes=[psutil.Process(), *(child.process for child in children)],
        )
    wait_until_ready(port, children)
    manage(environment, "demo_logins")
    say(f"\nOpen http://localhost:{port}    (Ctrl-C stops everything; the data stay in {demo.folder})")
    while True:
        stop_if_one_died(children)
        time.sleep(0.3)


def prepare(environment: dict[str, str]) -> None:
    say("Bringing the tables up to date.")
    manage(environment, "migrate", "--verbosity", "0")
    manage(environment, "collectstatic", "--no-input", "--verbosity", "0")
    manage(environment, "seed_demo")
    manage(environment, "make_reports")


def manage(environment: dict[str, str], *command: str) -> None:
    done = subprocess.run(  # noqa: S603 - our own commands
        [sys.executable, "manage.py", *command], cwd=PROJECT, env=environment, check=False
    )
    if done.returncode:
        raise Trouble(f"`manage.py {command[0]}` failed, see above: put it right, then `make demo` again.")


def commands(demo: Demo, port: int) -> dict[str, list[str]]:
    celery = [sys.executable, "-m", "celery", "--quiet", "--app", "program.config.celery:app"]
    return {
        "web": [
            *(sys.executable, "-m", "gunicorn", "program.config.wsgi:application", "--bind", f"{HOST}:{port}"),
            *(
                "--worker-class",
                "gthread",
                "--workers",
                "2",
                "--threads",
                "4",
                "--config",
                "python:program.config.web_server",
                "--no-control-socket",
            ),
        ],
        "worker": [*celery, "worker", "--concurrency", "2", "--loglevel", "INFO"],
        "beat": [*celery, "beat", "--schedule", str(demo.folder / "beat"), "--pidfile", "", "--loglevel", "INFO"],
    }


def environment_of(demo: Demo, port: int) -> dict[str, str]:
    """What the children see; starts the servers for their addresses."""
    return {
        **os.environ,
        **ensure_servers(demo.servers, durable=True).environment(),
        "DJANGO_SETTINGS_MODULE": "program.config.settings",
        "DJANGO_SECRET_KEY": os.environ.get("DJANGO_SECRET_KEY") or kept_secret(demo.folder / "secret-key"),
        "DJANGO_ALLOWED_HOSTS": os.environ.get("DJANGO_ALLOWED_HOSTS") or "localhost,127.0.0.1,[::1]",
        "DEMO": "1",
        "DATA_DIR": str(demo.folder),
        "PORT": str(port),
        "PYTHONUNBUFFERED": "1",
    }


def environment_of_the_running_demo() -> dict[str, str]:
    """For a command that is run beside it; Trouble where it does not run."""
    demo = Demo(Path(os.environ.get("DATA_DIR") or PROJECT / ".local").resolve())
    if not remembered(demo.running)[1]:
        raise Trouble("The demo does not run: start it with `make demo`, then ask again.")
    return environment_of(demo, 0)


def kept_secret(file: Path) -> str:
    """Made once, so that people stay signed in over a restart."""
    if not file.exists():
        scratch = file.with_suffix(".scratch")
        scratch.unlink(missing_ok=True)
        with os.fdopen(os.open(scratch, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w") as written:
            written.write(secrets.token_urlsafe(60))
        scratch.replace(file)
    return file.read_text()


def chosen_port() -> int:
    wish = os.environ.get("PORT") or "8000"
    if not wish.isdigit() or not 0 < int(wish) < 65536:
        raise Trouble(f"PORT is “{wish}”: say a whole number from 1 to 65535.")
    if is_free(int(wish)):
        return int(wish)
    port = free_port()
    say(f"Port {wish} is taken by another program, so this uses {port}.")
    return port


def wait_until_ready(port: int, children: list[Child]) -> None:
    say("Waiting until it answers.")
    until = time.monotonic() + READY_SECONDS
    # Proxies from the environment have no business between two processes of one machine.
    asked = urllib.request.build_opener(urllib.request.ProxyHandler({}))
    why = "no answer"
    while time.monotonic() < until:
        stop_if_one_died(children)
        try:
            asked.open(f"http://{HOST}:{port}/ready", timeout=5).close()
        except (urllib.error.URLError, OSError) as error:
            why = str(error)
            time.sleep(0.1)
        else:
            return
    raise Trouble(f"The web server is not ready after {READY_SECONDS} s ({why}): look at the end of {children[0].log}.")


def stop_if_one_died(children: list[Child]) -> None:
    if dead := first_dead(children):
        raise Trouble(
            f"The {dead.name} process ended by itself (exit {dead.process.returncode}). "
            f"The end of {dead.log}:\n\n{dead.last_lines()}\n"
        )


@contextmanager
def only_one_demo(demo: Demo) -> Iterator[None]:
    with (demo.folder / "demo.lock").open("w") as lock:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            address = remembered(demo.running)[0] or "and is starting"
            raise Trouble(f"The demo runs already: {address}. `make stop` stops it.") from None
        yield


def stop(demo: Demo) -> None:
    """Stop a running demo in order, or what a killed one left behind."""
    living = remembered(demo.running)[1]
    if living:
        # The first is the demo itself, which then ends the others and the servers.
        if "program.config.demo" in living[0].cmdline():
            living[0].terminate()
            psutil.wait_procs(living[:1], timeout=STOP_SECONDS)
        end([process for process in living if process.is_running()])
    demo.running.unlink(missing_ok=True)
    stop_servers(demo.servers)


def interrupt(_signal: int, _frame: FrameType | None) -> None:
    raise KeyboardInterrupt


def main() -> int:
    asked = argparse.ArgumentParser(prog="python -m program.config.demo", description=__doc__)
    asked.add_argument("--stop", action="store_true", help="stop the demo and its servers; the data stay")
    told = asked.parse_args()
    demo = Demo(Path(os.environ.get("DATA_DIR") or PROJECT / ".local").resolve())
    for signalled in STOP_SIGNALS:
        signal.signal(signalled, interrupt)
    try:
        stop(demo) if told.stop else run(demo)
    except KeyboardInterrupt:
        say("Stopped.")
    except (Trouble, NoServer) as trouble:
        sys.stderr.write(f"{trouble}\n")
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
