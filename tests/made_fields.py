"""Scenes for the fast sums: sources on top of each other, at the edge, off the map; winds that bend."""

import numpy as np
from small_worlds import rose_toward, sources_at, spread_of

from spreadmap.dispersal.bearings import turned
from spreadmap.dispersal.spread import Spread
from spreadmap.values.grid import Grid
from spreadmap.values.settings import PressureSettings
from spreadmap.values.wind import WindClimate

EXACT, FAST = PressureSettings(method="exact"), PressureSettings(method="fast")
FAINTEST = 1e-12


def square(cells, cell_m=1.0, west=0.0, south=0.0):
    return Grid(west=west, north=south + cells * cell_m, cell_m=cell_m, n_rows=cells, n_cols=cells)


def awkward_sources(side, seed=3, count=12):
    """Return sources anywhere, two nearly on top of each other, one at the edge, one on a cell's corner, one off."""
    rng = np.random.default_rng(seed)
    places = rng.uniform(0, 1, (count, 2)) * side
    places[0], places[1] = (side / 2, side / 2), (side / 2 + 0.01, side / 2)
    places[2], places[3] = (0.0, side / 3), (-0.1 * side, side / 2)
    return sources_at(*places, strength=rng.uniform(0.5, 2, count))


def bent_wind(kernel, side, wind_influence=0.5, near_radius_m=1.0, nodes=5):
    """Return a law whose wind turns from place to place."""
    rose, axis = rose_toward(60.0), np.linspace(0, side, nodes)
    angle = 50 * np.sin(3 * axis[None, :] / side) + 40 * np.cos(2 * axis[:, None] / side)
    climate = WindClimate(
        rose=rose, basis="made for a test", sector_share=np.zeros(16), field_easting=axis,
        field_northing=axis[::-1].copy(), field=turned(rose, angle),
    )  # fmt: skip
    return Spread(kernel=kernel, climate=climate, wind_influence=wind_influence, near_radius_m=near_radius_m)


def law_in(wind, kernel, side):
    """Return a law in still air, in one wind, or in a wind that bends."""
    if wind == "bent":
        return bent_wind(kernel, side)
    return spread_of(kernel, rose_toward(60.0) if wind == "one" else None)


def worst(found, exact, faintest=FAINTEST):
    """Return the largest relative error where the exact value counts."""
    counts = exact > faintest * exact.max()
    return float(np.max(np.abs(found[counts] / exact[counts] - 1)))
