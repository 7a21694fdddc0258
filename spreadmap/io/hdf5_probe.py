"""Looks through an HDF5 file in a process of its own: `python hdf5_probe.py FILE`. Run by its path, never imported.

A file whose pointers lead in a circle keeps the library busy for ever, or ends the process; both happen here instead of
in a run. Ends with 0 when every group, attribute and index of packed pieces could be walked through to its end, whatever
errors were met on the way: those are told by the reader itself.
"""

from __future__ import annotations

import contextlib
import sys
from typing import Any

import h5py  # type: ignore[import-untyped]

MOST_OBJECTS = 20_000
SMALL_VALUES = 1_000_000
"""Variables of so many values are read whole, larger ones by their index alone."""
BROKEN = (
    OSError,
    ValueError,
    KeyError,
    IndexError,
    TypeError,
    AttributeError,
    RuntimeError,
    OverflowError,
    MemoryError,
)


def look_through(path: str) -> None:
    """Walk through every object of a file once."""
    seen: set[Any] = set()
    with h5py.File(path, "r") as file:
        waiting: list[Any] = [file]
        while waiting and len(seen) < MOST_OBJECTS:
            item = waiting.pop()
            with contextlib.suppress(*BROKEN):
                for name in item.attrs:
                    with contextlib.suppress(*BROKEN):
                        item.attrs[name]
            if isinstance(item, h5py.Group):
                waiting += _new_ones(item, seen)
            else:
                _look_at_values(item)


def _new_ones(group: Any, seen: set[Any]) -> list[Any]:
    """Return what hangs in a group and was not met yet; links that lead out of the file are left alone."""
    found = []
    with contextlib.suppress(*BROKEN):
        for name in group:
            with contextlib.suppress(*BROKEN):
                if isinstance(group.get(name, getlink=True), h5py.HardLink):
                    item = group[name]
                    address = h5py.h5o.get_info(item.id).addr
                    if address not in seen:
                        seen.add(address)
                        found.append(item)
    return found


def _look_at_values(item: Any) -> None:
    """Walk through the index of a variable's packed pieces, and read a small one."""
    if not isinstance(item, h5py.Dataset) or item.external or item.is_virtual:
        return
    with contextlib.suppress(*BROKEN):
        if item.chunks:
            item.id.chunk_iter(lambda _: None)
    with contextlib.suppress(*BROKEN):
        if item.size is not None and item.size <= SMALL_VALUES:
            item[()]


if __name__ == "__main__":
    with contextlib.suppress(*BROKEN):
        look_through(sys.argv[1])
