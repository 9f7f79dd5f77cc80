"""The service starts as its own role, and as no other."""

import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from copy import deepcopy
from pathlib import Path
from urllib.parse import quote

import pytest
from django.conf import settings
from django.core.exceptions import ImproperlyConfigured
from django.db import connection
from django.db.backends.postgresql.base import DatabaseWrapper

from program.config.celery import RefusesUnsafeRole, app
from program.config.role_check import refuse_unsafe_role
from tests.promises.conftest import OWNER, SUPERUSER, Doorway

TOP = Path(__file__).resolve().parents[2]


@contextmanager
def as_role(role: str) -> Iterator[DatabaseWrapper]:
    told = deepcopy(connection.settings_dict) | {"USER": role}
    told["OPTIONS"].pop("pool", None)
    other = DatabaseWrapper(told, alias="default")
    try:
        yield other
    finally:
        other.close()


@pytest.mark.parametrize(
    ("role", "what"),
    [(SUPERUSER, "“postgres” is a superuser"), (OWNER, "“service_owner” owns tables of the service")],
)
@pytest.mark.django_db(transaction=True)
def test_a_role_above_the_guards_is_refused_with_a_sentence(role: str, what: str) -> None:
    with as_role(role) as other, pytest.raises(ImproperlyConfigured, match=f"{what}.*service_app"):
        refuse_unsafe_role(other)


@pytest.mark.django_db(transaction=True)
def test_a_role_that_may_bypass_row_security_is_refused(connect_as: Doorway) -> None:
    role = "passes_by"
    with connect_as(SUPERUSER) as other:
        other.execute(f"DROP ROLE IF EXISTS {role}; CREATE ROLE {role} LOGIN BYPASSRLS")
        other.commit()
    try:
        with as_role(role) as other, pytest.raises(ImproperlyConfigured, match="may bypass row security"):
            refuse_unsafe_role(other)
    finally:
        with connect_as(SUPERUSER) as other:
            other.execute(f"DROP ROLE {role}")
            other.commit()


@pytest.mark.django_db(transaction=True)
def test_the_services_own_role_is_accepted() -> None:
    with as_role(settings.DATABASE_ROLE) as other:
        assert refuse_unsafe_role(other) is None


@pytest.mark.parametrize(("role", "starts"), [(OWNER, False), (settings.DATABASE_ROLE, True)])
@pytest.mark.django_db(transaction=True)
def test_the_web_server_starts_only_as_the_services_own_role(role: str, starts: bool) -> None:
    told = connection.settings_dict
    place = f"?host={quote(told['HOST'], safe='')}&port={told['PORT']}"
    environment = os.environ | {
        "DATABASE_URL": f"postgresql://{role}@/{told['NAME']}{place}",
        "DJANGO_SETTINGS_MODULE": "program.config.settings",
        "DJANGO_DEBUG": "no",
        "DEMO": "no",
    }
    ran = subprocess.run(
        [sys.executable, "-c", "import program.config.wsgi"],
        cwd=TOP,
        env=environment,
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )

    assert (ran.returncode == 0) is starts
    assert ("owns tables of the service" in ran.stderr) is not starts


@pytest.mark.django_db(transaction=True)
def test_the_worker_looks_at_its_role_before_it_takes_a_task() -> None:
    assert RefusesUnsafeRole in app.steps["worker"]

    step = RefusesUnsafeRole(parent=None)
    assert step.start(parent=None) is None
    user = connection.settings_dict["USER"]
    connection.settings_dict["USER"] = OWNER
    try:
        with pytest.raises(ImproperlyConfigured, match="owns tables of the service"):
            step.start(parent=None)
    finally:
        connection.settings_dict["USER"] = user
        connection.close()
        connection.close_pool()
