"""What happens to somebody's way in is written down, and never who could use it: of secrets only a hash is kept."""

from datetime import timedelta
from hashlib import sha256

from program import clock
from program.actions.changing import make
from program.models import SignInEvent, User

# Guessing goes on for hours; its first sign in each says enough.
LOCKED_OUT_SAID_EVERY = timedelta(hours=1)


def hash_of(text: str) -> str:
    """What is kept of a secret that was made at random and is long enough not to be guessed."""
    return sha256(text.encode()).hexdigest()


def note_event(*, user: User, kind: str, by: User, note: str = "") -> SignInEvent:
    return make(SignInEvent(user=user, kind=kind, by=by, at=clock.now(), note=note[:120]))


def note_lockout(*, user: User, note: str) -> None:
    """That a try was refused unseen, for there were too many; once an hour, however many more there are."""
    said = SignInEvent.objects.filter(user=user, kind=SignInEvent.Kind.LOCKED_OUT, note=note)
    if not said.filter(at__gt=clock.now() - LOCKED_OUT_SAID_EVERY).exists():
        note_event(user=user, kind=SignInEvent.Kind.LOCKED_OUT, by=user, note=note)
