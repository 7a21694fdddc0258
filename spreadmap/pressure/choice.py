"""Which way to sum: how fine a mesh, how wide the stamps, or every pair; by counted work, then tried for its error."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from spreadmap.pressure.mesh import mesh_over
from spreadmap.pressure.middle import blocks_over
from spreadmap.pressure.rules import UPWIND_SHARE
from spreadmap.pressure.strands import Law, density_at, greatest_of
from spreadmap.pressure.trial import FAINTEST, MeshError, faint_reach, mesh_error

EXACT_CELL_NS, EXACT_POINT_NS, EXACT_HARMONIC_NS = 4.0, 15.0, 0.4
NODE_NS = 18.0
"""Making a kernel's spectrum and one convolution, for each padded node and term."""
CELL_NS = 1.5
STAMP_NS = 1.4
OVERHEAD_NS, TERM_NS = 4e7, 1.5e7
"""What a fast sum costs before the first source: tables and trials; more for each term where winds differ."""
CUT_STEPS = 8.5
"""Cut between near and far in mesh steps at an error of 1e-3; each step less doubles it (measured, see trial.py)."""
STAMP_MORE, OUTER_MORE = 0.5, 2.0
"""Steps more where a middle mesh shares the error: for stamps, which are dear, and for the far mesh."""
LEAST_RATIO = 2.0
"""Least ratio of the far mesh's step to the middle one's."""
MOST_MIDDLE_BYTES = 3e8
TABLE_NS = 2400.0
"""Making a table of stamps, for each cell within its reach on either side squared: sixteen squares of a lattice."""
SOURCE_NS = 1200.0
"""What a stamp costs before its first cell."""
BLOCK_NODE_NS = 22.0
"""One transform there and back for each node of a block, with what is made of it."""
MESH_PART = 0.85
"""Part of the allowed error that the mesh may use up [-]."""
STEPS_PER_DOUBLING = 2
MOST_STEPS = 30
FINEST_TRIED = 6
LEAST_NODES = 24.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """How one law is summed fast.

    `step_m` 0: no mesh, all of the kernel is in stamps; `cut_m` 0: no stamps, all of it is on the mesh. `reach_m`:
    beyond it a source counts for nothing. `mesh_error` is what the trial found [-]; within `hole_m` of a source the mesh
    may be off by `hole_error` times its strength [m^-2]. With a middle mesh of step `middle_m`, stamps end at `cut_m` and
    the middle mesh, which keeps about `middle_bytes`, at `outer_m`.
    """

    step_m: float
    cut_m: float
    reach_m: float
    mesh_error: float
    work_ns: float
    hole_m: float = 0.0
    hole_error: float = 0.0
    middle_m: float = 0.0
    outer_m: float = 0.0
    middle_bytes: float = 0.0

    @property
    def far_cut_m(self) -> float:
        """Return the cut from which on the far mesh stands alone [m]."""
        return self.outer_m if self.middle_m > 0 else self.cut_m

    @property
    def finest_m(self) -> float:
        """Return the step of the finest mesh [m]."""
        return self.middle_m if self.middle_m > 0 else self.step_m


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """What the work depends on: extents of all places and counts.

    `size_m` is the width means are taken over, `nearest_m` the nearest distance that matters; `read_ns` is the work of
    reading the mesh off at all receptors, `near_ns` that of the near part for each source and square metre about it,
    `per_source_ns` that of beginning it, `near_terms` how many stamps it takes, if not all `terms`, and `table_ns` the
    work of their tables for each square metre of the reach squared. `inner` is where receptors are, for a middle mesh,
    and `occupied` the area in squares with sources by their side; without an `inner` there is no middle mesh.
    """

    region: tuple[float, float, float, float]
    size_m: float
    nearest_m: float
    least_step_m: float
    most_cut_m: float
    least_cut_m: float
    n_sources: int
    read_ns: float
    near_ns: float
    terms: int
    strongest_share: float
    seen_from_m: float
    per_source_ns: float = 0.0
    near_terms: float = 0.0
    table_ns: float = 0.0
    inner: tuple[float, float, float, float] | None = None
    occupied: tuple[tuple[float, float], ...] = ()


def cut_for(step_m: float, rtol: float) -> float:
    """Return the cut that keeps the mesh's error below rtol for kernels that it suits [m]."""
    return step_m * (CUT_STEPS + max(0.0, float(np.log(1e-3 / rtol)) / 0.65))


def ways(law: Law, scene: Scene, rtol: float) -> Way | str:
    """Return the cheapest way whose tried error keeps rtol, or why there is none."""
    west, east, south, north = scene.region
    farthest = float(np.hypot(east - west, north - south)) + scene.size_m
    faint = _faint_density(law, scene, rtol)
    reach = faint_reach(law, faint, farthest)
    found = [way for way in (_without_mesh(scene, reach, farthest), _on_mesh_alone(law, scene, reach, rtol)) if way]
    best = min(found, key=lambda way: way.work_ns, default=None)
    tried = 0
    finest = np.inf
    both = _with_both(scene, reach, rtol) + _with_middle(scene, reach, rtol)
    for way in sorted(both, key=lambda way: way.work_ns):
        if best is not None and best.work_ns <= way.work_ns:
            return best
        if way.finest_m >= finest:
            continue
        error = _error_of(law, way, scene)
        if error.relative <= MESH_PART * rtol:
            return _tried(way, error)
        finest, tried = way.finest_m, tried + 1
        if tried == FINEST_TRIED:
            break
    if best is not None:
        return best
    return "no mesh keeps the allowed error for this kernel"


def _error_of(law: Law, way: Way, scene: Scene) -> MeshError:
    """Return what trying a way's meshes finds: the middle mesh is off as one that bears all beyond the stamps."""
    error = mesh_error(law, way.finest_m, way.cut_m, scene.size_m, scene.nearest_m)
    if way.middle_m == 0:
        return error
    outer = mesh_error(law, way.step_m, way.outer_m, scene.size_m, scene.nearest_m)
    return MeshError(
        relative=error.relative + outer.relative, hole_m=max(error.hole_m, outer.hole_m),
        absolute=error.absolute + outer.absolute,
    )  # fmt: skip


def _tried(way: Way, error: MeshError) -> Way:
    """Return a way with what its trial found."""
    return replace(way, mesh_error=error.relative, hole_m=error.hole_m, hole_error=error.absolute)


def _faint_density(law: Law, scene: Scene, rtol: float) -> float:
    """Return a density so small that all sources together, beyond it, add nothing that counts [m^-2]."""
    away = scene.seen_from_m
    top = UPWIND_SHARE * float(density_at(law, away)) if away > 0 else greatest_of(law, scene.size_m / 2)
    return 0.1 * FAINTEST * rtol * top * scene.strongest_share


def _without_mesh(scene: Scene, reach_m: float, farthest_m: float) -> Way | None:
    """Return the way by stamps alone, if the kernel ends soon enough."""
    if reach_m >= min(farthest_m, scene.most_cut_m):
        return None
    work = _overhead(scene) + _near_work(scene, reach_m)
    return Way(step_m=0.0, cut_m=reach_m, reach_m=reach_m, mesh_error=0.0, work_ns=work)


def _on_mesh_alone(law: Law, scene: Scene, reach_m: float, rtol: float) -> Way | None:
    """Return the coarsest mesh that needs no stamps, if the kernel is smooth enough for one."""
    best = None
    if scene.least_cut_m > 0:
        return None
    for step in _steps(scene):
        error = mesh_error(law, step, 0.0, scene.size_m, scene.nearest_m)
        if error.relative > MESH_PART * rtol:
            break
        work = _mesh_work(scene, step, reach_m)
        best = _tried(Way(step_m=step, cut_m=0.0, reach_m=reach_m, mesh_error=np.inf, work_ns=work), error)
    return best


def _with_both(scene: Scene, reach_m: float, rtol: float) -> list[Way]:
    """Return every way with mesh and stamps, untried."""
    found = []
    for step in _steps(scene):
        cut = max(cut_for(step, rtol), scene.least_cut_m)
        if cut <= scene.most_cut_m:
            work = _mesh_work(scene, step, reach_m) + _near_work(scene, cut)
            found.append(Way(step_m=step, cut_m=cut, reach_m=reach_m, mesh_error=np.inf, work_ns=work))
    return found


def _with_middle(scene: Scene, reach_m: float, rtol: float) -> list[Way]:
    """Return every way with two meshes and stamps, untried."""
    found: list[Way] = []
    if scene.inner is None:
        return found
    steps = _steps(scene)
    far_works = [_mesh_work(scene, step, reach_m) for step in steps]
    for middle in steps:
        cut = cut_for(middle, rtol) + STAMP_MORE * middle
        near = _near_work(scene, cut)
        for step, far_work in zip(steps, far_works, strict=True):
            if step < LEAST_RATIO * middle * (1 - 1e-9):
                continue
            outer = cut_for(step, rtol) + OUTER_MORE * step
            made = _middle_nodes(scene, middle, outer)
            if made is None or 8 * made[0] > MOST_MIDDLE_BYTES:
                continue
            share = min(1.0, made[1] * middle**2 / _area(scene.inner))
            work = far_work + near + made[1] * BLOCK_NODE_NS * _transforms(scene) + share * scene.read_ns
            found.append(
                Way(
                    step_m=step, cut_m=cut, reach_m=reach_m, mesh_error=np.inf, work_ns=work, middle_m=middle,
                    outer_m=outer, middle_bytes=8 * made[0],
                )
            )  # fmt: skip
    return found


def _middle_nodes(scene: Scene, step_m: float, until_m: float) -> tuple[float, float] | None:
    """Return about how many nodes a middle mesh keeps and how many its transforms have, None if it cannot be."""
    blocks = None if scene.inner is None else blocks_over(scene.inner, step_m, until_m)
    if blocks is None:
        return None
    side, all_blocks = blocks.side * step_m, blocks.n_rows * blocks.n_cols
    squares = min(scene.occupied, key=lambda one: abs(np.log(one[0] / side)))
    dilated = squares[1] / side**2 * (1 + 2 * until_m / side) ** 2
    count = min(float(all_blocks), max(dilated, 1.0))
    return count * blocks.side**2, count * blocks.length**2


def _area(region: tuple[float, float, float, float]) -> float:
    """Return the area of a region [m2]."""
    west, east, south, north = region
    return (east - west) * (north - south)


def _near_work(scene: Scene, cut_m: float) -> float:
    """Return the work of the near part of all sources and of making its tables [ns]."""
    stamps = scene.n_sources * (scene.near_terms or scene.terms)
    return float(
        stamps * (scene.per_source_ns + scene.near_ns * np.pi * cut_m**2) + scene.table_ns * scene.terms * cut_m**2
    )


def _steps(scene: Scene) -> list[float]:
    """Return mesh steps from the finest on, up to a mesh of a few nodes [m]."""
    west, east, south, north = scene.region
    widest = max(east - west, north - south, LEAST_NODES * scene.least_step_m) / LEAST_NODES
    steps = scene.least_step_m * 2.0 ** (np.arange(MOST_STEPS) / STEPS_PER_DOUBLING)
    return [float(step) for step in steps if step <= widest]


def _mesh_work(scene: Scene, step_m: float, reach_m: float) -> float:
    """Return the work of the mesh and of reading it off [ns]."""
    mesh = mesh_over(scene.region, step_m, reach_m)
    return float(_overhead(scene) + NODE_NS * mesh.pad_rows * mesh.pad_cols * _transforms(scene) + scene.read_ns)


def _transforms(scene: Scene) -> float:
    """Return how many pairs of transforms a mesh takes: one there for each term, one back for all."""
    return (1 + scene.terms) / 2


def _overhead(scene: Scene) -> float:
    """Return what tables and trials cost [ns]."""
    return OVERHEAD_NS + (scene.terms - 1) * TERM_NS


def exact_work(pairs: float, pair_ns: float, law: Law) -> float:
    """Return the work of summing every pair, strand by strand [ns]."""
    return float(pairs * sum(pair_ns + EXACT_HARMONIC_NS * one.roses.shape[1] for one in law))
