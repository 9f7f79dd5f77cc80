"""All addresses. The packages above are named as strings, so that the switchboard imports none of them."""

from django.urls import include, path

handler400 = "program.pages.errors.bad_request"
handler403 = "program.pages.errors.not_allowed"
handler404 = "program.pages.errors.not_found"
handler500 = "program.pages.errors.broken"

urlpatterns = [
    path("", include("program.urls")),
    path("", include("scheduling.urls")),
    path("account/", include("allauth.account.urls")),
]
