"""How the service says no: one sentence a person can act on, and a stable name a program can act on."""

from collections.abc import Mapping
from typing import Any


class Refused(Exception):
    """An action that will not be done, and why.

    `problem` is the stable type of the refusal (a word with hyphens, never changed once released), `details` what a
    program needs to offer the remedy; both leave the service as an RFC 9457 problem.
    """

    def __init__(self, sentence: str, *, problem: str = "refused", details: Mapping[str, Any] | None = None) -> None:
        super().__init__(sentence)
        self.sentence = sentence
        self.problem = problem
        self.details = dict(details or {})


class Invalid(Refused):
    """Input that cannot be taken as it stands; `problem` is `invalid`, the details name the fields."""

    def __init__(self, sentence: str, *, field: str | None = None) -> None:
        details = {"errors": [{"field": field, "sentence": sentence}]} if field else {}
        super().__init__(sentence, problem="invalid", details=details)


class Stale(Refused):
    """A change to a version that is no longer the newest; the details say what the newest is."""

    def __init__(self, sentence: str, *, current_version: int) -> None:
        super().__init__(sentence, problem="stale-version", details={"current_version": current_version})


class NotAllowed(Refused):
    """Something that the asking person may see but not do."""

    def __init__(self, sentence: str) -> None:
        super().__init__(sentence, problem="not-allowed")
