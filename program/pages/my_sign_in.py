"""One's own way in: the password, the second step, and where one is signed in."""

from allauth.account.internal.flows.login import record_authentication
from allauth.account.internal.stagekit import clear_login
from allauth.account.stages import LoginStageController
from allauth.account.views import PasswordChangeView, PasswordResetFromKeyView
from allauth.mfa.base.views import authenticate
from allauth.mfa.models import Authenticator
from allauth.mfa.recovery_codes.views import GenerateRecoveryCodesView
from allauth.mfa.totp.views import ActivateTOTPView, DeactivateTOTPView
from django import forms
from django.contrib import messages
from django.contrib.auth.decorators import login_not_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_safe

from program.actions.second_factors import note_factor_ended
from program.actions.sign_in_events import note_event
from program.models import SignInEvent
from program.web.codes import SetUpForm
from program.web.devices import remember_device
from program.web.second_factor import second_factor_of
from program.web.sessions import begin_session, held_of
from program.web.stages import SecondStep

MOST_DIGITS = 19


@require_safe
def home(request: HttpRequest) -> HttpResponse:
    context = {
        "has_second_factor": second_factor_of(request) is not None,
        "needs_second_factor": held_of(request).needs_second_factor,
        "tokens": request.user.api_tokens.filter(ended_at=None).count(),
        "sessions": len(request.user.usersession_set.purge_and_list(request.user)),
    }
    return render(request, "account/home.html", context)


def not_here(request: HttpRequest) -> HttpResponse:
    raise Http404


@login_not_required
def second_step(request: HttpRequest) -> HttpResponse:
    """The library's page, unless what was half done has ended meanwhile: then from the beginning, with the password."""
    stage = LoginStageController.enter(request, SecondStep.key)
    if stage is not None and not stage.is_resumable(request):
        clear_login(request)
    return authenticate(request)


class ChangePassword(PasswordChangeView):
    """The library's page; whoever knew the old password may go on from this device while strangers guess."""

    def form_valid(self, form: forms.Form) -> HttpResponse:
        response = super().form_valid(form)
        remember_device(self.request, response, form.user)
        return response


class NewPasswordByMail(PasswordResetFromKeyView):
    """The library's page; the letter shows whose device it is, as a one-time link does."""

    def form_valid(self, form: forms.Form) -> HttpResponse:
        response = super().form_valid(form)
        remember_device(self.request, response, form.user)
        return response


change_password = ChangePassword.as_view()
new_password_by_mail = NewPasswordByMail.as_view()


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


class Remove(DeactivateTOTPView):
    """The library's page; what only a second step allows ends with it, and it is on record."""

    def form_valid(self, form: forms.Form) -> HttpResponse:
        response = super().form_valid(form)
        note_factor_ended(user=self.request.user)
        return response


class NewCodes(GenerateRecoveryCodesView):
    """The library's page; the old codes are dead, and that there are new ones is on record."""

    def form_valid(self, form: forms.Form) -> HttpResponse:
        response = super().form_valid(form)
        note_event(user=self.request.user, kind=SignInEvent.Kind.CODES_MADE, by=self.request.user)
        return response


set_up, remove, new_codes = SetUp.as_view(), Remove.as_view(), NewCodes.as_view()


@require_http_methods(["GET", "POST"])
def sessions(request: HttpRequest) -> HttpResponse:
    """Where the person is signed in, and a way to end each of it."""
    if request.method == "POST":
        if named := request.POST.get("session", ""):
            number = named if named.isdigit() and len(named) < MOST_DIGITS else 0
            # Here one signs out by the button of every page.
            elsewhere = request.user.usersession_set.exclude(session_key=request.session.session_key)
            get_object_or_404(elsewhere, pk=number).end()
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
