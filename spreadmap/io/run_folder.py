"""The folder of one run: there complete, or not at all; never written over."""

from __future__ import annotations

import datetime as dt
import errno
import json
import os
import re
import shutil
from collections.abc import Iterable
from pathlib import Path
from types import TracebackType
from typing import Self

from spreadmap.errors import OutputError

RUNS = "runs"
LATEST = "latest.json"
PART = ".part"
NAME = re.compile(r"^(\d{4}-\d{2}-\d{2})-(\d+)$")
DISK_ERRORS = frozenset({errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EIO, errno.EROFS, errno.EACCES, errno.EPERM})
"""Numbers of errors that a disk makes, full, broken or not to be written; any other is a defect."""


class RunFolder:
    """A run's folder while it is filled; use it in a `with` while the project's lock is held.

    Products are written into `path`, a hidden folder. When the block ends without an error, every file is flushed to
    the disk and the folder gets its name, `runs/<as_of>-<n>` with the next free n, in one step; then `latest.json`
    points to it; `delivered` are the folders that the history knows, whose numbers are not used again even where they
    were taken away. After an error nothing remains. What a killed run left behind is removed by the next one.

    Raises
    ------
    OutputError
        If the folder cannot be made, flushed or named, or the disk refuses what the block writes.
    """

    def __init__(self, project: Path, as_of: dt.date, delivered: Iterable[str] = ()) -> None:
        self.project = project
        self.delivered = frozenset(delivered)
        self.as_of = as_of
        self.path = Path()
        self.final = Path()

    def __enter__(self) -> Self:
        """Clear what dead runs left, and make the hidden folder."""
        runs = self.project / RUNS
        try:
            runs.mkdir(exist_ok=True)
            for left in sorted(runs.glob(f".*{PART}")):
                shutil.rmtree(left)
            self.final = runs / f"{self.as_of.isoformat()}-{self._next_number(runs)}"
            self.path = runs / f".{self.final.name}{PART}"
            self.path.mkdir()
        except OSError as error:
            msg = f"{runs} cannot be written: {error}. Give this user the right to write there, or free the disk."
            raise OutputError(msg) from error
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Name the folder, or remove it after an error."""
        if kind is not None:
            shutil.rmtree(self.path, ignore_errors=True)
            if isinstance(error, OSError) and error.errno in DISK_ERRORS:
                raise self._not_completed(error) from error
            return
        try:
            flush_tree(self.path)
            if self.final.exists():
                msg = f"{self.final} appeared meanwhile. Run again; two runs must not write one project."
                raise OutputError(msg)
            self.path.rename(self.final)
            flush_folder(self.final.parent)
        except OSError as failure:
            shutil.rmtree(self.path, ignore_errors=True)
            if isinstance(failure, OutputError):
                raise
            raise self._not_completed(failure) from failure
        write_latest(self.project, self.final)

    def _not_completed(self, error: OSError) -> OutputError:
        """Return an error of the disk in words for the desk."""
        return OutputError(
            f"{self.final} could not be completed: {error}. Free the disk, or give this user the right to write there, then "
            "run again; nothing was changed."
        )

    def _next_number(self, runs: Path) -> int:
        """Return the next free number of this date."""
        names = {each.name for each in runs.iterdir()} | {name.rpartition("/")[2] for name in self.delivered}
        found = [NAME.match(name) for name in names]
        return 1 + max((int(name[2]) for name in found if name and name[1] == self.as_of.isoformat()), default=0)


def run_folders(project: Path) -> tuple[Path, ...]:
    """Return the complete run folders of a project, by date and number."""
    runs = project / RUNS
    if not runs.is_dir():
        return ()
    named = [(NAME.match(each.name), each) for each in runs.iterdir() if each.is_dir()]
    found = sorted((name[1], int(name[2]), each) for name, each in named if name)
    return tuple(each for _, _, each in found)


def write_latest(project: Path, folder: Path) -> Path:
    """Let `latest.json` point to a run folder; readers see the old or the new file, never half of one.

    Raises
    ------
    OutputError
        If it cannot be written.
    """
    path = project / LATEST
    name = NAME.match(folder.name)
    said = {"folder": folder.relative_to(project).as_posix(), "as_of": name[1] if name else ""}
    part = project / f".{LATEST}{PART}"
    try:
        with part.open("w", encoding="utf-8", newline="\n") as file:
            file.write(json.dumps(said, indent=2) + "\n")
            file.flush()
            os.fsync(file.fileno())
        part.replace(path)
        flush_folder(project)
    except OSError as error:
        msg = f"{path} could not be written: {error}. The delivery itself is complete: {folder}."
        raise OutputError(msg) from error
    return path


def read_latest(project: Path) -> Path | None:
    """Return the folder that `latest.json` points to, or None where there is none."""
    path = project / LATEST
    if not path.is_file():
        return None
    try:
        said = json.loads(path.read_text(encoding="utf-8"))
        folder = project / str(said["folder"])
    except (ValueError, KeyError, TypeError):
        return None
    return folder if folder.is_dir() else None


def flush_tree(folder: Path) -> None:
    """Make sure that every file of a folder is on the disk."""
    for path in sorted(folder.rglob("*")):
        if path.is_file():
            with path.open("rb+") as file:
                os.fsync(file.fileno())
        elif path.is_dir():
            flush_folder(path)
    flush_folder(folder)


def flush_folder(folder: Path) -> None:
    """Make sure that the names in a folder are on the disk; some systems cannot, and need not."""
    if os.name == "nt":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
