"""The layout of a cloud-optimised GeoTIFF, written by ourselves, since the library can only copy a finished map into it.

All directories stand at the front, the full map's first; then the blocks of the smallest overview up to those of the
full map, row by row, each with its size before it and its last four bytes repeated after it. What a block holds, and
every tag but sizes and places, is made by the library.

References
----------
TIFF revision 6.0, 1992, section 2, and the BigTIFF extension, for directories. GDAL documentation, driver COG, "Header
ghost area", for the text in front and the four bytes on either side of a block: read in files that the library wrote;
test_tiff_layout.py compares them.
"""

from __future__ import annotations

import struct
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from spreadmap.values.arrays import IntArray

BLOCK = 512
"""Side of a block [px]."""
AROUND_BLOCK = 4
"""Bytes before and after each block [-]."""
_GHOST_TEXT = (
    "LAYOUT=IFDS_BEFORE_DATA\nBLOCK_ORDER=ROW_MAJOR\nBLOCK_LEADER=SIZE_AS_UINT4\n"
    "BLOCK_TRAILER=LAST_4_BYTES_REPEATED\nKNOWN_INCOMPATIBLE_EDITION=NO\n "
)
GHOST = f"GDAL_STRUCTURAL_METADATA_SIZE={len(_GHOST_TEXT):06d} bytes\n{_GHOST_TEXT}".encode("ascii")

SUBFILE, WIDTH, LENGTH, OFFSETS, COUNTS = 254, 256, 257, 324, 325
OF_EVERY_LEVEL = (258, 259, 262, 277, 284, 317, 320, 322, 323, 339, 42113)
"""Tags that overviews share with the full map: samples, packing, colours, block size, no value."""
_BYTES = {1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 6: 1, 7: 1, 8: 2, 9: 4, 10: 8, 11: 4, 12: 8, 16: 8}
SHORT, LONG, LONG8 = 3, 4, 16
MOST_CLASSIC = 2**32 - 1
"""Largest file whose places fit four bytes."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Tag:
    """One entry of a directory: its field type, how many values, and their bytes, little end first."""

    kind: int
    count: int
    data: bytes


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Level:
    """The full map or an overview: its size [px], and the bytes of its blocks, row by row, without what is around them."""

    n_rows: int
    n_cols: int
    sizes: IntArray


def blocks_along(length: int) -> int:
    """Return how many blocks cover a length in pixels [-]."""
    return -(-length // BLOCK)


def read_tags(data: bytes | memoryview) -> dict[int, Tag]:
    """Return the first directory of a small TIFF, little end first, as the library makes it in memory."""
    magic, first = struct.unpack_from("<4sI", data, 0)
    if magic != b"II*\x00":
        msg = f"a TIFF that begins with {bytes(magic)!r} cannot be taken apart"
        raise ValueError(msg)
    (count,) = struct.unpack_from("<H", data, first)
    tags = {}
    for index in range(count):
        place = first + 2 + 12 * index
        number, kind, values = struct.unpack_from("<HHI", data, place)
        size = _BYTES[kind] * values
        start = place + 8 if size <= 4 else struct.unpack_from("<I", data, place + 8)[0]
        tags[number] = Tag(kind=kind, count=values, data=bytes(data[start : start + size]))
    return tags


def read_blocks(data: bytes | memoryview) -> list[bytes]:
    """Return the packed blocks of a small TIFF, row by row."""
    tags = read_tags(data)
    places, sizes = (_whole_numbers(tags[number]) for number in (OFFSETS, COUNTS))
    return [bytes(data[start : start + size]) for start, size in zip(places, sizes, strict=True)]


def _whole_numbers(tag: Tag) -> list[int]:
    """Return the values of a tag of whole numbers."""
    letter = {SHORT: "H", LONG: "I", LONG8: "Q"}[tag.kind]
    return list(struct.unpack(f"<{tag.count}{letter}", tag.data))


def framed(block: bytes) -> bytes:
    """Return a block with its size before it and its last four bytes repeated after it."""
    return struct.pack("<I", len(block)) + block + block[-AROUND_BLOCK:]


def head(tags: Mapping[int, Tag], levels: Sequence[Level]) -> bytes:
    """Return everything in front of the blocks.

    Parameters
    ----------
    tags : mapping
        The full map's tags as the library wrote them; sizes and places are replaced.
    levels : sequence of Level
        The full map, then its overviews from the largest to the smallest.

    Returns
    -------
    bytes
        Header, ghost area and directories. The blocks of the last level follow, then those of the one before it.
        Places take four bytes where the whole file lets them, else eight.
    """
    for is_big in (False, True):
        found, size = _head(tags, levels, is_big)
        if size <= MOST_CLASSIC or is_big:
            break
    return found


def _head(tags: Mapping[int, Tag], levels: Sequence[Level], is_big: bool) -> tuple[bytes, int]:
    """Return the front of a file, and the size of the whole file."""
    header = 16 if is_big else 8
    front = header + len(GHOST)
    front += front % 2
    empty = [
        _entries(tags, level, index > 0, np.zeros(len(level.sizes), np.int64), is_big)
        for index, level in enumerate(levels)
    ]
    starts = [front]
    for entries in empty:
        starts.append(starts[-1] + len(_directory(entries, 0, 0, is_big)))
    place, places = starts[-1], {}
    for index in reversed(range(len(levels))):
        steps = levels[index].sizes + 2 * AROUND_BLOCK
        places[index] = place + AROUND_BLOCK + np.concatenate([[0], np.cumsum(steps)[:-1]])
        place += int(steps.sum())
    shape = "<2sHHHQ" if is_big else "<2sHI"
    values = (b"II", 43, 8, 0, front) if is_big else (b"II", 42, front)
    parts = [(struct.pack(shape, *values) + GHOST).ljust(front, b"\x00")]
    for index, level in enumerate(levels):
        following = starts[index + 1] if index + 1 < len(levels) else 0
        entries = _entries(tags, level, index > 0, places[index], is_big)
        parts.append(_directory(entries, starts[index], following, is_big))
    return b"".join(parts), place


def _entries(
    tags: Mapping[int, Tag], level: Level, is_overview: bool, places: IntArray, is_big: bool
) -> dict[int, Tag]:
    """Return the tags of one level."""
    kept = {number: tag for number, tag in tags.items() if not is_overview or number in OF_EVERY_LEVEL}
    kind, dtype = (LONG8, "<u8") if is_big else (LONG, "<u4")
    # Where all would not fit four bytes, what is cut off here is not used.
    own = {
        WIDTH: Tag(kind=LONG, count=1, data=struct.pack("<I", level.n_cols)),
        LENGTH: Tag(kind=LONG, count=1, data=struct.pack("<I", level.n_rows)),
        OFFSETS: Tag(kind=kind, count=len(places), data=places.astype(dtype).tobytes()),
        COUNTS: Tag(kind=LONG, count=len(places), data=level.sizes.astype("<u4").tobytes()),
    }
    if is_overview:
        own[SUBFILE] = Tag(kind=LONG, count=1, data=struct.pack("<I", 1))
    return kept | own


def _directory(entries: Mapping[int, Tag], start: int, following: int, is_big: bool) -> bytes:
    """Return a directory that begins at `start`, with its longer values after it; the next one begins at `following`."""
    inline, count, entry, link = (8, "<Q", "<HHQ", "<Q") if is_big else (4, "<H", "<HHI", "<I")
    size = struct.calcsize(count) + len(entries) * (struct.calcsize(entry) + inline) + struct.calcsize(link)
    lines, beyond = [struct.pack(count, len(entries))], bytearray()
    for number in sorted(entries):
        tag = entries[number]
        data = tag.data.ljust(inline, b"\x00")
        if len(data) > inline:
            data, long = struct.pack(link, start + size + len(beyond)), data
            beyond += long + b"\x00" * (len(long) % 2)
        lines.append(struct.pack(entry, number, tag.kind, tag.count) + data)
    found = b"".join([*lines, struct.pack(link, following), bytes(beyond)])
    return found + b"\x00" * (len(found) % 2)
