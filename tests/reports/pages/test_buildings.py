"""One building's report: all its figures, its weeks drawn and in a table, and what to say when there is none."""

import csv
import io

from program import clock
from program.models import Role
from program.models.scoped import set_scope
from reports.models import Report
from tests import factories
from tests.program.pages.words import words
from tests.reports.pages import invented
from tests.reports.pages.conftest import see_everything


def address(building, period="month/2026-11"):
    return f"/reports/{period}/buildings/{building.pk}/"


def test_all_figures_are_said(six, manager):
    shown = words(manager.get(address(six["Arrowfen"])))

    for told in (
        "Arrowfen, November 2026",
        "As of Tue 1 Dec 2026, 00:00.",
        "done of published 90.0 % (78.6–95.7) 45 of 50",
        "done of prescribed 85 % 47 of 55.4 prescribed",
        "Training volume load times repetitions, done of planned 78.6 %",
        "Mean of 12 residents; 2.0 % was left out because a station was closed",
        "Missed: 5 Resident 5 Clinical 0 Our side 0 Declined (resident) 5",
        "One helps three 9 of 10 Two staff 3 of 3",
        "Before the day 4 Through hold, absence, leaving or closure 3 Notice: half of all withdrawals came 52",
        "Done without having been published 2 Too soon after another session 1 Started late 3 Stopped early 1",
        "Entered late 5 Not recorded 0",
        "Strength sessions here are not therapy minutes.",
    ):
        assert told in shown


def test_weeks_are_drawn_and_told_in_a_table(six, manager):
    page = manager.get(address(six["Dunholt"]))

    assert "Mon 2 Nov 2026-W45 50 40 4 6 2 Mon 9 Nov 2026-W46 0 0 0 0 0" in words(page)
    assert [[part.kind for part in week["parts"]] for week in page.context["weeks"]] == [
        ["done", "missed", "not-recorded"],
        [],
    ]


def test_a_building_that_stopped_recording_says_so_first(six, manager):
    page = manager.get(address(six["Dunholt"]))

    assert page.context["call"] == "Stopped recording since Tue 10 Nov"
    assert "Stopped recording since Tue 10 Nov. Nothing was written since Tue 10 Nov" in words(page)


def test_an_outbreak_is_named_among_the_closures(six, manager):
    assert "Outbreak: building, Mon 2 Nov to Mon 9 Nov" in words(manager.get(address(six["Eskerby"])))


def test_a_failed_report_says_why(six, manager):
    page = manager.get(address(six["Fallowmere"]))

    assert "Report failed: The figures could not be added up." in words(page)
    assert "figures" not in page.context


def test_a_refused_report_says_why(six, manager):
    see_everything()
    Report.objects.filter(building=six["Fallowmere"]).update(state="refused", failure="Your role there has ended.")

    assert "Report refused: Your role there has ended." in words(manager.get(address(six["Fallowmere"])))


def test_without_a_report_the_page_says_what_comes(six, manager):
    page = manager.get(address(six["Arrowfen"], "week/2026-W48"))

    assert "No report of this period yet" in words(page)


def test_a_building_elsewhere_is_not_there_for_anybody(six, elsewhere, client_of):
    people = [factories.with_role(six["Arrowfen"], kind) for kind in ("coordinator", "clinician", "staff")]

    assert [client_of(person).get(address(elsewhere.building)).status_code for person in people] == [404] * 3


def test_an_ended_role_ends_the_page_at_once(six, manager):
    Role.objects.filter(user=six.manager).update(until=clock.now())

    assert manager.get(address(six["Arrowfen"])).status_code == 404


def test_the_table_of_one_building_has_one_row(six, manager):
    answer = manager.get(f"{address(six['Brindlewharf'])}export.csv")

    (row,) = csv.DictReader(io.StringIO(answer.content.decode(), newline=""))
    assert (row["building"], row["sessions done"], row["sessions published"]) == ("Brindlewharf", "4", "5")
    assert answer.headers["Content-Disposition"] == (
        f'attachment; filename="adherence-2026-11-{six["Brindlewharf"].pk}.csv"'
    )


def test_no_page_of_reports_names_a_resident(arrowfen, client_of):
    arrowfen.resident(given_name="Zorvane", family_name="Quillmoor", key="KEY-77")
    set_scope([arrowfen.building.pk], user_id=None)
    invented.report(arrowfen.building)
    manager = client_of(factories.with_role(None, Role.Kind.REGIONAL_MANAGER, region=arrowfen.building.region))

    pages = [
        manager.get(one).content.decode()
        for one in (
            "/reports/month/2026-11/",
            address(arrowfen.building),
            "/reports/month/2026-11/export.csv",
            f"{address(arrowfen.building)}export.csv",
        )
    ]

    assert all("45" in page for page in pages)
    assert [name for page in pages for name in ("Zorvane", "Quillmoor", "KEY-77") if name in page] == []
