"""Tables of cell means of the near part: finely spaced next to the source, coarsely farther out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import spline_filter

from spreadmap.engine import Engine
from spreadmap.pressure.compiled_near import square_means
from spreadmap.pressure.split import far_share
from spreadmap.pressure.strands import Law
from spreadmap.pressure.tables import RadialTables
from spreadmap.values.arrays import FloatArray, IntArray

MARGIN = 6
"""Lattice nodes beyond the table that keep the spline's edge from it [-]."""
ROWS_PER_PIECE = 16


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Tier:
    """One table: `values` (q, q, size, size), flat, of splines of an `order`, 2 or 3.

    `half` (2 reach + 1,) are columns to each side, `hole` the rows and columns about the source's own that are left out.
    """

    q: int
    order: int
    size: int
    values: np.ndarray
    half: IntArray
    hole: int

    @property
    def cells(self) -> int:
        """Return how many cells one stamp of this tier fills."""
        return int((2 * self.half + 1).sum()) - (2 * self.hole + 1) ** 2 * (self.hole >= 0)


def disc_rows(reach_cells: float) -> IntArray:
    """Return, for each row of a stamp, how many columns to each side may come within reach of its source."""
    reach = int(np.ceil(reach_cells)) + 1
    away = np.maximum(np.abs(np.arange(-reach, reach + 1)) - 1.0, 0.0)
    return np.floor(np.sqrt(np.maximum(reach_cells**2 - away**2, 0.0)) + 1.0).astype(np.int64)


def square_rows(reach: int) -> IntArray:
    """Return the rows of a square stamp."""
    return np.full(2 * reach + 1, reach, dtype=np.int64)


def tier(
    law: Law, radial: tuple[RadialTables, ...], cell_m: float, cut_m: float, reach_m: float, q: int, order: int,
    half: IntArray, hole: int, engine: Engine,
) -> Tier:  # fmt: skip
    """Return the table of one tier of all strands together, `q` lattice nodes to the cell (even).

    The mean over a cell is the mean over q x q squares of the lattice, so it is exact as far as theirs are.
    """
    shift = len(half) // 2 + 2
    low = -shift * q - MARGIN
    count = (2 * shift + 1) * q + 2 * MARGIN
    squares = np.zeros((count + q - 1, count + q - 1))
    beyond = reach_m + cell_m

    def piece(first: int) -> None:
        for one, tables in zip(law, radial, strict=True):
            square_means(
                first, min(first + ROWS_PER_PIECE, len(squares)), low - q // 2, cell_m / q,
                tables.log_first, tables.step, tables.mass, tables.mass_slope, tables.bent_mass, tables.bent_slope,
                tables.log_density, one.spread.near_radius_m, one.rose, cut_m, beyond, one.share, squares,
            )  # fmt: skip

    engine.map(piece, range(0, len(squares), ROWS_PER_PIECE))
    if hole > 0:
        _empty(squares, low - q // 2, hole * q)
    means = _window(_window(squares, q).T, q).T
    smooth = np.asarray(spline_filter(means, order=order, mode="mirror"))[MARGIN:-MARGIN, MARGIN:-MARGIN]
    size = 2 * shift + 1
    by_phase = smooth.reshape(size, q, size, q).transpose(1, 3, 0, 2)
    values = np.ascontiguousarray(by_phase, dtype=np.float32).ravel()
    return Tier(q=q, order=order, size=size, values=values, half=half, hole=hole)


def _empty(squares: FloatArray, low: int, reach: int) -> None:
    """Take out smoothly, within the hole, what a finer tier stands for: splines would ring with the peak for many cells.

    Cells outside the hole reach no nearer to the source than `reach` squares.
    """
    away = np.arange(low, low + len(squares)) + 0.5
    inner = slice(-low - reach, -low + reach)
    squares[inner, inner] *= far_share(np.hypot(away[inner, None], away[None, inner]), float(reach))


def _window(values: FloatArray, q: int) -> FloatArray:
    """Return means of q neighbours along the first axis; added one by one, so that small ones keep their digits."""
    count = len(values) - q + 1
    total = values[:count].copy()
    for k in range(1, q):
        total += values[k : k + count]
    return total / q
