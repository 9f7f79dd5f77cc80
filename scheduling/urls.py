"""Addresses of what is proposed and what is due."""

from django.urls import URLPattern, URLResolver, include, path

from scheduling.api.routes import routes
from scheduling.pages import changes, days, moving, now, sheet, to_do, weeks

app_name = "scheduling"

BUILDING = "buildings/<int:building_id>/"

pages: list[URLPattern | URLResolver] = [
    path(f"{BUILDING}now/", now.now, name="now"),
    path(f"{BUILDING}week/", weeks.week_now, name="week-now"),
    path(f"{BUILDING}week/<str:name>/", weeks.week, name="week"),
    path(f"{BUILDING}week/<str:name>/build/", weeks.build, name="build"),
    path(f"{BUILDING}rosters/<int:roster_id>/progress/", weeks.progress, name="progress"),
    path(f"{BUILDING}rosters/<int:roster_id>/changes/", changes.changes, name="changes"),
    path(f"{BUILDING}rosters/<int:roster_id>/publish/", weeks.publish, name="publish"),
    path(f"{BUILDING}day/", days.today, name="today"),
    path(f"{BUILDING}day/<str:text>/", days.day, name="day"),
    path(f"{BUILDING}to-do/", to_do.to_do, name="to-do"),
    path(f"{BUILDING}to-do/<int:flag_id>/", to_do.remedy, name="to-do-one"),
    path(f"{BUILDING}to-do/<int:flag_id>/take/", to_do.take, name="to-do-take"),
    path(f"{BUILDING}sheet/<str:text>/", sheet.sheet, name="sheet"),
    path(f"{BUILDING}sessions/<int:session_id>/move/", moving.move, name="move"),
    path(f"{BUILDING}sessions/<int:session_id>/withdraw/", moving.withdraw, name="withdraw"),
    path(f"{BUILDING}residents/<int:resident_id>/times/", moving.times, name="times"),
]

api: list[URLPattern | URLResolver] = [path("api/", include(routes))]

urlpatterns: list[URLPattern | URLResolver] = [*api, *pages]
