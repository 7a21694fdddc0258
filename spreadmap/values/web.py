"""What a map in a browser needs, already in its projection: rasters as pictures, shapes in longitude and latitude."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any


@dataclass(frozen=True, slots=True, kw_only=True)
class WebClass:
    """One class of a raster: its words, its limits in the raster's own unit, its colour as `#rrggbb`."""

    label: str
    low: float
    high: float
    colour: str


@dataclass(frozen=True, slots=True, kw_only=True)
class WebRaster:
    """A raster as PNG in EPSG:3857 with the edges of *that* grid in WGS 84 [deg], and its classes, lowest first.

    Cells without a value and cells of the lowest class are clear.
    """

    png: bytes
    south: float
    west: float
    north: float
    east: float
    classes: tuple[WebClass, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class WebShape:
    """One shape as a GeoJSON geometry in longitude and latitude.

    `kind` is `ring`, `ring_range`, `old_ring`, `line`, `site`, `reservoir` or `screen`. `name` is the ring's or line's
    name, or the key or name of the site, stand or screen. Rings carry their focus as `properties["focus"]`.

    `figures` are the numbers behind some of the properties, by their names: `area` [m^2] with its range, or the range
    alone; `distance` and `height` [m]; `share of arrivals` and `lets through` [-]; `inspect every` [d].
    """

    kind: str
    name: str
    geojson: dict[str, Any]
    properties: dict[str, str]
    figures: Mapping[str, tuple[float, ...]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class WebShapes:
    """Shapes that are drawn together, the lowest first."""

    shapes: tuple[WebShape, ...] = ()
