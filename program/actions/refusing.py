"""What the database refuses, as a sentence: for writes that no reading beforehand can judge."""

from collections.abc import Iterator
from contextlib import contextmanager

from django.db import IntegrityError, transaction

from program.models.constraints import broken_by
from program.rules.errors import Invalid, Refused


@contextmanager
def refusing_what_the_database_refuses(*, whose: str = "", clash: str = "clash") -> Iterator[None]:
    """Within the block a broken constraint becomes Refused: `whose` opens the sentence, `clash` names its problem.

    A clash may be with a row of a building that the person cannot see, so only the constraint's sentence is told.
    """
    try:
        with transaction.atomic():
            yield
    except IntegrityError as error:
        broken = broken_by(error)
        sentence = f"{whose}: {broken.sentence}" if whose else broken.sentence
        raise (Refused(sentence, problem=clash) if broken.is_clash else Invalid(sentence)) from None
