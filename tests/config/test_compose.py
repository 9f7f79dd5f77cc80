"""docker-compose.yml and the image: hardened as the container rules of OWASP's cheat sheet ask (2, 3, 4, 7 and 8)."""

import re
from pathlib import Path

import pytest
import yaml

PROJECT = Path(__file__).parents[2]
COMPOSE_TEXT = (PROJECT / "docker-compose.yml").read_text()
COMPOSE = yaml.safe_load(COMPOSE_TEXT)
SERVICES = COMPOSE["services"]
DOCKERFILE = (PROJECT / "program" / "config" / "Dockerfile").read_text()
SECRETS = ("POSTGRES_PASSWORD", "OWNER_PASSWORD", "APP_PASSWORD", "VALKEY_PASSWORD", "DJANGO_SECRET_KEY")


def test_these_are_all_the_services():
    assert set(SERVICES) == {"postgres", "valkey", "migrate", "web", "worker", "beat"}


# OWASP Docker Security Cheat Sheet: rule 2 set a user, 3 limit capabilities, 4 no new privileges, 7 limit resources,
# 8 read-only file system.
@pytest.mark.parametrize("name", sorted(SERVICES))
def test_every_container_is_hardened(name):
    service = SERVICES[name]

    assert re.fullmatch(r"[1-9]\d*:[1-9]\d*", service["user"])
    assert service["cap_drop"] == ["ALL"]
    assert "cap_add" not in service
    assert service["security_opt"] == ["no-new-privileges:true"]
    assert service["read_only"] is True
    assert service["pids_limit"] == 200
    assert "privileged" not in service
    assert "container_name" not in service


@pytest.mark.parametrize("name", sorted(set(SERVICES) - {"migrate"}))
def test_everything_that_stays_up_tells_whether_it_is_well(name):
    assert set(SERVICES[name]["healthcheck"]) >= {"test", "interval", "timeout", "retries"}


def test_only_the_web_server_can_be_reached_and_only_from_the_proxy_on_its_host():
    assert {name: service["ports"] for name, service in SERVICES.items() if "ports" in service} == {
        "web": ["127.0.0.1:${PORT:-8000}:8000"]
    }
    assert COMPOSE["networks"]["inside"] == {"internal": True}
    assert [name for name, service in SERVICES.items() if service["networks"] != ["inside"]] == ["web"]


def test_every_secret_comes_from_the_environment_and_says_what_is_missing():
    found = re.findall(r"\$\{([A-Z_]+):\?Set ([A-Z_]+) in \.env to [^}]+\.\}", COMPOSE_TEXT)

    assert {name for name, _ in found} == {*SECRETS, "DJANGO_ALLOWED_HOSTS"}
    assert [pair for pair in found if pair[0] != pair[1]] == []
    assert re.findall(r"(?<!\$)\$\{(?![A-Z_]+:\?)([^}]+)\}", COMPOSE_TEXT) == ["PORT:-8000"]


def test_the_example_names_every_setting_and_holds_no_secret():
    lines = [line for line in (PROJECT / ".env.example").read_text().splitlines() if not line.startswith("#")]

    assert set(lines) == {f"{name}=" for name in (*SECRETS, "DJANGO_ALLOWED_HOSTS")}


def test_only_the_migration_may_change_the_tables():
    with_owner = [name for name in SERVICES if "DATABASE_OWNER_URL" in (SERVICES[name].get("environment") or {})]

    assert with_owner == ["migrate"]


def test_the_service_starts_after_its_tables_are_up_to_date():
    first = {"migrate": {"condition": "service_completed_successfully"}, "valkey": {"condition": "service_healthy"}}

    assert [SERVICES[name]["depends_on"] for name in ("web", "worker", "beat")] == [first] * 3


def test_the_queue_loses_nothing_and_the_database_keeps_its_files():
    assert SERVICES["valkey"]["command"][0].splitlines()[-3:-1] == ["appendonly yes", "maxmemory-policy noeviction"]
    assert SERVICES["valkey"]["volumes"] == ["queue:/data"]
    assert SERVICES["postgres"]["volumes"][0] == "database:/var/lib/postgresql"


def test_the_image_runs_as_nobody_in_particular_and_takes_only_pinned_packages():
    last_stage = DOCKERFILE.rsplit("FROM ", 1)[1]

    assert re.findall(r"^USER (.+)$", last_stage, re.MULTILINE) == ["10001:10001"]
    assert "pip install --no-cache-dir --require-hashes -r requirements.txt" in DOCKERFILE


def test_the_image_holds_only_what_runs():
    assert (PROJECT / ".dockerignore").read_text().splitlines() == [
        *("*", "!program", "!scheduling", "!reports", "!manage.py", "!requirements.txt", "**/__pycache__")
    ]
