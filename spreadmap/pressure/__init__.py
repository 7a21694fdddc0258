"""Infection pressure at points and on grids: two functions are the only door; a third keeps the geometry for a fit."""

from spreadmap.pressure.kept_geometry import KeptGeometry
from spreadmap.pressure.sums import GridPressure, PointPressure, pressure_at_points, pressure_on_grid

__all__ = ["GridPressure", "KeptGeometry", "PointPressure", "pressure_at_points", "pressure_on_grid"]
