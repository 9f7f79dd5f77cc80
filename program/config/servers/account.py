"""As whom the servers run: PostgreSQL refuses root, so root hands its servers to another account."""

import os
import pwd
import subprocess
from dataclasses import dataclass
from pathlib import Path


class NoServer(Exception):
    """A server cannot run here; the message is one sentence saying what to do."""


@dataclass(frozen=True, slots=True)
class Account:
    uid: int
    gid: int

    def run(self, *command: str | Path, seconds: int = 60) -> subprocess.CompletedProcess[str]:
        """Run a command of the servers as this account, and wait for it.

        The environment is nearly empty, because PGHOST, PGDATA and their like would lead the tools astray.
        """
        as_root = os.getuid() == 0
        return subprocess.run(  # noqa: S603 - only our own commands, never input
            [str(part) for part in command],
            cwd="/",
            env={"PATH": os.environ.get("PATH", os.defpath), "LC_ALL": "C"},
            stdin=subprocess.DEVNULL,
            capture_output=True,
            text=True,
            errors="replace",
            timeout=seconds,
            check=False,
            user=self.uid if as_root else None,
            group=self.gid if as_root else None,
            extra_groups=() if as_root else None,
        )

    def can_enter(self, folder: Path) -> bool:
        return self.run("/bin/sh", "-c", 'cd "$1"', "sh", folder).returncode == 0

    def can_run(self, program: Path) -> bool:
        try:
            return self.run(program, "--version").returncode == 0
        except OSError:
            return False

    def take(self, path: Path) -> None:
        if os.getuid() == 0:
            os.chown(path, self.uid, self.gid)

    def private_folder(self, folder: Path) -> Path:
        """A folder that only this account (and root) can open; refused where somebody else laid it there first."""
        folder.mkdir(mode=0o700, exist_ok=True)
        found = folder.lstat()
        if folder.is_symlink() or found.st_uid not in (self.uid, os.getuid()):
            raise NoServer(f"{folder} belongs to somebody else: remove it, then start again.")
        folder.chmod(0o700)
        self.take(folder)
        return folder


def account_for(folder: Path) -> Account:
    """The owner of a folder made earlier; otherwise nobody for root, and whoever asks for everybody else."""
    asking = os.getuid()
    if folder.exists() and (found := folder.stat()).st_uid != 0:
        if asking not in (0, found.st_uid):
            raise NoServer(f"{folder} belongs to another user: remove it as that user, or set DATA_DIR to another.")
        return Account(found.st_uid, found.st_gid)
    if folder.exists() and asking:
        raise NoServer(f"{folder} belongs to root: remove it as root, or set DATA_DIR to a folder of your own.")
    try:
        entry = pwd.getpwuid(asking) if asking else pwd.getpwnam("nobody")
    except KeyError:
        who = f"user id {asking}" if asking else "nobody"
        raise NoServer(
            f"PostgreSQL needs an account with a name and {who} has none here: run as a named user, "
            "or set DATABASE_URL and REDIS_URL to servers of your own."
        ) from None
    return Account(entry.pw_uid, entry.pw_gid)
