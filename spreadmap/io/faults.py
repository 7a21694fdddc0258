"""Faults of all files, collected while reading goes on, and raised together at the end."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace

from spreadmap.errors import InputError
from spreadmap.values.project import Fault, RejectedRow

CONTROL = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u200b\u200e\u200f\u202a-\u202e\u2060\u2066-\u2069\ufeff]")
"""What no text of an inventory needs: it moves the cursor, hides or turns round what follows, or makes two keys look
alike. Joiners (U+200C, U+200D) belong to some scripts and stay. Unicode Standard, chapter 23, from memory."""
SHOWN = 8
"""How many faults a message spells out."""


def plain(text: str) -> str:
    """Return a text as it may go to a terminal: on one line, signs that cannot be seen written by their number.

    Files name columns, sheets and layers as they like; an escape sequence among them would move the cursor.
    """
    if text.isprintable():
        return text
    text = " ".join(text.split())
    return "".join(sign if sign.isprintable() else f"\\u{ord(sign):04x}" for sign in text)


def shown(value: object, most: int = 60) -> str:
    """Return a value as it is quoted in a message: on one line, not too long."""
    text = plain(" ".join(str(value)[: 20 * most].split()))
    return f"'{text if len(text) <= most else text[: most - 1] + '…'}'"


class FaultBook:
    """What was found wrong so far. `stop` refuses the run, `aside` drops a row, `assumed` goes on and says so.

    `rows` counts the rows that each file gave. `lost_plants` holds, by folded key, the row of each plant put aside;
    `has_unread_plants` says whether a whole file of the inventory is missing.
    """

    def __init__(self) -> None:
        self.faults: list[Fault] = []
        self.rejected: list[RejectedRow] = []
        self.rows: dict[str, int] = {}
        self.lost_plants: dict[str, str] = {}
        self.has_unread_plants = False
        self._errors: list[type[InputError]] = []

    def add(self, fault: Fault, error: type[InputError] = InputError) -> None:
        """Write down one fault; `error` is raised if it stops the run."""
        if not (fault.file + fault.column + fault.found + fault.allowed + fault.remedy).isprintable():
            fault = replace(
                fault,
                file=plain(fault.file),
                column=plain(fault.column),
                found=plain(fault.found),
                allowed=plain(fault.allowed),
                remedy=plain(fault.remedy),
            )
        self.faults.append(fault)
        if fault.weight == "stop":
            self._errors.append(error)

    def stop(self, file: str, found: str, remedy: str, *, column: str = "", row: int | None = None, allowed: str = "",
             error: type[InputError] = InputError) -> None:  # fmt: skip
        """Write down a fault that refuses the run."""
        self.add(Fault(file=file, row=row, column=column, found=found, allowed=allowed, remedy=remedy, weight="stop"),
                 error)  # fmt: skip

    def assume(self, file: str, found: str, remedy: str, *, column: str = "", row: int | None = None) -> None:
        """Write down an assumption with which the run goes on."""
        self.add(Fault(file=file, row=row, column=column, found=found, allowed="", remedy=remedy, weight="assumed"))

    @property
    def has_stopped(self) -> bool:
        """Return whether anything refuses the run."""
        return bool(self._errors)

    @contextmanager
    def reading(self, file: str) -> Iterator[None]:
        """Turn an InputError of this file into faults, so that the next file is still read."""
        try:
            yield
        except InputError as error:
            if error.faults:
                for fault in error.faults:
                    self.add(fault, type(error))
                return
            found, _, remedy = str(error).rpartition(". ")
            self.stop(file, found or str(error), sentence(remedy) if found else "", error=type(error))

    def raise_if_stopped(self) -> None:
        """Raise one error that names the first faults and counts them all.

        Raises
        ------
        InputError
            The subclass that fits, if all faults that stop are of one kind.
        """
        if not self._errors:
            return
        kinds = set(self._errors)
        kind = kinds.pop() if len(kinds) == 1 else InputError
        stops = [fault for fault in self.faults if fault.weight == "stop"]
        asides = [fault for fault in self.faults if fault.weight == "aside"]
        listed = (stops + asides)[:SHOWN]
        count = len(stops) + len(asides)
        lines = [fault.sentence() for fault in listed]
        if count > len(listed):
            lines.append(f"... and {count - len(listed)} more; `spreadmap check` lists all {count}.")
        error = kind("\n".join(lines))
        error.faults = tuple(self.faults)
        raise error


def sentence(text: str) -> str:
    """Return a text that ends with a full stop."""
    text = text.strip()
    return text if not text or text.endswith((".", "!", "?", ":")) else text + "."
