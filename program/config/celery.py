"""The worker: tasks take ids, are sent on commit and may run twice; what is due is computed from the database."""

import os
from typing import Any

from celery import Celery, bootsteps
from celery.app.log import Logging
from django.conf import settings
from django.db import connection
from django_structlog.celery.receivers import CeleryReceiver

from program.config.role_check import refuse_at_start

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "program.config.settings")


class OurLines(Logging):  # type: ignore[misc] # without types
    """The worker and beat write as the settings say, like the web, instead of their own way."""

    def setup_logging_subsystem(self, *_given: Any, **_options: Any) -> bool:
        return True


app = Celery("program", log=OurLines)
app.conf.update(
    broker_url=os.environ.get("REDIS_URL", ""),
    broker_connection_retry_on_startup=True,
    task_ignore_result=True,
    task_serializer="json",
    accept_content=["json"],
    task_acks_late=True,
    task_reject_on_worker_lost=True,
    worker_prefetch_multiplier=1,
    worker_cancel_long_running_tasks_on_connection_loss=True,
    worker_soft_shutdown_timeout=20,
    task_soft_time_limit=300,
    task_time_limit=360,
    # Longer than the longest task, and swept often: the tasks of a killed worker are taken up within the minute.
    broker_transport_options={
        "visibility_timeout": 900,
        "unacked_restore_interval": 5,
        "unacked_restore_throttle": 1,
    },
    timezone="UTC",
    enable_utc=True,
    # Beat knocks; the tasks compute from the database what is due.
    beat_schedule={
        "extend calendars": {"task": "program.tasks.extend_calendars", "schedule": 3600.0},
        "settle closed days": {"task": "program.tasks.settle_closed_days", "schedule": 300.0},
        "make reports that are due": {"task": "reports.tasks.make_due", "schedule": 300.0},
        "send lost reports again": {"task": "reports.tasks.resume", "schedule": 20.0},
        "send lost rosters again": {"task": "scheduling.tasks.resume_rosters", "schedule": 20.0},
        "refresh flags": {"task": "scheduling.tasks.refresh_flags", "schedule": 60.0},
    },
)
# Whoever asks for a task before Celery has looked around gets this app, not one that it makes up.
app.set_default()
app.autodiscover_tasks()


class RefusesUnsafeRole(bootsteps.StartStopStep):  # type: ignore[misc] # without types
    """Before the worker takes its first task."""

    def start(self, parent: Any) -> None:
        if not settings.DEBUG:
            refuse_at_start(connection)


# A task carries what is bound where it is sent. One receiver for both ends: the library's app and its step, used
# together, make one each, and a worker that sends a task would write its line twice.
receiver = CeleryReceiver()
receiver.connect_signals()


class BindsTheRequest(bootsteps.Step):  # type: ignore[misc] # without types
    """The id of the request that came with a task stands in the lines of the worker."""

    def __init__(self, parent: Any, **options: Any) -> None:
        super().__init__(parent, **options)
        receiver.connect_worker_signals()


app.steps["worker"].update({RefusesUnsafeRole, BindsTheRequest})
