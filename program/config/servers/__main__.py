"""The servers by hand: `python -m program.config.servers start|stop|urls|remove [--home DIR]`."""

import argparse
import os
import sys
from pathlib import Path

from program.config.servers import NoServer, ensure_servers, remove_servers, stop_servers


def main() -> int:
    asked = argparse.ArgumentParser(prog="python -m program.config.servers", description=__doc__)
    asked.add_argument("verb", choices=["start", "stop", "urls", "remove"], help="start and urls print where they are")
    asked.add_argument("--home", type=Path, default=Path(os.environ.get("DATA_DIR") or ".local") / "servers")
    asked.add_argument("--not-durable", action="store_true", help="faster, for tests: a power cut may lose everything")
    told = asked.parse_args()
    try:
        if told.verb == "stop":
            stop_servers(told.home)
            return 0
        if told.verb == "remove":
            remove_servers(told.home)
            return 0
        urls = ensure_servers(told.home, durable=not told.not_durable)
    except NoServer as refusal:
        sys.stderr.write(f"{refusal}\n")
        return 1
    for name, url in urls.environment().items():
        sys.stdout.write(f"{name}={url}\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
