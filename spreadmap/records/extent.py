"""The cells of the map: round the plants, with a margin."""

from __future__ import annotations

import numpy as np

from spreadmap.values.grid import Grid
from spreadmap.values.inventory import Inventory
from spreadmap.values.settings import GridSettings


def grid_around(inventory: Inventory, settings: GridSettings) -> tuple[Grid, tuple[str, ...]]:
    """Return a grid that holds all plants with a margin, its edges on whole cells, and a sentence where it is coarser.

    One site gets finer cells. Where there would be too many cells, they double in size until they fit.
    """
    sites = set(inventory.site_id.tolist())
    cell = settings.cell_one_site_m if len(sites) == 1 and "" not in sites else settings.cell_m
    west, east = inventory.easting.min() - settings.margin_m, inventory.easting.max() + settings.margin_m
    south, north = inventory.northing.min() - settings.margin_m, inventory.northing.max() + settings.margin_m
    wanted = cell

    def on_cells(side: float) -> Grid:
        left, top = np.floor(west / side) * side, np.ceil(north / side) * side
        return Grid(
            west=float(left),
            north=float(top),
            cell_m=side,
            n_rows=max(1, int(np.ceil((top - south) / side))),
            n_cols=max(1, int(np.ceil((east - left) / side))),
        )

    while on_cells(cell).n_rows * on_cells(cell).n_cols > settings.most_cells:
        cell *= 2
    says = (
        () if cell == wanted else (f"The map has cells of {cell:g} m instead of {wanted:g} m: it would be too large.",)
    )
    return on_cells(cell), says
