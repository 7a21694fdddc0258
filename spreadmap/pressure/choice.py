"""Which way to sum: how fine a mesh, how wide the stamps, or every pair; by counted work, then tried for its error."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from spreadmap.pressure.mesh import mesh_over
from spreadmap.pressure.rules import UPWIND_SHARE
from spreadmap.pressure.strands import Law, density_at, greatest_of
from spreadmap.pressure.trial import FAINTEST, MeshError, faint_reach, mesh_error

EXACT_CELL_NS, EXACT_POINT_NS, EXACT_HARMONIC_NS = 4.0, 15.0, 0.4
NODE_NS = 18.0
"""Making a kernel's spectrum and one convolution, for each padded node and term."""
CELL_NS = 1.5
STAMP_NS = 2.6
OVERHEAD_NS, TERM_NS = 4e7, 1.5e7
"""What a fast sum costs before the first source: tables and trials; more for each term where winds differ."""
CUT_STEPS = 8.5
"""Cut between near and far in mesh steps at an error of 1e-3; each step less doubles it (measured, see trial.py)."""
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
    may be off by `hole_error` times its strength [m^-2].
    """

    step_m: float
    cut_m: float
    reach_m: float
    mesh_error: float
    work_ns: float
    hole_m: float = 0.0
    hole_error: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """What the work depends on: extents of all places and counts.

    `size_m` is the width means are taken over, `nearest_m` the nearest distance that matters; `read_ns` is the work of
    reading the mesh off at all receptors, `near_ns` that of the near part for each source and square metre about it.
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
    for way in sorted(_with_both(scene, reach, rtol), key=lambda way: way.work_ns):
        if best is not None and best.work_ns <= way.work_ns:
            return best
        if way.step_m >= finest:
            continue
        error = mesh_error(law, way.step_m, way.cut_m, scene.size_m, scene.nearest_m)
        if error.relative <= MESH_PART * rtol:
            return _tried(way, error)
        finest, tried = way.step_m, tried + 1
        if tried == FINEST_TRIED:
            break
    if best is not None:
        return best
    return "no mesh keeps the allowed error for this kernel"


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
    work = _overhead(scene) + scene.n_sources * scene.near_ns * np.pi * reach_m**2 * scene.terms
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
            work = _mesh_work(scene, step, reach_m) + scene.n_sources * scene.near_ns * np.pi * cut**2 * scene.terms
            found.append(Way(step_m=step, cut_m=cut, reach_m=reach_m, mesh_error=np.inf, work_ns=work))
    return found


def _steps(scene: Scene) -> list[float]:
    """Return mesh steps from the finest on, up to a mesh of a few nodes [m]."""
    west, east, south, north = scene.region
    widest = max(east - west, north - south, LEAST_NODES * scene.least_step_m) / LEAST_NODES
    steps = scene.least_step_m * 2.0 ** (np.arange(MOST_STEPS) / STEPS_PER_DOUBLING)
    return [float(step) for step in steps if step <= widest]


def _mesh_work(scene: Scene, step_m: float, reach_m: float) -> float:
    """Return the work of the mesh and of reading it off [ns]."""
    mesh = mesh_over(scene.region, step_m, reach_m)
    return float(_overhead(scene) + NODE_NS * mesh.pad_rows * mesh.pad_cols * scene.terms + scene.read_ns)


def _overhead(scene: Scene) -> float:
    """Return what tables and trials cost [ns]."""
    return OVERHEAD_NS + (scene.terms - 1) * TERM_NS


def exact_work(pairs: float, pair_ns: float, law: Law) -> float:
    """Return the work of summing every pair, strand by strand [ns]."""
    return float(pairs * sum(pair_ns + EXACT_HARMONIC_NS * one.roses.shape[1] for one in law))
