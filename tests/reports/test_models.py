"""Whose reports show, and what a row of one may hold."""

from datetime import timedelta

import pytest
from django.db import IntegrityError, connection, transaction

from program.models import Resident, Role, Session, scope
from reports.actions import ask_for_reports
from reports.models import Report, Run
from reports.periods import Period
from tests import factories
from tests.conftest import MONDAY, House
from tests.program.api.arranging import at, booked
from tests.promises.conftest import OWNER, Doorway

W48 = Period.named("week", "2026-W48")


@pytest.fixture
def two(arrowfen: House, brindlewharf: House) -> tuple[House, House]:
    for house in (arrowfen, brindlewharf):
        booked(house, house.resident(), at(house, 1, 600))
        ask_for_reports(by=house.coordinator, buildings=[house.building], period=W48)
    return arrowfen, brindlewharf


def shown() -> tuple[list[int], int]:
    buildings = Report.objects.order_by("building_id").values_list("building_id", flat=True)
    return list(buildings), Resident.objects.count() + Session.objects.count()


def test_of_a_reported_building_its_saved_reports_show_and_nothing_else(two: tuple[House, House]) -> None:
    here, _ = two
    with scope([], reported=[here.building.pk]):
        assert shown() == ([here.building.pk], 0)
    with scope([here.building.pk]):
        assert shown() == ([here.building.pk], 2)
    with scope([]):
        assert shown() == ([], 0)


def test_reports_of_the_region_stand_beside_those_of_the_own_building(two: tuple[House, House]) -> None:
    here, there = two
    with scope([here.building.pk], reported=[there.building.pk]):
        assert shown() == (sorted([here.building.pk, there.building.pk]), 2)


@pytest.mark.django_db(transaction=True)
def test_with_the_guard_gone_a_scope_of_nothing_shows_them(real_house: House, connect_as: Doorway) -> None:
    """The control: the same read without a scope, with the policy in force and with it taken out, then undone."""
    with scope([real_house.building.pk]):
        ask_for_reports(by=real_house.coordinator, buildings=[real_house.building], period=W48)
    count = "SELECT count(*) FROM reports_report"
    with connect_as(OWNER) as other:
        assert other.execute(count).fetchone() == (0,)
        other.execute("ALTER TABLE reports_report DISABLE ROW LEVEL SECURITY")
        assert other.execute(count).fetchone() == (1,)


def test_reports_are_seen_by_those_who_answer_for_the_building(two: tuple[House, House]) -> None:
    here, there = two
    manager = factories.with_role(None, Role.Kind.REGIONAL_MANAGER, region=here.building.region)
    people = [here.coordinator, here.clinician, manager, here.aide, there.coordinator]

    assert [[*Report.objects.visible_to(one).values_list("building_id", flat=True)] for one in people] == [
        [here.building.pk],
        [here.building.pk],
        [here.building.pk],
        [],
        [there.building.pk],
    ]
    assert [Run.objects.visible_to(one).count() for one in people] == [1, 1, 1, 0, 1]


def a_report(house: House, **more: object) -> Report:
    told = {
        "building": house.building,
        "period_kind": "week",
        "period_name": "2026-W48",
        "starts_at": MONDAY - timedelta(days=7),
        "ends_at": MONDAY,
        "as_of": MONDAY,
        "asked_at": MONDAY,
        "is_scheduled": True,
    }
    return Report(**(told | more))


BROKEN = {
    "a_report_is_about_a_week_or_a_month": {"period_kind": "month"},
    "a_report_that_is_made_has_figures_and_a_time": {"state": "made", "made_at": MONDAY},
    "a_report_that_was_not_made_says_why": {"state": "failed"},
    "the_schedule_or_a_run_asks_for_a_report": {"is_scheduled": False},
    "a_period_ends_after_it_starts": {"ends_at": MONDAY - timedelta(days=7)},
}


@pytest.mark.parametrize(("name", "fields"), BROKEN.items())
def test_the_database_refuses_a_row_that_breaks_its_rule(arrowfen: House, name: str, fields: dict) -> None:
    with pytest.raises(IntegrityError, match=name), transaction.atomic():
        a_report(arrowfen, **fields).save()

    a_report(arrowfen).save()


def test_a_second_scheduled_report_of_a_period_is_refused(arrowfen: House) -> None:
    a_report(arrowfen).save()
    with pytest.raises(IntegrityError, match="one_scheduled_report_a_building_and_period"), transaction.atomic():
        a_report(arrowfen).save()
    a_report(arrowfen, period_name="2026-W47").save()

    assert Report.objects.count() == 2


def test_the_role_of_the_service_can_neither_delete_a_report_nor_rewrite_a_run(arrowfen: House) -> None:
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT table_name, privilege_type FROM information_schema.role_table_grants"
            " WHERE table_name LIKE 'reports_%%' AND grantee = current_user AND privilege_type <> 'TRUNCATE'"
            " ORDER BY 1, 2"
        )
        rights = cursor.fetchall()

    assert rights == [
        ("reports_report", "INSERT"),
        ("reports_report", "SELECT"),
        ("reports_report", "UPDATE"),
        ("reports_run", "INSERT"),
        ("reports_run", "SELECT"),
    ]
