"""Shapes for a browser's map: simplified, in longitude and latitude."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt
import shapely
from pyproj import Transformer
from shapely.geometry import mapping
from shapely.geometry.base import BaseGeometry

from spreadmap.errors import OutputError
from spreadmap.io.layers import RECOMMENDED, clean_text
from spreadmap.values.arrays import FloatArray
from spreadmap.values.plan import Line, Ring
from spreadmap.values.project import ProjectInputs
from spreadmap.values.results import SystemResult
from spreadmap.values.web import WebShape, WebShapes

SIMPLIFY_M = 0.25
DECIMALS = 6
"""Six decimals of a degree are about a tenth of a metre."""


def in_degrees(geometry: npt.NDArray[Any], crs: str) -> npt.NDArray[np.object_]:
    """Return shapes of a CRS in longitude and latitude (WGS 84), longitude first.

    Raises
    ------
    OutputError
        If a position cannot be turned into degrees.
    """
    return turned(geometry, crs, "EPSG:4326")


def turned(geometry: npt.NDArray[Any], crs: str, to: str) -> npt.NDArray[np.object_]:
    """Return shapes of one CRS in another, east or longitude first; OutputError where a position has no place in it."""

    def turn(coordinates: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        return np.column_stack(turned_places(coordinates[:, 0], coordinates[:, 1], crs, to))

    return np.asarray(shapely.transform(np.asarray(geometry, dtype=object), turn), dtype=object)


def turned_places(
    east: npt.NDArray[Any], north: npt.NDArray[Any], crs: str, to: str = "EPSG:4326"
) -> tuple[FloatArray, FloatArray]:
    """Return places of one CRS in another, each (n,), east or longitude first; OutputError where one has no place there."""
    found = Transformer.from_crs(crs, to, always_xy=True).transform(east, north)
    if not np.isfinite(found).all():
        what = f"has no longitude and latitude in {crs}" if to == "EPSG:4326" else f"of {crs} has no place in {to}"
        msg = f"a shape {what}. Check its coordinates against the CRS of the project."
        raise OutputError(msg)
    return np.asarray(found[0], dtype=np.float64), np.asarray(found[1], dtype=np.float64)


def to_wgs84(geometry: BaseGeometry, crs: str, simplify_m: float = SIMPLIFY_M) -> dict[str, Any]:
    """Return a shape as a GeoJSON geometry, simplified in the working CRS, with six decimals."""
    simple = shapely.simplify(geometry, simplify_m, preserve_topology=True)
    (turned,) = in_degrees(np.array([simple], dtype=object), crs)
    return {key: _rounded(value) for key, value in mapping(turned).items()}


def _rounded(value: Any) -> Any:
    """Return a GeoJSON geometry with lists instead of tuples and rounded numbers."""
    if isinstance(value, dict):
        return {key: _rounded(part) for key, part in value.items()}
    if isinstance(value, list | tuple):
        return [_rounded(part) for part in value]
    return round(value, DECIMALS) if isinstance(value, float) else value


def ring_shape(ring: Ring, crs: str) -> WebShape:
    """Return a ring as a shape."""
    return WebShape(
        kind="ring",
        name=ring.name,
        geojson=to_wgs84(ring.polygon, crs),
        properties={
            "focus": str(ring.focus),
            "share of arrivals": f"{100 * ring.share:.0f} %",
            "area": f"{ring.area_m2:,.0f} m² ({ring.area_low_m2:,.0f} to {ring.area_high_m2:,.0f})",
            "plants inside": str(ring.plants_inside),
            "inspect every": f"{ring.inspect_every_days} days",
            "sites": clean_text("; ".join(ring.sites_inside)),
            "standing": RECOMMENDED,
        },
        figures={
            "share of arrivals": (ring.share,),
            "area": (ring.area_m2, ring.area_low_m2, ring.area_high_m2),
            "inspect every": (float(ring.inspect_every_days),),
        },
    )


def line_shape(line: Line, crs: str) -> WebShape:
    """Return a line of a rule of thumb as a shape."""
    return WebShape(
        kind="line",
        name=clean_text(line.name),
        geojson=to_wgs84(line.polygon, crs),
        properties={
            "distance": f"{line.distance_m:g} m",
            "advice": clean_text(line.advice),
            "source": clean_text(line.source),
            "wild stands inside": clean_text("; ".join(line.reservoirs_inside)),
        },
        figures={"distance": (line.distance_m,)},
    )


def place_shapes(inputs: ProjectInputs) -> WebShapes:
    """Return sites, wild stands and screens."""
    sites, wild, screens, crs = inputs.sites, inputs.reservoirs, inputs.screens, inputs.crs
    shapes = [
        WebShape(
            kind="site",
            name=clean_text(sites.name[row] or sites.site_id[row]),
            geojson=to_wgs84(shape, crs),
            properties={
                "site": clean_text(sites.site_id[row]),
                "owner": clean_text(sites.owner[row]),
                "access": clean_text(sites.access[row]),
                "ground": "private" if sites.is_private[row] else "public",
            },
        )
        for row, shape in enumerate(sites.geometry)
    ]
    shapes += [
        WebShape(
            kind="reservoir",
            name=clean_text(wild.reservoir_id[row]),
            geojson=to_wgs84(shape, crs),
            properties={
                "host": clean_text(wild.host[row]),
                "plants": f"{wild.plant_count[row]:,.0f}",
                "note": clean_text(wild.note[row]),
            },
        )
        for row, shape in enumerate(wild.geometry)
    ]
    shapes += [
        WebShape(
            kind="screen",
            name=clean_text(screens.screen_id[row]),
            geojson=to_wgs84(shape, crs),
            properties={
                "height": f"{screens.height_m[row]:g} m" if np.isfinite(screens.height_m[row]) else "",
                "lets through": f"{100 * screens.factor[row]:.0f} % of arrivals",
            },
            figures={"height": (float(screens.height_m[row]),), "lets through": (float(screens.factor[row]),)},
        )
        for row, shape in enumerate(screens.geometry)
    ]
    return WebShapes(shapes=tuple(shape for shape in shapes if shape.geojson.get("coordinates")))


def zone_shapes(result: SystemResult, crs: str) -> WebShapes:
    """Return the lines and rings of one pest system, the widest first."""
    lines = sorted(result.zones.lines, key=lambda line: -line.distance_m)
    shapes = [line_shape(line, crs) for line in lines if not line.polygon.is_empty]
    shapes += [ring_shape(ring, crs) for ring in reversed(result.zones.rings) if not ring.polygon.is_empty]
    return WebShapes(shapes=(*shapes, *ring_range_shapes(result, crs), *old_ring_shapes(result, crs)))


def ring_range_shapes(result: SystemResult, crs: str) -> tuple[WebShape, ...]:
    """Return the ground between the smallest and the largest inner ring of the scale run, focus by focus."""
    return tuple(
        WebShape(
            kind="ring_range",
            name=ring.name,
            geojson=to_wgs84(between, crs),
            properties={
                "focus": str(ring.focus),
                "share of arrivals": f"{100 * ring.share:.0f} %",
                "area": f"{ring.area_low_m2:,.0f} to {ring.area_high_m2:,.0f} m²",
            },
            figures={"share of arrivals": (ring.share,), "area": (ring.area_low_m2, ring.area_high_m2)},
        )
        for ring in result.zones.rings
        if ring.name == "inner" and not (between := ring.high.difference(ring.low)).is_empty
    )


def old_ring_shapes(result: SystemResult, crs: str) -> tuple[WebShape, ...]:
    """Return the rings of the newest forecast that was scored, the widest first."""
    if result.score is None or not result.score.surveys:
        return ()
    last = result.score.surveys[-1]
    return tuple(
        WebShape(
            kind="old_ring",
            name=ring.name,
            geojson=to_wgs84(ring.polygon, crs),
            properties={
                "forecast of": last.forecast_as_of.isoformat(),
                "focus": str(ring.focus),
                "share of arrivals": f"{100 * ring.share:.0f} %",
            },
            figures={"share of arrivals": (ring.share,)},
        )
        for ring in reversed(last.rings)
        if not ring.polygon.is_empty
    )
