"""How people sign in: by name or address and password, then by a second step. Nobody signs up by themselves."""

from typing import Any

from allauth.account.adapter import DefaultAccountAdapter
from allauth.account.forms import LoginForm
from allauth.account.internal.userkit import filter_users_by_email, get_user_by_username
from django.conf import settings
from django.http import HttpRequest, HttpResponse

from program.actions.sign_in_events import note_event, note_lockout
from program.actions.signing_in import count_try, forget_tries, set_password, uncount_try
from program.models import SignInEvent, User
from program.web.devices import device_of, remember_device
from program.web.limits import give_back, take_place
from program.web.mailing import send_or_log
from program.web.sessions import begin_session, signed_in_recently

NOT_TOGETHER = "That name or address and that password do not go together. Try again, or ask your administrator."
TOO_MANY = "Too many tries. Wait five minutes, then try again, or ask your administrator for a one-time link."


class SignIn(DefaultAccountAdapter):
    error_messages = DefaultAccountAdapter.error_messages | {
        "email_password_mismatch": NOT_TOGETHER,
        "username_password_mismatch": NOT_TOGETHER,
        "incorrect_password": "That is not your password. Try again.",
        "enter_current_password": "That is not your present password. Try again.",
        "too_many_login_attempts": TOO_MANY,
    }

    def send_mail(self, template_prefix: str, email: str, context: dict[str, Any]) -> None:
        if settings.EMAIL_HOST:
            send_or_log(lambda: super(SignIn, self).send_mail(template_prefix, email, context))

    def is_open_for_signup(self, request: HttpRequest) -> bool:
        return False

    def get_user_search_fields(self) -> list[str]:
        return ["username", "name", "email"]

    def populate_username(self, request: HttpRequest, user: Any) -> None:
        """Names are given by an administrator, never made up."""

    def get_login_stages(self) -> list[str]:
        """The second step and nothing beside it: neither codes by mail nor addresses to confirm."""
        return ["program.web.stages.SecondStep"]

    def pre_authenticate(self, request: HttpRequest, **credentials: Any) -> None:
        """The try is counted before the password is looked at, and for the person, not for the word that was sent."""
        self.places: dict[int, str] = {}
        for user in people_named(**credentials):
            device = device_of(request, user)
            place = take_place(f"password of {user.pk} on {device}")
            if place is None:
                note_lockout(user=user, note="ten passwords in five minutes")
            if place is None or not count_try(user=user, is_known_device=device is not None):
                raise self.validation_error("too_many_login_attempts")
            self.places[user.pk] = place
        word = credentials.get("email") or credentials.get("username") or ""
        # A name that nobody has answers like one that somebody has.
        if not self.places and take_place(f"password of {word.lower()}") is None:
            raise self.validation_error("too_many_login_attempts")

    def authenticate(self, request: HttpRequest, **credentials: Any) -> User | None:
        user = super().authenticate(request, **credentials)
        if user is not None:
            if place := self.places.get(user.pk):
                give_back(place)
            # Not yet all of them: of whoever has a second step the password is one half.
            uncount_try(user=user)
        return user

    def login(self, request: HttpRequest, user: User) -> None:
        super().login(request, user)
        begin_session(request)
        forget_tries(user=user)
        note_event(user=user, kind=SignInEvent.Kind.SIGNED_IN, by=user)

    def post_login(self, request: HttpRequest, user: User, **options: Any) -> HttpResponse:
        response = super().post_login(request, user, **options)
        remember_device(request, response, user)
        return response

    def set_password(self, user: User, password: str) -> None:
        set_password(user=user, password=password)

    def is_reauthentication_required(self, *, app: str, **options: Any) -> bool:
        """Whoever has just signed in has just been asked."""
        return not signed_in_recently(self.request)


def people_named(*, username: str | None = None, email: str | None = None, **_: Any) -> list[User]:
    """Everybody whose password such a try is compared with, as the library finds them; in the order of locks."""
    found = []
    for word in {username, email} - {None, ""}:
        found += filter_users_by_email(word, for_login=True)
        if by_name := get_user_by_username(word):
            found.append(by_name)
    return sorted({user.pk: user for user in found}.values(), key=lambda user: user.pk)


class SignInForm(LoginForm):
    """Asks in the words of people, not of programs."""

    def __init__(self, *values: Any, **options: Any) -> None:
        super().__init__(*values, **options)
        self.fields["login"].label = "Name or e-mail address"
        # Not “email”: a browser offers what was typed here before, be it a name or an address.
        self.fields["login"].widget.attrs["autocomplete"] = "username"
        if not settings.EMAIL_HOST:
            # No link could be sent.
            self.fields["password"].help_text = ""

    def user_credentials(self) -> dict[str, str]:
        """One word, once: asked for as an address and again as a name, a known one would take two hashes, and tell."""
        return {"username": self.cleaned_data["login"], "password": self.cleaned_data["password"]}
