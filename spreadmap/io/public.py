"""The public layer: blocks of 50 m instead of plants; no owner, note, key or private ground."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import shapely

from spreadmap.io.layers import Layer, face_columns, make_layer, pressure_classes
from spreadmap.io.short_names import NOT_ASSESSED
from spreadmap.io.styles import qml_of_layer, sld_of_layer
from spreadmap.io.web_geometry import in_degrees
from spreadmap.io.write_vector import write_geojson, write_geopackage, write_shapefile
from spreadmap.values.arrays import BoolArray
from spreadmap.values.grid import Grid, Surface
from spreadmap.values.project import ProjectInputs
from spreadmap.values.results import Face, SystemResult
from spreadmap.values.words import Status

BLOCK_M = 50.0
BANDS = ((1, "none"), (5, "1-4"), (20, "5-19"))
MOST_BAND = "20+"


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
    rows: list[dict[str, object]] = []
    shapes: list[shapely.Geometry] = []
    faces: list[tuple[Face, str]] = []
    public = on_public_ground(inputs)
    inventory = inputs.inventory
    col = np.floor(inventory.easting / BLOCK_M).astype(np.int64)
    row = np.floor(inventory.northing / BLOCK_M).astype(np.int64)
    for system in systems:
        counted = public & system.state.is_host & system.state.is_standing
        pressure = system.hidden.relative_exposure
        blocks = np.unique(np.c_[row[counted], col[counted]], axis=0)
        for block_row, block_col in blocks.tolist():
            inside = counted & (row == block_row) & (col == block_col)
            known = inside & np.isfinite(pressure)
            mean = pressure[known].mean() if known.any() else np.nan
            level = int(pressure_classes(np.array([mean]), system.breaks)[0]) if known.any() else NOT_ASSESSED
            west, south = block_col * BLOCK_M, block_row * BLOCK_M
            rows.append(
                {
                    "block": f"E{west:.0f} N{south:.0f}",
                    "host_plants": int(inside.sum()),
                    "confirmed": band(int((inside & (system.state.status == Status.INFECTED.value)).sum())),
                    "pressure_class": level,
                }
            )
            shapes.append(shapely.box(west, south, west + BLOCK_M, south + BLOCK_M))
            faces.append((system.face, system.triage.system.key))
    geometry = np.empty(len(shapes), dtype=object)
    geometry[:] = shapes
    return make_layer("blocks", inputs.crs, geometry, _block_columns(rows, faces))


def _block_columns(rows: list[dict[str, object]], faces: list[tuple[Face, str]]) -> dict[str, object]:
    """Return the columns of the blocks, each with the face of its own system."""
    said = [face_columns(face, key) for face, key in faces]
    days = ("period_from", "period_to", "as_of", "valid_until")
    words = ("system", "quantity", "unit", "condition", "mode")
    return {
        **{name: [row[name] for row in rows] for name in ("block", "host_plants", "confirmed", "pressure_class")},
        **{name: [face[name] for face in said] for name in words},
        **{name: np.array([face[name] for face in said], dtype="datetime64[D]") for name in days},
    }


def block_surface(surface: Surface) -> Surface:
    """Return the mean of a surface over blocks of 50 m, for a public map; the grid is the smallest that holds it."""
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
    return Surface(grid=coarse, values=mean.reshape(coarse.shape))


def write_public(folder: Path, layer: Layer, as_of: dt.date) -> tuple[Path, ...]:
    """Write the blocks as Shapefile, GeoPackage and GeoJSON, with their styles; `folder` exists."""
    parts, _ = write_shapefile(folder, layer, as_of)
    sld, qml = folder / "blocks.sld", folder / "blocks.qml"
    sld.write_text(sld_of_layer("blocks"), encoding="utf-8", newline="\n")
    qml.write_text(qml_of_layer("blocks", short=True), encoding="utf-8", newline="\n")
    styles = {"blocks": (qml_of_layer("blocks"), sld_of_layer("blocks", short=False))}
    package = write_geopackage(folder / "blocks.gpkg", [layer], styles, as_of)
    geojson = write_geojson(folder / "blocks.geojson", layer, in_degrees(layer.geometry, layer.crs))
    return (*parts, sld, qml, package, geojson)
