"""Codes of a second factor: how their secrets are kept, how they are shown, and how they are asked for."""

import base64
from typing import Any

from allauth.account.adapter import get_adapter as get_sign_in
from allauth.core import context
from allauth.mfa.adapter import DefaultMFAAdapter, get_adapter
from allauth.mfa.base.forms import AuthenticateForm, ReauthenticateForm
from allauth.mfa.models import Authenticator
from allauth.mfa.totp.forms import ActivateTOTPForm
from cryptography.fernet import Fernet, MultiFernet
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.kdf.hkdf import HKDF
from django.conf import settings
from django.utils.html import format_html
from django.utils.safestring import SafeString
from qrcode.main import QRCode

from program.access import held_by
from program.actions.second_factors import step_of, take_step, use_code
from program.actions.sign_in_events import note_lockout
from program.actions.signing_in import count_try, uncount_try
from program.models import User
from program.web.devices import device_of
from program.web.limits import give_back, take_place

WRONG = "That code is not right, or it has been used already. Wait for the next one, then try again."


def _key_from(secret: str) -> Fernet:
    """A key of its own, so that nothing else made from the secret ever says anything about it (RFC 5869)."""
    made = HKDF(algorithm=SHA256(), length=32, salt=None, info=b"second factors").derive(secret.encode())
    return Fernet(base64.urlsafe_b64encode(made))


def _keys() -> MultiFernet:
    return MultiFernet([_key_from(secret) for secret in (settings.SECRET_KEY, *settings.SECRET_KEY_FALLBACKS)])


class SecondFactors(DefaultMFAAdapter):
    error_messages = DefaultMFAAdapter.error_messages | {
        "incorrect_code": WRONG,
        "cannot_delete_authenticator": "Your role needs a second step, so it cannot be removed.",
        "cannot_generate_recovery_codes": "Set up an authenticator app first.",
    }

    def encrypt(self, text: str) -> str:
        return _keys().encrypt(text.encode()).decode()

    def decrypt(self, encrypted_text: str) -> str:
        return _keys().decrypt(encrypted_text.encode()).decode()

    def get_totp_issuer(self) -> str:
        return "Strength circuit"

    def get_totp_label(self, user: User) -> str:
        return user.username

    def build_totp_svg(self, url: str) -> SafeString:
        """Drawn without a picture file and without a style, as the page's policy wants it; always dark on light."""
        code = QRCode(border=4)
        code.add_data(url)
        rows = code.get_matrix()
        path = "".join(
            f"M{column} {row}h1v1h-1z" for row, line in enumerate(rows) for column, dark in enumerate(line) if dark
        )
        return format_html(
            '<svg class="qr" viewBox="0 0 {0} {0}" width="240" height="240" role="img"'
            ' aria-label="Square code for the authenticator app; the same key stands below in letters"'
            ' shape-rendering="crispEdges"><rect width="{0}" height="{0}" fill="#fff"/>'
            '<path d="{1}" fill="#000"/></svg>',
            len(rows),
            path,
        )

    def can_delete_authenticator(self, authenticator: Authenticator) -> bool:
        return not held_by(authenticator.user).needs_second_factor


class AsksForCode:
    """Ten tries in five minutes, counted apart on devices the person has signed in on; in all as many as of passwords.

    Whoever knows the password is no nearer to the code: only a sign-in that is done forgets the wrong ones.
    """

    user: User

    def __init__(self, *values: Any, **options: Any) -> None:
        super().__init__(*values, **options)
        asked = self.fields["code"]
        asked.label = "Code"
        asked.widget.attrs = {"autocomplete": "one-time-code", "autofocus": True}
        asked.help_text = "The six digits that your authenticator app shows now, or one of your recovery codes."

    def clean_code(self) -> str:
        device = device_of(context.request, self.user)
        place = take_place(f"code of {self.user.pk} on {device}")
        if place is None:
            note_lockout(user=self.user, note="ten codes in five minutes")
        if place is None or not count_try(user=self.user, is_known_device=device is not None):
            raise get_sign_in().validation_error("too_many_login_attempts")
        self.judge(self.cleaned_data["code"])
        give_back(place)
        uncount_try(user=self.user)
        return self.cleaned_data["code"]

    def judge(self, code: str) -> None:
        found = use_code(user=self.user, code=code)
        if found is None:
            raise get_adapter().validation_error("incorrect_code")
        found.user = self.user
        self.authenticator = found


class SignInCodeForm(AsksForCode, AuthenticateForm):
    """The second step of signing in."""


class AgainCodeForm(AsksForCode, ReauthenticateForm):
    """Before something that changes how the account is protected."""


class SetUpForm(AsksForCode, ActivateTOTPForm):
    """A first code shows that the app has the secret."""

    def __init__(self, *values: Any, **options: Any) -> None:
        super().__init__(*values, **options)
        self.fields["code"].help_text = "The six digits that the app shows now."

    @property
    def in_fours(self) -> str:
        return " ".join(self.secret[start : start + 4] for start in range(0, len(self.secret), 4))

    def judge(self, code: str) -> None:
        step = step_of(secret=self.secret, code=code)
        if step is None or not take_step(user=self.user, step=step):
            raise get_adapter().validation_error("incorrect_code")
