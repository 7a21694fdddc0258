"""Machine code that is kept beside the sources: what was made from older ones is forgotten.

The compiler looks at the file of a function alone, and not at those whose functions and numbers it took in.
"""

from __future__ import annotations

import re
from contextlib import suppress
from pathlib import Path

COMPILER = b"import numba"
TAKEN_IN = re.compile(rb"^from spreadmap\.(\w+)\.(\w+) import", re.MULTILINE)
KEPT = ("*.nbi", "*.nbc")


def compiled_sources(package: Path, rooms: tuple[str, ...]) -> set[Path]:
    """Return the sources in these rooms that are compiled, and those from which they take something in."""
    found = set()
    for room in rooms:
        for source in (package / room).glob("*.py"):
            text = source.read_bytes()
            if COMPILER in text:
                found.add(source)
                taken = (package / where.decode() / f"{name.decode()}.py" for where, name in TAKEN_IN.findall(text))
                found.update(each for each in taken if each.is_file())
    return found


def forget_stale_code(package: Path, room: str, *others: str) -> int:
    """Delete machine code in a room that is older than a source of it, or of others it takes in; return how many files.

    What cannot be deleted stays: a folder that may only be read is not updated by halves either.
    """
    newest = max((source.stat().st_mtime_ns for source in compiled_sources(package, (room, *others))), default=0)
    gone = 0
    for kept in (path for kind in KEPT for path in (package / room / "__pycache__").glob(kind)):
        with suppress(OSError):
            if kept.stat().st_mtime_ns < newest:
                kept.unlink()
                gone += 1
    return gone
