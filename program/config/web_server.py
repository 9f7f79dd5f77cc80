"""How gunicorn writes: its errors as our JSON lines; no lines of access, which would hold the words of a search."""

from program.config.logging import LOGGING

accesslog = None
logconfig_dict = LOGGING
