"""Residents: enrolled with an agreement, changed, given a longer recovery, and leaving."""

from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any

from django.db import transaction
from django.db.models import F

from program import clock
from program.actions.changing import change, make, only
from program.actions.locks import lock_persons
from program.actions.refusing import refusing_what_the_database_refuses
from program.actions.settling import claim_of, settle
from program.actions.stopping import lock_what_is_planned, withdraw_during
from program.models import Building, Person, Resident, Session, Unit, User
from program.models.scoped import whole_person
from program.rules.errors import Invalid, Refused
from program.rules.recovery import recovered_at
from program.rules.states import HOLDS_NOTHING
from program.rules.week import local_instant

OPTIONAL_FIELDS = {
    *("room", "bed", "until", "enrolled_at", "escort_people", "escort_minutes", "helper_notes", "recovery_hours"),
    *("last_session_ended_at", "recovered_at", "sessions_before", "preferred_half", "agreement_authority"),
}
CHANGED_FIELDS = {
    *("unit", "room", "bed", "given_name", "family_name", "date_of_birth", "help_sixths"),
    *("escort_people", "escort_minutes", "helper_notes", "preferred_half"),
}
# The longest recovery that anyone can be given: what ended before it holds nobody any more.
LONGEST_RECOVERY = timedelta(hours=1_000)


@transaction.atomic
def enrol_resident(
    *,
    building: Building,
    by: User,
    unit: Unit,
    key: str,
    given_name: str,
    family_name: str,
    date_of_birth: date,
    help_sixths: int,
    agreed_on: date,
    agreed_by: str,
    since: datetime | None = None,
    person: Person | None = None,
    **optional: Any,
) -> Resident:
    """A stay in this building; `person` joins it to earlier ones, `optional` are other fields of a resident."""
    only(OPTIONAL_FIELDS, optional)
    _refuse_other_building(unit, building)
    _refuse_future(building, agreed_on=agreed_on, date_of_birth=date_of_birth)
    resident = Resident(
        building=building,
        unit=unit,
        person=person or Person(),
        key=key,
        given_name=given_name,
        family_name=family_name,
        date_of_birth=date_of_birth,
        help_sixths=help_sixths,
        agreed_on=agreed_on,
        agreed_by=agreed_by,
        since=since or clock.now(),
        **optional,
    )
    return _moved_in(resident, agreed_on, is_known=person is not None)


def _moved_in(resident: Resident, agreed_on: date, *, is_known: bool) -> Resident:
    """In the programme from the start of the stay or the day of the agreement, whichever is later.

    Somebody known carries when they are recovered.
    """
    if resident.enrolled_at is None:
        agreed_at = min(clock.now(), local_instant(agreed_on, 0, resident.building.zone))
        resident.enrolled_at = max(resident.since, agreed_at)
    if is_known:
        lock_persons(person_ids=[resident.person_id])
        carried = [resident.recovered_at, recovered_from_earlier_stays(resident.person)]
        resident.recovered_at = max(filter(None, carried), default=None)
    with refusing_what_the_database_refuses():
        if not is_known:
            resident.person.save(force_insert=True)
        return make(resident)


def recovered_from_earlier_stays(person: Person) -> datetime | None:
    """The end of recovery of all that the person really did, in whatever building; None where it is past."""
    now = clock.now()
    with whole_person([person.pk]):
        done = list(Session.objects.filter(person=person, sets_done__gt=0, ends_at__gte=now - LONGEST_RECOVERY))
    carried = recovered_at(claim for session in done if (claim := claim_of(session, now)))
    stays = Resident.objects.filter(person=person, recovered_at__gt=now).values_list("recovered_at", flat=True)
    ends = [moment for moment in [carried, *stays] if moment is not None and moment > now]
    return max(ends, default=None)


@transaction.atomic
def change_resident(*, resident: Resident, version: int | None = None, **fields: Any) -> Resident:
    """Change what staff know of a resident; sessions that are published keep the help they were published with."""
    only(CHANGED_FIELDS, fields)
    if "unit" in fields:
        _refuse_other_building(fields["unit"], resident.building)
    if "date_of_birth" in fields:
        _refuse_future(resident.building, date_of_birth=fields["date_of_birth"])
    return change(resident, version=version, **fields)


@transaction.atomic
def set_recovery(*, resident: Resident, hours: Decimal, by: User, version: int | None = None) -> Resident:
    """Set how many hours (48 or more) lie between sessions; bookings that this cuts are overtaken at once."""
    lock_persons(person_ids=[resident.person_id])
    resident = change(resident, version=version, recovery_hours=Decimal(hours))
    follow_recovery(resident=resident)
    return resident


def follow_recovery(*, resident: Resident) -> None:
    """Carry the resident's hours to what they bear on, and settle. The person must be locked.

    They bear on what is booked and on the newest session that happened, never on older ones: nobody has trained too
    soon by a rule that was made afterwards.
    """
    now = clock.now()
    newest = Session.objects.filter(resident=resident, sets_done__gt=0).order_by("-started_at").first()
    not_done = Session.objects.on_the_plan().filter(resident=resident, sets_done=0, ended_at__isnull=True)
    bound = [session for session in not_done if session.state_at(now) not in HOLDS_NOTHING]
    if newest is not None:
        bound.append(newest)
    keys = [session.pk for session in bound if session.recovery_hours != resident.recovery_hours]
    if keys:
        Session.objects.filter(pk__in=keys).update(recovery_hours=resident.recovery_hours, version=F("version") + 1)
        settle(person_ids=[resident.person_id], since=min(session.starts_at for session in bound))


@transaction.atomic
def withdraw_agreement(*, resident: Resident, by: User, version: int | None = None) -> Resident:
    """The resident or their representative no longer agrees: what has not begun is taken off the plan."""
    if resident.agreed_on is None:
        raise Refused(f"{resident.name} has not agreed to anything yet.", problem="no-agreement")
    if resident.agreement_withdrawn_at is not None:
        raise Refused("This agreement has been withdrawn already.", problem="already-withdrawn")
    lock_what_is_planned(resident=resident)
    now = clock.now()
    resident = change(resident, version=version, agreement_withdrawn_at=now)
    withdraw_during(resident=resident, since=now, until=None, reason="agreement withdrawn", by=by)
    return resident


@transaction.atomic
def agree_again(
    *,
    resident: Resident,
    agreed_on: date,
    agreed_by: str,
    by: User,
    agreement_authority: str = "",
    version: int | None = None,
) -> Resident:
    """A first agreement after moving in, or a new one after a withdrawal."""
    _refuse_future(resident.building, agreed_on=agreed_on)
    withdrawn_at = resident.agreement_withdrawn_at
    if withdrawn_at and agreed_on < withdrawn_at.astimezone(resident.building.zone).date():
        raise Invalid("This agreement is older than its withdrawal. Enter the day of the new one.", field="agreed_on")
    return change(
        resident,
        version=version,
        agreed_on=agreed_on,
        agreed_by=agreed_by,
        agreement_authority=agreement_authority,
        agreement_withdrawn_at=None,
        enrolled_at=resident.enrolled_at or clock.now(),
    )


@transaction.atomic
def end_stay(*, resident: Resident, until: datetime, by: User, version: int | None = None) -> Resident:
    """The resident leaves this building at `until`: later sessions are withdrawn.

    `recovered_at` of the answer is the end of recovery that a new stay begins with.
    """
    if until <= resident.since:
        raise Invalid("A stay must end after it begins.", field="until")
    lock_what_is_planned(resident=resident)
    carried = recovered_from_earlier_stays(resident.person)
    fields: dict[str, Any] = {"until": until}
    if carried is not None:
        fields["recovered_at"] = carried
    with refusing_what_the_database_refuses():
        resident = change(resident, version=version, **fields)
    withdraw_during(resident=resident, since=until, until=None, reason="left the building", by=by)
    return resident


def _refuse_other_building(unit: Unit, building: Building) -> None:
    if unit.building_id != building.pk:
        raise Invalid(f"{building.name} has no such unit. Choose one of its own.", field="unit")


def _refuse_future(building: Building, **days: date) -> None:
    today = clock.now().astimezone(building.zone).date()
    for field, day in days.items():
        if day > today:
            raise Invalid(f"{day} is in the future. Enter what has already happened.", field=field)
