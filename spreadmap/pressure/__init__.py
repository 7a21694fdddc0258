"""Infection pressure at points and on grids: two functions are the only door."""

from spreadmap.pressure.sums import GridPressure, PointPressure, pressure_at_points, pressure_on_grid

__all__ = ["GridPressure", "PointPressure", "pressure_at_points", "pressure_on_grid"]
