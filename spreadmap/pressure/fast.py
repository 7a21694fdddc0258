"""Whether a sum is made fast or pair by pair, and the fast sum on a grid made ready."""

from __future__ import annotations

import numpy as np

from spreadmap.engine import Engine
from spreadmap.pressure.choice import (
    CELL_NS,
    EXACT_CELL_NS,
    EXACT_POINT_NS,
    OVERHEAD_NS,
    SOURCE_NS,
    STAMP_NS,
    TABLE_NS,
    Scene,
    Way,
    exact_work,
    ways,
)
from spreadmap.pressure.exact import farthest_of, reach_of_discs
from spreadmap.pressure.grid_field import GridField, grid_field
from spreadmap.pressure.kept import rounded_up
from spreadmap.pressure.mesh import mesh_over
from spreadmap.pressure.point_field import PointSums, fast_at_points
from spreadmap.pressure.rules import TOLERANCE
from spreadmap.pressure.shade import bound_behind, fast_rtol, least_left
from spreadmap.pressure.shade_grid import grid_shade_work
from spreadmap.pressure.shade_points import point_shade_work, shaded_points
from spreadmap.pressure.strands import Law
from spreadmap.values.arrays import FloatArray
from spreadmap.values.grid import Grid
from spreadmap.values.inventory import Receptors, ScreenSegments, Sources
from spreadmap.values.settings import PressureSettings

MOST_STAMP_CELLS = 400.0
NEAREST_CELLS = 0.3
LEAST_SIZE_M = 0.5
"""Width of a receptor without a canopy disc, as far as errors are concerned [m]."""
MOST_NODES = 4096.0
BLOCKS = 256
NODE_STAMPS = 4.0
"""What a stamp from the tables of four nodes, or of few coefficients, costs in stamps from one."""
POINT_NS = 60.0
NEAR_PAIR_NS = 25.0
CROSSING_NS = 3.0
"""Asking whether a path crosses a piece."""
POINT_PART = 0.15
"""Part of the allowed error that taking discs for points may use up, beyond the cut [-]; it falls as distance squared."""
Region = tuple[float, float, float, float]


def fast_grid(
    grid: Grid, sources: Sources, law: Law, engine: Engine, settings: PressureSettings,
    screens: ScreenSegments | None = None,
) -> tuple[GridField | None, str]:  # fmt: skip
    """Return the field to read tiles from, or None where pairs are to be summed, and why.

    `sources` are not empty.
    """
    if settings.method == "exact":
        return None, "asked for"
    pairs = float(grid.n_rows) * grid.n_cols * len(sources)
    pair_by_pair = exact_work(pairs, EXACT_CELL_NS, law)
    asked = settings.method == "fast"
    if pair_by_pair <= OVERHEAD_NS and not asked:
        return None, f"{pairs:.3g} pairs are few"
    scene = grid_scene(grid, sources, law)
    has_screens = screens is not None and len(screens) > 0
    way = ways(law, scene, fast_rtol(screens, settings.rtol) if screens is not None and has_screens else settings.rtol)
    if isinstance(way, str):
        return None, way
    if pair_by_pair <= way.work_ns + (grid_shade_work(grid, sources, law) if has_screens else 0.0) and not asked:
        return None, f"{pairs:.3g} pairs are less work than meshes and stamps"
    if (heavy := too_heavy(way, scene, settings)) is not None:
        return None, heavy
    farthest = rounded_up(farthest_of(*grid.region, sources) + float(grid.cell_m))
    field = grid_field(grid, sources, law, way, scene.region, farthest, settings.rtol, engine, screens)
    if isinstance(field, str):
        return None, field
    return field, in_words(way, pairs)


def too_heavy(way: Way, scene: Scene, settings: PressureSettings) -> str | None:
    """Return that the mesh would take more memory than is allowed, if it would."""
    if way.step_m == 0:
        return None
    needed = mesh_over(scene.region, way.step_m, way.reach_m).bytes + way.middle_bytes
    if needed <= settings.most_memory_gb * 1e9:
        return None
    return f"a mesh of {way.step_m:.4g} m would take {needed / 1e9:.3g} GB; allowed: {settings.most_memory_gb:g} GB"


def in_words(way: Way, pairs: float) -> str:
    """Return how a sum was made."""
    parts = []
    if way.step_m > 0:
        parts.append(f"mesh of {way.step_m:.4g} m")
    if way.middle_m > 0:
        parts.append(f"one of {way.middle_m:.4g} m near sources")
    if way.cut_m > 0:
        parts.append(f"stamps out to {way.cut_m:.4g} m")
    return f"{pairs:.3g} pairs by {_listed(parts)}"


def _listed(parts: list[str]) -> str:
    """Return words in a row."""
    return " and ".join([", ".join(parts[:-1]), parts[-1]] if len(parts) > 2 else parts)


def grid_scene(grid: Grid, sources: Sources, law: Law) -> Scene:
    """Return what the choice needs to know of a grid and its sources."""
    west, east, south, north = grid.region
    region = (
        min(west, float(sources.easting.min())), max(east, float(sources.easting.max())),
        min(south, float(sources.northing.min())), max(north, float(sources.northing.max())),
    )  # fmt: skip
    cell = float(grid.cell_m)
    share, seen_from = strongest(sources, (west, east, south, north))
    terms = terms_in(law)
    stamps = 1.0 if terms == 1 else NODE_STAMPS * len(law)
    return Scene(
        region=region, size_m=cell, nearest_m=NEAREST_CELLS * cell, least_step_m=cell,
        most_cut_m=MOST_STAMP_CELLS * cell, least_cut_m=0.0, n_sources=len(sources), read_ns=CELL_NS * grid.n_rows * grid.n_cols,
        near_ns=STAMP_NS / cell**2, terms=terms, strongest_share=share, seen_from_m=seen_from,
        per_source_ns=SOURCE_NS, near_terms=stamps, table_ns=TABLE_NS / cell**2,
        inner=(west, east, south, north), occupied=occupied_area(region, sources),
    )  # fmt: skip


def occupied_area(region: Region, sources: Sources) -> tuple[tuple[float, float], ...]:
    """Return the sides of squares, each twice the one before, and the area of those squares that hold sources [m, m2]."""
    west, east, south, north = region
    side = max(east - west, north - south, 1e-9) / BLOCKS
    row = np.minimum((sources.northing - south) / side, BLOCKS - 1).astype(np.int64)
    col = np.minimum((sources.easting - west) / side, BLOCKS - 1).astype(np.int64)
    held: np.ndarray = np.zeros((BLOCKS, BLOCKS), dtype=np.bool_)
    held[row, col] = True
    found = []
    while True:
        found.append((side, float(held.sum()) * side**2))
        if len(held) == 1:
            return tuple(found)
        half = len(held) // 2
        held, side = np.any(held.reshape(half, 2, half, 2), axis=(1, 3)), 2 * side


def terms_in(law: Law) -> int:
    """Return how many meshes the sources are laid down on."""
    if all(one.is_uniform for one in law):
        return 1
    return sum(1 + 2 * one.roses.shape[1] for one in law)


def strongest(sources: Sources, region: Region) -> tuple[float, float]:
    """Return the share of all strength that the source has which tops the map, and how far off the map it stands [m].

    It is the strongest source within the region, else the one nearest to it.
    """
    total = float(sources.strength.sum())
    if total == 0:
        return 1.0, 0.0
    west, east, south, north = region
    away: FloatArray = np.hypot(
        np.maximum(np.maximum(west - sources.easting, sources.easting - east), 0.0),
        np.maximum(np.maximum(south - sources.northing, sources.northing - north), 0.0),
    )
    inside = (away == 0) & (sources.strength > 0)
    if inside.any():
        return float(sources.strength[inside].max()) / total, 0.0
    candidates = np.where(sources.strength > 0, away, np.inf)
    nearest = int(np.argmin(candidates))
    return float(sources.strength[nearest]) / total, float(away[nearest])


def fast_points(
    receptors: Receptors, sources: Sources, law: Law, engine: Engine, settings: PressureSettings, weight: FloatArray,
    screens: ScreenSegments | None = None,
) -> tuple[PointSums | None, str, float]:  # fmt: skip
    """Return the fast sums, or None where pairs are to be summed, why, and the error bound."""
    if settings.method == "exact":
        return None, "asked for", 0.0
    pairs = float(len(receptors)) * len(sources)
    has_screens = screens is not None and len(screens) > 0
    pieces = len(screens) if screens is not None else 0
    rtol = fast_rtol(screens, settings.rtol) if screens is not None and has_screens else settings.rtol
    pair_by_pair = exact_work(pairs, EXACT_POINT_NS, law) + CROSSING_NS * pieces * pairs * len(law)
    asked = settings.method == "fast"
    if pair_by_pair <= OVERHEAD_NS and not asked:
        return None, f"{pairs:.3g} pairs are few", 0.0
    east, north = receptors.easting, receptors.northing
    region = (float(east.min()), float(east.max()), float(north.min()), float(north.max()))
    farthest = rounded_up(farthest_of(*region, sources) + float(receptors.radius_m.max()))
    scene = point_scene(receptors, sources, law, region, farthest, rtol)
    way = ways(law, scene, rtol)
    if isinstance(way, str):
        return None, way, 0.0
    more = point_shade_work(receptors, sources, law) if has_screens else 0.0
    if pair_by_pair <= way.work_ns + more and not asked:
        return None, f"{pairs:.3g} pairs are less work than a mesh", 0.0
    if (heavy := too_heavy(way, scene, settings)) is not None:
        return None, heavy, 0.0
    sums = fast_at_points(receptors, sources, law, way, scene.region, farthest, rtol, weight, engine)
    bound = way.mesh_error + POINT_PART * rtol
    if screens is None or not has_screens:
        return sums, in_words(way, pairs), bound
    density, sent = shaded_points(
        receptors, sources, law, screens, way, farthest, settings.rtol, weight, (sums.density, sums.sent), engine
    )
    shaded = PointSums(density=density, sent=sent, noise=sums.noise / least_left(screens))
    return shaded, in_words(way, pairs), bound_behind(screens, bound, settings.rtol)


def point_scene(
    receptors: Receptors, sources: Sources, law: Law, inner: Region, farthest_m: float, rtol: float
) -> Scene:
    """Return what the choice needs to know of receptors and their sources."""
    west, east, south, north = inner
    region = (
        min(west, float(sources.easting.min())), max(east, float(sources.easting.max())),
        min(south, float(sources.northing.min())), max(north, float(sources.northing.max())),
    )  # fmt: skip
    widest = max(region[1] - region[0], region[3] - region[2], 1.0)
    simple = max(float(reach_of_discs(one.spread, one.rose, receptors.radius_m, farthest_m)[1].max()) for one in law)
    size = max(2 * float(receptors.radius_m.max()), LEAST_SIZE_M)
    least_cut = simple * float(np.sqrt(TOLERANCE / (POINT_PART * rtol)))
    share, seen_from = strongest(sources, inner)
    return Scene(
        region=region, size_m=size, nearest_m=NEAREST_CELLS * size, least_step_m=max(widest / MOST_NODES, size / 4),
        most_cut_m=widest, least_cut_m=least_cut, n_sources=len(sources), read_ns=POINT_NS * len(receptors),
        near_ns=NEAR_PAIR_NS * receptors_about(receptors, sources, widest), terms=terms_in(law), strongest_share=share,
        seen_from_m=seen_from,
    )  # fmt: skip


def receptors_about(receptors: Receptors, sources: Sources, widest_m: float) -> float:
    """Return how many receptors stand about a source on average [m^-2]."""
    west = min(float(receptors.easting.min()), float(sources.easting.min()))
    south = min(float(receptors.northing.min()), float(sources.northing.min()))
    block = widest_m / BLOCKS
    counts = []
    for place in (receptors, sources):
        col, row = (
            ((place.easting - west) / block).astype(np.int64),
            ((place.northing - south) / block).astype(np.int64),
        )
        counts.append(np.bincount(row * (BLOCKS + 1) + col, minlength=(BLOCKS + 1) ** 2).astype(np.float64))
    return float(counts[0] @ counts[1]) / block**2 / len(sources)
