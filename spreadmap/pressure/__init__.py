"""Infection pressure at points and on grids: two functions are the only door.

A third keeps sums at points that several steps ask for, a fourth the geometry for a fit.
"""

# ruff: noqa: E402 - stale machine code goes before any is loaded
from pathlib import Path

from spreadmap.machine_code import forget_stale_code

forget_stale_code(Path(__file__).parents[1], "pressure")

from spreadmap.pressure.kept_geometry import KeptGeometry
from spreadmap.pressure.kept_sums import kept_density
from spreadmap.pressure.sums import GridPressure, PointPressure, pressure_at_points, pressure_on_grid

__all__ = ["GridPressure", "KeptGeometry", "PointPressure", "kept_density", "pressure_at_points", "pressure_on_grid"]
