"""The addresses of the API in this package."""

from rest_framework.routers import SimpleRouter

from reports.api.reports import ReportDoor
from reports.api.runs import RunDoor

router = SimpleRouter(use_regex_path=False)
router.register("reports", ReportDoor, "report")
router.register("report-runs", RunDoor, "report-run")

routes = router.urls
