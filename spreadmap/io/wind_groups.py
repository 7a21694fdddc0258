"""Wind groups of station reports, such as 24015G25KT: direction, speed, gust and unit in one word."""

from __future__ import annotations

import re
from dataclasses import dataclass

GROUP = re.compile(
    r"(?P<direction>\d{3}|VRB|///)(?P<speed>P?\d{2,3}|//)(G(?P<gust>P?\d{2,3}|//))?(?P<unit>KT|MPS|KMH)"
    r"(\s+\d{3}V\d{3})?"
)
UNITS = {"KT": "knots", "MPS": "m/s", "KMH": "km/h"}
NAN = float("nan")


@dataclass(frozen=True, slots=True, kw_only=True)
class WindGroup:
    """One group as written: `speed` and `gust` in `unit`, NaN where they are not on record.

    `wind_from_deg` is NaN for variable and for missing; `is_missing` tells them apart.
    """

    wind_from_deg: float
    speed: float
    gust: float
    unit: str
    is_missing: bool


def parse_wind_group(text: str) -> WindGroup | None:
    """Return the wind of a group, None if it is none.

    Direction is three figures from true north, VRB for variable or /// for missing; 00000 is calm; P before a speed
    means "more than" and is left away; a range of directions such as 210V270 behind it is passed over.

    References
    ----------
    WMO, Manual on Codes, WMO-No. 306, FM 15 METAR, regulation 15.5 (from memory).
    """
    match = GROUP.fullmatch(text.strip().upper())
    if match is None:
        return None
    direction = NAN if match["direction"] in ("VRB", "///") else float(match["direction"])
    if direction > 360:
        return None
    speed, gust = _speed(match["speed"]), _speed(match["gust"])
    return WindGroup(
        wind_from_deg=direction,
        speed=speed,
        gust=gust,
        unit=UNITS[match["unit"]],
        is_missing=match["direction"] == "///" or speed != speed,
    )


def _speed(text: str | None) -> float:
    """Return a speed, NaN for none."""
    return NAN if text is None or text == "//" else float(text.lstrip("P"))
