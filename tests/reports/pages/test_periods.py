"""All buildings side by side: who needs a call, what each did, pooled and never ranked."""

import csv
import io
import re
from datetime import UTC, datetime, timedelta
from html import unescape

import pytest
from django.urls import reverse

from program import clock
from program.models import Role
from reports.periods import Period
from tests import factories
from tests.conftest import MONDAY
from tests.program.pages.words import chips, words
from tests.reports.pages import invented
from tests.reports.pages.conftest import see_everything

NOVEMBER = "/reports/month/2026-11/"
# One minute after the schedule has asked for November, in New York.
END_OF_NOVEMBER = datetime(2026, 12, 1, 5, 1, tzinfo=UTC)
WEEK_49 = Period.named("week", "2026-W49")
HEADINGS = re.compile(r"<h2[^>]*>(.*?)</h2>")


def row_of(response, name):
    """The line of a building in its table, as it is read."""
    rows = re.findall(r"<tr>\s*<th scope=\"row\">.*?</tr>", response.content.decode(), re.DOTALL)
    read = [" ".join(unescape(re.sub(r"<[^>]+>", " ", row)).split()) for row in rows]
    return next(row for row in read if row.startswith(name))


def test_each_building_stands_with_its_shares_their_interval_and_their_counts(six, manager):
    shown = manager.get(NOVEMBER)

    assert (
        row_of(shown, "Arrowfen")
        == "Arrowfen 90.0 % (78.6–95.7) , 45 of 50 85 % 47 of 55.4 prescribed 0 1 Resident, 5 of 5"
    )
    assert row_of(shown, "Brindlewharf").startswith("Brindlewharf 80.0 % (37.6–96.4) , 4 of 5")


def test_what_is_not_recorded_makes_a_range_and_says_so(six, manager):
    shown = row_of(manager.get(NOVEMBER), "Dunholt")

    assert shown.startswith("Dunholt 80.0–92.0 % (67.0–96.8) , 40 to 46 of 50 range: 12 % not recorded")


def test_nothing_published_is_said_and_not_drawn(six, manager):
    page = manager.get(NOVEMBER)

    assert row_of(page, "Coppermere").startswith("Coppermere None published")
    lines = {row.standing.building.name: row.line for table in page.context["tables"] for row in table.rows if row.line}
    assert {name: line.marks is None for name, line in lines.items()} == {
        "Arrowfen": False,
        "Brindlewharf": False,
        "Coppermere": True,
        "Dunholt": False,
    }


def test_the_region_is_pooled_without_those_that_stand_apart(six, manager):
    # Σ done 89 of Σ published 105, 6 not recorded: 84.8 to 90.5.
    total = row_of(manager.get(NOVEMBER), "Northern region")

    assert total.startswith("Northern region, 4 buildings pooled shares of the sums, not a mean of shares 84.8–90.5 %")
    assert "89 to 95 of 105 range: 6 % not recorded" in total


def test_buildings_stand_by_name_and_an_outbreak_apart(six, manager):
    page = manager.get(NOVEMBER)

    (table,) = page.context["tables"]
    assert [row.standing.building.name for row in table.rows] == [
        "Arrowfen",
        "Brindlewharf",
        "Coppermere",
        "Dunholt",
        "Fallowmere",
    ]
    assert [row.standing.building.name for row in page.context["apart"]] == ["Eskerby"]
    assert HEADINGS.findall(page.content.decode()) == [
        "Buildings that need a call",
        "Northern region",
        "Under an outbreak closure",
        "How to read this",
    ]


def test_who_needs_a_call_is_said_first_with_since_when_and_why(six, manager):
    page = manager.get(NOVEMBER)

    assert [(call.building.name, call.what) for call in page.context["calls"]] == [
        ("Dunholt", "Stopped recording since Tue 10 Nov"),
        ("Fallowmere", "Report failed"),
    ]
    assert chips(page) == ["Stopped recording since Tue 10 Nov", "Report failed"]
    assert (
        "Nothing was written since Tue 10 Nov: 38 sessions are not recorded. "
        "Last written Mon 9 Nov. Last session done Mon 9 Nov."
    ) in words(page)


def test_a_quiet_period_says_that_nobody_needs_a_call(six, client_of):
    coordinator = client_of(factories.with_role(six["Arrowfen"], Role.Kind.COORDINATOR))

    page = coordinator.get(NOVEMBER)

    assert page.context["calls"] == []
    assert "None: no building with a report has stopped training or recording." in words(page)


def test_stopped_training_is_told_apart_from_stopped_recording(six, client_of):
    with clock.at(END_OF_NOVEMBER):
        see_everything()
        kept = invented.figures(0, 14, recording=invented.STOPPED_TRAINING)
        invented.report(six["Arrowfen"], kept, run=invented.asked(six.manager))

        page = client_of(six.manager).get(NOVEMBER)

    assert page.context["calls"][0].what == "Stopped training since Tue 17 Nov"
    assert page.context["calls"][0].sentences == [
        "No session was done since Tue 17 Nov, though 14 were planned.",
        "Last written Sat 28 Nov. Last session done Mon 16 Nov.",
        "Reasons for what was missed: resident, 14 of 14.",
    ]


def test_the_page_says_as_of_when_and_what_it_does_not_count(six, manager):
    shown = words(manager.get(NOVEMBER))

    assert "As of Tue 1 Dec 2026, 00:00, by each building's clock." in shown
    assert "Strength sessions here are not therapy minutes." in shown
    assert "never replaces the judgement of licensed staff" in shown
    assert "Attendance, done of published" in shown
    assert "Completion, done of prescribed" in shown


@pytest.mark.parametrize(
    ("hours_later", "told"),
    [
        (0, "As of Mon 30 Nov 2026, 11:00 UTC."),
        # An hour later the clocks of Chicago show what those of New York did.
        (1, "As of Mon 30 Nov 2026, 06:00, by each building's clock."),
        (2, "As of Mon 30 Nov 2026, 11:00 UTC to Mon 30 Nov 2026, 13:00 UTC."),
    ],
)
def test_in_several_time_zones_it_stays_plain_as_of_when_the_figures_are(six, client_of, hours_later, told):
    west = factories.BuildingFactory(name="Westering", region=six.region, timezone="America/Chicago")
    see_everything()
    invented.report(six["Arrowfen"], run=invented.asked(six.manager, WEEK_49), period=WEEK_49)
    with clock.at(MONDAY + timedelta(hours=hours_later)):
        invented.report(west, run=invented.asked(six.manager, WEEK_49), period=WEEK_49)

    assert told in words(client_of(six.manager).get("/reports/week/2026-W49/"))


def test_figures_of_a_running_period_are_said_to_be_so_far(six, manager):
    see_everything()
    invented.report(
        six["Arrowfen"],
        run=invented.asked(six.manager, Period.named("week", "2026-W49")),
        period=Period.named("week", "2026-W49"),
    )

    assert "The period is not over everywhere: these are the figures so far." in words(
        manager.get("/reports/week/2026-W49/")
    )
    assert "so far" not in words(manager.get(NOVEMBER))


def test_a_report_that_is_made_again_leaves_the_figures_that_stand(six, client_of):
    with clock.at(END_OF_NOVEMBER):
        see_everything()
        run = invented.asked(six.manager)
        invented.report(six["Arrowfen"], run=run, state="waiting")
        invented.report(six["Brindlewharf"], run=run, state="failed", failure="It took too long.")

        page = client_of(six.manager).get(NOVEMBER)

    assert row_of(page, "Arrowfen").startswith("Arrowfen being made again 90.0 %")
    assert row_of(page, "Brindlewharf").startswith("Brindlewharf making it again failed 80.0 %")
    assert ("Brindlewharf", ["It took too long."]) in [
        (call.building.name, call.sentences) for call in page.context["calls"]
    ]
    assert page.context["run"] == run.pk


def test_another_region_is_not_there(six, manager, elsewhere):
    assert "Gorsefield" not in words(manager.get(NOVEMBER))
    assert manager.get(f"{NOVEMBER}buildings/{elsewhere.building_id}/").status_code == 404
    assert "Gorsefield" not in manager.get(f"{NOVEMBER}export.csv").content.decode()


def test_a_coordinator_sees_their_own_building_and_no_other(six, client_of):
    coordinator = client_of(factories.with_role(six["Arrowfen"], Role.Kind.COORDINATOR))

    page = coordinator.get(NOVEMBER)

    (table,) = page.context["tables"]
    assert [row.standing.building.name for row in table.rows] == ["Arrowfen"]
    # One building is no sum.
    assert table.total is None
    assert [label for label, _, _ in page.context["nav"]] == ["Arrowfen", "Reports"]


@pytest.mark.parametrize(("kind", "status"), [("staff", 403), ("clinician", 200), ("coordinator", 200)])
def test_staff_read_no_reports(six, client_of, kind, status):
    person = client_of(factories.with_role(six["Arrowfen"], kind))

    assert [
        person.get(address).status_code
        for address in (NOVEMBER, f"{NOVEMBER}export.csv", f"{NOVEMBER}buildings/{six['Arrowfen'].pk}/")
    ] == [status] * 3


def test_who_has_nothing_to_do_with_figures_finds_nothing(six, client_of):
    assert client_of(factories.UserFactory()).get(NOVEMBER).status_code == 404
    assert client_of(factories.with_role(None, Role.Kind.ADMINISTRATOR)).get("/reports/").status_code == 404


def test_the_table_to_take_away_has_a_row_for_each_report(six, manager):
    answer = manager.get(f"{NOVEMBER}export.csv")

    rows = list(csv.DictReader(io.StringIO(answer.content.decode(), newline="")))
    assert answer.headers["Content-Disposition"] == 'attachment; filename="adherence-2026-11.csv"'
    assert answer.headers["Content-Type"] == "text/csv; charset=utf-8"
    assert [(row["building"], row["report"], row["done of published"]) for row in rows] == [
        ("Arrowfen", "made", "0.9000"),
        ("Brindlewharf", "made", "0.8000"),
        ("Coppermere", "made", ""),
        ("Dunholt", "made", "0.8000"),
        ("Eskerby", "made", "0.1800"),
        ("Fallowmere", "failed: The figures could not be added up.", ""),
    ]
    assert {(row["as of"], row["period"]) for row in rows} == {("2026-12-01T00:00-05:00", "2026-11")}


def test_the_page_takes_as_many_queries_for_six_buildings_as_for_two(six, manager, queries, client_of):
    region = factories.RegionFactory()
    for name in ("Highmoor", "Inkwell"):
        building = factories.BuildingFactory(name=name, region=region)
        see_everything()
        invented.report(building)
    smaller = client_of(factories.with_role(None, Role.Kind.REGIONAL_MANAGER, region=region))

    counts = {queries(smaller, NOVEMBER), queries(manager, NOVEMBER)}

    assert len(counts) == 1


def test_reports_are_reached_from_the_menu_of_a_building(six, client_of):
    coordinator = client_of(factories.with_role(six["Arrowfen"], Role.Kind.COORDINATOR))
    staff = client_of(factories.with_role(six["Arrowfen"], Role.Kind.STAFF))
    places = reverse("program:places", args=[six["Arrowfen"].pk])

    menu = {label: address for label, address, _ in coordinator.get(places).context["nav"]}
    assert coordinator.get(menu["Reports"]).url == "/reports/"
    assert "Reports" not in {label for label, _, _ in staff.get(places).context["nav"]}
    assert staff.get(menu["Reports"]).status_code == 403
