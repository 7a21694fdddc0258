"""The file of one finished tile: packed blocks by level, and the cells that smaller overviews are made of."""

from __future__ import annotations

import json
import struct
import zlib
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np
import numpy.typing as npt

from spreadmap.io.tiff_layout import AROUND_BLOCK, framed

MOST_HEADER = 2**20
PIECE_BYTES = 4 * 2**20


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TileParts:
    """What a tile's file holds.

    `sizes` are the bytes of each packed block, by level, then by line of blocks from north to south, then from west to
    east; `lines` where each line of blocks begins and ends in the file. `seed` is the shape of the cells for smaller
    overviews, () if there are none, and `seed_at` where they begin. `check` is the CRC-32 of all behind the header.
    """

    sizes: list[list[list[int]]]
    lines: list[list[tuple[int, int]]]
    seed: tuple[int, ...]
    seed_at: int
    header: int
    check: int


def write_tile(file: BinaryIO, levels: list[list[list[bytes]]], seed: npt.NDArray[Any] | None) -> None:
    """Write a tile: its packed blocks by level, line and column, and the cells for smaller overviews."""
    payload = [framed(block) for level in levels for line in level for block in line]
    if seed is not None:
        payload.append(np.ascontiguousarray(seed).tobytes())
    check = 0
    for piece in payload:
        check = zlib.crc32(piece, check)
    sizes = [[[len(block) for block in line] for line in level] for level in levels]
    shape = [] if seed is None else list(seed.shape)
    said = json.dumps({"sizes": sizes, "seed": shape, "check": check}).encode("ascii")
    file.write(struct.pack("<I", len(said)) + said)
    file.writelines(payload)


def read_parts(file: BinaryIO) -> TileParts:
    """Return what a tile's file says of itself; raises ValueError, KeyError or TypeError if it is none."""
    (length,) = struct.unpack("<I", file.read(4).rjust(4, b"\xff"))
    if length > MOST_HEADER:
        msg = "this is no file of a tile"
        raise ValueError(msg)
    said = json.loads(file.read(length))
    place = 4 + length
    lines = []
    for level in said["sizes"]:
        found = []
        for line in level:
            end = place + sum(line) + 2 * AROUND_BLOCK * len(line)
            found.append((place, end))
            place = end
        lines.append(found)
    return TileParts(
        sizes=said["sizes"], lines=lines, seed=tuple(said["seed"]), seed_at=place, header=4 + length, check=said["check"]
    )  # fmt: skip


def is_sound(path: Path) -> bool:
    """Return whether a tile's file is there with every byte it was written with."""
    try:
        with path.open("rb") as file:
            parts = read_parts(file)
            file.seek(parts.header)
            check = 0
            while piece := file.read(PIECE_BYTES):
                check = zlib.crc32(piece, check)
    except (OSError, ValueError, KeyError, TypeError):
        return False
    return parts.check == check


def read_seed(path: Path, parts: TileParts, dtype: Any) -> npt.NDArray[Any]:
    """Return the cells for smaller overviews."""
    n_rows, n_cols = parts.seed
    with path.open("rb") as file:
        file.seek(parts.seed_at)
        data = file.read(n_rows * n_cols * np.dtype(dtype).itemsize)
    return np.frombuffer(data, dtype=dtype).reshape(n_rows, n_cols)
