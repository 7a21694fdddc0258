"""The plant inventory from any number of files, beds with counts spread on a marked grid."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from spreadmap.errors import InventoryError
from spreadmap.io.faults import FaultBook, shown
from spreadmap.io.project_file import InventoryBlock
from spreadmap.io.read_crs import WorkingCrs
from spreadmap.io.read_positions import read_positions
from spreadmap.io.read_rows import Rows, fold_key
from spreadmap.io.read_tables import read_table
from spreadmap.values.arrays import FloatArray
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
TEXTS = ("host", "bed_id", "site_id", "owner", "source_batch", "note")


@dataclass(slots=True)
class _Columns:
    """Plants of all files so far."""

    values: dict[str, list[Any]] = field(default_factory=dict)

    def add(self, **row: Any) -> None:
        """Add one plant."""
        for name, value in row.items():
            self.values.setdefault(name, []).append(value)

    def get(self, name: str) -> list[Any]:
        """Return one column."""
        return self.values.get(name, [])


def size_classes(rows: Rows) -> list[str]:
    """Return S, M, L or XL of every row: as given, else by spread, else by height, else M."""
    given = rows.word("size_class", [size.value for size in SizeClass])
    spread = rows.number("spread_m", np.nan, 0.01, 100)
    height = rows.number("height_m", np.nan, 0.01, 100)
    wide = np.where(np.isfinite(spread), spread, height)
    by_spread = [
        next((size for limit, size in SPREAD_LIMITS_M if value < limit), "XL") if np.isfinite(value) else "M"
        for value in wide.tolist()
    ]
    return [word or size for word, size in zip(given.tolist(), by_spread, strict=True)]


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
    plants = _Columns()
    seen: dict[str, str] = {}
    for block, path in zip(blocks, paths, strict=True):
        with book.reading(block.file):
            rows = Rows(read_table(path, block.file, block, book), block, book)
            _read_file(rows, block.host.strip(), working, settings, plants, seen)
    if not plants.values:
        if not book.has_stopped:
            book.stop(blocks[0].file if blocks else "inventory", "holds no usable plant", "Give at least one plant.",
                      error=InventoryError)  # fmt: skip
        return None
    easting = np.array(plants.get("easting"), dtype=np.float64)
    northing = np.array(plants.get("northing"), dtype=np.float64)
    _check_strays(plants, easting, northing, book)
    longitude, latitude = working.lon_lat(easting, northing)
    text = {name: np.array(plants.get(name), dtype=object) for name in ("plant_id", "size_class", *TEXTS)}
    return Inventory(
        easting=easting,
        northing=northing,
        longitude=longitude,
        latitude=latitude,
        susceptibility=np.array(plants.get("susceptibility")),
        planted_on=np.array(plants.get("planted_on"), dtype="datetime64[D]"),
        position_precision_m=np.array(plants.get("position_precision_m")),
        is_synthetic=np.array(plants.get("is_synthetic")),
        **text,
    )


def _check_strays(plants: _Columns, easting: FloatArray, northing: FloatArray, book: FaultBook) -> None:
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


def _read_file(
    rows: Rows, host: str, working: WorkingCrs, settings: Settings, plants: _Columns, seen: dict[str, str]
) -> None:
    """Add the plants of one file; `host` is for rows without a host of their own."""
    rows.need("plant_id", "bed_id")
    if not host:
        rows.need("host")
    easting, northing, shapes = read_positions(rows, working)
    key, text = rows.text("plant_id"), {name: rows.text(name) for name in TEXTS}
    text["host"] = np.array([name or host for name in text["host"].tolist()], dtype=object)
    size = size_classes(rows)
    susceptibility = rows.number("susceptibility", 1.0, 0, 100)
    precision = rows.number("position_precision_m", np.nan, 0, 10_000)
    count = rows.whole_number("count", 1.0, 1, MOST_COUNT)
    planted = rows.date("planted_on", lenient=True)
    names = []
    for index in range(len(rows)):
        is_bed = rows.has("count") and (count[index] > 1 or shapes[index] is not None)
        name = str(key[index]) or (str(text["bed_id"][index]) if is_bed else "")
        names.append(name)
        folded = fold_key(name)
        if not name:
            rows.bad(index, "plant_id", "an empty key", "the desk's own key, one per plant", "Give the plant its key.")
        elif folded in seen:
            rows.bad(index, "plant_id", f"{shown(name)}, which is also {seen[folded]},", "every key once",
                     "Correct one of the two keys.")  # fmt: skip
        elif not text["host"][index]:
            rows.bad(index, "host", "an empty host", "a scientific name, genus first", "Name the plant.")
        elif not rows.is_bad(index):
            made = [f"{folded}-{number:03d}" for number in range(1, int(count[index]) + 1)] if is_bed else []
            taken = next((key for key in made if key in seen), None)
            if taken is not None:
                rows.bad(index, "plant_id", f"the plant key '{taken}' made from this bed, which is also {seen[taken]},",
                         "every key once", "Give the bed another key.")  # fmt: skip
                continue
            for key_of_plant in (folded, *made):
                seen[key_of_plant] = f"{shown(name)} in row {rows.table.row[index]} of {rows.table.file}"
    for index in np.flatnonzero(rows.kept()).tolist():
        common = {name: str(text[name][index]) for name in TEXTS if name != "note"}
        common |= {"size_class": size[index], "susceptibility": susceptibility[index], "planted_on": planted[index]}
        is_bed = rows.has("count") and (count[index] > 1 or shapes[index] is not None)
        note = str(text["note"][index])
        if not is_bed:
            plants.add(plant_id=names[index], easting=easting[index], northing=northing[index], is_synthetic=False,
                       position_precision_m=precision[index], note=note, **common)  # fmt: skip
            continue
        places = spread_bed(easting[index], northing[index], shapes[index], int(count[index]))
        common["bed_id"] = common["bed_id"] or names[index]
        for number, (east, north) in enumerate(places.tolist(), start=1):
            plants.add(plant_id=f"{names[index]}-{number:03d}", easting=east, northing=north, is_synthetic=True,
                       position_precision_m=np.nan, note=f"{SYNTHETIC} {note}".strip(), **common)  # fmt: skip
        rows.book.assume(
            rows.table.file, f"bed {shown(names[index])} has a count of {len(places)} and no single positions",
            "Its plants were put on a marked synthetic grid.", row=rows.table.row[index],
        )  # fmt: skip
    rows.finish(settings.inputs.most_rows_aside)
