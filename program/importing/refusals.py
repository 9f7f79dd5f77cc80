"""What is said about a file, or a line of it, that cannot be used."""

from dataclasses import dataclass


class Unreadable(Exception):
    """A whole file that cannot be used; the sentence says what is wrong and what to do."""

    def __init__(self, sentence: str) -> None:
        super().__init__(sentence)
        self.sentence = sentence


class Unfit(Exception):
    """One value that cannot be used; caught where line and field are known."""

    def __init__(self, sentence: str) -> None:
        super().__init__(sentence)
        self.sentence = sentence


@dataclass(frozen=True, slots=True)
class RowRefusal:
    """`line` counts as the person's program does, from 1; 0 where no line is to blame."""

    line: int
    field: str
    sentence: str
    sheet: str = ""


@dataclass(frozen=True, slots=True)
class Note:
    """Something understood differently from how it was written, which a person should see before saying yes."""

    line: int
    sentence: str
