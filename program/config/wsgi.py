"""The door for web servers."""

import os

from django.conf import settings
from django.core.wsgi import get_wsgi_application
from django.db import connection

from program.config.role_check import refuse_at_start

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "program.config.settings")

application = get_wsgi_application()

if not settings.DEBUG:
    refuse_at_start(connection)
