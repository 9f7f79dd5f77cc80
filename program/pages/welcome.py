"""The page behind a one-time link: a password of one's own, then sign in."""

from django import forms
from django.contrib import messages
from django.contrib.auth import logout
from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from program.actions.signing_in import link_of, use_link
from program.rules.errors import Refused
from program.web.devices import remember_device
from program.web.forms import FormPage, PlainForm, refuse_form, show_form, what_is_wrong

GONE = 410


class PasswordForm(PlainForm):
    password = forms.CharField(
        max_length=200,
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
        help_text="12 letters or more. A short sentence that only you would say is good.",
    )
    again = forms.CharField(
        label="The same once more",
        max_length=200,
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
    )

    def clean_again(self) -> str:
        if self.cleaned_data["again"] != self.cleaned_data.get("password"):
            raise forms.ValidationError("The two are not the same. Type the password again.")
        return self.cleaned_data["again"]


@login_not_required
@require_http_methods(["GET", "POST"])
def welcome(request: HttpRequest, token: str) -> HttpResponse:
    """Looking at the page uses nothing up: only sending the form does."""
    try:
        user = link_of(secret=token).user
        form = PasswordForm(request.POST or None)
        page = FormPage(
            f"Welcome, {user.name}",
            "Save the password",
            "/",
            lede=f"Choose your password. You will sign in as {user.username}.",
            template="program/welcome.html",
        )
        if request.method != "POST":
            return show_form(request, form, page)
        if not form.is_valid():
            return show_form(request, form, page, status=422, refusal=what_is_wrong(form))
        user = use_link(secret=token, password=form.cleaned_data["password"])
    except Refused as refusal:
        if refusal.problem == "link-used":
            return render(request, "program/link_used.html", {"sentence": refusal.sentence}, status=GONE)
        return refuse_form(request, form, page, refusal)
    # Whoever is signed in here, often the administrator who made the link, is not the person.
    logout(request)
    messages.success(request, f"Your password is saved. Sign in as {user.username}.")
    response = redirect("account_login")
    remember_device(request, response, user)
    return response
