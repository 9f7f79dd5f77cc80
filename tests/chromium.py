"""The browser for the tests in tests/browser: found, or installed from Debian's packages; never done without."""

import os
import shutil
import subprocess
import sys

NAMES = ("chromium", "chromium-browser")


def chromium_path() -> str | None:
    return next((path for name in NAMES if (path := shutil.which(name))), None)


def install_chromium() -> None:
    rights = [] if os.getuid() == 0 else ["sudo", "-n"]
    environment = {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}
    for step in (["update", "-q"], ["install", "-y", "-q", "chromium"]):
        try:
            done = subprocess.run([*rights, "apt-get", *step], env=environment, check=False)
        except FileNotFoundError:
            return
        # A failed update still leaves the lists of before, which may do.
        if done.returncode and step[0] == "install":
            return


def main() -> int:
    if chromium_path():
        return 0
    sys.stdout.write("The browser tests need Chromium; installing Debian's.\n")
    sys.stdout.flush()
    install_chromium()
    if chromium_path():
        return 0
    sys.stderr.write(
        "Chromium is missing and could not be installed: install it so that `chromium` is on the PATH "
        "(Debian: sudo apt-get install chromium), then run `make test` again.\n"
    )
    return 1


if __name__ == "__main__":
    sys.exit(main())
