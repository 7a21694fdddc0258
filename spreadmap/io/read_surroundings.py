"""What stands around the plants: wild stands, sites, screens; and daily temperatures."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from spreadmap.errors import InputError
from spreadmap.io.faults import FaultBook
from spreadmap.io.project_file import FileBlock, TemperatureBlock
from spreadmap.io.read_crs import WorkingCrs
from spreadmap.io.read_positions import read_shapes
from spreadmap.io.read_rows import Rows
from spreadmap.io.read_tables import read_table
from spreadmap.values.inventory import Reservoirs, Screens, Sites
from spreadmap.values.settings import Settings
from spreadmap.values.surveys import DailyTemperature
from spreadmap.values.words import SetUp

POINT_AND_AREA = ("Point", "MultiPoint", "Polygon", "MultiPolygon")
AREA = ("Polygon", "MultiPolygon")
LINE = ("LineString", "MultiLineString")


def _keys(rows: Rows, name: str, prefix: str) -> list[str]:
    """Return the keys of a table, numbered where there is none."""
    return [key or f"{prefix} {row}" for key, row in zip(rows.text(name).tolist(), rows.table.row, strict=True)]


def _text(values: list[str]) -> np.ndarray:
    """Return a text column."""
    return np.array(values, dtype=object)


def read_reservoirs(
    blocks: list[FileBlock], paths: list[Path], working: WorkingCrs, settings: Settings, book: FaultBook
) -> Reservoirs:
    """Return all wild stands; where a stand has no count, its density or the default times its area is taken."""
    keys: list[str] = []
    shapes: list[BaseGeometry] = []
    counts: list[float] = []
    chances: list[float] = []
    hosts: list[str] = []
    notes: list[str] = []
    for block, path in zip(blocks, paths, strict=True):
        with book.reading(block.file):
            rows = Rows(read_table(path, block.file, block, book), block, book)
            stand, given = read_shapes(rows, working, POINT_AND_AREA), _keys(rows, "reservoir_id", "stand")
            count = rows.number("count", np.nan, 0, 1e7)
            density = rows.number("plants_per_100_m2", settings.sources.reservoir_plants_per_100_m2, 0, 1e5)
            chance = rows.number("chance_infected", settings.sources.reservoir_chance, 0, 1)
            host, note = rows.text("host"), rows.text("note")
            for index in np.flatnonzero(rows.kept()).tolist():
                area = float(stand[index].area)
                plants = density[index] * area / 100.0 if area > 0 else 1.0
                keys.append(given[index])
                shapes.append(stand[index])
                counts.append(float(count[index]) if np.isfinite(count[index]) else plants)
                chances.append(float(chance[index]))
                hosts.append(str(host[index]))
                notes.append(str(note[index]))
            rows.finish(settings.inputs.most_rows_aside)
    return Reservoirs(
        reservoir_id=_text(keys),
        geometry=tuple(shapes),
        plant_count=np.array(counts, dtype=np.float64),
        chance_infected=np.array(chances, dtype=np.float64),
        host=_text(hosts),
        note=_text(notes),
    )


def read_sites(
    blocks: list[FileBlock], paths: list[Path], working: WorkingCrs, settings: Settings, book: FaultBook
) -> Sites:
    """Return all sites and parcels."""
    texts: dict[str, list[str]] = {name: [] for name in ("site_id", "name", "owner", "access", "set_up")}
    shapes: list[BaseGeometry] = []
    private: list[bool] = []
    notices: list[float] = []
    for block, path in zip(blocks, paths, strict=True):
        with book.reading(block.file):
            rows = Rows(read_table(path, block.file, block, book), block, book)
            area, keys = read_shapes(rows, working, AREA), _keys(rows, "site_id", "site")
            set_up = rows.word("set_up", [each.value for each in SetUp], SetUp.BED.value)
            is_private = rows.flag("is_private", default=False)
            notice = rows.number("notice_days", np.nan, 0, 730)
            columns = {name: rows.text(name) for name in ("name", "owner", "access")}
            for index in np.flatnonzero(rows.kept()).tolist():
                shapes.append(area[index])
                private.append(bool(is_private[index]))
                notices.append(float(notice[index]))
                texts["site_id"].append(keys[index])
                texts["set_up"].append(str(set_up[index]))
                for name, column in columns.items():
                    texts[name].append(str(column[index]))
            rows.finish(settings.inputs.most_rows_aside)
    return Sites(
        geometry=tuple(shapes),
        is_private=np.array(private, dtype=np.bool_),
        notice_days=np.array(notices, dtype=np.float64),
        **{name: _text(values) for name, values in texts.items()},
    )


def read_screens(
    blocks: list[FileBlock], paths: list[Path], working: WorkingCrs, settings: Settings, book: FaultBook
) -> Screens:
    """Return all screens; without a factor of its own a screen has the default one."""
    keys: list[str] = []
    shapes: list[BaseGeometry] = []
    heights: list[float] = []
    factors: list[float] = []
    planted: list[np.datetime64] = []
    for block, path in zip(blocks, paths, strict=True):
        with book.reading(block.file):
            rows = Rows(read_table(path, block.file, block, book), block, book)
            rows.need("height_m")
            line, given = read_shapes(rows, working, LINE), _keys(rows, "screen_id", "screen")
            height = rows.number("height_m", np.nan, 0.05, 100)
            factor = rows.number("factor", settings.sources.screen_factor, 0, 1)
            day = rows.date("planted_on")
            for index in range(len(rows)):
                if not np.isfinite(height[index]):
                    rows.bad(index, "height_m", "no height", "metres", "Measure the screen.")
            for index in np.flatnonzero(rows.kept()).tolist():
                for piece in shapely.get_parts(line[index]).tolist():
                    keys.append(given[index])
                    shapes.append(piece)
                    heights.append(float(height[index]))
                    factors.append(float(factor[index]))
                    planted.append(day[index])
            rows.finish(settings.inputs.most_rows_aside)
    return Screens(
        screen_id=_text(keys),
        geometry=tuple(shapes),
        height_m=np.array(heights, dtype=np.float64),
        planted_on=np.array(planted, dtype="datetime64[D]"),
        factor=np.array(factors, dtype=np.float64),
    )


def _looks_like_fahrenheit(rows: Rows) -> bool:
    """Return whether the usual daily maximum is warmer than any place's in degrees Celsius."""
    cells = [cell.replace(",", ".") for cell in rows.text("maximum_c").tolist()]
    given = [float(cell) for cell in cells if re.fullmatch(r"-?\d+(\.\d*)?", cell)]
    return bool(given) and float(np.median(given)) > 45.0


def read_temperature(
    blocks: list[TemperatureBlock], paths: list[Path], settings: Settings, book: FaultBook
) -> DailyTemperature | None:
    """Return daily temperatures sorted by day, None without a file; gaps and double days are told."""
    found: dict[np.datetime64, tuple[float, float]] = {}
    for block, path in zip(blocks, paths, strict=True):
        with book.reading(block.file):
            rows = Rows(read_table(path, block.file, block, book, shapes=False), block, book)
            for name in ("day", "minimum_c", "maximum_c"):
                rows.need(name)
            day = rows.date("day")
            coldest, warmest = (-130, 140) if block.temperature_unit == "F" else (-90, 60)
            low, high = (rows.number(name, np.nan, coldest, warmest) for name in ("minimum_c", "maximum_c"))
            if block.temperature_unit == "C" and _looks_like_fahrenheit(rows):
                msg = (
                    "has a usual maximum above 45, which is no temperature in degrees Celsius. Declare temperature_unit = "
                    '"F" in its block'
                )
                raise InputError(msg)
            if block.temperature_unit == "F":
                low, high = (low - 32) / 1.8, (high - 32) / 1.8
            double = 0
            for index in range(len(rows)):
                if rows.is_bad(index):
                    continue
                if np.isnat(day[index]) or not np.isfinite(low[index] + high[index]):
                    rows.bad(
                        index, "day", "a gap", "a day with lowest and highest temperature", "Fill or leave it out."
                    )
                elif low[index] > high[index]:
                    rows.bad(index, "minimum_c", f"'{low[index]:g}' above the highest '{high[index]:g}'",
                             "no more than the highest", "Swap the cells.")  # fmt: skip
                elif day[index] in found:
                    double += 1
                else:
                    found[day[index]] = (float(low[index]), float(high[index]))
            if double:
                book.assume(block.file, f"{double} days come twice", "The first row of each was taken.")
            rows.finish(settings.inputs.most_rows_aside)
    if not found:
        return None
    days = np.array(sorted(found), dtype="datetime64[D]")
    missing = int((days[-1] - days[0]).astype(int)) + 1 - len(days)
    if missing:
        book.assume(blocks[0].file, f"{missing} days are missing between the first and the last", "They stay missing.")
    pairs = np.array([found[day] for day in days])
    return DailyTemperature(day=days, minimum_c=pairs[:, 0], maximum_c=pairs[:, 1])
