"""Hourly wind: times to UTC, speeds to metres per second, directions to grid north."""

from __future__ import annotations

import datetime as dt
import re
from pathlib import Path
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import numpy as np

from spreadmap.errors import InputError, SettingsError
from spreadmap.io.faults import FaultBook, shown
from spreadmap.io.project_file import WindHoursBlock
from spreadmap.io.read_rows import Rows, parse_day
from spreadmap.io.read_tables import read_table
from spreadmap.values.arrays import FloatArray
from spreadmap.values.settings import Settings
from spreadmap.values.wind import WindHours

TO_METRES_PER_SECOND = {"m/s": 1.0, "km/h": 1 / 3.6, "mph": 0.44704, "knots": 1852 / 3600}
MOST_SPEED_M_S = 120.0
VARIABLE = ("vrb", "variable", "")


def time_zone(text: str) -> dt.tzinfo:
    """Return a time zone from a place of the time-zone list, "UTC", or an offset such as "+01:00"."""
    match = re.fullmatch(r"([+-])(\d{2}):(\d{2})", text.strip())
    if match:
        sign = 1 if match[1] == "+" else -1
        return dt.timezone(sign * dt.timedelta(hours=int(match[2]), minutes=int(match[3])))
    try:
        return ZoneInfo(text.strip())
    except (ZoneInfoNotFoundError, ValueError, IsADirectoryError) as error:
        msg = (
            f"time_zone {shown(text)} is not known; allowed: for example 'America/Chicago', 'UTC', '+01:00'. Correct it"
        )
        raise SettingsError(msg) from error


def to_utc(local: dt.datetime, zone: dt.tzinfo, taken: set[dt.datetime]) -> dt.datetime | None:
    """Return UTC of a wall clock; of the doubled hour in autumn the first is taken first; None in the lost hour."""
    for fold in (0, 1):
        moment = local.replace(tzinfo=zone, fold=fold).astimezone(dt.UTC).replace(tzinfo=None)
        back = moment.replace(tzinfo=dt.UTC).astimezone(zone).replace(tzinfo=None)
        if back == local and moment not in taken:
            return moment
    first = local.replace(tzinfo=zone).astimezone(dt.UTC)
    lost = first.astimezone(zone).replace(tzinfo=None) != local
    return None if lost else first.replace(tzinfo=None)


def parse_time(cell: str, date_format: str = "") -> dt.datetime | None:
    """Return the wall-clock time in a cell, None if there is none; a date alone is its midnight."""
    day_text, _, clock = cell.strip().replace("T", " ", 1).partition(" ")
    day = parse_day(day_text, date_format)
    match = re.fullmatch(r"(\d{1,2}):(\d{2})(:\d{2}(\.0*)?)?", clock.strip() or "00:00")
    if day is None or match is None or int(match[1]) > 23 or int(match[2]) > 59:
        return None
    return dt.datetime(day.year, day.month, day.day, int(match[1]), int(match[2]))


def is_doubled(local: dt.datetime, zone: dt.tzinfo) -> bool:
    """Return whether a clock shows this time twice, because summer time ends."""
    first, second = (local.replace(tzinfo=zone, fold=fold).utcoffset() for fold in (0, 1))
    return first is not None and second is not None and first > second


def read_wind_hours(
    blocks: list[WindHoursBlock], paths: list[Path], convergence_deg: float, settings: Settings, book: FaultBook
) -> WindHours | None:
    """Return the hours of all files, sorted by time, None without a file.

    `convergence_deg` is by how much grid north lies clockwise of true north at the plants: a bearing from grid north
    is the true one minus this. Gaps, double hours and hours lost to summer time are counted and told.
    """
    found: dict[dt.datetime, tuple[float, ...]] = {}
    for block, path in zip(blocks, paths, strict=True):
        if path.suffix.lower() == ".nc":
            with book.reading(block.file):
                msg = "is NetCDF, which this version reads for no hourly record. Export the hours as .csv"
                raise InputError(msg)
            continue
        with book.reading(block.file):
            rows = Rows(read_table(path, block.file, block, book, shapes=False), block, book)
            _read_file(rows, block, -convergence_deg if block.north == "true" else 0.0, found)
            rows.finish(settings.inputs.most_rows_aside)
    if not found:
        return None
    times = sorted(found)
    table = np.array([found[time] for time in times], dtype=np.float64)
    steps = np.diff(np.array(times, dtype="datetime64[m]")).astype(np.int64)
    if len(steps) and np.median(steps) < 60:
        book.assume(blocks[0].file, f"rows lie {int(np.median(steps))} minutes apart", "Each was taken as an hour.")
    gaps = int(np.sum(steps[steps > 60] // 60 - 1)) if len(steps) else 0
    if gaps:
        book.assume(blocks[0].file, f"{gaps} hours are missing between the first and the last", "They stay missing.")
    return WindHours(
        time_utc=np.array(times, dtype="datetime64[m]"),
        wind_from_deg=table[:, 0],
        speed_m_s=table[:, 1],
        gust_m_s=table[:, 2],
        temperature_c=table[:, 3],
        rain_mm=table[:, 4],
        is_coarse=table[:, 5] > 0,
    )


def _directions(rows: Rows) -> FloatArray:
    """Return the directions as given, NaN for variable."""
    values = np.full(len(rows), np.nan)
    for index, cell in enumerate(rows.text("wind_from_deg").tolist()):
        if cell.casefold() in VARIABLE:
            continue
        given = cell.replace(",", ".") if rows.table.decimal_comma else cell
        try:
            value = float(given)
        except ValueError:
            value = -1.0
        if not 0 <= value <= 360:
            rows.bad(index, "wind_from_deg", shown(cell), "0 to 360, or VRB", "Correct the cell.")
            continue
        values[index] = value
    return values


def _read_file(rows: Rows, block: WindHoursBlock, turn_deg: float, found: dict[dt.datetime, tuple[float, ...]]) -> None:
    """Add the hours of one file."""
    for name in ("time", "wind_from_deg", "speed"):
        rows.need(name)
    zone, factor = time_zone(block.time_zone), TO_METRES_PER_SECOND[block.speed_unit]
    given = _directions(rows)
    known = given[np.isfinite(given)]
    # whole tens all through mean that each direction was rounded to its ten degrees
    is_coarse = bool(len(known) >= 20 and np.all(known % 10 == 0))
    from_deg = np.mod(given + turn_deg, 360.0)
    most = MOST_SPEED_M_S / factor
    speed, gust = rows.number("speed", np.nan, 0, most) * factor, rows.number("gust", np.nan, 0, 2 * most) * factor
    warm, rain = rows.number("temperature_c", np.nan, -90, 60), rows.number("rain_mm", np.nan, 0, 500)
    double = lost = twice_shown = 0
    taken = set(found)
    for index, cell in enumerate(rows.text("time").tolist()):
        local = parse_time(cell, block.date_format)
        if local is None:
            rows.bad(index, "time", shown(cell), f"a time written {block.date_format or '2026-04-01'} 13:00",
                     "Correct the cell, or declare date_format in the file's block.")  # fmt: skip
            continue
        moment = to_utc(local, zone, taken)
        if moment is None:
            lost += 1
        elif moment in found:
            double += 1
        elif not rows.is_bad(index):
            # a calm hour is reported as direction 000 with speed 0: it has no direction
            direction = np.nan if speed[index] == 0 else from_deg[index]
            found[moment] = (direction, speed[index], gust[index], warm[index], rain[index], float(is_coarse))
            taken.add(moment)
            twice_shown += is_doubled(local, zone)
    if twice_shown:
        rows.book.assume(rows.table.file, f"{twice_shown} hours lie where that clock goes back",
                         "The row that comes first was taken as summer time.")  # fmt: skip
    if double:
        rows.book.assume(rows.table.file, f"{double} hours come twice", "The first row of each was taken.")
    if lost:
        rows.book.assume(rows.table.file, f"{lost} hours do not exist on that clock (summer time begins)",
                         "They were left out.")  # fmt: skip
