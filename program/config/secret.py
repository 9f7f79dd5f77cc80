"""A fresh secret key: `python -m program.config.secret`."""

import secrets
import sys

if __name__ == "__main__":
    sys.stdout.write(f"{secrets.token_urlsafe(60)}\n")
