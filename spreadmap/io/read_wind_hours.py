"""Hourly wind: times to UTC, speeds to metres per second, directions to grid north."""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from spreadmap.dispersal.bearings import components_to_from_deg
from spreadmap.io import guard
from spreadmap.io.faults import FaultBook, shown
from spreadmap.io.hour_columns import (
    LEAST_TEMPERATURE_C,
    MOST_GUST_M_S,
    MOST_RAIN_MM,
    MOST_SPEED_M_S,
    MOST_TEMPERATURE_C,
    TO_METRES_PER_SECOND,
    FoundHours,
    HourColumns,
    add_hours,
    time_zone,
)
from spreadmap.io.netcdf_hours import read_netcdf_hours
from spreadmap.io.project_file import WindHoursBlock
from spreadmap.io.read_rows import Rows, parse_day
from spreadmap.io.read_tables import read_table
from spreadmap.io.wind_groups import parse_wind_group
from spreadmap.values.arrays import BoolArray, FloatArray
from spreadmap.values.settings import Settings
from spreadmap.values.wind import WindHours

VARIABLE = ("vrb", "variable", "")
VARIABLE_NUMBER = 990.0
"""No direction is 990: stations write it for variable."""
MISSING = "///"
CODED_COLUMNS = ("wind_from_deg", "speed", "gust", "temperature_c", "rain_mm", "wind_u", "wind_v")


def parse_time(cell: str, date_format: str = "") -> dt.datetime | None:
    """Return the wall-clock time in a cell, None if there is none; a date alone is its midnight."""
    day_text, _, clock = cell.strip().replace("T", " ", 1).partition(" ")
    day = parse_day(day_text, date_format)
    match = re.fullmatch(r"(\d{1,2}):(\d{2})(:\d{2}(\.0*)?)?", clock.strip() or "00:00")
    if day is None or match is None or int(match[1]) > 23 or int(match[2]) > 59:
        return None
    return dt.datetime(day.year, day.month, day.day, int(match[1]), int(match[2]))


def read_wind_hours(
    blocks: list[WindHoursBlock], paths: list[Path], convergence_deg: float, settings: Settings, book: FaultBook
) -> WindHours | None:
    """Return the hours of all files, sorted by time, None without a file.

    `convergence_deg` is by how much grid north lies clockwise of true north at the plants: a bearing from grid north
    is the true one minus this. Gaps, double hours, hours lost to summer time and hours without wind are counted and
    told.
    """
    found: FoundHours = {}
    for block, path in zip(blocks, paths, strict=True):
        turn_deg = -convergence_deg if block.north == "true" else 0.0
        with book.reading(block.file):
            if path.suffix.lower() in guard.NETCDF:
                columns = read_netcdf_hours(path, block, settings, book)
                add_hours(columns, time_zone(block.time_zone), turn_deg, found, book)
                book.rows[block.file] = int(columns.is_usable.sum())
                continue
            table = read_table(path, block.file, block, book, shapes=False)
            rows = Rows(table, block, book)
            _blank_codes(rows, block)
            add_hours(_columns_of(rows, block), time_zone(block.time_zone), turn_deg, found, book)
            rows.table = table  # rows put aside are kept with their text as it stood
            rows.finish(settings.inputs.most_rows_aside)
    return _as_hours(found, blocks[0].file, book) if found else None


def _as_hours(found: FoundHours, file: str, book: FaultBook) -> WindHours:
    """Return the list of hours as columns, and tell gaps and steps that are shorter than an hour."""
    times = sorted(found)
    table = np.array([found[time] for time in times], dtype=np.float64)
    steps = np.diff(np.array(times, dtype="datetime64[m]")).astype(np.int64)
    if len(steps) and np.median(steps) < 60:
        book.assume(file, f"rows lie {int(np.median(steps))} minutes apart", "Each was taken as an hour.")
    gaps = int(np.sum(steps[steps > 60] // 60 - 1)) if len(steps) else 0
    if gaps:
        book.assume(file, f"{gaps} hours are missing between the first and the last", "They stay missing.")
    return WindHours(
        time_utc=np.array(times, dtype="datetime64[m]"),
        wind_from_deg=table[:, 0],
        speed_m_s=table[:, 1],
        gust_m_s=table[:, 2],
        temperature_c=table[:, 3],
        rain_mm=table[:, 4],
        is_coarse=table[:, 5] > 0,
    )


def _blank_codes(rows: Rows, block: WindHoursBlock) -> None:
    """Empty the cells that hold a code for "missing": strokes, or one that the block declares."""
    given = [(code.strip().casefold(), _number(code)) for code in block.missing_codes]
    words = {code for code, value in given if value is None}
    numbers = {value for _, value in given if value is not None}
    places = {name: place for name in CODED_COLUMNS if (place := rows.where(name)) is not None}

    def is_code(cell: str, name: str) -> bool:
        if not cell:
            return False
        if not cell.strip("/") or cell.casefold() in words:
            return True
        value = _number(cell.replace(",", ".") if rows.table.decimal_comma else cell)
        # a code that could be a direction counts in the other columns alone
        return value in numbers and not (name == "wind_from_deg" and value is not None and 0 <= value <= 360)

    columns = list(rows.table.columns)
    for name, place in places.items():
        blank = MISSING if name == "wind_from_deg" else ""
        codes = {cell for cell in set(columns[place]) if is_code(cell, name)}
        columns[place] = [blank if cell in codes else cell for cell in columns[place]]
    rows.table = replace(rows.table, columns=tuple(columns))


def _number(text: str) -> float | None:
    """Return a text as a number, None if it is none."""
    try:
        return float(text)
    except ValueError:
        return None


@dataclass(frozen=True, slots=True, kw_only=True)
class _Wind:
    """Direction [deg], NaN for variable; whether it is not on record; speed and gust [m/s]."""

    wind_from_deg: FloatArray
    no_direction: BoolArray
    speed_m_s: FloatArray
    gust_m_s: FloatArray


def _columns_of(rows: Rows, block: WindHoursBlock) -> HourColumns:
    """Return the hours of a table."""
    rows.need("time")
    if rows.has("wind_group"):
        wind = _grouped(rows, block)
    elif rows.has("wind_u") or rows.has("wind_v"):
        wind = _components(rows, block)
    else:
        rows.need("wind_from_deg", "wind_group")
        rows.need("speed")
        wind = _separate(rows, block)
    warm = rows.number("temperature_c", np.nan, LEAST_TEMPERATURE_C, MOST_TEMPERATURE_C)
    rain = rows.number("rain_mm", np.nan, 0, MOST_RAIN_MM)
    local: list[dt.datetime | None] = []
    for index, cell in enumerate(rows.text("time").tolist()):
        local.append(parse_time(cell, block.date_format))
        if local[-1] is None:
            rows.bad(index, "time", shown(cell), f"a time written {block.date_format or '2026-04-01'} 13:00",
                     "Correct the cell, or declare date_format in the file's block.")  # fmt: skip
    return HourColumns(
        file=block.file,
        local=local,
        wind_from_deg=wind.wind_from_deg,
        speed_m_s=wind.speed_m_s,
        gust_m_s=wind.gust_m_s,
        temperature_c=warm,
        rain_mm=rain,
        no_direction=wind.no_direction,
        is_usable=rows.kept(),
    )


def _separate(rows: Rows, block: WindHoursBlock) -> _Wind:
    """Return the wind of a table with columns of direction and speed."""
    from_deg, missing = _directions(rows)
    return _Wind(
        wind_from_deg=from_deg,
        no_direction=missing,
        speed_m_s=_speed(rows, "speed", MOST_SPEED_M_S, block),
        gust_m_s=_speed(rows, "gust", MOST_GUST_M_S, block),
    )


def _speed(rows: Rows, name: str, most_m_s: float, block: WindHoursBlock, least_m_s: float = 0.0) -> FloatArray:
    """Return a column of speeds [m/s], NaN where there is none."""
    factor = TO_METRES_PER_SECOND[block.speed_unit]
    return rows.number(name, np.nan, least_m_s / factor, most_m_s / factor) * factor


def _directions(rows: Rows) -> tuple[FloatArray, BoolArray]:
    """Return the directions as given, NaN for variable, and which are not on record."""
    values, missing, coded = np.full(len(rows), np.nan), np.zeros(len(rows), dtype=np.bool_), 0
    for index, cell in enumerate(rows.text("wind_from_deg").tolist()):
        if cell == MISSING:
            missing[index] = True
        if cell == MISSING or cell.casefold() in VARIABLE:
            continue
        value = _number(cell.replace(",", ".") if rows.table.decimal_comma else cell)
        if value == VARIABLE_NUMBER:
            coded += 1
        elif value is None or not 0 <= value <= 360:
            rows.bad(index, "wind_from_deg", shown(cell), "0 to 360, or VRB",
                     "Correct the cell, or declare the code of missing values under missing_codes.")  # fmt: skip
        else:
            values[index] = value
    if coded:
        rows.book.assume(rows.table.file, f"{coded} hours have direction 990", "They were taken as variable.")
    return values, missing


def _components(rows: Rows, block: WindHoursBlock) -> _Wind:
    """Return the wind of a table with columns of parts toward east and north."""
    rows.need("wind_u")
    rows.need("wind_v")
    u, v = (_speed(rows, name, MOST_SPEED_M_S, block, -MOST_SPEED_M_S) for name in ("wind_u", "wind_v"))
    return _Wind(
        wind_from_deg=components_to_from_deg(u, v),
        no_direction=np.zeros(len(rows), dtype=np.bool_),
        speed_m_s=np.hypot(u, v),
        gust_m_s=_speed(rows, "gust", MOST_GUST_M_S, block),
    )


def _grouped(rows: Rows, block: WindHoursBlock) -> _Wind:
    """Return the wind of a table that has whole wind groups in one column."""
    table = np.full((len(rows), 3), np.nan)
    missing = np.zeros(len(rows), dtype=np.bool_)
    factor = TO_METRES_PER_SECOND[block.speed_unit]
    for index, cell in enumerate(rows.text("wind_group").tolist()):
        if not cell.strip("/"):
            missing[index] = True
            continue
        group = parse_wind_group(cell)
        if group is None:
            rows.bad(index, "wind_group", shown(cell), "a wind group such as 24015G25KT, VRB03KT, 00000KT, /////KT",
                     "Correct the cell.")  # fmt: skip
        elif group.unit != block.speed_unit:
            rows.bad(index, "wind_group", f"{shown(cell)} is in {group.unit}", f"{block.speed_unit}, as declared",
                     "Correct speed_unit in the file's block.")  # fmt: skip
        elif group.speed * factor > MOST_SPEED_M_S or group.gust * factor > MOST_GUST_M_S:
            rows.bad(index, "wind_group", shown(cell), f"speeds up to {MOST_SPEED_M_S / factor:.0f} {group.unit}",
                     "Correct the cell.")  # fmt: skip
        else:
            table[index] = group.wind_from_deg, group.speed, group.gust
            missing[index] = group.is_missing
    return _Wind(
        wind_from_deg=table[:, 0],
        no_direction=missing,
        speed_m_s=table[:, 1] * factor,
        gust_m_s=table[:, 2] * factor,
    )
