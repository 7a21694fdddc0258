"""Infection pressure at points and on grids: the two functions that everything else calls."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from spreadmap.dispersal.spread import Spread
from spreadmap.engine import Engine
from spreadmap.pressure.checks import check_numbers, check_places, refuse_memory
from spreadmap.pressure.exact import RELATIVE_ERROR_BOUND, exact_at_points, exact_on_grid
from spreadmap.pressure.fast import fast_grid, fast_points
from spreadmap.pressure.grid_field import NOISE
from spreadmap.pressure.probes import worst_at_probes, worst_receptor
from spreadmap.pressure.strands import law_at
from spreadmap.pressure.trial import FAINTEST
from spreadmap.values.arrays import FloatArray
from spreadmap.values.grid import Grid
from spreadmap.values.inventory import Receptors, ScreenSegments, Sources
from spreadmap.values.settings import PressureSettings

NO_SCREENS = ScreenSegments(ends=np.zeros((0, 4)), factor=np.zeros(0))
DEFAULT = PressureSettings()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PointPressure:
    """Sums at points: `density` (receptors,) [m^-2]; `sent` (sources,) weight times density, None if not asked.

    `method` is exact or fast, `why` says what made it so; `checked` is the largest relative error that was found at
    probes, None if not asked or not fast.
    """

    density: FloatArray
    sent: FloatArray | None
    error_bound: float
    method: str = "exact"
    why: str = ""
    checked: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class GridPressure:
    """Sums on a grid: `values` (n_rows, n_cols), the mean density over each cell [m^-2].

    `method` is exact or fast, `why` says what made it so; `checked` is the largest relative error that was found at
    probes, None if not asked or not fast.
    """

    values: FloatArray
    error_bound: float
    method: str = "exact"
    why: str = ""
    checked: float | None = None


def pressure_at_points(
    receptors: Receptors,
    sources: Sources,
    spread: Spread,
    engine: Engine,
    *,
    screens: ScreenSegments | None = None,
    receptor_weight: FloatArray | None = None,
    settings: PressureSettings = DEFAULT,
) -> PointPressure:
    """Return the density of arrivals at receptors, averaged over their canopy discs.

    Parameters
    ----------
    receptors : Receptors, n of them
    sources : Sources
        A receptor and a source that are the same plant are left out of each other's sum.
    spread : Spread
        Kernel and wind, or strands of them; the wind at the source governs.
    engine : Engine
    screens : ScreenSegments, optional
        Arrivals whose straight path crosses a piece are multiplied by its factor.
    receptor_weight : array, shape (n,), optional
        With it, `sent` says what each source sends: sum over receptors of weight times density. [-]
    settings : PressureSettings, optional
        The error allowed, whether pairs are summed or not, and whether to check.

    Returns
    -------
    PointPressure

    Raises
    ------
    InputError
        If a position, radius or weight is not finite, or a radius is below zero.
    """
    check_places("receptor", receptors.easting, receptors.northing)
    check_places("source", sources.easting, sources.northing)
    check_numbers("canopy radii", receptors.radius_m, len(receptors), 0.0)
    weighted = receptor_weight is not None
    weight = np.zeros(0) if receptor_weight is None else np.array(receptor_weight, dtype=np.float64)
    if weighted:
        check_numbers("receptor weights", weight, len(receptors))
    if len(receptors) == 0 or len(sources) == 0:
        sent = np.zeros(len(sources)) if weighted else None
        return PointPressure(density=np.zeros(len(receptors)), sent=sent, error_bound=0.0, why="nothing to sum")
    law, pieces = law_at(spread, sources), screens or NO_SCREENS
    sums, why, bound = fast_points(receptors, sources, law, engine, settings, weight, pieces)
    if sums is not None and sums.noise * NOISE <= FAINTEST * settings.rtol * float(sums.density.max()):
        checked = None
        if settings.check:
            checked = worst_receptor(sums.density, receptors, sources, law, engine, settings.probes, pieces)
        return PointPressure(
            density=sums.density, sent=sums.sent if weighted else None, error_bound=bound, method="fast", why=why,
            checked=checked,
        )  # fmt: skip
    density, sent = exact_at_points(receptors, sources, law, engine, pieces, weight)
    return PointPressure(density=density, sent=sent if weighted else None, error_bound=RELATIVE_ERROR_BOUND, why=why)


def pressure_on_grid(
    grid: Grid,
    sources: Sources,
    spread: Spread,
    engine: Engine,
    *,
    screens: ScreenSegments | None = None,
    settings: PressureSettings = DEFAULT,
    dtype: Any = np.float64,
) -> GridPressure:
    """Return the mean density of arrivals over every cell of a grid.

    Parameters
    ----------
    grid : Grid
    sources : Sources
    spread : Spread
        Kernel and wind, or strands of them; the wind at the source governs.
    engine : Engine
    screens : ScreenSegments, optional
        Arrivals in a cell whose middle is reached across a piece are multiplied by its factor.
    settings : PressureSettings, optional
        The error allowed, whether pairs are summed or not, and whether to check.
    dtype : float64 or float32
        Of the values; sums are made in double precision either way.

    Returns
    -------
    GridPressure
        Never negative; the sum of values times the cell's area is the mass that lands on the grid.

    Raises
    ------
    InputError
        If a position is not finite, or more memory is needed than is allowed.
    """
    check_places("source", sources.easting, sources.northing)
    refuse_memory(
        f"a grid of {grid.n_rows} x {grid.n_cols} cells", np.dtype(dtype).itemsize * float(grid.n_rows) * grid.n_cols,
        settings.most_memory_gb, "Take wider cells, a smaller region, or write it tile by tile.",
    )  # fmt: skip
    if len(sources) == 0 or not (sources.strength > 0).any():
        return GridPressure(values=np.zeros(grid.shape, dtype=dtype), error_bound=0.0, why="nothing to sum")
    law, pieces = law_at(spread, sources), screens or NO_SCREENS
    field, why = fast_grid(grid, sources, law, engine, settings, pieces)
    if field is not None:
        values = np.empty(grid.shape, dtype=dtype)
        top = field.fill(values, engine)
        if field.noise <= FAINTEST * settings.rtol * top:
            checked = None
            if settings.check:
                checked = worst_at_probes(values, grid, sources, law, engine, settings.probes, pieces)
            return GridPressure(values=values, error_bound=field.error_bound, method="fast", why=why, checked=checked)
        why = "far from the sources a mesh would leave nothing but rounding"
    exact = exact_on_grid(grid, sources, law, engine, pieces)
    return GridPressure(values=exact.astype(dtype, copy=False), error_bound=RELATIVE_ERROR_BOUND, why=why)
