"""The browser tests are never left out in silence."""

import os
import subprocess
import sys
from pathlib import Path

PROJECT = Path(__file__).parents[2]


def test_a_machine_that_has_no_browser_and_cannot_get_one_is_told_so_and_fails(tmp_path):
    told = subprocess.run(
        [sys.executable, "-m", "tests.chromium"],
        cwd=PROJECT,
        env={**os.environ, "PATH": str(tmp_path)},
        capture_output=True,
        text=True,
        check=False,
    )

    assert (told.returncode, told.stderr) == (
        1,
        "Chromium is missing and could not be installed: install it so that `chromium` is on the PATH "
        "(Debian: sudo apt-get install chromium), then run `make test` again.\n",
    )
