"""A report waits for those who are still writing (control: without asking for them it is made at once)."""

import pytest
from django.conf import settings

from program.models import scope
from reports import actions
from reports.models import Report
from reports.periods import Period
from tests.conftest import House
from tests.promises.conftest import Doorway

W48 = Period.named("week", "2026-W48")


def asked(house: House) -> int:
    with scope([house.building.pk], user_id=house.coordinator.pk):
        run = actions.ask_for_reports(by=house.coordinator, buildings=[house.building], period=W48)
        return run.reports.get().pk


def state_of(house: House, report_id: int) -> tuple[str, int]:
    with scope([house.building.pk]):
        return Report.objects.values_list("state", "starts").get(pk=report_id)


def test_what_may_still_be_committed_is_waited_for(real_house: House, connect_as: Doorway) -> None:
    report_id = asked(real_house)
    with connect_as(settings.DATABASE_ROLE) as other:
        # Begun before, and has an id because it has written.
        other.execute("SELECT pg_current_xact_id()")
        actions.make_report(report_id=report_id, building_id=real_house.building.pk)
        assert state_of(real_house, report_id) == ("waiting", 0)
        other.rollback()
    actions.make_report(report_id=report_id, building_id=real_house.building.pk)

    assert state_of(real_house, report_id) == ("made", 1)


def test_without_the_question_the_report_is_made_beside_an_open_transaction(
    real_house: House, connect_as: Doorway, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(actions, "unfinished_writes", lambda moment: 0)
    report_id = asked(real_house)
    with connect_as(settings.DATABASE_ROLE) as other:
        other.execute("SELECT pg_current_xact_id()")
        actions.make_report(report_id=report_id, building_id=real_house.building.pk)
        other.rollback()

    assert state_of(real_house, report_id) == ("made", 1)
