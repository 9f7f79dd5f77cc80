"""Addresses of what is true."""

from django.urls import URLPattern, URLResolver, include, path

from program.api.problem_page import explain
from program.api.routes import routes
from program.pages import (
    clearances,
    commitments,
    correcting,
    home,
    imports,
    late_entries,
    people,
    places,
    recording,
    resident_forms,
    residents,
    shifts,
    tokens,
    waiting,
    welcome,
)

app_name = "program"

BUILDING = "buildings/<int:building_id>/"
RESIDENT = f"{BUILDING}residents/<int:resident_id>/"
SESSION = f"{BUILDING}sessions/<int:session_id>/"
PERSON = "people/<int:user_id>/"

pages: list[URLPattern | URLResolver] = [
    path("", home.home, name="home"),
    path("start-building/", imports.start_building, name="start-building"),
    path("start-building/blank.xlsx", imports.blank_building, name="start-blank"),
    path("start-building/<int:import_id>/", imports.start, name="start"),
    path("welcome/<str:token>/", welcome.welcome, name="welcome"),
    path("tokens/", tokens.tokens, name="tokens"),
    path("tokens/make/", tokens.make, name="make-token"),
    path("people/", people.people, name="people"),
    path("people/add/", people.add, name="add-person"),
    path(PERSON, people.person, name="person"),
    path(f"{PERSON}change/", people.change, name="change-person"),
    path(f"{PERSON}link/", people.link, name="person-link"),
    path(f"{PERSON}roles/", people.add_role, name="add-role"),
    path(f"{PERSON}roles/<int:role_id>/", people.end_role, name="end-role"),
    path(f"{PERSON}close/", people.disable, name="close-account"),
    path(f"{PERSON}open/", people.enable, name="open-account"),
    path(f"{PERSON}sessions/", people.end_sessions, name="end-sessions"),
    path(f"{PERSON}tokens/", people.end_token, name="end-token"),
    path(f"{PERSON}second-step/", people.reset_factor, name="reset-second-step"),
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
    path(f"{BUILDING}waiting/", waiting.waiting, name="waiting"),
    path(f"{BUILDING}waiting/<int:incident_id>/seen/", waiting.seen, name="seen"),
    path(f"{BUILDING}late/", late_entries.newest, name="late-newest"),
    path(f"{BUILDING}late/<str:text>/", late_entries.late, name="late"),
    path(f"{BUILDING}late/<str:text>/unplanned/", late_entries.unplanned, name="late-unplanned"),
    path(f"{BUILDING}late/<str:text>/<int:session_id>/", late_entries.late_session, name="late-session"),
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
    path(f"{SESSION}correct/", correcting.correct, name="session-correct"),
    path(SESSION, recording.session, name="session"),
    path(f"{SESSION}start/", recording.start, name="session-start"),
    path(f"{SESSION}attempt/", recording.attempt, name="session-attempt"),
    path(f"{SESSION}give-up/", recording.give_up, name="session-give-up"),
    path(f"{SESSION}set/", recording.record_set, name="session-set"),
    path(f"{SESSION}end/", recording.end, name="session-end"),
    path(f"{SESSION}warning/", recording.warning, name="session-warning"),
    path(f"{SESSION}seen/", recording.seen, name="session-seen"),
    path(f"{BUILDING}imports/", imports.imports, name="imports"),
    path(f"{BUILDING}imports/blank/<str:file_name>", imports.blank, name="blank"),
    path(f"{BUILDING}imports/<int:import_id>/", imports.one_import, name="import"),
]

api: list[URLPattern | URLResolver] = [
    path("api/", include(routes)),
    path("problems/<slug:problem>", explain, name="problem"),
]

urlpatterns: list[URLPattern | URLResolver] = [*api, *pages]
