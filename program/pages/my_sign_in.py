"""One's own way in: the password, the second step, and where one is signed in."""

from allauth.account.internal.flows.login import record_authentication
from allauth.mfa.models import Authenticator
from allauth.mfa.totp.views import ActivateTOTPView
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_safe

from program.access import NEEDS_SECOND_FACTOR
from program.actions.signing_in import note_event
from program.models import SignInEvent
from program.web.codes import SetUpForm
from program.web.second_factor import second_factor_of
from program.web.sessions import begin_session, kinds_of

MOST_DIGITS = 19


@require_safe
def home(request: HttpRequest) -> HttpResponse:
    context = {
        "has_second_factor": second_factor_of(request) is not None,
        "needs_second_factor": bool(kinds_of(request) & NEEDS_SECOND_FACTOR),
        "tokens": request.user.api_tokens.filter(ended_at=None).count(),
        "sessions": len(request.user.usersession_set.purge_and_list(request.user)),
    }
    return render(request, "account/home.html", context)


def not_here(request: HttpRequest) -> HttpResponse:
    raise Http404


class SetUp(ActivateTOTPView):
    """The library's page; afterwards this session counts as made with the second step, and there is no other."""

    def form_valid(self, form: SetUpForm) -> HttpResponse:
        response = super().form_valid(form)
        user = self.request.user
        factor = user.authenticator_set.get(type=Authenticator.Type.TOTP)
        record_authentication(self.request, user, "mfa", id=factor.pk, type=factor.type)
        note_event(user=user, kind=SignInEvent.Kind.FACTOR_SET_UP, by=user)
        end_others(self.request)
        begin_session(self.request)
        return response


set_up = SetUp.as_view()


@require_http_methods(["GET", "POST"])
def sessions(request: HttpRequest) -> HttpResponse:
    """Where the person is signed in, and a way to end each of it."""
    if request.method == "POST":
        if named := request.POST.get("session", ""):
            number = named if named.isdigit() and len(named) < MOST_DIGITS else 0
            get_object_or_404(request.user.usersession_set, pk=number).end()
            note_event(user=request.user, kind=SignInEvent.Kind.SESSIONS_ENDED, by=request.user, note="one")
        else:
            end_others(request)
            note_event(user=request.user, kind=SignInEvent.Kind.SESSIONS_ENDED, by=request.user, note="all others")
        messages.success(request, "You are signed out there.")
        return redirect("usersessions_list")
    here = request.session.session_key
    listed = sorted(
        request.user.usersession_set.purge_and_list(request.user), key=lambda one: one.created_at, reverse=True
    )
    rows = [(one, one.session_key == here) for one in listed]
    return render(request, "usersessions/usersession_list.html", {"rows": rows})


def end_others(request: HttpRequest) -> None:
    for session in request.user.usersession_set.exclude(session_key=request.session.session_key):
        session.end()
