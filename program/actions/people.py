"""People and their roles."""

from datetime import datetime, timedelta

from django.db import transaction
from django.db.models import Q

from program import clock
from program.actions.changing import judged, make
from program.actions.refusing import refusing_what_the_database_refuses
from program.actions.second_factors import end_sessions
from program.actions.sign_in_events import note_event
from program.actions.signing_in import check_password, end_links_of
from program.models import Building, Region, Role, SignInEvent, User
from program.rules.errors import Invalid, Refused


@transaction.atomic
def first_administrator(*, username: str, name: str, password: str, email: str | None = None) -> User:
    """The first person of an installation; everybody after is added by an administrator."""
    if Role.objects.held_at(clock.now()).filter(kind=Role.Kind.ADMINISTRATOR).exists():
        raise Refused("There is an administrator already, who can add others.", problem="administrator-exists")
    user = User(username=username, name=name, email=_as_kept(email))
    check_password(user=user, password=password)
    user.set_password(password)
    make(user)
    make(Role(user=user, kind=Role.Kind.ADMINISTRATOR, since=clock.now()))
    return user


@transaction.atomic
def add_person(
    *,
    username: str,
    name: str,
    email: str | None = None,
    kind: str,
    building: Building | None = None,
    region: Region | None = None,
) -> User:
    """Somebody new with a first role, who cannot sign in before they have used a one-time link."""
    user = User(username=username, name=name, email=_as_kept(email))
    _nobody_else_answers_to_the_words_of(user)
    user.set_unusable_password()
    with refusing_what_the_database_refuses():
        make(user)
    give_role(user=user, kind=kind, building=building, region=region, since=clock.now())
    return user


@transaction.atomic
def change_person(*, user: User, username: str, name: str, email: str | None = None) -> User:
    """Correct who somebody is; an open link ends if the address changes, for the old one may be a stranger's."""
    changed = User.objects.select_for_update().get(pk=user.pk)
    old_email = changed.email
    changed.username, changed.name, changed.email = username, name, _as_kept(email)
    _nobody_else_answers_to_the_words_of(changed)
    with refusing_what_the_database_refuses():
        judged(changed).save(update_fields=["username", "name", "email"])
    if changed.email != old_email:
        end_links_of(user=changed)
    return changed


def _as_kept(email: str | None) -> str | None:
    """In small letters, as those who sign in are looked for."""
    return email.lower() if email else None


def _nobody_else_answers_to_the_words_of(user: User) -> None:
    """People sign in by name or address: one word must never lead to two of them."""
    others = User.objects.exclude(pk=user.pk)
    words = {"username": (user.username, "That name is taken."), "email": (user.email, "That address is taken.")}
    for field, (word, taken) in words.items():
        if word and others.filter(Q(username__iexact=word) | Q(email__iexact=word)).exists():
            raise Invalid(f"{taken} Choose another.", field=field)


@transaction.atomic
def give_role(
    *,
    user: User,
    kind: str,
    building: Building | None = None,
    region: Region | None = None,
    since: datetime,
    until: datetime | None = None,
) -> Role:
    """From `since`, without an end if `until` is None; counted from the next request on."""
    role = Role(user=user, kind=kind, building=building, region=region, since=since, until=until)
    with refusing_what_the_database_refuses(whose=user.name):
        return make(role)


@transaction.atomic
def end_role(*, role: Role, until: datetime) -> Role:
    """At `until`, from now on; dead at the next request after it. One that has not begun never begins.

    Refused where that would give more than there is, or say that somebody could not do what they did.
    """
    if role.kind == Role.Kind.ADMINISTRATOR:
        _keep_an_administrator(without=Q(pk=role.pk), at=until)
    role = Role.objects.select_for_update().get(pk=role.pk)
    if role.until is not None and role.until <= clock.now():
        raise Refused("That role has ended already.")
    if until < clock.now():
        raise Refused("That day is over. Leave the day empty to end the role now.")
    if role.until is not None and until > role.until:
        raise Refused("The role ends before that. To let it hold for longer, give the person the role again.")
    # A role ends after it begins: the shortest there is, before anybody could use it.
    role.until = max(until, role.since + timedelta(microseconds=1))
    role.save(update_fields=["until"])
    return role


@transaction.atomic
def disable_person(*, user: User, by: User) -> None:
    """Nobody signs in as them, and what is signed in is dead at the next request; their roles stay as they are."""
    _keep_an_administrator(without=Q(user=user), at=clock.now())
    User.objects.filter(pk=user.pk).update(is_active=False)
    user.refresh_from_db()
    end_links_of(user=user)
    note_event(user=user, kind=SignInEvent.Kind.ACCOUNT_CLOSED, by=by)
    end_sessions(user=user, by=by)


@transaction.atomic
def enable_person(*, user: User, by: User) -> None:
    """Their password works again, nothing else that worked before: links, sessions and tokens have ended."""
    User.objects.filter(pk=user.pk).update(is_active=True)
    note_event(user=user, kind=SignInEvent.Kind.ACCOUNT_OPENED, by=by)


def _keep_an_administrator(*, without: Q, at: datetime) -> None:
    """Refused unless another administrator is left whose role has no end; two who end each other take turns."""
    everyone = Role.objects.filter(kind=Role.Kind.ADMINISTRATOR)
    list(everyone.order_by("pk").select_for_update())
    held_now = everyone.held_at(clock.now())
    if held_now.filter(without).exists() and not everyone.held_at(at).filter(until=None).exclude(without).exists():
        raise Refused(
            "Nobody would be left who can add people. First make somebody else an administrator, without an end.",
            problem="last-administrator",
        )
