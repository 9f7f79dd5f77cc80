"""The service's own settings with what makes tests fast and honest."""

import os
from uuid import uuid4

os.environ.setdefault("DJANGO_SECRET_KEY", "only-for-tests-0123456789-abcdefghijklmnopqrstuvwxyz-ABC")
os.environ.setdefault("DATABASE_URL", "postgresql://service_app@/service")
os.environ.setdefault("REDIS_URL", "redis://127.0.0.1:6379/0")
os.environ.setdefault("HTTPS", "no")

from program.config.settings import *  # noqa: F403 - the environment above must be there first

ALLOWED_HOSTS = ["testserver", "localhost", "127.0.0.1"]
PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
EMAIL_BACKEND = "django.core.mail.backends.locmem.EmailBackend"
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.InMemoryStorage"},
    "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"},
}
WHITENOISE_AUTOREFRESH = True
# Another name lets two runs go side by side.
DATABASES["default"]["TEST"] = {"NAME": os.environ.get("TEST_DATABASE", "test_service")}  # noqa: F405 - from the settings
# What is counted in the cache is counted for one worker of one run.
CACHES["default"]["KEY_PREFIX"] = os.environ.setdefault("TEST_RUN", uuid4().hex) + os.environ.get(  # noqa: F405
    "PYTEST_XDIST_WORKER", ""
)
