"""People for an administrator: who there is, what they may do where, and their ways in."""

from datetime import timedelta
from typing import Any

from allauth.account.decorators import reauthentication_required
from allauth.mfa.models import Authenticator
from django import forms
from django.conf import settings
from django.contrib import messages
from django.core.mail import send_mail
from django.core.paginator import Paginator
from django.db import transaction
from django.db.models import Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from program import clock
from program.access import require
from program.actions import people as acting
from program.actions.second_factors import end_sessions as end_all_sessions
from program.actions.second_factors import reset_second_factor
from program.actions.signing_in import LINK_LIVES, make_link
from program.actions.tokens import end_token as end_one_token
from program.models import Role, User
from program.pages.people_forms import AddPersonForm, EndRoleForm, RoleForm, WhoForm, end_of, zone_of
from program.rules.errors import Refused
from program.web.forms import FormPage, PlainForm, answer_form, refuse_form, show_form, what_is_wrong
from program.web.mailing import send_or_log

# A desk left alone for a moment must not hand anybody a way in, or more rights.
asked_again = reauthentication_required(app="allauth.mfa")
MOST_SHOWN, LATEST, MOST_DIGITS = 50, 20, 19
MANAGE = "manage people"


class SureForm(PlainForm):
    """Nothing is asked: sending it is the answer."""


@require_safe
def people(request: HttpRequest) -> HttpResponse:
    require(request.user, MANAGE, None)
    name = request.GET.get("name", "").strip()[:120]
    found = User.objects.filter(Q(name__icontains=name) | Q(username__icontains=name)) if name else User.objects.all()
    page = Paginator(found.order_by("name", "pk"), MOST_SHOWN).get_page(request.GET.get("page"))
    held = Role.objects.filter(user__in=[one.pk for one in page]).select_related("building", "region")
    roles = [role for role in held.order_by("kind") if _stands(role) == "now"]
    rows = [(one, ", ".join(said(role) for role in roles if role.user_id == one.pk)) for one in page]
    return render(request, "program/people.html", {"rows": rows, "page": page, "name": name})


@require_safe
def person(request: HttpRequest, user_id: int) -> HttpResponse:
    shown = _person(request, user_id)
    roles = shown.roles.select_related("building", "region").order_by("-since")
    context = {
        "person": shown,
        "roles": [(role, said(role), _days(role), _stands(role)) for role in roles],
        "has_second_factor": shown.authenticator_set.filter(type=Authenticator.Type.TOTP).exists(),
        "sessions": shown.usersession_set.count(),
        "link": shown.links.filter(used_at=None, replaced_at=None, expires_at__gt=clock.now()).first(),
        "tokens": shown.api_tokens.good_at(clock.now()).order_by("-made_at", "-pk"),
        "events": shown.sign_in_events.select_related("by").order_by("-at", "-pk")[:LATEST],
    }
    return render(request, "program/person.html", context)


@asked_again
@require_http_methods(["GET", "POST"])
def add(request: HttpRequest) -> HttpResponse:
    require(request.user, MANAGE, None)
    form = AddPersonForm(request.POST or None)
    page = FormPage(
        "Add a person",
        "Add the person",
        reverse("program:people"),
        lede="A one-time link follows, with which the person chooses a password.",
    )
    if request.method != "POST":
        return show_form(request, form, page)
    if not form.is_valid():
        return show_form(request, form, page, status=422, refusal=what_is_wrong(form))
    try:
        with transaction.atomic():
            added = acting.add_person(**form.cleaned_data)
    except Refused as refusal:
        return refuse_form(request, form, page, refusal)
    return _show_link(request, added)


@asked_again
@require_http_methods(["GET", "POST"])
def change(request: HttpRequest, user_id: int) -> HttpResponse:
    shown = _person(request, user_id)
    known = {"name": shown.name, "username": shown.username, "email": shown.email}
    page = FormPage(
        f"Who {shown.name} is",
        "Save",
        _page_of(shown),
        lede="With another address an open one-time link ends: make a new one.",
    )
    form = WhoForm(request.POST or None, initial=known)
    return answer_form(request, form, page, lambda fields: acting.change_person(user=shown, **fields), "Saved.")


@asked_again
@require_http_methods(["GET", "POST"])
def link(request: HttpRequest, user_id: int) -> HttpResponse:
    shown = _person(request, user_id)
    if request.method == "POST":
        return _show_link(request, shown)
    page = FormPage(
        f"A one-time link for {shown.name}",
        "Make the link",
        _page_of(shown),
        lede="With it the person chooses a new password. It works once, for 72 hours, and replaces an older one.",
    )
    return show_form(request, SureForm(), page)


def _show_link(request: HttpRequest, shown: User) -> HttpResponse:
    """Shown on this one page; nothing that could make it again is kept."""
    secret = make_link(user=shown, by=request.user)
    address = request.build_absolute_uri(reverse("program:welcome", args=[secret]))
    is_mailed = bool(settings.EMAIL_HOST and shown.email)
    if is_mailed:
        text = f"{shown.name}, choose your password for Strength circuit here, once, within 72 hours:\n\n{address}\n"
        transaction.on_commit(lambda: send_or_log(lambda: send_mail("Your way in", text, None, [shown.email])))
    context = {"person": shown, "address": address, "until": clock.now() + LINK_LIVES, "is_mailed": is_mailed}
    return render(request, "program/person_link.html", context)


@asked_again
@require_http_methods(["GET", "POST"])
def add_role(request: HttpRequest, user_id: int) -> HttpResponse:
    shown = _person(request, user_id)
    form = RoleForm(request.POST or None)
    page = FormPage(f"A role for {shown.name}", "Give the role", _page_of(shown))
    return answer_form(request, form, page, lambda fields: acting.give_role(user=shown, **fields), "The role is given.")


@require_http_methods(["GET", "POST"])
def end_role(request: HttpRequest, user_id: int, role_id: int) -> HttpResponse:
    shown = _person(request, user_id)
    role = get_object_or_404(shown.roles.select_related("building", "region"), pk=role_id)
    page = FormPage(
        f"End a role of {shown.name}",
        "End the role",
        _page_of(shown),
        lede=f"{said(role).capitalize()}. From that moment on nothing that the role allowed works, on any device.",
    )

    def act(fields: dict[str, Any]) -> Role:
        return acting.end_role(role=role, until=end_of(fields["last_on"], zone_of(role)) or clock.now())

    return answer_form(request, EndRoleForm(request.POST or None), page, act, "The end of the role is entered.")


@require_http_methods(["GET", "POST"])
def disable(request: HttpRequest, user_id: int) -> HttpResponse:
    shown = _person(request, user_id)
    page = FormPage(
        f"Close {shown.name}'s account",
        "Close the account",
        _page_of(shown),
        lede="The person is signed out everywhere and cannot sign in again until the account is opened. Roles stay.",
    )
    return _sure(request, page, lambda _: acting.disable_person(user=shown, by=request.user), "The account is closed.")


@require_http_methods(["GET", "POST"])
def enable(request: HttpRequest, user_id: int) -> HttpResponse:
    shown = _person(request, user_id)
    page = FormPage(f"Open {shown.name}'s account", "Open the account", _page_of(shown))
    return _sure(
        request, page, lambda _: acting.enable_person(user=shown, by=request.user), "The account is open again."
    )


@require_http_methods(["GET", "POST"])
def end_sessions(request: HttpRequest, user_id: int) -> HttpResponse:
    shown = _person(request, user_id)
    page = FormPage(
        f"Sign {shown.name} out everywhere",
        "Sign out everywhere",
        _page_of(shown),
        lede="On every device, at the next request, and their tokens end. For a lost phone, make a new one-time link "
        "as well.",
    )
    return _sure(request, page, lambda _: end_all_sessions(user=shown, by=request.user), "They are signed out.")


@require_POST
def end_token(request: HttpRequest, user_id: int) -> HttpResponse:
    """Sending the number of a token of the person ends it."""
    shown = _person(request, user_id)
    named = request.POST.get("token", "")
    good = shown.api_tokens.good_at(clock.now())
    token = good.filter(pk=named).first() if named.isdigit() and len(named) < MOST_DIGITS else None
    if token is None:
        messages.warning(request, f"{shown.name} has no such token that works. Look at the list, then try again.")
    else:
        end_one_token(token=token, by=request.user)
        messages.success(request, f"“{token.name}” no longer works.")
    return redirect(_page_of(shown))


@asked_again
@require_http_methods(["GET", "POST"])
def reset_factor(request: HttpRequest, user_id: int) -> HttpResponse:
    shown = _person(request, user_id)
    page = FormPage(
        f"Reset the second step of {shown.name}",
        "Reset the second step",
        _page_of(shown),
        lede="For a lost phone. The person is signed out, their tokens end, and they set up a new one at the next "
        "sign-in. Make sure that it is the person who asks.",
    )
    return _sure(request, page, lambda _: reset_second_factor(user=shown, by=request.user), "The second step is reset.")


def _sure(request: HttpRequest, page: FormPage, act: Any, done: str) -> HttpResponse:
    form: forms.Form = SureForm(request.POST if request.method == "POST" else None)
    return answer_form(request, form, page, act, done)


def _person(request: HttpRequest, user_id: int) -> User:
    require(request.user, MANAGE, None)
    return get_object_or_404(User, pk=user_id)


def _page_of(shown: User) -> str:
    return reverse("program:person", args=[shown.pk])


def said(role: Role) -> str:
    """“clinician at Arrowfen House”."""
    if role.building:
        return f"{role.kind} at {role.building.name}"
    return f"{role.kind} in all of {role.region.name}" if role.region else str(role.kind)


def _days(role: Role) -> str:
    """By the clock of the building; the last day is the last on which the role holds."""
    zone = zone_of(role)
    first = role.since.astimezone(zone)
    if role.until is None:
        return f"since {first.day} {first:%b %Y}"
    last = (role.until - timedelta(microseconds=1)).astimezone(zone)
    return f"{first.day} {first:%b %Y} to {last.day} {last:%b %Y}"


def _stands(role: Role) -> str:
    now = clock.now()
    if role.until is not None and role.until <= now:
        return "ended"
    return "now" if role.since <= now else "later"
