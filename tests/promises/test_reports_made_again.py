"""A report made again as of the same moment says the same, whatever was corrected, moved or released since."""

from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.db import connections

from program import clock
from program.actions.places import change_building
from program.actions.sessions import rebook_session
from program.models import Closure, Record, Resident, Session, Set
from program.models.scoped import scope
from reports import actions, queries
from reports.figures import figures_of
from reports.models import Report
from reports.periods import Period
from reports.queries import facts_of, reading
from tests.conftest import House
from tests.program.actions.arranging import booking
from tests.program.api.arranging import at, booked, one_line, one_set
from tests.program.api.asking import Api
from tests.reports.making import make_all, see_everywhere

W49 = Period.named("week", "2026-W49")
# Thursday 3 December, 18:00 in New York.
X = datetime(2026, 12, 3, 23, 0, tzinfo=UTC)


@pytest.fixture
def week(arrowfen: House) -> House:
    """Until Thursday evening: done, done again, given up, nothing written, one to come; one away, one on hold."""
    house = arrowfen
    residents = [house.resident() for _ in range(6)]
    for place, resident in enumerate(residents[:4]):
        booked(house, resident, at(house, 1, 600 + 30 * place))
    booked(house, residents[4], at(house, 4, 600))
    booked(house, residents[5], at(house, 5, 600))
    train(house, residents[0], at(house, 1, 600))
    train(house, residents[1], at(house, 1, 630))
    with clock.at(at(house, 1, 660)):
        session = session_of(residents[2])
        assert (
            Api(house.aide).post(f"sessions/{session.pk}/give-up/", {"reason": "pain"}, of=session).status_code == 200
        )
        sent = {"resident": residents[3].pk, "kind": "away", "reason": "leave", "starts_at": iso(at(house, 2, 480))}
        assert Api(house.aide).post("holds/", sent).status_code == 201
        closed = {
            "building": house.building.pk,
            "station": house.stations[4].pk,
            "reason": "maintenance",
            "starts_at": iso(at(house, 2, 480)),
        }
        assert Api(house.coordinator).post("closures/", closed).status_code == 201
    return house


def iso(moment: datetime) -> str:
    return moment.isoformat()


def session_of(resident: Resident) -> Session:
    return Session.objects.filter(resident=resident).earliest("pk")


def train(house: House, resident: Resident, start: datetime) -> None:
    with clock.at(start + timedelta(minutes=40)):
        session = session_of(resident)
        sent = {
            "lines": [one_line("started", start)],
            "sets": [one_set(house, start + timedelta(minutes=minute)) for minute in (3, 9)],
        }
        assert Api(house.aide).post(f"sessions/{session.pk}/records/", sent).status_code == 200


def figures(house: House, as_of: datetime) -> dict[str, Any]:
    with reading(house.building):
        told = figures_of(facts_of(house.building, W49, as_of))
    see_everywhere()
    return told


def post(api: Api, path: str, sent: dict[str, Any], *, of: Any = None) -> None:
    answer = api.post(path, sent, of=of)
    assert answer.status_code in (200, 201), answer.content


def correct_everything(house: House) -> None:
    """On Friday: what was written is corrected in every way there is."""
    residents = house.residents
    with clock.at(at(house, 4, 480)):
        plan, aide, cares = Api(house.coordinator), Api(house.aide), Api(house.clinician)
        # Written for the wrong resident, and moved to the right one.
        wrong, right = session_of(residents[0]), session_of(residents[3])
        sent = {"session": right.pk, "because": "the wrong person"}
        post(plan, f"sessions/{wrong.pk}/move-to-resident/", sent, of=wrong)
        # A late line about Tuesday, a session moved to next week, another withdrawn.
        late = {"lines": [one_line("attempt", at(house, 1, 640), reason="asleep")], "sets": []}
        post(aide, f"sessions/{session_of(residents[1]).pk}/records/", late)
        moved = session_of(residents[4])
        move(house, moved, at(house, 8, 600))
        withdrawn = session_of(residents[5])
        post(plan, f"sessions/{withdrawn.pk}/withdraw/", {"reason": "declined"}, of=withdrawn)
        # The absence is called over, another hold begins, an agreement is withdrawn, a plan asks for three.
        hold = residents[3].holds.get()
        post(aide, f"holds/{hold.pk}/end/", {}, of=hold)
        held = {"resident": residents[1].pk, "kind": "clinical", "reason": "pain", "starts_at": iso(at(house, 4, 480))}
        post(aide, "holds/", held)
        residents[2].refresh_from_db()
        post(plan, f"residents/{residents[2].pk}/withdraw-agreement/", {}, of=residents[2])
        more = {
            "resident": residents[0].pk,
            "expected_number": 1,
            "sessions_a_week": 3,
            "lines": [{"station": house.stations[0].pk, "load": "60", "load_unit": "kg"}],
        }
        post(cares, "prescriptions/", more)
        residents[4].refresh_from_db()
        changed = Api(house.coordinator).patch(f"residents/{residents[4].pk}/", {"help_sixths": 12}, of=residents[4])
        assert changed.status_code == 200, changed.content
        closure = Closure.objects.of(house.building).get()
        post(plan, f"closures/{closure.pk}/end/", {"ends_at": iso(at(house, 4, 720))}, of=closure)
        house.resident()


def move(house: House, session: Session, start: datetime) -> None:
    """Past the door of the roster, which asks for shifts that this house does not have."""
    with scope([house.building.pk], user_id=house.coordinator.pk):
        by_hand = booking(house, session.resident, start)
        rebook_session(session=session, booking=by_hand, by=house.coordinator)
    see_everywhere()


def test_figures_as_of_a_moment_stay_as_they_were(week: House) -> None:
    with clock.at(X):
        before = figures(week, X)
    correct_everything(week)
    with clock.at(at(week, 6, 600)):
        after, now = figures(week, X), figures(week, at(week, 6, 600))

    assert after == before
    assert (before["attendance"]["done"], before["attendance"]["published"]) == (2, 4)
    assert (before["attendance"]["not_recorded"], before["missed"]["clinical"]) == (1, 1)
    # The control: as of now, everything that was corrected shows.
    changed = {name for name in before if now[name] != before[name]}
    assert changed >= {"closures", "completion", "late_entries", "reached", "residents", "weeks", "withdrawn"}


def test_the_control_reads_the_rows_as_they_are_and_so_differs(week: House) -> None:
    """Without the moment: the same period over the counting lines of today."""
    with clock.at(X):
        before = figures(week, X)
    correct_everything(week)

    assert Record.objects.of(week.building).exclude(replaced_at=None).count() == 1
    assert Set.objects.of(week.building).exclude(replaced_at=None).count() == 2
    done_now = Session.objects.of(week.building).filter(sets_done__gt=0, starts_at__lt=X)
    assert done_now.count() == before["attendance"]["done"] == 2
    assert sorted(done_now.values_list("resident_id", flat=True)) == sorted(
        [week.residents[1].pk, week.residents[3].pk]
    )
    in_week = Session.objects.of(week.building).filter(starts_at__lt=W49.ends_at(week.building.zone))
    assert in_week.count() == 5


def test_a_report_that_is_asked_for_again_has_the_same_figures(week: House) -> None:
    with clock.at(X):
        first = actions.ask_for_reports(by=week.coordinator, buildings=[week.building], period=W49)
        make_all(first.pk)
    correct_everything(week)
    with clock.at(at(week, 6, 600)):
        again = actions.remake(report=Report.objects.of(week.building).get(), by=week.coordinator)
        make_all(again.pk)
        fresh = actions.ask_for_reports(by=week.coordinator, buildings=[week.building], period=W49)
        make_all(fresh.pk)
    made = {report.run_id: report for report in Report.objects.of(week.building)}

    assert made[again.pk].as_of == made[first.pk].as_of == X
    assert made[again.pk].figures == made[first.pk].figures
    assert made[fresh.pk].figures != made[first.pk].figures


def test_a_grace_that_is_changed_later_makes_nobody_late_or_on_time(week: House) -> None:
    start = at(week, 1, 720)
    with clock.at(at(week, 1, 700)):
        resident = week.resident()
        booked(week, resident, start)
    train(week, resident, start + timedelta(minutes=35))
    with clock.at(X):
        before = figures(week, X)
    with clock.at(at(week, 4, 480)), scope([week.building.pk], user_id=week.coordinator.pk):
        change_building(building=week.building, grace_minutes=60)
    week.building.refresh_from_db()
    with clock.at(at(week, 6, 600)):
        after, now = figures(week, X), figures(week, at(week, 6, 600))

    assert (before["late_starts"], after) == (1, before)
    # The control: as of now the longer grace counts.
    assert now["late_starts"] == 0


@pytest.mark.django_db(transaction=True)
def test_a_session_that_is_moved_while_the_figures_are_read_stands_where_it_stood(
    real_house: House, monkeypatch: pytest.MonkeyPatch
) -> None:
    house = real_house
    with scope([house.building.pk]):
        booked(house, house.resident(), at(house, 4, 600))
    as_of = at(house, 3, 600)
    trail_after = queries._trail_after

    def trail_and_then_the_move(*asked: Any) -> Any:
        trail = trail_after(*asked)
        with ThreadPoolExecutor(1) as pool:
            pool.submit(moves_the_only_one, house, as_of + timedelta(minutes=1)).result()
        return trail

    monkeypatch.setattr(queries, "_trail_after", trail_and_then_the_move)
    with reading(house.building):
        while_moved = [visit.starts_at for visit in facts_of(house.building, W49, as_of).visits]
    monkeypatch.setattr(queries, "_trail_after", trail_after)
    with reading(house.building):
        again = [visit.starts_at for visit in facts_of(house.building, W49, as_of).visits]

    assert while_moved == again == [at(house, 4, 600)]


def moves_the_only_one(house: House, moment: datetime) -> None:
    try:
        with clock.at(moment), scope([house.building.pk], user_id=house.coordinator.pk):
            session = Session.objects.get()
            to = booking(house, session.resident, at(house, 8, 600))
            rebook_session(session=session, booking=to, by=house.coordinator)
    finally:
        connections.close_all()
