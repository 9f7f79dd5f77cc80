"""The service refuses to work as a database role for which the row security would be no guard."""

from typing import Any

from django.core.exceptions import ImproperlyConfigured
from django.db.backends.base.base import BaseDatabaseWrapper

WHO = """
SELECT current_user, rolsuper, rolbypassrls,
       EXISTS (SELECT 1 FROM pg_class WHERE relnamespace = 'public'::regnamespace AND relkind IN ('r', 'p')
                  AND pg_has_role(current_user, relowner, 'MEMBER'))
  FROM pg_roles WHERE rolname = current_user
"""


def refuse_unsafe_role(connection: BaseDatabaseWrapper) -> None:
    """ImproperlyConfigured with a sentence when the role is above the guards that the migrations set."""
    with connection.cursor() as cursor:
        cursor.execute(WHO)
        role, is_superuser, bypasses, owns = cursor.fetchone()
    for is_unsafe, what in (
        (is_superuser, "is a superuser"),
        (bypasses, "may bypass row security"),
        (owns, "owns tables of the service"),
    ):
        if is_unsafe:
            raise ImproperlyConfigured(
                f"The database role “{role}” {what}, so the database would not keep buildings apart. "
                "Name the role that the migrations grant rights to, service_app by default, in DATABASE_URL."
            )


def refuse_at_start(connection: BaseDatabaseWrapper) -> None:
    """As `refuse_unsafe_role`; leaves no connection behind, for the children of the process would share it."""
    try:
        refuse_unsafe_role(connection)
    finally:
        connection.close()
        pooled: Any = connection
        if pooled.pool:
            pooled.close_pool()
