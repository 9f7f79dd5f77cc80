"""The database judges; this turns the name of what it refused into the sentence that stands beside the constraint."""

from dataclasses import dataclass

from django.apps import apps
from django.db import IntegrityError

FALLBACK = "The database refused that, because it would break a rule. Look at what you entered and try again."

# Two refusals are a clash with somebody else, the rest is input that breaks a rule.
EXCLUSION_VIOLATION, UNIQUE_VIOLATION, FOREIGN_KEY_VIOLATION = "23P01", "23505", "23503"


@dataclass(frozen=True, slots=True)
class Broken:
    """A refused write: the constraint's name, its sentence, and whether it clashes with another row."""

    name: str
    sentence: str
    is_clash: bool


def broken_by(error: IntegrityError) -> Broken:
    """What the database refused; never its own detail, which may name a row that the person may not see."""
    diagnosis = getattr(error.__cause__, "diag", None)
    name = getattr(diagnosis, "constraint_name", None) or ""
    state = getattr(error.__cause__, "sqlstate", "")
    sentence = FALLBACK
    for model in apps.get_models():
        for constraint in model._meta.constraints:
            if constraint.name == name:
                sentence = str(getattr(constraint, "violation_error_message", "") or FALLBACK)
    if state == FOREIGN_KEY_VIOLATION:
        sentence = "Something that this refers to does not exist."
    return Broken(name, sentence, is_clash=state in {EXCLUSION_VIOLATION, UNIQUE_VIOLATION})
