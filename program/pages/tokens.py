"""One's own tokens: what programs show instead of a password."""

from typing import Any

from allauth.account.decorators import reauthentication_required
from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from program import clock
from program.actions.tokens import end_token, make_token
from program.models.signing_in import LONGEST_TOKEN
from program.web.forms import FormPage, PlainForm, show_form, what_is_wrong
from program.web.second_factor import is_signed_in_with, second_factor_of

MOST_DIGITS = 19


class TokenForm(PlainForm):
    name = forms.CharField(max_length=60, help_text="Which program it is for.")
    days = forms.IntegerField(
        label="Days it works", min_value=1, max_value=LONGEST_TOKEN.days, initial=30, help_text="90 at most."
    )


@require_http_methods(["GET", "POST"])
def tokens(request: HttpRequest) -> HttpResponse:
    """The person's tokens; sending the number of one ends it."""
    mine = request.user.api_tokens.order_by("-made_at", "-pk")
    shown: dict[str, Any] = {}
    if request.method == "POST":
        named = request.POST.get("token", "")
        token = mine.filter(pk=named).first() if named.isdigit() and len(named) < MOST_DIGITS else None
        if token is not None:
            end_token(token=token, by=request.user)
            messages.success(request, f"“{token.name}” no longer works.")
            return redirect("program:tokens")
        shown["refusal"] = "There is no such token of yours. Look at the list, then try again."
    now = clock.now()
    shown["rows"] = [(one, one.ended_at is None and one.expires_at > now) for one in mine]
    return render(request, "program/tokens.html", shown, status=422 if "refusal" in shown else 200)


@reauthentication_required(app="allauth.mfa")
@require_http_methods(["GET", "POST"])
def make(request: HttpRequest) -> HttpResponse:
    """Only for a person with a second factor, in a session that was signed in with it, not long ago."""
    factor = second_factor_of(request)
    if factor is None or not is_signed_in_with(request, factor):
        messages.warning(request, "Set up a second step first: a token is only made by somebody who has one.")
        return HttpResponseRedirect(reverse("mfa_index"))
    form = TokenForm(request.POST or None)
    page = FormPage(
        "A new token",
        "Make the token",
        reverse("program:tokens"),
        lede="A program that shows it may do whatever you may do. Keep it as you keep a password.",
    )
    if request.method != "POST":
        return show_form(request, form, page)
    if not form.is_valid():
        return show_form(request, form, page, status=422, refusal=what_is_wrong(form))
    token, text = make_token(user=request.user, **form.cleaned_data)
    return render(request, "program/token_made.html", {"token": token, "text": text})
