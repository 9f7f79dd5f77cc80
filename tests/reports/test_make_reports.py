"""The command that makes what is due at once, as the demo does on its first start."""

from datetime import UTC, timedelta
from io import StringIO

from django.core.management import call_command

from program import clock
from reports.models import Report
from tests.conftest import House
from tests.program.actions.arranging import booked
from tests.reports.making import see_everywhere
from tests.walkthroughs.following import wall


def told() -> str:
    answer = StringIO()
    call_command("make_reports", stdout=answer)
    see_everywhere()
    return answer.getvalue()


def test_what_is_due_is_made_at_once_and_only_once(arrowfen: House) -> None:
    """The clock stands in the last week of November; the first session was published for the week before."""
    with clock.at(wall("2026-11-16T09:00")):
        booked(arrowfen, arrowfen.resident(), wall("2026-11-17T09:00").astimezone(UTC))
    first = told()
    made = list(Report.objects.order_by("pk").values_list("period_name", "state"))
    again = told()

    assert first == "Arrowfen House: reports made: 2\n"
    assert made == [("2026-W47", "made"), ("2026-W48", "made")]
    assert (again, Report.objects.count()) == ("", 2)
    with clock.at(wall("2026-12-01T00:00") + timedelta(minutes=1)):
        assert told() == "Arrowfen House: reports made: 1\n"
