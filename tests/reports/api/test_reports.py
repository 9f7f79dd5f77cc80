"""Reports over the API: asked for, watched, read; by those who answer for the building and by nobody else."""

from datetime import timedelta
from uuid import uuid4

import pytest

from program import clock
from program.models import Role, User
from reports.models import Report, Run
from tests import factories
from tests.conftest import MONDAY, House, build_house
from tests.program.api.asking import Api, problem_of
from tests.reports.making import make_all, manager_of, report_over_api, run_over_api

NOTHING, REFUSED = (404, "not-found"), (403, "not-allowed")
WEEK = {"period_kind": "week", "period_name": "2026-W48"}


@pytest.fixture
def manager(arrowfen: House) -> User:
    return manager_of(arrowfen)


def test_a_run_is_accepted_and_its_address_tells_how_far_it_is(arrowfen: House, manager: User) -> None:
    build_house("Coppermere", region=arrowfen.building.region)
    api = Api(manager)
    asked = api.post("report-runs/", WEEK)

    assert asked.status_code == 202
    assert asked.headers["Location"] == f"/api/report-runs/{asked.json()['id']}/"
    assert asked.json() == {
        "id": asked.json()["id"],
        **WEEK,
        "as_of": "2026-11-30T11:00:00+00:00",
        "asked_by": manager.pk,
        "asked_at": "2026-11-30T11:00:00+00:00",
        "waiting": 2,
        "made": 0,
        "failed": 0,
        "refused": 0,
    }
    make_all(asked.json()["id"])
    told = api.client.get(asked.headers["Location"]).json()
    assert (told["waiting"], told["made"], [one["state"] for one in told["buildings"]]) == (0, 2, ["made", "made"])


def test_a_report_says_its_period_by_the_clock_of_the_building(arrowfen: House) -> None:
    told = report_over_api(arrowfen.coordinator, arrowfen, "week", "2026-W48")

    assert (told["starts_at"], told["ends_at"]) == ("2026-11-23T00:00:00-05:00", "2026-11-30T00:00:00-05:00")
    assert (told["as_of"], told["made_at"]) == ("2026-11-30T06:00:00-05:00", "2026-11-30T06:00:00-05:00")
    assert told["figures"]["attendance"]["share"] is None
    assert told["figures"]["recording"]["state"] == "nothing published"


def test_who_may_see_and_who_may_make(arrowfen: House, stranger: User, manager: User) -> None:
    report = report_over_api(arrowfen.coordinator, arrowfen)
    sent = WEEK | {"buildings": [arrowfen.building.pk]}
    paths = f"reports/{report['id']}/", f"report-runs/{report['run']}/"

    for path in paths:
        assert [Api(one).get(path).status_code for one in (manager, arrowfen.clinician)] == [200, 200]
        assert problem_of(Api(arrowfen.aide).get(path)) == REFUSED
        assert problem_of(Api(stranger).get(path)) == NOTHING
    assert problem_of(Api(arrowfen.clinician).post("report-runs/", sent)) == REFUSED
    assert problem_of(Api(arrowfen.clinician).post("report-runs/", WEEK)) == REFUSED
    assert problem_of(Api(arrowfen.aide).post("report-runs/", sent)) == REFUSED
    assert problem_of(Api(stranger).post("report-runs/", sent)) == (422, "invalid")
    assert problem_of(Api(arrowfen.aide).get("reports/")) == REFUSED
    assert Api(stranger).get("reports/").json()["results"] == []


def test_a_coordinator_sees_of_a_run_only_their_own_building(
    arrowfen: House, brindlewharf: House, manager: User
) -> None:
    Role.objects.create(
        user=manager, kind=Role.Kind.REGIONAL_MANAGER, region=brindlewharf.building.region, since=factories.LONG_AGO
    )
    whole = run_over_api(manager, kind="week", name="2026-W48")
    theirs = Api(arrowfen.coordinator).get(f"report-runs/{whole['id']}/").json()

    assert [one["name"] for one in whole["buildings"]] == ["Arrowfen House", "Brindlewharf"]
    assert [one["name"] for one in theirs["buildings"]] == ["Arrowfen House"]
    assert (whole["made"], theirs["made"], len(whole["regions"]), len(theirs["regions"])) == (2, 1, 2, 1)
    [listed] = Api(arrowfen.coordinator).get("report-runs/").json()["results"]
    assert (listed["id"], listed["made"]) == (whole["id"], 1)


def test_lists_are_filtered_by_building_period_and_state(arrowfen: House, manager: User) -> None:
    other = build_house("Coppermere", region=arrowfen.building.region)
    run_over_api(manager, "week", "2026-W48")
    Api(manager).post("report-runs/", {"period_kind": "month", "period_name": "2026-11"})

    def listed(**asked: object) -> int:
        return len(Api(manager).get("reports/", **asked).json()["results"])

    assert listed() == 4
    assert listed(building=other.building.pk) == 2
    assert (listed(period_kind="month"), listed(period_name="2026-W48"), listed(state="waiting")) == (2, 2, 2)
    assert len(Api(manager).get("report-runs/", period_kind="month").json()["results"]) == 1
    foreign = build_house("Driftmoor").building.pk
    assert problem_of(Api(manager).get("reports/", building=foreign)) == (400, "invalid-filter")


@pytest.mark.parametrize(
    ("sent", "problem"),
    [
        ({"period_kind": "week", "period_name": "2026-W54"}, (422, "invalid")),
        ({"period_kind": "month", "period_name": "2026-W48"}, (422, "invalid")),
        ({"period_kind": "year", "period_name": "2026"}, (422, "invalid")),
        ({"period_kind": "week"}, (422, "invalid")),
        (WEEK | {"as_of": "2026-11-30T06:00:01-05:00"}, (422, "invalid")),
        (WEEK | {"buildings": []}, (422, "invalid")),
        (WEEK | {"buildings": ["all"]}, (422, "invalid")),
        ({"period_kind": "week", "period_name": "2026-W50"}, (409, "period-not-over")),
        (WEEK | {"as_of": "2026-11-20T06:00:00-05:00"}, (409, "period-not-over")),
    ],
)
def test_what_makes_no_report_is_refused_with_a_sentence(
    arrowfen: House, manager: User, sent: dict, problem: tuple[int, str]
) -> None:
    answer = Api(manager).post("report-runs/", sent)

    assert problem_of(answer) == problem
    assert answer.json()["detail"].endswith(".")
    assert Run.objects.count() == 0


def test_a_running_week_is_told_so_far(arrowfen: House) -> None:
    told = report_over_api(arrowfen.coordinator, arrowfen, "week", "2026-W49")

    assert [week["week"] for week in told["figures"]["weeks"]] == ["2026-W49"]
    # Monday is not over.
    assert told["figures"]["residents"]["days"] == 0


def test_the_same_key_twice_is_one_run_also_for_a_manager(arrowfen: House, manager: User) -> None:
    key, api = str(uuid4()), Api(manager)
    first, second = (api.post("report-runs/", WEEK, key=key) for _ in range(2))

    assert (first.status_code, second.status_code) == (202, 202)
    assert first.json() == second.json()
    assert (Run.objects.count(), Report.objects.count()) == (1, 1)
    with clock.at(MONDAY + timedelta(minutes=1)):
        Role.objects.filter(user=manager).update(until=clock.now())
        assert problem_of(api.post("report-runs/", WEEK, key=key)) == NOTHING


def test_a_building_named_twice_is_reported_once(arrowfen: House) -> None:
    twice = [arrowfen.building.pk, arrowfen.building.pk]
    told = run_over_api(arrowfen.coordinator, "week", "2026-W48", buildings=twice)

    assert len(told["buildings"]) == 1


def test_who_asked_still_finds_the_run_without_a_role_and_nothing_in_it(arrowfen: House, manager: User) -> None:
    told = run_over_api(manager, "week", "2026-W48")
    with clock.at(MONDAY + timedelta(minutes=1)):
        Role.objects.filter(user=manager).update(until=clock.now())
        left = Api(manager).get(f"report-runs/{told['id']}/").json()

    assert (left["made"], left["buildings"], left["regions"]) == (0, [], [])


@pytest.mark.parametrize(("kind", "name"), [("month", "0001-01"), ("week", "0001-W01"), ("month", "9999-12")])
def test_a_period_at_the_end_of_the_calendar_is_refused_in_words(arrowfen: House, kind: str, name: str) -> None:
    arrowfen.building.timezone = "Europe/Berlin"
    arrowfen.building.save()
    sent = {"period_kind": kind, "period_name": name}

    answer = Api(manager_of(arrowfen)).post("report-runs/", sent)

    assert problem_of(answer) == ((422, "invalid") if name.startswith("0001") else (409, "period-not-over"))
