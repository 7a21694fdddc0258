"""Where raster cells lie, and a surface on them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from spreadmap.errors import InputError
from spreadmap.values.arrays import FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid:
    """Square cells in the working CRS; row 0 is the northernmost; shape is (n_rows, n_cols)."""

    west: float
    north: float
    cell_m: float
    n_rows: int
    n_cols: int

    def __post_init__(self) -> None:
        """Refuse a grid without size."""
        if not (np.isfinite([self.west, self.north, self.cell_m]).all() and self.cell_m > 0):
            msg = f"a grid needs finite corners and a cell above zero, not {self}"
            raise InputError(msg)
        if self.n_rows < 1 or self.n_cols < 1:
            msg = f"a grid needs at least one row and one column, not {self.n_rows} x {self.n_cols}"
            raise InputError(msg)

    @property
    def region(self) -> tuple[float, float, float, float]:
        """Return west, east, south, north of the outer cell edges [m]."""
        east = self.west + self.n_cols * self.cell_m
        return self.west, east, self.north - self.n_rows * self.cell_m, self.north

    @property
    def shape(self) -> tuple[int, int]:
        """Return (n_rows, n_cols)."""
        return self.n_rows, self.n_cols

    @property
    def easting(self) -> FloatArray:
        """Return the eastings of the cell centres, shape (n_cols,) [m]."""
        return self.west + (np.arange(self.n_cols, dtype=np.float64) + 0.5) * self.cell_m

    @property
    def northing(self) -> FloatArray:
        """Return the northings of the cell centres from north to south, shape (n_rows,) [m]."""
        return self.north - (np.arange(self.n_rows, dtype=np.float64) + 0.5) * self.cell_m


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Surface:
    """One value per cell of a grid; NaN is "no value"."""

    grid: Grid
    values: FloatArray

    def __post_init__(self) -> None:
        """Freeze the values and check their shape."""
        values = np.array(self.values, dtype=np.float64)
        if values.shape != self.grid.shape:
            msg = f"a surface of shape {values.shape} does not fit a grid of {self.grid.shape}"
            raise ValueError(msg)
        values.setflags(write=False)
        object.__setattr__(self, "values", values)
