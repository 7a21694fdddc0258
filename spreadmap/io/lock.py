"""One run per project at a time; a run that died holds nobody up."""

from __future__ import annotations

import datetime as dt
import getpass
import json
import os
import socket
import sys
from pathlib import Path
from types import TracebackType
from typing import Self

from spreadmap.errors import LockedError, OutputError

LOCK = ".spreadmap.lock"
FAR_BYTE = 1 << 30
"""Where the byte lies that is locked on systems without whole-file locks: behind the text, to keep it readable."""


class ProjectLock:
    """The lock of a project; use it in a `with`.

    The file says who holds it. What counts is the lock that the operating system keeps on the open file and gives
    back when its process ends, however it ends: a file left by a killed run is taken over.

    Parameters
    ----------
    project : Path
    started : datetime
        When this run began; told to whoever is refused.

    Raises
    ------
    LockedError
        If another run holds the project.
    OutputError
        If the file cannot be written.
    """

    def __init__(self, project: Path, started: dt.datetime) -> None:
        self.path = project / LOCK
        self.started = started
        self._handle = -1

    def __enter__(self) -> Self:
        """Take the lock, or say who has it."""
        try:
            while True:
                handle = self._open()
                if not take(handle):
                    said = _holder(handle)
                    os.close(handle)
                    msg = f"This project is in use: {said}. Wait until that run is done, or end it, then run again."
                    raise LockedError(msg)
                if self._is_current(handle):
                    break
                os.close(handle)
            os.ftruncate(handle, 0)
            os.lseek(handle, 0, os.SEEK_SET)
            os.write(handle, self._text())
            os.fsync(handle)
        except OSError as error:
            msg = f"{self.path} cannot be written: {error}. Give this user the right to write in the project folder."
            raise OutputError(msg) from error
        self._handle = handle
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Give the lock back."""
        # removed while still held, so that nobody can be standing on the old file believing it is the new one
        if os.name != "nt":  # there an open file cannot be removed; the next run takes it over
            self.path.unlink(missing_ok=True)
        os.close(self._handle)
        self._handle = -1

    def _open(self) -> int:
        """Return the lock file, made if it is not there."""
        try:
            return os.open(self.path, os.O_RDWR | os.O_CREAT | os.O_EXCL, 0o664)
        except FileExistsError:
            return os.open(self.path, os.O_RDWR | os.O_CREAT, 0o664)

    def _is_current(self, handle: int) -> bool:
        """Return whether the locked file is still the one that the name leads to."""
        try:
            return os.path.samestat(os.fstat(handle), self.path.stat())
        except FileNotFoundError:
            return False

    def _text(self) -> bytes:
        """Return who holds the lock."""
        said = {
            "user": user_name(),
            "host": socket.gethostname(),
            "pid": os.getpid(),
            "started": self.started.isoformat(timespec="seconds"),
        }
        return (json.dumps(said) + "\n").encode()


def user_name() -> str:
    """Return the name of the user, or its number where it has no name."""
    try:
        return getpass.getuser()
    except (KeyError, OSError, ImportError):
        return f"user {os.getuid()}" if hasattr(os, "getuid") else "unknown user"


def _holder(handle: int) -> str:
    """Return in words who holds a lock file."""
    os.lseek(handle, 0, os.SEEK_SET)
    try:
        said = json.loads(os.read(handle, 4096).decode())
        return f"{said['user']} on {said['host']}, process {said['pid']}, since {said['started']}"
    except (ValueError, KeyError, TypeError):
        return "another run, which is just starting or ending"


if sys.platform == "win32":
    import msvcrt

    def take(handle: int) -> bool:
        """Lock an open file without waiting; return whether it was free."""
        os.lseek(handle, FAR_BYTE, os.SEEK_SET)
        try:
            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
        except OSError:
            return False
        return True

else:
    import fcntl

    def take(handle: int) -> bool:
        """Lock an open file without waiting; return whether it was free."""
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            return False
        return True
