"""Addresses of what it adds up to."""

from django.urls import URLPattern, URLResolver, include, path

from reports.api.routes import routes
from reports.pages import buildings, making, periods

app_name = "reports"

PERIOD = "reports/<str:kind>/<str:name>/"
RUN = "reports/runs/<int:run_id>/"

pages: list[URLPattern | URLResolver] = [
    path("reports/", periods.newest, name="newest"),
    path("reports/make/", making.make, name="make"),
    # Before the periods, which would take “runs” for a kind of period.
    path(RUN, making.run, name="run"),
    path(f"{RUN}progress/", making.progress, name="progress"),
    path(PERIOD, periods.period, name="period"),
    path(f"{PERIOD}export.csv", periods.export, name="export"),
    path(f"{PERIOD}buildings/<int:building_id>/", buildings.building, name="building"),
    path(f"{PERIOD}buildings/<int:building_id>/export.csv", buildings.export, name="export-building"),
    path("buildings/<int:building_id>/reports/", buildings.of_building, name="of-building"),
]

api: list[URLPattern | URLResolver] = [path("api/", include(routes))]

urlpatterns: list[URLPattern | URLResolver] = [*api, *pages]
