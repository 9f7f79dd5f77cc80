"""What is asked when a session on paper is written down afterwards: who, when, and a row for each station."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any
from uuid import UUID, uuid4, uuid5

from django import forms
from django.db.models import Q, QuerySet

from program import clock
from program.actions.records import NewLine, NewSet
from program.models import Building, PrescriptionLine, Record, Resident, Role, Session, Station, User
from program.pages.loads_said import wrong_at
from program.rules.late_entry import set_ends
from program.rules.reasons import ASKED, CLINICAL, OUR_SIDE, RESIDENT
from program.rules.week import clock_time, local_instant
from program.web.forms import ClockInput, PlainForm

NOT_RATED = "not able to rate"
PAIN = [("", "not asked"), *((str(number), str(number)) for number in range(11)), (NOT_RATED, NOT_RATED)]
WORDS_OF_PAIN = {"0": "0, none", "10": "10, worst imaginable"}
CLASSES = {RESIDENT: "Resident's choice", CLINICAL: "Unwell", OUR_SIDE: "Our side"}
REASONS = [(CLASSES[kind], [(reason, reason) for reason in reasons]) for kind, reasons in ASKED.items()]


@dataclass(frozen=True, slots=True)
class Asked:
    """A station of the visit, and what the plan asks for there; `key` names its fields in the form."""

    key: str
    station: Station
    exercise: str
    load: Decimal | None
    load_unit: str
    line: PrescriptionLine | None = None


def asked_of_session(session: Session) -> list[Asked]:
    """In the order of the slots, by the version of the plan that was booked; read with `slots` and `lines`."""
    lines: dict[int, list[PrescriptionLine]] = defaultdict(list)
    for line in session.prescription.lines.all():
        lines[line.station_id].append(line)
    found = []
    for slot in session.slots.all():
        planned = lines[slot.station_id]
        found.append(_asked(planned.pop(0)) if planned else _without_a_plan(slot.station))
    return found


def asked_of_resident(resident: Resident) -> list[Asked]:
    """By the plan in force, for a visit without slots; nothing where there is no plan yet."""
    plan = resident.prescriptions.prefetch_related("lines__station").order_by("-number").first()
    return [_asked(line) for line in plan.lines.all()] if plan else []


def _asked(line: PrescriptionLine) -> Asked:
    return Asked(f"line-{line.pk}", line.station, line.exercise, line.load, line.load_unit, line)


def _without_a_plan(station: Station) -> Asked:
    return Asked(f"station-{station.pk}", station, station.exercise, None, station.load_unit)


class RowForm(PlainForm):
    """One station: everything but the tick and the load is as the paper says."""

    is_done = forms.BooleanField(label="Done", required=False)
    load = forms.DecimalField(min_value=0, max_digits=7, decimal_places=3)
    repetitions = forms.IntegerField(label="Times", min_value=0, max_value=60)
    seconds = forms.IntegerField(min_value=1, max_value=900)
    pain = forms.ChoiceField(choices=[(value, WORDS_OF_PAIN.get(value, said)) for value, said in PAIN], required=False)

    def __init__(self, *values: Any, **options: Any) -> None:
        super().__init__(*values, **options)
        for asked in self.fields.values():
            asked.error_messages["required"] = "Fill this in, or take the tick away."

    def clean(self) -> dict[str, Any]:
        found = super().clean() or {}
        if not found.get("is_done"):
            # Nothing of a station without a tick is kept, so nothing of it can be wrong.
            self.errors.clear()
        return found


class WhoForm(PlainForm):
    """Who did it; sent twice is written once, for the number was made when the form was shown."""

    event_id = forms.UUIDField(widget=forms.HiddenInput)
    done_by = forms.ModelChoiceField(User.objects.none(), empty_label=None)


class NotDoneForm(WhoForm):
    done_by = forms.ModelChoiceField(User.objects.none(), label="Who was there", empty_label=None)
    reason = forms.ChoiceField(label="Why it did not happen", choices=[("", "choose"), *REASONS])

    def line(self, session: Session) -> NewLine:
        """Given up at its planned start, or now if that is still to come."""
        return NewLine(
            kind=Record.Kind.GIVEN_UP,
            happened_at=min(session.starts_at, clock.now()),
            event_id=self.cleaned_data["event_id"],
            reason=self.cleaned_data["reason"],
        )


class LateForm(WhoForm):
    """A visit as the paper tells it, with a row for each station in `rows`."""

    started = forms.TimeField(label="Started at", widget=ClockInput())
    ended = forms.TimeField(label="Ended at", widget=ClockInput())
    field_order = ("done_by", "started", "ended")

    def __init__(self, *values: Any, day: date, building: Building, asked: Sequence[Asked], **options: Any) -> None:
        super().__init__(*values, **options)
        self.day, self.building = day, building
        data = self.data if self.is_bound else None
        self.rows = [(one, RowForm(data, prefix=one.key, initial=_initial(one))) for one in asked]
        for one, row in self.rows:
            row.fields["load"].label = f"Load, {one.load_unit}"

    def clean(self) -> dict[str, Any]:
        found = super().clean() or {}
        wrong = [_said(one, row) for one, row in self.rows if not row.is_valid()]
        if wrong:
            raise forms.ValidationError(wrong[0])
        for one, row in self.done:
            load = row.cleaned_data["load"]
            if said := wrong_at(one.station, load, planned=one.load, unit=one.load_unit):
                raise forms.ValidationError(f"{one.station.name}: {said}")
        if not self.done:
            raise forms.ValidationError("Nothing is ticked as done. Tick what was done, or say why it did not happen.")
        if "started" in found and "ended" in found:
            self._judge_times()
        return found

    def _judge_times(self) -> None:
        if self.ended_at <= self.started_at:
            self.add_error("ended", "It must end after it started.")
            return
        seconds = [row.cleaned_data["seconds"] for _, row in self.done]
        if timedelta(seconds=sum(seconds)) > self.ended_at - self.started_at:
            said = (clock_time(moment, self.building.zone) for moment in (self.started_at, self.ended_at))
            raise forms.ValidationError(
                f"The sets take longer than from {' to '.join(said)}. Correct the times or the seconds."
            )

    @property
    def done(self) -> list[tuple[Asked, RowForm]]:
        return [(one, row) for one, row in self.rows if row.cleaned_data.get("is_done")]

    @property
    def started_at(self) -> datetime:
        return self._instant("started")

    @property
    def ended_at(self) -> datetime:
        return self._instant("ended")

    def _instant(self, name: str) -> datetime:
        told = self.cleaned_data[name]
        return local_instant(self.day, told.hour * 60 + told.minute, self.building.zone)

    def lines(self) -> list[NewLine]:
        event_id = self.cleaned_data["event_id"]
        moments = ((Record.Kind.STARTED, self.started_at), (Record.Kind.ENDED, self.ended_at))
        return [NewLine(kind=kind, happened_at=moment, event_id=uuid5(event_id, kind)) for kind, moment in moments]

    def sets(self) -> list[NewSet]:
        """Paper tells no time of a set: they are spread over the visit in their order."""
        ends = set_ends(self.started_at, self.ended_at, [row.cleaned_data["seconds"] for _, row in self.done])
        event_id = self.cleaned_data["event_id"]
        return [_set(one, row.cleaned_data, end, event_id) for (one, row), end in zip(self.done, ends, strict=True)]


def _set(one: Asked, told: Mapping[str, Any], ended_at: datetime, event_id: UUID) -> NewSet:
    is_unrated = told["pain"] == NOT_RATED
    return NewSet(
        station=one.station,
        exercise=one.exercise,
        load=told["load"],
        load_unit=one.load_unit,
        repetitions=told["repetitions"],
        seconds=told["seconds"],
        ended_at=ended_at,
        event_id=uuid5(event_id, one.key),
        line=one.line,
        pain=int(told["pain"]) if told["pain"] and not is_unrated else None,
        pain_cannot_be_rated=is_unrated,
    )


def _initial(one: Asked) -> dict[str, Any]:
    return {"is_done": True, "load": None if one.load is None else f"{one.load.normalize():f}"}


def _said(one: Asked, row: RowForm) -> str:
    name, errors = next(iter(row.errors.items()))
    label = row.fields[name].label or name.capitalize()
    return f"{one.station.name}, {label.lower()}: {errors[0]}"


def new_event() -> UUID:
    return uuid4()


def who_could(building: Building, moment: datetime) -> QuerySet[User]:
    """Those with a role in the care of residents here now, or when it happened: somebody may have left since."""
    here = Q(building=building) | Q(region=building.region_id)
    now, then = (Role.objects.in_care_at(at).filter(here) for at in (clock.now(), moment))
    return User.objects.filter(pk__in=(now | then).values("user")).order_by("name", "pk")
