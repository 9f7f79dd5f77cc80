"""Whether the web server beside it is ready, for a container: `python -m program.config.probe` ends with 0 or 1."""

import os
import sys
import urllib.request

HOSTS = os.environ.get("DJANGO_ALLOWED_HOSTS", "localhost").split(",")


def main() -> int:
    asked = urllib.request.Request(
        f"http://127.0.0.1:{os.environ.get('PORT', '8000')}/ready",
        # As the proxy in front would ask, because other hosts are refused.
        headers={"Host": HOSTS[0].strip().lstrip("."), "X-Forwarded-Proto": "https"},
    )
    direct = urllib.request.build_opener(urllib.request.ProxyHandler({}))
    try:
        direct.open(asked, timeout=5).close()
    except OSError as error:
        sys.stderr.write(f"{error}\n")
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
