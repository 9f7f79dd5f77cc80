"""All addresses. The packages above are named as strings, so that the switchboard imports none of them."""

from django.db import transaction
from django.urls import include, path

# The worker's app is named here because whoever answers requests also sends tasks, and must know to which broker.
from program.config import celery  # noqa: F401 - loading it is the point
from program.pages import probes

handler400 = "program.pages.errors.bad_request"
handler403 = "program.pages.errors.not_allowed"
handler404 = "program.pages.errors.not_found"
handler500 = "program.pages.errors.broken"

urlpatterns = [
    path("live", probes.live, name="live"),
    # Outside the transaction of a request, which a database that is away could not begin.
    path("ready", transaction.non_atomic_requests(probes.ready), name="ready"),
    path("", include("program.urls")),
    path("", include("scheduling.urls")),
    path("", include("reports.urls")),
    path("account/", include("program.config.account_urls")),
]
