"""People and their roles."""

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db import transaction

from program import clock
from program.actions.changing import as_refusal, make
from program.models import Role, User
from program.rules.errors import Refused


@transaction.atomic
def first_administrator(*, username: str, name: str, password: str, email: str | None = None) -> User:
    """The first person of an installation; everybody after is added by an administrator."""
    if Role.objects.held_at(clock.now()).filter(kind=Role.Kind.ADMINISTRATOR).exists():
        raise Refused("There is an administrator already, who can add others.", problem="administrator-exists")
    user = User(username=username, name=name, email=email)
    try:
        validate_password(password, user)
    except ValidationError as error:
        raise as_refusal(error) from None
    user.set_password(password)
    make(user)
    make(Role(user=user, kind=Role.Kind.ADMINISTRATOR, since=clock.now()))
    return user
