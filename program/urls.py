"""Addresses of what is true."""

from django.urls import URLPattern, URLResolver, include, path

from program.api.problem_page import explain
from program.api.routes import routes
from program.pages import clearances, commitments, home, imports, places, resident_forms, residents, shifts

app_name = "program"

BUILDING = "buildings/<int:building_id>/"
RESIDENT = f"{BUILDING}residents/<int:resident_id>/"

pages: list[URLPattern | URLResolver] = [
    path("", home.home, name="home"),
    path("start-building/", imports.start_building, name="start-building"),
    path("start-building/blank.xlsx", imports.blank_building, name="start-blank"),
    path("start-building/<int:import_id>/", imports.start, name="start"),
    path(BUILDING, home.building, name="building"),
    path(f"{BUILDING}residents/", residents.residents, name="residents"),
    path(RESIDENT, residents.resident, name="resident"),
    path(f"{RESIDENT}change/", resident_forms.change, name="change-resident"),
    path(f"{RESIDENT}agreement/", resident_forms.agreement, name="agreement"),
    path(f"{RESIDENT}hold/", resident_forms.hold, {"kind": "clinical"}, name="hold"),
    path(f"{RESIDENT}away/", resident_forms.hold, {"kind": "away"}, name="away"),
    path(f"{RESIDENT}holds/<int:hold_id>/", resident_forms.hold_ends, name="hold-ends"),
    path(f"{RESIDENT}calendar/", commitments.add, name="add-commitment"),
    path(f"{RESIDENT}calendar/<int:commitment_id>/", commitments.change, name="change-commitment"),
    path(f"{RESIDENT}calendar/<int:commitment_id>/end/", commitments.end, name="end-commitment"),
    path(f"{BUILDING}clearances/", clearances.clearances, name="clearances"),
    path(f"{BUILDING}shifts/", shifts.shifts, name="shifts"),
    path(f"{BUILDING}shifts/add/", shifts.add, name="add-shift"),
    path(f"{BUILDING}shifts/<int:shift_id>/", shifts.change, name="change-shift"),
    path(f"{BUILDING}shifts/<int:shift_id>/end/", shifts.end, name="end-shift"),
    path(f"{BUILDING}places/", places.places, name="places"),
    path(f"{BUILDING}places/rules/", places.rules, name="rules"),
    path(f"{BUILDING}places/hours/", places.hours, name="add-hours"),
    path(f"{BUILDING}places/hours/<int:hours_id>/", places.hours_end, name="remove-hours"),
    path(f"{BUILDING}places/stations/", places.station_add, name="add-station"),
    path(f"{BUILDING}places/stations/<int:station_id>/", places.station_change, name="change-station"),
    path(f"{BUILDING}places/closures/", places.closure, name="close"),
    path(f"{BUILDING}places/closures/<int:closure_id>/", places.closure_ends, name="open-again"),
    path(f"{BUILDING}imports/", imports.imports, name="imports"),
    path(f"{BUILDING}imports/blank/<str:file_name>", imports.blank, name="blank"),
    path(f"{BUILDING}imports/<int:import_id>/", imports.one_import, name="import"),
]

api: list[URLPattern | URLResolver] = [
    path("api/", include(routes)),
    path("problems/<slug:problem>", explain, name="problem"),
]

urlpatterns: list[URLPattern | URLResolver] = [*api, *pages]
