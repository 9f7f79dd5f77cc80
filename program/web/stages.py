"""Between the password and the code: how long a sign-in that is half done can still be finished."""

from datetime import UTC, datetime
from typing import Any

from allauth.mfa.models import Authenticator
from allauth.mfa.stages import AuthenticateStage
from allauth.mfa.utils import is_mfa_enabled
from django.http import HttpRequest
from django.utils.crypto import constant_time_compare

from program import clock
from program.models import User


class SecondStep(AuthenticateStage):
    """The library's stage, which ends with what it began with: the password, the second step, and being let in at all.

    Without it a code that has been reset meanwhile is asked for for ever.
    """

    def handle(self) -> tuple[Any, bool]:
        response, goes_on = super().handle()
        if response is not None:
            self.state["began_at"] = clock.now().timestamp()
            self.state["password"] = self.login.user.get_session_auth_hash()
        return response, goes_on

    def is_resumable(self, request: HttpRequest) -> bool:
        user: User = self.login.user
        return (
            user.is_active
            and is_mfa_enabled(user, [Authenticator.Type.TOTP])
            and constant_time_compare(self.state.get("password", ""), user.get_session_auth_hash())
            and not self._was_signed_out(user)
        )

    def _was_signed_out(self, user: User) -> bool:
        began_at = datetime.fromtimestamp(self.state.get("began_at", 0), UTC)
        return user.signed_out_at is not None and began_at < user.signed_out_at
