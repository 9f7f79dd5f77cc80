"""The page that a refusal's type leads to."""

from django.contrib.auth.decorators import login_not_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from program.web.problem_types import PROBLEM_TYPES


@login_not_required
@require_safe
def explain(request: HttpRequest, problem: str) -> HttpResponse:
    """What this type of refusal means; the same for everybody, so nobody need sign in."""
    if problem not in PROBLEM_TYPES:
        raise Http404
    return render(request, "program/problem.html", {"problem": problem, "sentence": PROBLEM_TYPES[problem]})
