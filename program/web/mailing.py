"""Letters that may fail: a mail server that is away stops nobody, and its silence tells strangers nothing."""

import logging
from collections.abc import Callable

log = logging.getLogger(__name__)


def send_or_log(send: Callable[[], object]) -> None:
    """What goes wrong on the way is written down for the operators, without the address and without the letter."""
    try:
        send()
    except OSError:
        log.exception("A letter was not sent.")
