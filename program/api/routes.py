"""The addresses of the API in this package."""

from django.urls import path
from drf_spectacular.views import SpectacularAPIView
from rest_framework.routers import SimpleRouter

from program.api.audit import AuditDoor
from program.api.calendars import CommitmentDoor, CommitmentTimeDoor, PairingDoor
from program.api.imports import ImportDoor
from program.api.incidents import IncidentDoor
from program.api.people import MeDoor, PeopleDoor, ShiftDoor
from program.api.places import BuildingDoor, ClosureDoor, HoursDoor, StationDoor, UnitDoor
from program.api.prescriptions import PrescriptionDoor
from program.api.records import RecordDoor, SetDoor
from program.api.residents import ResidentDoor
from program.api.safety import ClearanceDoor, HoldDoor

router = SimpleRouter(use_regex_path=False)
router.register("buildings", BuildingDoor, "building")
router.register("units", UnitDoor, "unit")
router.register("hours", HoursDoor, "hours")
router.register("stations", StationDoor, "station")
router.register("closures", ClosureDoor, "closure")
router.register("people", PeopleDoor, "person")
router.register("shifts", ShiftDoor, "shift")
router.register("residents", ResidentDoor, "resident")
router.register("clearances", ClearanceDoor, "clearance")
router.register("holds", HoldDoor, "hold")
router.register("incidents", IncidentDoor, "incident")
router.register("prescriptions", PrescriptionDoor, "prescription")
router.register("commitments", CommitmentDoor, "commitment")
router.register("commitment-times", CommitmentTimeDoor, "commitment-time")
router.register("pairings", PairingDoor, "pairing")
router.register("records", RecordDoor, "record")
router.register("sets", SetDoor, "set")
router.register("imports", ImportDoor, "import")
router.register("audit", AuditDoor, "audit")

routes = [
    path("me/", MeDoor.as_view({"get": "show"}), name="me"),
    path("schema/", SpectacularAPIView.as_view(), name="schema"),
    *router.urls,
]
