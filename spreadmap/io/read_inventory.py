"""The plant inventory from any number of files, beds with counts spread on a marked grid."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from spreadmap.errors import InventoryError
from spreadmap.io.faults import FaultBook, shown
from spreadmap.io.project_file import InventoryBlock
from spreadmap.io.read_crs import WorkingCrs
from spreadmap.io.read_positions import read_positions
from spreadmap.io.read_rows import Rows, as_text, distinct, fold_keys
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


@dataclass(slots=True)
class _Plants:
    """Columns of the plants of each file so far, by name."""

    parts: list[dict[str, np.ndarray]] = field(default_factory=list)
    files: list[str] = field(default_factory=list)

    def get(self, name: str) -> np.ndarray:
        """Return one column over all files."""
        return np.concatenate([part[name] for part in self.parts])


@dataclass(slots=True)
class _Seen:
    """Keys that are taken, folded, and the file and row that took them: one table for each file."""

    files: list[tuple[Rows, list[str], dict[str, int]]] = field(default_factory=list)

    def begin(self, rows: Rows, names: list[str]) -> dict[str, int]:
        """Return the table of a new file."""
        self.files.append((rows, names, {}))
        return self.files[-1][2]

    def where(self, key: str) -> str:
        """Return who took a key in words, nothing if it is free."""
        for rows, names, taken in self.files:
            if key in taken:
                index = taken[key]
                return f"{shown(names[index])} in row {rows.table.row[index]} of {rows.table.file}"
        return ""

    def any_of(self, keys: set[str]) -> set[str]:
        """Return which keys are taken."""
        return {key for _, _, taken in self.files for key in keys & taken.keys()}


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
    place, rows = distinct(easting[~is_synthetic], northing[~is_synthetic])
    shared = int(np.sum(np.bincount(place, minlength=len(rows))[place] > 1))
    if shared:
        book.assume("inventory", f"{shared} plants have exactly the position of another",
                    "They were taken as touching it; a bed may be one row with a count.")  # fmt: skip


def _read_file(rows: Rows, host: str, working: WorkingCrs, settings: Settings, plants: _Plants, seen: _Seen) -> None:
    """Add the plants of one file; `host` is for rows without a host of their own."""
    rows.need("plant_id", "bed_id")
    if not host:
        rows.need("host")
    easting, northing, areas = read_positions(rows, working)
    key, text = rows.cells("plant_id"), {name: rows.text(name) for name in TEXTS}
    text["host"][text["host"] == ""] = host
    size = size_classes(rows)
    susceptibility = rows.number("susceptibility", 1.0, 0, 100)
    precision = rows.number("position_precision_m", np.nan, 0, 10_000)
    count = rows.whole_number("count", 1.0, 1, MOST_COUNT)
    planted = rows.date("planted_on", lenient=True)
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
    made = {
        "plant_id": as_text(names)[each],
        "easting": easting[each],
        "northing": northing[each],
        "is_synthetic": is_bed[each],
        "position_precision_m": np.where(is_bed[each], np.nan, precision[each]),
        "size_class": size[each],
        "susceptibility": susceptibility[each],
        "planted_on": planted[each],
        **{name: column[each] for name, column in text.items()},
    }
    _spread_beds(rows, kept[is_bed[kept]], each, areas, made)
    plants.parts.append(made)
    plants.files.append(rows.table.file)
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
    times = Counter(folded)
    times.update(key for keys in made.values() for key in keys)
    several = {key for key, often in times.items() if often > 1}
    taken = several | seen.any_of(set(times)) | {""}
    # a row whose keys come nowhere else needs no look at the others
    alone = rows.kept() & (hosts != "")
    if len(taken) > 1 or "" in times:
        alone &= np.fromiter((key not in taken for key in folded), dtype=np.bool_, count=len(folded))
    for index, keys in made.items():
        alone[index] &= taken.isdisjoint(keys)
    mine = seen.begin(rows, names)
    mine.update((folded[index], index) for index in np.flatnonzero(alone).tolist())
    mine.update((key, index) for index, keys in made.items() if alone[index] for key in keys)
    for index in np.flatnonzero(~alone).tolist():
        name = names[index]
        if not name:
            rows.bad(index, "plant_id", "an empty key", "the desk's own key, one per plant", "Give the plant its key.")
        elif other := seen.where(folded[index]):
            rows.bad(index, "plant_id", f"{shown(name)}, which is also {other}", "every key once",
                     "Correct one of the two keys.")  # fmt: skip
        elif not hosts[index]:
            rows.bad(index, "host", "an empty host", "a scientific name, genus first", "Name the plant.")
        elif not rows.is_bad(index):
            keys = made.get(index, [])
            double = next((key for key in keys if seen.where(key)), None)
            if double is not None:
                rows.bad(index, "plant_id", f"the plant key '{double}' made from this bed, which is also "
                         f"{seen.where(double)}", "every key once", "Give the bed another key.")  # fmt: skip
                continue
            mine.update(dict.fromkeys((folded[index], *keys), index))


def _made_keys(folded: str, count: float) -> list[str]:
    """Return the folded keys of a bed's plants."""
    return [f"{folded}-{number:03d}" for number in range(1, int(count) + 1)]
