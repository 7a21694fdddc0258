"""How far meshes and tables are off for one law of arrivals, found by trying them on one source.

A sum of shares each of which is off by less than a limit is off by less than it, so one source is enough. Trying works
for any kernel and any rose; the places tried are the same every time.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from spreadmap.engine import Engine
from spreadmap.pressure.compiled import cell_mean
from spreadmap.pressure.compiled_mesh import read_points
from spreadmap.pressure.compiled_near import part_nine, stamp
from spreadmap.pressure.kept import KEPT
from spreadmap.pressure.mesh import far_sum, mesh_over
from spreadmap.pressure.rules import UPWIND_SHARE
from spreadmap.pressure.split import far_share
from spreadmap.pressure.stamps import Tier
from spreadmap.pressure.strands import Law, Strand, density_at, greatest_of, key_of
from spreadmap.pressure.tables import RadialTables
from spreadmap.values.arrays import ComplexArray, FloatArray

FARTHEST_STEPS = 28.0
PLACES = ((0.5, 0.5), (0.13, 0.71), (0.0, 0.0))
TRIED = 500
TRIED_STAMPS = 24
CELLS_PER_STAMP = 16
GOLDEN = 2.399963229728653
FAINTEST = 1e-12
"""Errors count down to this share of the map's maximum [-]."""
FAINTEST_TRIED = 0.03 * FAINTEST
"""One source is tried further down, since the shares of many may add up to what counts [-]."""
HOLE_DEPTH = 0.5
"""A kernel whose density next to the source is below this share of its peak has a hole there [-]."""
SAFETY = 3.0
"""What is found at some cells of a stamp is multiplied by this, for the cells that were not tried [-]."""
ONE = Engine(workers=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class MeshError:
    """What a mesh is off by: `relative` from `hole_m` on [-]; nearer by up to `absolute` for a source of strength 1 [m^-2].

    A kernel that starts from nothing at its source has a hole there, in which no mesh keeps a relative error: what
    counts is whether the sum of all sources fills it.
    """

    relative: float
    hole_m: float
    absolute: float


def mesh_error(law: Law, step_m: float, cut_m: float, size_m: float, nearest_m: float) -> MeshError:
    """Return the largest errors of the far part, as a share of all that arrives from the source.

    `size_m` is the width over which the map takes means, `nearest_m` the nearest distance that is tried. Where wind
    leaves less than `UPWIND_SHARE` of the still-air density, the error counts against this share.
    """
    key = ("mesh error", key_of(law), step_m, cut_m, size_m, nearest_m)
    return KEPT.get(key, lambda: _mesh_error(law, step_m, cut_m, size_m, nearest_m))


def _mesh_error(law: Law, step_m: float, cut_m: float, size_m: float, nearest_m: float) -> MeshError:
    wide = (FARTHEST_STEPS + 1) * step_m
    mesh = mesh_over((-wide, wide, -wide, wide), step_m, 3 * wide)
    distance = np.geomspace(min(nearest_m, step_m), FARTHEST_STEPS * step_m, TRIED)
    bearing = GOLDEN * np.arange(TRIED)
    east, north = distance * np.sin(bearing), distance * np.cos(bearing)
    scale = np.asarray(sum(one.scale(east, north) for one in law))
    still = density_at(law, distance)
    peak = int(np.argmax(still))
    hole = float(distance[peak]) if still[0] < HOLE_DEPTH * still[peak] else 0.0
    counts = (scale > FAINTEST_TRIED * greatest_of(law, size_m / 2)) & (distance >= hole)
    expected = np.asarray(sum(one.whole(east, north) for one in law)) * far_share(distance, cut_m)
    relative, absolute = 0.0, 0.0
    for across, along in PLACES:
        at = np.array([across * step_m]), np.array([along * step_m])
        field = far_sum(mesh, *at, np.ones(1), law, cut_m, ONE)
        found = np.zeros(TRIED)
        read_points(mesh.east_of(east + at[0]), mesh.north_of(north + at[1]), field, found)
        off = np.abs(found - expected)
        relative = max(relative, float(np.max(off[counts] / scale[counts], initial=0.0)))
        absolute = max(absolute, float(np.max(off[distance < hole], initial=0.0)))
    return MeshError(relative=relative, hole_m=hole, absolute=absolute)


def stamp_error(law: Law, radial: tuple[RadialTables, ...], cell_m: float, cut_m: float, tier: Tier) -> float:
    """Return the largest relative error of one tier's cells, as a share of all that arrives in the cell [-]."""

    def one_stamp(out: FloatArray, row: FloatArray, col: FloatArray) -> None:
        stamp(
            0, 0, out, row, col, np.ones(1), np.zeros(1, dtype=np.int64), tier.values, tier.q, tier.order, tier.size,
            tier.half, tier.hole,
        )  # fmt: skip

    return error_of_stamps(law, radial, cell_m, cut_m, one_stamp, len(tier.half) // 2, tier.hole)


def error_of_stamps(
    law: Law, radial: tuple[RadialTables, ...], cell_m: float, cut_m: float,
    one_stamp: Callable[[FloatArray, FloatArray, FloatArray], None], reach: int, hole: int,
) -> float:  # fmt: skip
    """Return the largest relative error of what a function stamps for one source, outside a hole [-]."""
    out = np.zeros((2 * reach + 1, 2 * reach + 1))
    worst = 0.0
    faint = FAINTEST_TRIED * greatest_of(law, cell_m / 2)
    roses = [strand.rose for strand in law]
    for one in range(TRIED_STAMPS):
        at = reach + (0.5 + one * np.array([0.754877666, 0.569840291])) % 1.0
        out[:] = 0.0
        one_stamp(out, at[:1].copy(), at[1:].copy())
        places = _cells_to_try(one, reach, hole)
        rows, cols = np.array(places).T
        east, north = (cols + 0.5 - at[1]) * cell_m, (at[0] - rows - 0.5) * cell_m
        near, scale = np.zeros(len(places)), np.zeros(len(places))
        for strand, tables, rose in zip(law, radial, roses, strict=True):
            part, whole = _near_and_whole(strand, tables, rose, cell_m, cut_m, east, north)
            still = strand.spread.kernel.location_density(np.hypot(east, north))
            near += strand.share * part
            scale += strand.share * np.maximum(whole, UPWIND_SHARE * still)
        counts = scale > faint
        off = SAFETY * np.abs(out[rows, cols] - near)
        worst = max(worst, float(np.max(off[counts] / scale[counts], initial=0.0)))
    return worst


def _near_and_whole(
    strand: Strand, tables: RadialTables, rose: ComplexArray, cell_m: float, cut_m: float, east: FloatArray,
    north: FloatArray,
) -> tuple[FloatArray, FloatArray]:  # fmt: skip
    """Return the means over cells of the near part and of all of a strand's kernel, integrated [m^-2]."""
    spread = strand.spread
    whole, far = np.empty(len(east)), np.empty(len(east))
    for number, (x, y) in enumerate(zip(east.tolist(), north.tolist(), strict=True)):
        whole[number] = cell_mean(
            x, y, cell_m, tables.log_first, tables.step, tables.mass, tables.mass_slope, tables.bent_mass,
            tables.bent_slope, tables.log_density, spread.near_radius_m, rose,
        )  # fmt: skip
        far[number] = part_nine(
            x, y, cell_m, tables.log_first, tables.step, tables.log_density, spread.near_radius_m, rose, cut_m, False
        )
    return whole - far, whole


def _cells_to_try(one: int, reach: int, hole: int) -> list[tuple[int, int]]:
    """Return cells of a stamp, from its innermost outward, another bearing each time."""
    first = max(hole + 1, 0)
    half = CELLS_PER_STAMP // 2
    last = max(reach - 1, first, 1)
    away = np.concatenate([np.geomspace(max(first, 0.5), last, half), np.linspace(first, last, half)])
    turn = GOLDEN * (one * CELLS_PER_STAMP + np.arange(CELLS_PER_STAMP))
    # On a square about the source, so that the first ring of cells is met all round.
    across, along = np.sin(turn), np.cos(turn)
    longest = np.maximum(np.abs(across), np.abs(along))
    cols = np.rint(reach + away * across / longest).astype(int)
    rows = np.rint(reach + away * along / longest).astype(int)
    kept = np.maximum(np.abs(cols - reach), np.abs(rows - reach)) >= first
    return [(int(row), int(col)) for row, col in zip(rows[kept], cols[kept], strict=True)]


def faint_reach(law: Law, least_density: float, farthest_m: float) -> float:
    """Return the distance beyond which the density stays below a value, at most `farthest_m` [m]."""
    distance: FloatArray = np.geomspace(farthest_m * 1e-5, farthest_m, 400)
    above = np.flatnonzero(density_at(law, distance) > least_density)
    return float(distance[min(above[-1] + 1, len(distance) - 1)]) if len(above) else float(distance[0])
