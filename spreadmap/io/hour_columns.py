"""Hours of one wind file, whatever its format, put on the one list of hours in UTC."""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import dataclass
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import numpy as np

from spreadmap.errors import SettingsError
from spreadmap.io.faults import FaultBook, shown
from spreadmap.values.arrays import BoolArray, FloatArray

TO_METRES_PER_SECOND = {"m/s": 1.0, "km/h": 1 / 3.6, "mph": 0.44704, "knots": 1852 / 3600}
MOST_SPEED_M_S = 120.0
MOST_GUST_M_S = 240.0
LEAST_TEMPERATURE_C, MOST_TEMPERATURE_C = -90.0, 60.0
MOST_RAIN_MM = 500.0
FEWEST_FOR_COARSE = 20
"""Known directions below which whole tens may be chance."""

FoundHours = dict[dt.datetime, tuple[float, ...]]
"""UTC to direction, speed, gust, temperature, rain, and whether directions are whole tens."""


@dataclass(frozen=True, slots=True, kw_only=True)
class HourColumns:
    """The hours of one file: beginnings on the file's clock, and columns of one length [deg, m/s, deg C, mm].

    `local` holds None where there is no time. `is_usable` is False where a row was put aside. A direction of NaN with a
    speed is variable; `no_direction` marks hours whose direction is not on record, which have no wind then.
    """

    file: str
    local: list[dt.datetime | None]
    wind_from_deg: FloatArray
    speed_m_s: FloatArray
    gust_m_s: FloatArray
    temperature_c: FloatArray
    rain_mm: FloatArray
    no_direction: BoolArray
    is_usable: BoolArray


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


def is_doubled(local: dt.datetime, zone: dt.tzinfo) -> bool:
    """Return whether a clock shows this time twice, because summer time ends."""
    first, second = (local.replace(tzinfo=zone, fold=fold).utcoffset() for fold in (0, 1))
    return first is not None and second is not None and first > second


def whole_tens(wind_from_deg: FloatArray) -> bool:
    """Return whether directions are whole tens all through: then each was rounded to its ten degrees."""
    known = wind_from_deg[np.isfinite(wind_from_deg)]
    return bool(len(known) >= FEWEST_FOR_COARSE and np.all(known % 10 == 0))


def add_hours(columns: HourColumns, zone: dt.tzinfo, turn_deg: float, found: FoundHours, book: FaultBook) -> None:
    """Put the hours of one file on the list; double, lost and twice shown hours are counted and told.

    `turn_deg` is what is added to directions as given, so that they count from grid north.
    """
    is_coarse = float(whole_tens(columns.wind_from_deg))
    direction = np.mod(columns.wind_from_deg + turn_deg, 360.0)
    # a calm hour is reported as direction 000 with speed 0: it has no direction
    direction[columns.speed_m_s == 0] = np.nan
    speed = np.where(columns.no_direction, np.nan, columns.speed_m_s)
    double = lost = twice_shown = unknown = 0
    taken = set(found)
    for index, local in enumerate(columns.local):
        if local is None:
            continue
        moment = to_utc(local, zone, taken)
        if moment is None:
            lost += 1
        elif moment in found:
            double += 1
        elif columns.is_usable[index]:
            found[moment] = (
                direction[index], speed[index], columns.gust_m_s[index], columns.temperature_c[index],
                columns.rain_mm[index], is_coarse,
            )  # fmt: skip
            taken.add(moment)
            twice_shown += is_doubled(local, zone)
            unknown += not np.isfinite(speed[index])
    _tell(columns.file, book, unknown=unknown, twice_shown=twice_shown, double=double, lost=lost)


def _tell(file: str, book: FaultBook, *, unknown: int, twice_shown: int, double: int, lost: int) -> None:
    """Write down what was counted."""
    if unknown:
        book.assume(file, f"{unknown} hours have no wind on record", "They are no hours of flight.")
    if twice_shown:
        book.assume(file, f"{twice_shown} hours lie where that clock goes back",
                    "The row that comes first was taken as summer time.")  # fmt: skip
    if double:
        book.assume(file, f"{double} hours come twice", "The first row of each was taken.")
    if lost:
        book.assume(file, f"{lost} hours do not exist on that clock (summer time begins)",
                    "They were left out.")  # fmt: skip
