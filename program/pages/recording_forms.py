"""What staff fill in at the stations: who it is, how a set went, why something did not happen."""

from typing import Any
from uuid import uuid4

from django import forms

from program.models import Resident
from program.pages.loads_said import wrong_at
from program.pages.residents import plainly
from program.pages.session_told import AtStation
from program.rules.reasons import ASKED, CLINICAL, OUR_SIDE, RESIDENT, WARNING_SIGNS
from program.rules.starting import IDENTIFIED_BY
from program.web.forms import PlainForm

NOT_WHOLE = "This form did not arrive whole. Load the page again, then send it once more."
UNABLE = "unable"
PAIN = [
    ("", "not asked"),
    ("0", "0, none"),
    *((str(number), str(number)) for number in range(1, 10)),
    ("10", "10, worst imaginable"),
    (UNABLE, "not able to rate"),
]
EFFORT = [("4", "4 or more"), ("3", "3"), ("2", "2"), ("1", "1"), ("0", "none"), ("", "not asked")]
SIGNS = [("yes", "yes"), ("no", "no")]
STOPPED = [("", "it did not: the set was finished"), *((one, one) for one in ("enough for today", "pain", "other"))]
LONGEST_STOP_REASON = 40
WHOSE = {RESIDENT: "Resident's choice", CLINICAL: "Unwell", OUR_SIDE: "Our side"}
# Why the reasons are asked in groups: whose they are decides what follows.
WHY = [(WHOSE[whose], reasons) for whose, reasons in ASKED.items()]
ENOUGH = "enough for today"
ENDED_BY_US = ("station out of order", "ran late", "emergency", "other")


def choices_of(*reasons: str) -> list[tuple[str, str]]:
    return [(reason, reason) for reason in reasons]


class SentOnce(PlainForm):
    """Gets its id when it is shown: sent twice, by a double tap or a bad connection, it is written down once."""

    event_id = forms.UUIDField(widget=forms.HiddenInput, initial=uuid4)

    def __init__(self, *values: Any, **options: Any) -> None:
        super().__init__(*values, **options)
        self.fields["event_id"].error_messages |= {"required": NOT_WHOLE, "invalid": NOT_WHOLE}


class StartForm(SentOnce):
    identified_by = forms.ChoiceField(choices=choices_of(*IDENTIFIED_BY), widget=forms.RadioSelect)

    def __init__(self, *values: Any, resident: Resident, **options: Any) -> None:
        super().__init__(*values, **options)
        self.fields["identified_by"].label = f"How did you make sure that this is {resident.name}?"
        self.fields["identified_by"].error_messages["required"] = "Choose one, then start."


class AttemptForm(SentOnce):
    reason = forms.ChoiceField(choices=choices_of(*ASKED[RESIDENT]))


class GiveUpForm(SentOnce):
    reason = forms.ChoiceField(
        label="Why it will not happen", choices=choices_of(*(reason for _, reasons in WHY for reason in reasons))
    )
    note = forms.CharField(label="In a few words", max_length=300, required=False)

    def __init__(self, *values: Any, **options: Any) -> None:
        super().__init__(*values, **options)
        self.fields["reason"].error_messages["required"] = "Choose a reason."


class EndForm(SentOnce):
    reason = forms.ChoiceField(choices=[("", ""), *choices_of(ENOUGH, *ENDED_BY_US)], required=False)


class WarningForm(SentOnce):
    sign = forms.ChoiceField(label="What you see", choices=choices_of(*WARNING_SIGNS))

    def __init__(self, *values: Any, **options: Any) -> None:
        super().__init__(*values, **options)
        self.fields["sign"].error_messages["required"] = "Say what you see: choose one."


class SetForm(SentOnce):
    """One set at one station. Pain comes as a number, as “not able to rate”, or not at all."""

    station = forms.IntegerField(widget=forms.HiddenInput)
    line = forms.IntegerField(widget=forms.HiddenInput)
    repetitions = forms.IntegerField(min_value=0, max_value=60)
    seconds = forms.IntegerField(min_value=1, max_value=900)
    load = forms.DecimalField(min_value=0, max_digits=7, decimal_places=3)
    more_possible = forms.TypedChoiceField(
        label="How many more good ones could you have done?",
        choices=EFFORT,
        coerce=int,
        empty_value=None,
        required=False,
        widget=forms.RadioSelect,
    )
    pain = forms.ChoiceField(label="Pain", choices=PAIN, required=False)
    signs = forms.ChoiceField(label="Signs of pain seen?", choices=SIGNS, required=False, widget=forms.RadioSelect)
    stopped = forms.ChoiceField(label="Why it stopped early", choices=STOPPED, required=False)
    words = forms.CharField(label="What you saw or heard", max_length=LONGEST_STOP_REASON, required=False)

    def __init__(self, *values: Any, at: AtStation, number: int, **options: Any) -> None:
        line, self.number, self.at = at.line, number, at
        initial = {"station": at.station.pk, "line": line and line.pk, "load": line and plainly(line.load)}
        super().__init__(*values, initial=initial | {"more_possible": ""}, auto_id=f"set-{number}-%s", **options)
        for name in ("station", "line"):
            self.fields[name].error_messages |= {"required": NOT_WHOLE, "invalid": NOT_WHOLE}
        for name in ("repetitions", "seconds"):
            self.fields[name].widget.attrs |= {"inputmode": "numeric", "autocomplete": "off"}
        self.fields["load"].widget.attrs |= {"inputmode": "decimal", "step": "any", "autocomplete": "off"}
        if line:
            self.fields["load"].label = f"Load in {line.load_unit}"

    def clean(self) -> dict[str, Any]:
        typed = super().clean() or {}
        line = self.at.line
        if line and (wrong := wrong_at(self.at.station, typed.get("load"), planned=line.load, unit=line.load_unit)):
            self.add_error("load", wrong)
        pain, signs = typed.get("pain", ""), typed.get("signs", "")
        if pain == UNABLE and not signs:
            self.add_error("signs", "Say whether you saw signs of pain: yes or no.")
        why = ": ".join(filter(None, [typed.get("stopped"), typed.get("words")]))
        if len(why) > LONGEST_STOP_REASON:
            over = len(why) - LONGEST_STOP_REASON
            self.add_error("words", f"Too long by {over} letters. Say it shorter.")
        return typed

    def told(self) -> dict[str, Any]:
        """The columns of the set, but for where and when it was."""
        typed = self.cleaned_data
        is_unable = typed["pain"] == UNABLE
        return {
            "repetitions": typed["repetitions"],
            "seconds": typed["seconds"],
            "load": typed["load"],
            "more_possible": typed["more_possible"],
            "pain": int(typed["pain"]) if typed["pain"] and not is_unable else None,
            "pain_cannot_be_rated": is_unable,
            "pain_signs_seen": typed["signs"] == "yes" if is_unable else None,
            "stop_reason": ": ".join(filter(None, [typed["stopped"], typed["words"]])),
        }
