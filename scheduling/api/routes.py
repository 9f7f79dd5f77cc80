"""The addresses of the API in this package."""

from django.urls import path
from rest_framework.routers import SimpleRouter

from scheduling.api.flags import FlagDoor
from scheduling.api.rosters import RosterDoor
from scheduling.api.sessions import PlannedSessionDoor, TimesDoor

router = SimpleRouter(use_regex_path=False)
router.register("flags", FlagDoor, "flag")
router.register("rosters", RosterDoor, "roster")
router.register("sessions", PlannedSessionDoor, "session")

routes = [
    path("residents/<int:pk>/times/", TimesDoor.as_view({"get": "show"}), name="times"),
    *router.urls,
]
