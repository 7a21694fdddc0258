"""The plant inventory from any number of files, beds with counts spread on a marked grid."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from spreadmap.errors import InventoryError
from spreadmap.io.faults import FaultBook, shown
from spreadmap.io.project_file import InventoryBlock
from spreadmap.io.read_crs import WorkingCrs
from spreadmap.io.read_positions import read_positions
from spreadmap.io.read_rows import Rows, as_text, fold_key, fold_keys
from spreadmap.io.read_tables import read_table
from spreadmap.values.arrays import BoolArray, FloatArray, IntArray, TextArray
from spreadmap.values.inventory import Inventory
from spreadmap.values.settings import Settings
from spreadmap.values.words import SizeClass

SPREAD_LIMITS_M = ((0.6, "S"), (1.2, "M"), (1.8, "L"))
"""Spread below the limit is that class, above the last one XL; our choice."""
SPACING_M = 1.0
MOST_COUNT = 20_000
SYNTHETIC = "Position made from a bed's count, not surveyed."
STRAY_M, STRAY_RATIO = 20_000.0, 50.0
"""A plant beyond both is taken for a slip of the pen; our choice."""
FAR_FILE_M = 100_000.0
TEXTS = ("host", "bed_id", "site_id", "owner", "source_batch", "note")
NOT_DELIVERED = ("susceptibility", "planted_on", "source_batch")
"""What an inventory may hold and our layers of plants do not."""


@dataclass(slots=True)
class _Plants:
    """Columns of the plants of each file so far, by name."""

    parts: list[dict[str, np.ndarray]] = field(default_factory=list)
    files: list[str] = field(default_factory=list)

    def get(self, name: str) -> np.ndarray:
        """Return one column over all files."""
        first, *others = (part[name] for part in self.parts)
        return np.concatenate([first, *others]) if others else first


class _Taken:
    """Keys that one file took, folded, and the row that took each; most files are never asked."""

    def __init__(self, rows: Rows, names: list[str], folded: list[str], alone: BoolArray) -> None:
        self.rows, self.names = rows, names
        self._folded, self._alone = folded, alone
        self._more: dict[str, int] = {}

    @cached_property
    def row_of(self) -> dict[str, int]:
        """Return the row that took each key."""
        return {self._folded[index]: index for index in np.flatnonzero(self._alone).tolist()} | self._more

    def add(self, keys: Iterable[str], index: int) -> None:
        """Let a row take keys besides those that come once only."""
        more = dict.fromkeys(keys, index)
        self._more |= more
        if "row_of" in self.__dict__:
            self.row_of.update(more)


@dataclass(slots=True)
class _Seen:
    """Keys that are taken, one table for each file."""

    files: list[_Taken] = field(default_factory=list)

    def where(self, key: str) -> str:
        """Return who took a key in words, nothing if it is free."""
        for taken in self.files:
            if key in taken.row_of:
                index = taken.row_of[key]
                return f"{shown(taken.names[index])} in row {taken.rows.table.row[index]} of {taken.rows.table.file}"
        return ""

    def any_of(self, keys: set[str]) -> set[str]:
        """Return which keys are taken."""
        return {key for taken in self.files for key in keys & taken.row_of.keys()}


def size_classes(rows: Rows) -> TextArray:
    """Return S, M, L or XL of every row: as given, else by spread, else by height, else M; shape (rows,)."""
    given = rows.word("size_class", [size.value for size in SizeClass])
    spread = rows.number("spread_m", np.nan, 0.01, 100)
    height = rows.number("height_m", np.nan, 0.01, 100)
    wide = np.where(np.isfinite(spread), spread, height)
    words = as_text([*(size for _, size in SPREAD_LIMITS_M), "XL"])
    by_spread = words[np.searchsorted([limit for limit, _ in SPREAD_LIMITS_M], np.nan_to_num(wide), side="right")]
    by_spread[~np.isfinite(wide)] = SizeClass.M.value
    return np.where(given == "", by_spread, given)


def spread_bed(easting: float, northing: float, area: BaseGeometry | None, count: int) -> FloatArray:
    """Return `count` synthetic positions: an even grid inside the bed's polygon, or a square round its point."""
    if area is None or area.area <= 0:
        side = int(np.ceil(np.sqrt(count)))
        cols, rows = np.meshgrid(np.arange(side), np.arange(side))
        places = np.c_[cols.ravel(), rows.ravel()][:count] * SPACING_M
        return np.asarray(places - places.mean(axis=0) + [easting, northing], dtype=np.float64)
    spacing = float(np.sqrt(area.area / count))
    west, south, east, north = area.bounds
    for _ in range(60):
        across = np.arange(west + spacing / 2, east, spacing)
        along = np.arange(south + spacing / 2, north, spacing)
        places = np.stack(np.meshgrid(across, along), axis=-1).reshape(-1, 2)
        inside = places[shapely.contains_xy(area, places[:, 0], places[:, 1])]
        if len(inside) >= count:
            return np.asarray(inside[np.linspace(0, len(inside) - 1, count).round().astype(int)], dtype=np.float64)
        spacing *= 0.93
    centre = area.representative_point()
    return spread_bed(centre.x, centre.y, None, count)


def read_inventory(
    blocks: Sequence[InventoryBlock], paths: list[Path], working: WorkingCrs, settings: Settings, book: FaultBook
) -> Inventory | None:
    """Return the inventory of all files, None if nothing could be read; faults go to the book."""
    plants, seen = _Plants(), _Seen()
    for block, path in zip(blocks, paths, strict=True):
        with book.reading(block.file):
            rows = Rows(read_table(path, block.file, block, book), block, book)
            _read_file(rows, block.host.strip(), working, settings, plants, seen)
    book.has_unread_plants |= len(plants.parts) < len(blocks)
    if not any(len(part["plant_id"]) for part in plants.parts):
        if not book.has_stopped:
            book.stop(blocks[0].file if blocks else "inventory", "holds no usable plant", "Give at least one plant.",
                      error=InventoryError)  # fmt: skip
        return None
    easting, northing = plants.get("easting"), plants.get("northing")
    _check_strays(plants, easting, northing, book)
    _say_far_files(plants, book)
    _say_same_spot(easting, northing, plants.get("is_synthetic"), book)
    longitude, latitude = working.lon_lat(easting, northing)
    return Inventory(
        easting=easting,
        northing=northing,
        longitude=longitude,
        latitude=latitude,
        susceptibility=plants.get("susceptibility"),
        planted_on=plants.get("planted_on"),
        position_precision_m=plants.get("position_precision_m"),
        is_synthetic=plants.get("is_synthetic"),
        **{name: plants.get(name) for name in ("plant_id", "size_class", *TEXTS)},
    )


def _check_strays(plants: _Plants, easting: FloatArray, northing: FloatArray, book: FaultBook) -> None:
    """Refuse plants that stand so far from all others that a slip of the pen is near: the map would be huge."""
    away = np.hypot(easting - np.median(easting), northing - np.median(northing))
    stray = np.flatnonzero(away > max(STRAY_M, STRAY_RATIO * float(np.median(away))))
    if len(stray):
        first = int(stray[0])
        book.stop(
            "inventory", f"{len(stray)} of {len(away)} plants stand far from all others; plant "
            f"{shown(plants.get('plant_id')[first])} is {away[first] / 1000:.0f} km from their middle",
            "Correct the position, leave the row out, or give far plants a project of their own.",
            allowed=f"at most {STRAY_M / 1000:.0f} km, or {STRAY_RATIO:.0f} times the usual distance from the middle",
            error=InventoryError,
        )  # fmt: skip


def _say_far_files(plants: _Plants, book: FaultBook) -> None:
    """Tell where the plants of one file stand far from those of all others: a wrong CRS of one block looks like that."""
    middles = []
    for name, part in zip(plants.files, plants.parts, strict=True):
        if len(part["easting"]):
            at = np.array([np.median(part["easting"]), np.median(part["northing"])])
            spread = float(np.median(np.hypot(part["easting"] - at[0], part["northing"] - at[1])))
            middles.append((name, at, spread))
    for place, (name, at, spread) in enumerate(middles[1:], start=1):
        away = min(float(np.hypot(*(at - other))) for each, (_, other, _) in enumerate(middles) if each != place)
        if away > max(FAR_FILE_M, STRAY_RATIO * spread):
            book.assume(name, f"its plants stand {away / 1000:.0f} km from those of every other file",
                        "They were taken as they are; check the crs of its block.")  # fmt: skip


def _say_same_spot(easting: FloatArray, northing: FloatArray, is_synthetic: BoolArray, book: FaultBook) -> None:
    """Tell how many plants have exactly the position of another."""
    places = np.sort(easting[~is_synthetic] + 1j * northing[~is_synthetic])
    is_next = places[1:] == places[:-1]
    shared = int(np.sum(np.append(is_next, False) | np.append(False, is_next))) if len(places) else 0
    if shared:
        book.assume("inventory", f"{shared} plants have exactly the position of another",
                    "They were taken as touching it; a bed may be one row with a count.")  # fmt: skip


def _read_file(rows: Rows, host: str, working: WorkingCrs, settings: Settings, plants: _Plants, seen: _Seen) -> None:
    """Add the plants of one file; `host` is for rows without a host of their own."""
    rows.need("plant_id", "bed_id")
    if not host:
        rows.need("host")
    easting, northing, areas = read_positions(rows, working)
    lacking = [name for name in NOT_DELIVERED if not rows.has(name)]
    if rows.is_ours and lacking:
        rows.book.assume(rows.table.file, f"is a layer of an earlier delivery; it has no {', '.join(lacking)}",
                         "Its plants were taken as ordinary ones that stood all along.")  # fmt: skip
    key, text = rows.cells("plant_id"), {name: rows.text(name) for name in TEXTS}
    text["host"][text["host"] == ""] = host
    size = size_classes(rows)
    susceptibility = rows.number("susceptibility", 1.0, 0, 100)
    precision = rows.number("position_precision_m", np.nan, 0, 10_000)
    count = rows.whole_number("count", 1.0, 1, MOST_COUNT)
    planted = rows.date("planted_on", lenient=True)
    is_made = rows.flag("is_synthetic", default=False)
    is_bed = np.zeros(len(rows), dtype=np.bool_)
    if rows.has("count"):
        is_bed = count > 1
        is_bed[list(areas)] = True
    names = list(key)
    for index in np.flatnonzero(is_bed).tolist():
        names[index] = names[index] or str(text["bed_id"][index])
    _check_keys(rows, names, text["host"], is_bed, count, seen)
    kept = np.flatnonzero(rows.kept())
    # a bed stands where its row stood, once for each of its plants
    each = np.repeat(kept, np.where(is_bed[kept], count[kept], 1).astype(np.int64))
    # most files have one plant in every row: nothing is copied then
    of = slice(None) if len(each) == len(rows) and not is_bed.any() else each
    made = {
        "plant_id": as_text(names)[of],
        "easting": easting[of],
        "northing": northing[of],
        "is_synthetic": (is_bed | is_made)[of],
        "position_precision_m": np.where(is_bed | is_made, np.nan, precision)[of],
        "size_class": size[of],
        "susceptibility": susceptibility[of],
        "planted_on": planted[of],
        **{name: column[of] for name, column in text.items()},
    }
    _spread_beds(rows, kept[is_bed[kept]], each, areas, made)
    plants.parts.append(made)
    plants.files.append(rows.table.file)
    for index in np.flatnonzero(~rows.kept()).tolist():
        rows.book.lost_plants.setdefault(fold_key(names[index]), f"row {rows.table.row[index]} of {rows.table.file}")
    rows.finish(settings.inputs.most_rows_aside)


def _spread_beds(
    rows: Rows, beds: IntArray, each: IntArray, areas: dict[int, BaseGeometry], made: dict[str, np.ndarray]
) -> None:
    """Give the plants of every bed their synthetic places, keys and notes; `each` is the row of every plant."""
    first, last = np.searchsorted(each, beds), np.searchsorted(each, beds, side="right")
    for index, start, end in zip(beds.tolist(), first.tolist(), last.tolist(), strict=True):
        name, count = str(made["plant_id"][start]), end - start
        places = spread_bed(made["easting"][start], made["northing"][start], areas.get(index), count)
        made["easting"][start:end], made["northing"][start:end] = places[:, 0], places[:, 1]
        made["plant_id"][start:end] = [f"{name}-{number:03d}" for number in range(1, count + 1)]
        made["bed_id"][start:end] = made["bed_id"][start] or name
        made["note"][start:end] = f"{SYNTHETIC} {made['note'][start]}".strip()
        rows.book.assume(
            rows.table.file, f"bed {shown(name)} has a count of {count} and no single positions",
            "Its plants were put on a marked synthetic grid.", row=rows.table.row[index],
        )  # fmt: skip


def _check_keys(
    rows: Rows, names: list[str], hosts: TextArray, is_bed: BoolArray, count: FloatArray, seen: _Seen
) -> None:
    """Put rows aside whose key is empty or taken, the first of two keeping it, and rows without a host."""
    folded = fold_keys(names)
    made = {index: _made_keys(folded[index], count[index]) for index in np.flatnonzero(is_bed & rows.kept()).tolist()}
    every = [*folded, *(key for keys in made.values() for key in keys)]
    once = set(every)
    several = set() if len(once) == len(every) else {key for key, often in Counter(every).items() if often > 1}
    shared = several | seen.any_of(once) | {""}
    # a row whose keys come nowhere else needs no look at the others
    alone = rows.kept() & (hosts != "")
    if len(shared) > 1 or "" in once:
        alone &= np.fromiter((key not in shared for key in folded), dtype=np.bool_, count=len(folded))
    for index, keys in made.items():
        alone[index] &= shared.isdisjoint(keys)
    mine = _Taken(rows, names, folded, alone)
    seen.files.append(mine)
    for index, keys in made.items():
        if alone[index]:
            mine.add(keys, index)
    for index in np.flatnonzero(~alone).tolist():
        name, key = names[index], folded[index]
        if not name:
            rows.bad(index, "plant_id", "an empty key", "the desk's own key, one per plant", "Give the plant its key.")
        elif key in shared and (other := seen.where(key)):
            rows.bad(index, "plant_id", f"{shown(name)}, which is also {other}", "every key once",
                     "Correct one of the two keys.")  # fmt: skip
        elif not hosts[index]:
            rows.bad(index, "host", "an empty host", "a scientific name, genus first", "Name the plant.")
        elif not rows.is_bad(index):
            keys = made.get(index, [])
            double = next((key for key in keys if key in shared and seen.where(key)), None)
            if double is not None:
                rows.bad(index, "plant_id", f"the plant key '{double}' made from this bed, which is also "
                         f"{seen.where(double)}", "every key once", "Give the bed another key.")  # fmt: skip
                continue
            mine.add((key, *keys), index)


def _made_keys(folded: str, count: float) -> list[str]:
    """Return the folded keys of a bed's plants."""
    return [f"{folded}-{number:03d}" for number in range(1, int(count) + 1)]
