"""One run per project at a time; a run that died holds nobody up."""

from __future__ import annotations

import contextlib
import datetime as dt
import getpass
import json
import os
import socket
import sys
from collections.abc import Mapping
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from spreadmap.errors import LockedError, OutputError

LOCK = ".spreadmap.lock"
HOURS_FOR_ANOTHER_HOST = 24.0
"""How long the lock that a run on another machine left is respected [h]. None: our choice, many times a run."""
FAR_BYTE = 1 << 30
"""Where the byte lies that is locked on systems without whole-file locks: behind the text, to keep it readable."""


class ProjectLock:
    """The lock of a project; use it in a `with`.

    The file says who holds it. What counts is the lock that the operating system keeps on the open file and gives
    back when its process ends, however it ends: a file left by a killed run is taken over, and `took_over` says whose
    it was. Not every shared disk tells one machine of the locks of another: a file that a run on another machine left
    is respected for a day, and taken over then.

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
        If the file cannot be written, or the disk knows no locks.
    """

    def __init__(self, project: Path, started: dt.datetime) -> None:
        self.path = project / LOCK
        self.started = started
        self.took_over = ""
        self._handle = -1

    def __enter__(self) -> Self:
        """Take the lock, or say who has it."""
        try:
            self._handle = self._take()
            self._sign()
        except OSError as error:
            self._close()
            msg = (
                f"{self.path} cannot be written and locked: {error}. Give this user the right to write in the project folder, "
                "free the disk, or move the project to a disk that knows file locks."
            )
            raise OutputError(msg) from error
        return self

    def _take(self) -> int:
        """Return the lock file, open and locked."""
        while True:
            handle = self._open()
            try:
                is_taken = take(handle)
                left = _said(handle)
                if is_taken and not self._is_current(handle):
                    os.close(handle)
                    continue
                self._refuse_if_held(is_taken, left)
            except BaseException:
                os.close(handle)
                raise
            self.took_over = "" if left is None else _words(left)
            return handle

    def _refuse_if_held(self, is_taken: bool, left: Mapping[str, Any] | None) -> None:
        """Refuse a lock that another process holds, or that may be held on another machine."""
        if not is_taken:
            who = "another run, which is just starting or ending" if left is None else _words(left)
            msg = f"This project is in use: {who}. Wait until that run is done, or end it, then run again."
            raise LockedError(msg)
        if left is None or left["host"] == socket.gethostname():
            return
        # a clock that was set back makes hours below zero; far off on either side, the file is old
        hours = abs((self.started - left["started"]).total_seconds()) / 3600
        if hours < HOURS_FOR_ANOTHER_HOST:
            msg = (
                f"This project may be in use: {_words(left)}, and this machine cannot see whether that run still goes on. Wait "
                f"until it is done, then run again. If it died, remove {self.path}; after {HOURS_FOR_ANOTHER_HOST:g} hours the "
                "next run does so itself."
            )
            raise LockedError(msg)

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Give the lock back."""
        # removed while still held, so that nobody can be standing on the old file believing it is the new one
        if os.name != "nt":  # there an open file cannot be removed; the next run takes it over
            with contextlib.suppress(OSError):
                self.path.unlink()
        self._close()

    def _sign(self) -> None:
        """Write into the lock file who holds it."""
        os.ftruncate(self._handle, 0)
        os.lseek(self._handle, 0, os.SEEK_SET)
        os.write(self._handle, self._text())
        os.fsync(self._handle)

    def _close(self) -> None:
        """Close the lock file if it is open."""
        if self._handle >= 0:
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


def _said(handle: int) -> dict[str, Any] | None:
    """Return what a lock file says of its holder, None where it says nothing that can be read."""
    os.lseek(handle, 0, os.SEEK_SET)
    try:
        said = json.loads(os.read(handle, 4096).decode())
        started = dt.datetime.fromisoformat(said["started"])
        if started.tzinfo is None:
            return None
        return {"user": str(said["user"]), "host": str(said["host"]), "pid": int(said["pid"]), "started": started}
    except (ValueError, KeyError, TypeError):
        return None


def _words(left: Mapping[str, Any]) -> str:
    """Return in words who holds a lock file, or left it."""
    since = left["started"].isoformat(timespec="seconds")
    return f"{left['user']} on {left['host']}, process {left['pid']}, since {since}"


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
