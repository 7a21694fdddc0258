"""Infection pressure on a grid too large for memory: computed tile by tile and handed to a sink.

Nothing that depends on the number of cells is held but one coarse mesh, whose size is limited by a setting.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np
import numpy.typing as npt

from spreadmap.dispersal.spread import Spread
from spreadmap.engine import Engine
from spreadmap.pressure.checks import check_places, refuse_memory
from spreadmap.pressure.choice import EXACT_CELL_NS, OVERHEAD_NS, Way, exact_work, ways
from spreadmap.pressure.exact import RELATIVE_ERROR_BOUND, exact_on_grid, farthest_of
from spreadmap.pressure.fast import grid_scene, in_words
from spreadmap.pressure.grid_field import TILE_COLS, TILE_ROWS, GridField, grid_field
from spreadmap.pressure.kept import rounded_up
from spreadmap.pressure.mesh import mesh_over
from spreadmap.pressure.probes import exact_cells, largest_error, probe_cells
from spreadmap.pressure.shade import fast_rtol
from spreadmap.pressure.shade_grid import grid_shade_work
from spreadmap.pressure.strands import Law, law_at
from spreadmap.pressure.trial import FAINTEST
from spreadmap.values.arrays import FloatArray, IntArray
from spreadmap.values.content import content_key
from spreadmap.values.grid import Grid
from spreadmap.values.inventory import ScreenSegments, Sources
from spreadmap.values.settings import PressureSettings
from spreadmap.values.tile import Tile, part_of

NO_SCREENS = ScreenSegments(ends=np.zeros((0, 4)), factor=np.zeros(0))
DEFAULT = PressureSettings()
SOURCES_LOOKED_AT = 256
"""How many sources' own cells are read to learn how high the map rises at least [-]."""
STEP_GROWTH = 2**0.25
"""By which a mesh is made coarser, again and again, until it fits [-]."""
Float32Array = npt.NDArray[np.float32]
ONE = Engine(workers=1)


class TileSink(Protocol):
    """Whatever takes finished tiles. It is handed to every worker, so it must be small and open its files itself."""

    @property
    def tiles(self) -> Sequence[Tile]:
        """Return all tiles of the grid."""
        ...

    def todo(self) -> Sequence[Tile]:
        """Return the tiles that are still missing; asked once, before the first is computed."""
        ...

    def write(self, tile: Tile, values: Float32Array) -> None:
        """Keep the values of one tile, (n_rows, n_cols); called by several workers at once."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TiledPressure:
    """What was done: the error bound [-], method and reason as for a grid in memory, and the numbers of tiles.

    `checked` is the largest relative error that was found at probes, None if not asked or not fast.
    """

    error_bound: float
    method: str
    why: str
    tiles_computed: int
    tiles: int
    checked: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TileJob:
    """All that a worker must know of the sums; no larger than the sources. `unit_per_m2` is what counts as one."""

    grid: Grid
    sources: Sources
    spread: Spread
    screens: ScreenSegments
    settings: PressureSettings
    unit_per_m2: float
    key: str


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Field:
    """The sums made ready: `fast` is None where pairs are summed, `law` is empty where there is nothing to sum."""

    law: Law
    fast: GridField | None
    why: str
    error_bound: float


class _ReadyField:
    """The field that this process made last, so that its threads share one and only one is ever made."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._key = ""
        self._field: Field | None = None

    def of(self, job: TileJob, engine: Engine) -> Field:
        """Return the field of a job, made now if it is not the last one."""
        with self._lock:
            if self._field is None or self._key != job.key:
                self._field = None
                self._field, self._key = _ready(job, engine), job.key
            return self._field

    def forget(self) -> None:
        """Give the memory back."""
        with self._lock:
            self._field, self._key = None, ""


READY = _ReadyField()


def tile_job(
    grid: Grid,
    sources: Sources,
    spread: Spread,
    *,
    screens: ScreenSegments | None = None,
    settings: PressureSettings = DEFAULT,
    unit_per_m2: float = 1.0,
) -> TileJob:
    """Return the job of a map; its `key` names everything that its values depend on.

    Raises
    ------
    InputError
        If a position is not finite.
    """
    check_places("source", sources.easting, sources.northing)
    pieces = NO_SCREENS if screens is None else screens
    made_by = (settings.rtol, settings.method, settings.most_mesh_gb)
    places = (sources.easting, sources.northing, sources.strength)
    return TileJob(
        grid=grid,
        sources=sources,
        spread=spread,
        screens=pieces,
        settings=settings,
        unit_per_m2=unit_per_m2,
        key=content_key(grid, places, spread, pieces, made_by, unit_per_m2),
    )


def pressure_tiles(
    grid: Grid,
    sources: Sources,
    spread: Spread,
    engine: Engine,
    sink: TileSink,
    *,
    screens: ScreenSegments | None = None,
    settings: PressureSettings = DEFAULT,
    unit_per_m2: float = 1.0,
    progress: Callable[[int, int], None] | None = None,
) -> TiledPressure:
    """Compute the mean density of arrivals over every cell of a grid, and hand it to a sink tile by tile.

    Parameters
    ----------
    grid : Grid
    sources : Sources
    spread : Spread
        Kernel and wind, or strands of them; the wind at the source governs.
    engine : Engine
    sink : TileSink
        Says which tiles are missing and keeps them as float32; finishing the file is its owner's.
    screens : ScreenSegments, optional
        Arrivals in a cell whose middle is reached across a piece are multiplied by its factor.
    settings : PressureSettings, optional
        The error allowed, whether pairs are summed or not, and the most memory for the mesh.
    unit_per_m2 : float, optional
        Density that counts as one; values are divided by it. [m^-2]
    progress : callable, optional
        Called with the tiles finished so far, earlier runs' included, and the tiles in all.

    Returns
    -------
    TiledPressure

    Raises
    ------
    InputError
        If a position is not finite, or the mesh would need more memory than is allowed.

    Notes
    -----
    Where the mesh is the same, values are those of `pressure_on_grid` to the last bit before they become float32;
    bound by test_raster_sink.py. A mesh limited in size is coarser and its stamps are wider, within the same error.
    """
    job = tile_job(grid, sources, spread, screens=screens, settings=settings, unit_per_m2=unit_per_m2)
    todo, tiles = sink.todo(), len(sink.tiles)
    try:
        field = READY.of(job, engine) if todo else None
        before = tiles - len(todo)
        told = None if progress is None else lambda done: progress(before + done, tiles)
        engine.map(TileWork(job=job, sink=sink), todo, finished=told)
        checked = worst_in_field(field, job, engine) if field is not None and settings.check else None
    finally:
        READY.forget()
    if field is None:
        return TiledPressure(error_bound=0.0, method="kept", why="every tile was there", tiles_computed=0, tiles=tiles)
    return TiledPressure(
        error_bound=field.error_bound,
        method="exact" if field.fast is None else "fast",
        why=field.why,
        tiles_computed=len(todo),
        tiles=tiles,
        checked=checked,
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TileWork:
    """What a worker does with a tile. It carries inputs only: each process makes the field once and keeps it."""

    job: TileJob
    sink: TileSink

    def __call__(self, tile: Tile) -> None:
        """Compute a tile and hand it over."""
        self.sink.write(tile, tile_values(READY.of(self.job, ONE), self.job, tile))


def tile_values(field: Field, job: TileJob, tile: Tile) -> Float32Array:
    """Return the values of one tile in units, (n_rows, n_cols)."""
    if not field.law:
        return np.zeros(tile.shape, dtype=np.float32)
    if field.fast is None:
        exact = exact_on_grid(part_of(job.grid, tile), job.sources, field.law, ONE, job.screens)
        return (exact / job.unit_per_m2).astype(np.float32)
    values = np.empty(tile.shape, dtype=np.float32)
    # Pieces as they are cut for a grid in memory: the same cuts give the same bits, and stay in the processor's cache.
    for row in range(0, tile.n_rows, TILE_ROWS):
        for col in range(0, tile.n_cols, TILE_COLS):
            last_row, last_col = min(row + TILE_ROWS, tile.n_rows), min(col + TILE_COLS, tile.n_cols)
            piece = field.fast.tile(tile.row + row, tile.row + last_row, tile.col + col, tile.col + last_col)
            values[row:last_row, col:last_col] = piece / job.unit_per_m2
    return values


def _ready(job: TileJob, engine: Engine) -> Field:
    """Return the sums of a job made ready, fast where that is less work and keeps the error."""
    grid, sources, settings = job.grid, job.sources, job.settings
    if len(sources) == 0 or not (sources.strength > 0).any():
        return Field(law=(), fast=None, why="nothing to sum", error_bound=0.0)
    law = law_at(job.spread, sources)
    field, why = _fast(grid, sources, law, engine, settings, job.screens)
    if field is not None:
        if field.noise <= FAINTEST * settings.rtol * least_top(field, sources):
            return Field(law=law, fast=field, why=why, error_bound=field.error_bound)
        why = "far from the sources a mesh would leave nothing but rounding"
    return Field(law=law, fast=None, why=why, error_bound=RELATIVE_ERROR_BOUND)


def _fast(
    grid: Grid, sources: Sources, law: Law, engine: Engine, settings: PressureSettings, screens: ScreenSegments
) -> tuple[GridField | None, str]:
    """Return the field to read tiles from, or None where pairs are to be summed, and why."""
    if settings.method == "exact":
        return None, "asked for"
    pairs = float(grid.n_rows) * grid.n_cols * len(sources)
    by_pairs, asked = exact_work(pairs, EXACT_CELL_NS, law), settings.method == "fast"
    if by_pairs <= OVERHEAD_NS and not asked:
        return None, f"{pairs:.3g} pairs are few"
    way = way_within(grid, sources, law, settings, screens)
    if isinstance(way, str):
        return None, way
    more = grid_shade_work(grid, sources, law) if len(screens) else 0.0
    if by_pairs <= way.work_ns + more and not asked:
        return None, f"{pairs:.3g} pairs are less work than meshes and stamps"
    region = grid_scene(grid, sources, law).region
    if way.step_m > 0:
        mesh = mesh_over(region, way.step_m, way.reach_m)
        refuse_memory(
            f"a mesh over {grid.n_rows} x {grid.n_cols} cells", float(mesh.bytes), settings.most_memory_gb,
            "Take a wider cell or a smaller region.",
        )  # fmt: skip
    farthest = rounded_up(farthest_of(*grid.region, sources) + float(grid.cell_m))
    field = grid_field(grid, sources, law, way, region, farthest, settings.rtol, engine, screens)
    if isinstance(field, str):
        return None, field
    return field, in_words(way, pairs)


def way_within(
    grid: Grid, sources: Sources, law: Law, settings: PressureSettings, screens: ScreenSegments = NO_SCREENS
) -> Way | str:
    """Return the cheapest way whose mesh is not larger than allowed; where there is none, the cheapest; or why none."""
    scene = grid_scene(grid, sources, law)
    rtol = fast_rtol(screens, settings.rtol) if len(screens) else settings.rtol
    way = ways(law, scene, rtol)
    if isinstance(way, str) or way.step_m == 0:
        return way
    step, most = way.step_m, settings.most_mesh_gb * 1e9
    if way.middle_m > 0 and mesh_over(scene.region, step, way.reach_m).bytes + way.middle_bytes > most:
        # A coarser far mesh alone would leave the middle one as it is.
        scene = replace(scene, inner=None)
        without = ways(law, scene, rtol)
        if isinstance(without, str) or without.step_m == 0:
            return without
        way, step = without, without.step_m
    while mesh_over(scene.region, step, way.reach_m).bytes > most:
        step *= STEP_GROWTH
    if step == way.step_m:
        return way
    coarser = ways(law, replace(scene, least_step_m=step), rtol)
    return way if isinstance(coarser, str) else coarser


def least_top(field: GridField, sources: Sources) -> float:
    """Return a value that the map reaches at least: the largest in the cells of its strongest sources [m^-2]."""
    grid = field.grid
    some = np.argsort(-sources.strength, kind="stable")[:SOURCES_LOOKED_AT]
    rows = np.floor((grid.north - sources.northing[some]) / grid.cell_m).astype(np.int64)
    cols = np.floor((sources.easting[some] - grid.west) / grid.cell_m).astype(np.int64)
    return float(_cells(field, np.clip(rows, 0, grid.n_rows - 1), np.clip(cols, 0, grid.n_cols - 1)).max())


def _cells(field: GridField, rows: IntArray, cols: IntArray) -> FloatArray:
    """Return the values of some cells [m^-2]."""
    places = zip(rows.tolist(), cols.tolist(), strict=True)
    return np.array([field.tile(row, row + 1, col, col + 1)[0, 0] for row, col in places])


def worst_in_field(field: Field, job: TileJob, engine: Engine) -> float | None:
    """Return the largest relative error at probes, None where pairs were summed [-]."""
    if field.fast is None:
        return None
    rows, cols = probe_cells(job.grid, job.sources, job.settings.probes)
    exact = exact_cells(job.grid, rows, cols, job.sources, field.law, engine, job.screens)
    found = _cells(field.fast, rows, cols)
    return largest_error(found, exact, max(float(found.max()), least_top(field.fast, job.sources)))
