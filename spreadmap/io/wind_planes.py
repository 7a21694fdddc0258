"""Wind of one raster file as planes on the file's own grid, whatever its format; before any resampling."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from affine import Affine
from pyproj import CRS

from spreadmap.dispersal.bearings import from_deg_to_components
from spreadmap.errors import RasterError
from spreadmap.io.hour_columns import TO_METRES_PER_SECOND
from spreadmap.values.arrays import FloatArray

MOST_MEAN_M_S = 30.0
"""No place has a monthly mean wind above this [m/s]: the windiest known at sea level stay below 25 (from memory)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class WindPlanes:
    """Mean wind toward east and north, (periods, rows, cols) [m/s], NaN where there is none.

    `transform` leads from column and row to the CRS's own coordinates; `months` holds 1 to 12 for each period, or 0 for
    the whole season; `north` says from which north the components count: true, or the grid's own.
    """

    crs: CRS
    transform: Affine
    months: tuple[int, ...]
    u: FloatArray
    v: FloatArray
    speed: FloatArray | None
    north: Literal["true", "grid"]

    @property
    def height(self) -> int:
        """Return the number of rows."""
        return int(self.u.shape[1])

    @property
    def width(self) -> int:
        """Return the number of columns."""
        return int(self.u.shape[2])

    @property
    def count(self) -> int:
        """Return the number of planes."""
        return len(self.months) * (2 if self.speed is None else 3)

    def stacks(self) -> list[FloatArray]:
        """Return what is resampled: u, v, and the mean scalar speed if there is one."""
        return [self.u, self.v] if self.speed is None else [self.u, self.v, self.speed]


def _check_speeds(planes: dict[str, FloatArray], unit: str) -> None:
    """Refuse planes that hold no mean wind: too fast, or a direction outside the circle.

    A raster of directions taken for components has parts of up to 360 and is caught here.
    """
    most = MOST_MEAN_M_S / TO_METRES_PER_SECOND[unit]
    for name, plane in planes.items():
        known = plane[np.isfinite(plane)]
        low, high = (0.0, 360.0) if name == "direction" else (0.0 if name == "speed" else -most, most)
        wrong = known[(known < low) | (known > high)]
        if len(wrong):
            msg = (
                f"holds {name} = {wrong[0]:g}, and {len(wrong)} of {known.size} values outside {low:g} to {high:g}"
                f"{'' if name == 'direction' else ' ' + unit}; allowed: a mean wind. Correct components or speed_unit in "
                "its block, or declare what marks a missing value"
            )
            raise RasterError(msg)


def as_components(planes: dict[str, FloatArray], unit: str) -> tuple[FloatArray, FloatArray, FloatArray | None]:
    """Return wind toward east and north, and mean scalar speed if there is one [m/s], from planes by component.

    Directions (the wind comes from) become components here, before any resampling: the mean of 350 and 10 degrees is
    not 180. `unit` is that of all speeds.
    """
    factor = TO_METRES_PER_SECOND[unit]
    _check_speeds(planes, unit)
    if "u" in planes and "v" in planes:
        speed = planes["speed"] * factor if "speed" in planes else None
        return planes["u"] * factor, planes["v"] * factor, speed
    if "direction" in planes and "speed" in planes:
        return *from_deg_to_components(planes["direction"], planes["speed"] * factor), None
    msg = (
        f"has components {', '.join(planes)}; allowed: u and v, or direction and speed. Correct components in its block"
    )
    raise RasterError(msg)
