"""What the demo starts: logged, noticed when it dies, ended whole, and found again after a killed run."""

import os
import socket
import sys

import psutil
import pytest

from program.config.children import end, first_dead, remember, remembered, start_child
from program.config.demo import Trouble, chosen_port, kept_secret
from program.config.servers.ports import HOST, free_port

WAITS_FOR_EVER = "import signal; print('ready', flush=True); signal.pause()"


@pytest.fixture
def start(tmp_path):
    started = []

    def start(script, name="child"):
        child = start_child(
            name, [sys.executable, "-c", script], environment=dict(os.environ), cwd=tmp_path, logs=tmp_path
        )
        started.append(child)
        return child

    yield start
    end([child.process for child in started])


def test_a_child_that_ended_by_itself_is_named_with_its_last_lines(start):
    living, dead = start(WAITS_FOR_EVER, "web"), start("import sys; sys.exit('no room left')", "worker")
    dead.process.wait(timeout=20)

    assert first_dead([living, dead]) == dead
    assert (dead.process.returncode, dead.last_lines()) == (1, "no room left")


def test_the_log_of_the_run_before_is_kept(start, tmp_path):
    start("print('first')").process.wait(timeout=20)
    start("print('second')").process.wait(timeout=20)

    assert (tmp_path / "child.previous.log").read_text() == "first\n"
    assert (tmp_path / "child.log").read_text() == "second\n"


def test_ended_children_are_gone(start):
    children = [start(WAITS_FOR_EVER, name) for name in ("web", "worker", "beat")]

    end([child.process for child in children])

    assert [child.process.is_running() for child in children] == [False] * 3


def test_processes_of_a_killed_run_are_found_by_number_and_time_of_birth(start, tmp_path):
    child, file = start(WAITS_FOR_EVER), tmp_path / "running.json"
    remember(file, address="http://localhost:8000", processes=[child.process])

    assert remembered(file) == ("http://localhost:8000", [psutil.Process(child.process.pid)])


def test_a_stranger_with_the_number_of_a_dead_process_is_left_alone(start, tmp_path):
    child, file = start(WAITS_FOR_EVER), tmp_path / "running.json"
    remember(file, address="http://localhost:8000", processes=[child.process])
    born = str(child.process.create_time())
    file.write_text(file.read_text().replace(born, "1.5"))

    assert remembered(file) == ("http://localhost:8000", [])


def test_where_nothing_ran_before_nothing_is_remembered(tmp_path):
    assert remembered(tmp_path / "running.json") == ("", [])


def test_the_secret_is_long_private_and_kept(tmp_path):
    secret = kept_secret(tmp_path / "secret-key")

    assert kept_secret(tmp_path / "secret-key") == secret
    assert (len(secret) >= 50, (tmp_path / "secret-key").stat().st_mode & 0o777) == (True, 0o600)


def test_a_free_port_is_taken_as_wished(monkeypatch):
    wish = free_port()
    monkeypatch.setenv("PORT", str(wish))

    assert chosen_port() == wish


def test_where_the_port_is_taken_another_is_used_and_named(monkeypatch, capsys):
    with socket.create_server((HOST, 0)) as other:
        wish = other.getsockname()[1]
        monkeypatch.setenv("PORT", str(wish))
        port = chosen_port()

    assert port != wish
    assert capsys.readouterr().out == f"Port {wish} is taken by another program, so this uses {port}.\n"


@pytest.mark.parametrize("wish", ["eighty", "0", "65536", "-1"])
def test_a_port_that_is_none_is_refused_in_a_sentence(monkeypatch, wish):
    monkeypatch.setenv("PORT", wish)

    with pytest.raises(Trouble, match=f"^PORT is “{wish}”: say a whole number from 1 to 65535.$"):
        chosen_port()
