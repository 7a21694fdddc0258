"""The public layer: blocks of 50 m instead of plants; no owner, note, key or private ground."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import shapely

from spreadmap.io.layers import Layer, face_columns, make_layer, pressure_classes
from spreadmap.io.short_names import BLOCKS, NOT_ASSESSED, Kind
from spreadmap.io.styles import USUAL
from spreadmap.io.web_geometry import in_degrees
from spreadmap.io.write_layers import own_folder, write_layers
from spreadmap.io.write_vector import write_geojson
from spreadmap.values.arrays import BoolArray, IntArray, empty_text, no_dates
from spreadmap.values.delivery_settings import DeliverySettings
from spreadmap.values.grid import Grid, Surface
from spreadmap.values.project import ProjectInputs
from spreadmap.values.results import SystemResult
from spreadmap.values.words import Status

BLOCK_M = 50.0
BANDS = ((1, "none"), (5, "1-4"), (20, "5-19"))
MOST_BAND = "20+"
FEWEST_HOSTS = 5
"""Blocks with fewer host plants do not say how many are confirmed: it would tell of single plants; our choice."""
NOT_STATED = "not stated"


def band(count: int) -> str:
    """Return a count of confirmed plants as a word that tells little of a single plant."""
    return next((word for below, word in BANDS if count < below), MOST_BAND)


def on_public_ground(inputs: ProjectInputs) -> BoolArray:
    """Return which plants may be counted for everyone: neither of a private site by key, nor inside one; shape (n,)."""
    inventory, sites = inputs.inventory, inputs.sites
    private = set(sites.site_id[sites.is_private].tolist())
    public = np.array([key not in private for key in inventory.site_id], dtype=bool)
    for row in np.flatnonzero(sites.is_private):
        shape = sites.geometry[int(row)]
        shapely.prepare(shape)
        public &= ~shapely.intersects_xy(shape, inventory.easting, inventory.northing)
    return public


def block_layer(systems: Sequence[SystemResult], inputs: ProjectInputs) -> Layer:
    """Return one square per block with standing host plants on public ground, per pest system.

    Blocks lie on whole multiples of 50 m of the working CRS, so that they are the same in every delivery.
    """
    public = on_public_ground(inputs)
    inventory = inputs.inventory
    place = np.floor(np.c_[inventory.northing, inventory.easting] / BLOCK_M).astype(np.int64)
    parts: list[dict[str, Any]] = []
    corners: list[npt.NDArray[np.float64]] = []
    for system in systems:
        counted = public & system.state.is_host & system.state.is_standing
        blocks, number = np.unique(place[counted], axis=0, return_inverse=True)
        corners.append(blocks[:, ::-1] * BLOCK_M)
        columns = _counts(number.reshape(-1), len(blocks), counted, system)
        columns["block"] = [f"E{west:.0f} N{south:.0f}" for west, south in corners[-1].tolist()]
        face = face_columns(system.pressure_face, system.triage.system.key)
        parts.append(columns | {name: np.full(len(blocks), value) for name, value in face.items()})
    south_west = np.concatenate(corners) if corners else np.empty((0, 2))
    squares = np.asarray(shapely.box(*south_west.T, *(south_west + BLOCK_M).T), dtype=object)
    return make_layer("blocks", inputs.crs, squares, _joined(parts))


def _counts(number: IntArray, blocks: int, counted: BoolArray, system: SystemResult) -> dict[str, Any]:
    """Return the counts of each block; `number` (plants counted,) says in which block each counted plant stands."""
    pressure = system.hidden.relative_exposure[counted]
    known = np.isfinite(pressure)
    infected = (system.state.status[counted] == Status.INFECTED.value).astype(bool)
    assessed = np.bincount(number[known], minlength=blocks)
    total = np.bincount(number[known], weights=pressure[known], minlength=blocks)
    mean = total / np.maximum(assessed, 1)
    hosts = np.bincount(number, minlength=blocks)
    return {
        "host_plants": hosts,
        "confirmed": [
            band(int(count)) if plants >= FEWEST_HOSTS else NOT_STATED
            for count, plants in zip(np.bincount(number[infected], minlength=blocks), hosts, strict=True)
        ],
        "pressure_class": np.where(assessed > 0, pressure_classes(mean, system.breaks), NOT_ASSESSED),
    }


def _joined(parts: list[dict[str, Any]]) -> dict[str, Any]:
    """Return the columns of all systems one below the other."""
    names = [column.name for column in BLOCKS if not column.name.endswith("_text")]
    if not parts:
        days = {column.name for column in BLOCKS if column.kind is Kind.DATE}
        return {name: no_dates(0) if name in days else empty_text(0) for name in names}
    return {name: np.concatenate([np.asarray(part[name]) for part in parts]) for name in names}


def block_surface(surface: Surface, inputs: ProjectInputs) -> Surface:
    """Return the mean of a surface over blocks of 50 m, for a public map; the grid is the smallest that holds it.

    Blocks that touch private ground, or hold a plant that may not be counted for everyone, have no value.
    """
    grid = surface.grid
    west, east, south, north = grid.region
    left, top = np.floor(west / BLOCK_M) * BLOCK_M, np.ceil(north / BLOCK_M) * BLOCK_M
    coarse = Grid(
        west=float(left),
        north=float(top),
        cell_m=BLOCK_M,
        n_rows=int(np.ceil((top - south) / BLOCK_M)),
        n_cols=int(np.ceil((east - left) / BLOCK_M)),
    )
    row = np.floor((top - grid.northing) / BLOCK_M).astype(np.int64)
    col = np.floor((grid.easting - left) / BLOCK_M).astype(np.int64)
    place = (row[:, None] * coarse.n_cols + col[None, :]).ravel()
    values = surface.values.ravel()
    known = np.isfinite(values)
    cells = coarse.n_rows * coarse.n_cols
    total = np.bincount(place[known], weights=values[known], minlength=cells)
    count = np.bincount(place[known], minlength=cells)
    mean = np.divide(total, count, out=np.full(cells, np.nan), where=count > 0)
    values = mean.reshape(coarse.shape)
    values[_is_private(coarse, inputs)] = np.nan
    return Surface(grid=coarse, values=values)


def _is_private(grid: Grid, inputs: ProjectInputs) -> BoolArray:
    """Return which blocks touch a private site or hold one of its plants, (n_rows, n_cols)."""
    hidden = np.zeros(grid.shape, dtype=np.bool_)
    west, north = np.meshgrid(grid.easting - BLOCK_M / 2, grid.northing + BLOCK_M / 2)
    blocks = shapely.box(west, north - BLOCK_M, west + BLOCK_M, north)
    for row in np.flatnonzero(inputs.sites.is_private):
        shape = inputs.sites.geometry[int(row)]
        shapely.prepare(shape)
        hidden |= shapely.intersects(shape, blocks)
    private = ~on_public_ground(inputs)
    rows = np.floor((grid.north - inputs.inventory.northing[private]) / BLOCK_M).astype(np.int64)
    cols = np.floor((inputs.inventory.easting[private] - grid.west) / BLOCK_M).astype(np.int64)
    inside = (rows >= 0) & (rows < grid.n_rows) & (cols >= 0) & (cols < grid.n_cols)
    hidden[rows[inside], cols[inside]] = True
    return hidden


def write_public(folder: Path, layer: Layer, as_of: dt.date, settings: DeliverySettings = USUAL) -> tuple[Path, ...]:
    """Write the blocks in the formats of the desk's profile, and as GeoJSON in any case; `folder` exists."""
    written = write_layers(folder, [layer], "blocks", settings, as_of, lambda _: None)
    paths = [path for each in written for path in each.paths]
    path = own_folder(folder, "geojson", "blocks.geojson")
    return (*paths, write_geojson(path, layer, in_degrees(layer.geometry, layer.crs)))
