"""How sessions are read, and what the verbs of a session take."""

from datetime import timedelta
from typing import Any

from rest_framework import serializers

from program import clock
from program.models import LoadUnit, PrescriptionLine, Record, Resident, Session, Set, Slot, Station
from program.rules.reasons import CLASS_OF, WARNING_SIGNS
from program.rules.starting import IDENTIFIED_BY
from program.rules.states import State, is_late
from program.web.colleagues import ColleagueField
from program.web.fields import Input, InstantField, Shown, VisibleField

# What staff write about a session; the other kinds are written by the verbs of the plan.
WRITTEN_BY_HAND = (Record.Kind.STARTED, Record.Kind.ATTEMPT, Record.Kind.ENDED, Record.Kind.GIVEN_UP)
NEEDS_REASON = (Record.Kind.ATTEMPT, Record.Kind.GIVEN_UP)


class SlotShown(Shown):
    station_name = serializers.CharField(source="station.name")

    class Meta:
        model = Slot
        fields = ["station", "station_name", "starts_at", "ends_at"]


class SessionShown(Shown):
    """State, late and overtaken are as of now. Without a span (`held_from`) the session holds nothing."""

    state = serializers.SerializerMethodField()
    is_late = serializers.SerializerMethodField()
    is_overtaken = serializers.BooleanField(read_only=True)
    stations_used = serializers.SerializerMethodField(help_text="Like “4 of 5” where stations are left out.")
    left_out = serializers.SerializerMethodField(help_text="The names of the stations it goes without.")
    slots = SlotShown(many=True, read_only=True)

    class Meta:
        model = Session
        fields = [
            *("id", "version", "building", "resident", "prescription", "starts_at", "ends_at", "day_closes_at"),
            *(
                "published_at",
                "state",
                "is_late",
                "is_overtaken",
                "is_too_soon",
                "is_locked",
                "held_from",
                "held_until",
            ),
            *("help_sixths", "escort_sixths", "escort_minutes", "recovery_hours", "stations_used", "left_out", "slots"),
            *(
                "started_at",
                "sets_done",
                "last_set_ended_at",
                "ended_at",
                "attempted_at",
                "given_up_at",
                "withdrawn_at",
            ),
        ]

    def get_state(self, session: Session) -> State:
        return session.state_at(clock.now())

    def get_is_late(self, session: Session) -> bool:
        return is_late(session.traces, clock.now(), timedelta(minutes=session.building.grace_minutes))

    def get_stations_used(self, session: Session) -> str:
        used = len(session.slots.all())
        return f"{used} of {used + len(session.left_out)}" if session.left_out else ""

    def get_left_out(self, session: Session) -> list[str]:
        names = self.context["station_names"]
        return [names[pk] for pk in session.left_out if pk in names]


class ReasonInput(Input):
    reason = serializers.ChoiceField([*CLASS_OF])
    note = serializers.CharField(max_length=300, required=False, allow_blank=True)


class LineInput(Input):
    """`event_id` is made where it is written, once; the same line sent twice is one line."""

    kind = serializers.ChoiceField(WRITTEN_BY_HAND)
    happened_at = InstantField()
    event_id = serializers.UUIDField()
    reason = serializers.ChoiceField([*CLASS_OF], required=False)
    note = serializers.CharField(max_length=300, required=False, allow_blank=True)
    phone_happened_at = InstantField(required=False, allow_null=True)

    def validate(self, sent: dict[str, Any]) -> dict[str, Any]:
        if sent["kind"] in NEEDS_REASON and not sent.get("reason"):
            raise serializers.ValidationError({"reason": "Say why: choose a reason."})
        return sent


class SetInput(Input):
    station = VisibleField(queryset=Station.objects)
    line = VisibleField(queryset=PrescriptionLine.objects, required=False, allow_null=True)
    exercise = serializers.CharField(max_length=60)
    load = serializers.DecimalField(max_digits=7, decimal_places=3, min_value=0)
    load_unit = serializers.ChoiceField(LoadUnit.choices)
    repetitions = serializers.IntegerField(min_value=0, max_value=60)
    seconds = serializers.IntegerField(min_value=1, max_value=900)
    ended_at = InstantField()
    event_id = serializers.UUIDField()
    more_possible = serializers.IntegerField(min_value=0, max_value=4, required=False, allow_null=True)
    pain = serializers.IntegerField(min_value=0, max_value=10, required=False, allow_null=True)
    pain_cannot_be_rated = serializers.BooleanField(required=False)
    pain_signs_seen = serializers.BooleanField(required=False, allow_null=True)
    stop_reason = serializers.CharField(max_length=40, required=False, allow_blank=True)
    phone_happened_at = InstantField(required=False, allow_null=True)


class WrittenInput(Input):
    """What happened, in any order and as often as it arrives. Without `done_by` the sender did it.

    `sent_at` is when a phone sends this, by its own clock: all times are corrected by how far that is off.
    """

    done_by = ColleagueField(required=False)
    sent_at = InstantField(required=False)
    lines = serializers.ListField(child=LineInput(), max_length=50, required=False)
    sets = serializers.ListField(child=SetInput(), max_length=50, required=False)


class UnplannedInput(WrittenInput):
    """A visit that nobody had published."""

    resident = VisibleField(queryset=Resident.objects)
    starts_at = InstantField()
    ends_at = InstantField()


class RightResidentInput(Input):
    """`session` is the one that it really was."""

    session = VisibleField(queryset=Session.objects)
    because = serializers.CharField(max_length=200)


class TakenBackInput(Input):
    """Lines and sets of the session that were a mistake, by their numbers, and why. They stay, and count no longer."""

    records = serializers.ListField(child=VisibleField(queryset=Record.objects), max_length=50, required=False)
    sets = serializers.ListField(child=VisibleField(queryset=Set.objects), max_length=50, required=False)
    because = serializers.CharField(max_length=200)


class StartInput(Input):
    """Asked for now, and judged now. `sent_at` and `happened_at` are by the clock of a phone."""

    event_id = serializers.UUIDField()
    identified_by = serializers.ChoiceField(IDENTIFIED_BY)
    happened_at = InstantField(required=False)
    sent_at = InstantField(required=False)


class WarningSignInput(Input):
    """What was seen, and when: the session ends, and the resident is on hold until a clinician releases it."""

    event_id = serializers.UUIDField()
    sign = serializers.ChoiceField(WARNING_SIGNS)
    happened_at = InstantField()
    note = serializers.CharField(max_length=300, required=False, allow_blank=True)
    done_by = ColleagueField(required=False)
    sent_at = InstantField(required=False)


class MissingShown(serializers.Serializer):
    rule = serializers.CharField()
    sentence = serializers.CharField()


class ReadinessShown(serializers.Serializer):
    """Whether the session may be started now; `similar` are residents whose name could be taken for this one."""

    can_start = serializers.BooleanField()
    missing = MissingShown(many=True)
    allowed_from = serializers.DateTimeField(allow_null=True)
    warnings = serializers.ListField(child=serializers.CharField())
    similar = serializers.ListField(child=serializers.IntegerField())
