"""Pages for what went wrong: each says what happened and what to do; the same for missing and for foreign."""

from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render

from program.web.problem_types import PROBLEM_TYPES

PROBLEMS = {
    400: ("bad-request", "This request could not be read. Go back and try again."),
    403: ("not-allowed", "You may not do that. Ask your coordinator."),
    404: ("not-found", "There is nothing here that you may see."),
    500: ("broken", "Something broke on our side. Nothing was changed. Try again in a minute."),
}


def _answer(request: HttpRequest, status: int) -> HttpResponse:
    if request.path.startswith("/api/"):
        kind, sentence = PROBLEMS[status]
        body = {
            "type": f"/problems/{kind}",
            "title": PROBLEM_TYPES[kind],
            "status": status,
            "detail": sentence,
            "request_id": getattr(request, "request_id", ""),
        }
        return JsonResponse(body, status=status, content_type="application/problem+json")
    return render(request, f"{status}.html", status=status)


def bad_request(request: HttpRequest, exception: Exception) -> HttpResponse:
    return _answer(request, 400)


def not_allowed(request: HttpRequest, exception: Exception) -> HttpResponse:
    return _answer(request, 403)


def no_token(request: HttpRequest, reason: str = "") -> HttpResponse:
    return _answer(request, 403)


def not_found(request: HttpRequest, exception: Exception) -> HttpResponse:
    return _answer(request, 404)


def broken(request: HttpRequest) -> HttpResponse:
    return _answer(request, 500)
