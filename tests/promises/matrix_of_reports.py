"""The part of the table of rights about reports; `matrix.py` says how to read it."""

from collections.abc import Callable
from typing import Any

from tests.promises.furnished import Furnished

SEE, MAKE = "see reports", "make reports"
PERIOD = "reports/<str:kind>/<str:name>/"
RUN = "reports/runs/<int:run_id>/"

API: dict[str, dict[str, str]] = {
    "reports/": {"GET": SEE},
    "reports/<int:pk>/": {"GET": SEE},
    "report-runs/": {"GET": SEE, "POST": MAKE},
    "report-runs/<int:pk>/": {"GET": SEE},
}
PAGES_OF_A_BUILDING: dict[str, dict[str, str]] = {"reports/": {"GET": SEE}}
OTHERS: dict[str, dict[str, str]] = {
    "reports/": {"GET": SEE},
    "reports/make/": {"POST": MAKE},
    RUN: {"GET": SEE},
    f"{RUN}progress/": {"GET": SEE},
    PERIOD: {"GET": SEE},
    f"{PERIOD}export.csv": {"GET": SEE},
    f"{PERIOD}buildings/<int:building_id>/": {"GET": SEE},
    f"{PERIOD}buildings/<int:building_id>/export.csv": {"GET": SEE},
}
ROW_OF: dict[str, str] = {"run_id": "Run"}
# What a POST that makes something must send before anybody asks for the right.
BODIES: dict[str, Callable[[Furnished], dict[str, Any]]] = {
    "report-runs/": lambda there: {
        "period_kind": "week",
        "period_name": "2026-W48",
        "buildings": [there.house.building.pk],
    },
}
