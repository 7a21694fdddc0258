"""The log of one run, and the list of faults as a table: plain lines for the keeper of the inventory."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from pathlib import Path

from spreadmap.errors import OutputError
from spreadmap.io.write_tables import write_csv
from spreadmap.values.project import Fault

LOG = "run.log"


class RunLog:
    """Lines with the time of the wall clock, kept until the run folder is there to take them."""

    def __init__(self, clock: Callable[[], dt.datetime], hear: Callable[[str], None] | None) -> None:
        self._clock, self._hear = clock, hear
        self._lines: list[str] = []

    def say(self, line: str) -> None:
        """Note one line, and tell whoever listens."""
        self._lines.append(f"{self._clock():%Y-%m-%d %H:%M:%S} {line}")
        if self._hear is not None:
            self._hear(line)

    def write(self, folder: Path) -> None:
        """Write all lines into a run folder."""
        (folder / LOG).write_text("\n".join(self._lines) + "\n", encoding="utf-8")


def write_fault_report(path: Path, faults: Sequence[Fault]) -> Path:
    """Write faults as CSV, the most harmful first; text that a spreadsheet would take for a formula gets a quote."""
    rows = [
        (fault.weight, fault.file, "" if fault.row is None else fault.row, fault.column, fault.found, fault.allowed,
         fault.remedy)
        for fault in faults
    ]  # fmt: skip
    try:
        return write_csv(path, ("weight", "file", "row", "column", "found", "allowed", "remedy"), rows)
    except OutputError as error:
        msg = f"{path} could not be written ({error}) Choose another place for --report."
        raise OutputError(msg) from error
