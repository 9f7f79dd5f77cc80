"""The part of the table of rights about the day: recording, flags, incidents; `matrix.py` says how to read it."""

from collections.abc import Callable
from typing import Any

from tests.promises.furnished import Furnished

SEE_RESIDENTS, RECORD, CORRECT, SEE_TO = "see residents", "record sessions", "correct records", "see to incidents"

API: dict[str, dict[str, str]] = {
    "sessions/<int:pk>/readiness/": {"GET": SEE_RESIDENTS},
    "sessions/<int:pk>/start/": {"POST": RECORD},
    "sessions/<int:pk>/warning-sign/": {"POST": RECORD},
    "sessions/<int:pk>/take-back/": {"POST": CORRECT},
    "flags/": {"GET": SEE_RESIDENTS},
    "flags/<int:pk>/": {"GET": SEE_RESIDENTS},
    "flags/<int:pk>/times/": {"GET": SEE_RESIDENTS},
    "incidents/": {"GET": SEE_RESIDENTS},
    "incidents/<int:pk>/": {"GET": SEE_RESIDENTS},
    "incidents/<int:pk>/see/": {"POST": SEE_TO},
}
PAGES_OF_A_BUILDING: dict[str, dict[str, str]] = {
    "now/": {"GET": SEE_RESIDENTS},
    "sessions/<int:session_id>/": {"GET": SEE_RESIDENTS},
    "sessions/<int:session_id>/correct/": {"GET": CORRECT, "POST": CORRECT},
    "sessions/<int:session_id>/start/": {"POST": RECORD},
    "sessions/<int:session_id>/attempt/": {"POST": RECORD},
    "sessions/<int:session_id>/give-up/": {"POST": RECORD},
    "sessions/<int:session_id>/set/": {"POST": RECORD},
    "sessions/<int:session_id>/end/": {"POST": RECORD},
    "sessions/<int:session_id>/warning/": {"GET": RECORD, "POST": RECORD},
    "sessions/<int:session_id>/seen/": {"GET": SEE_RESIDENTS},
    "sheet/<str:text>/": {"GET": SEE_RESIDENTS},
    "to-do/": {"GET": SEE_RESIDENTS},
    "to-do/<int:flag_id>/": {"GET": SEE_RESIDENTS},
    "to-do/<int:flag_id>/take/": {"POST": "plan sessions"},
    "late/": {"GET": RECORD},
    "late/<str:text>/": {"GET": RECORD},
    "late/<str:text>/unplanned/": {"GET": RECORD, "POST": RECORD},
    "late/<str:text>/<int:session_id>/": {"GET": RECORD, "POST": RECORD},
    "waiting/": {"GET": SEE_TO},
    "waiting/<int:incident_id>/seen/": {"POST": SEE_TO},
}
OTHERS: dict[str, dict[str, str]] = {}
ROW_OF: dict[str, str] = {"incident_id": "Incident", "flag_id": "Flag"}
# What a POST that makes something must send before anybody asks for the right.
BODIES: dict[str, Callable[[Furnished], dict[str, Any]]] = {}
