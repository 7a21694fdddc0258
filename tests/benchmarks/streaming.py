"""Print what rasters larger than memory cost: tile by tile into a finished file, against writers alone. Asserts nothing.

Every line is a process of its own, in turn; compiled functions warm, imports outside the time and inside the memory.
Kernel: 2Dt, scale 50 m, shape 1.5, with a rose, 1 m cells, 2 threads. Writers are fed with sixteen tiles of the same map,
again and again, and end with the file on the disk. Run with `--large` for 40,000 x 40,000 cells: give it an hour at most
and 10 GB of disk, which is given back. `--bits 23` keeps single precision, `--packing none` packs nothing.
"""

from __future__ import annotations

import argparse
import itertools
import json
import os
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import rasterio

from spreadmap.dispersal.bearings import never_negative, rose_of_von_mises
from spreadmap.dispersal.kernels import Kernel
from spreadmap.dispersal.spread import Spread
from spreadmap.engine import Engine
from spreadmap.io.band import PACKINGS, Band
from spreadmap.io.raster_sink import RasterSink
from spreadmap.io.rounding import rounded
from spreadmap.io.write_raster import transform_of
from spreadmap.pressure.probes import exact_cells, probe_cells
from spreadmap.pressure.strands import law_at
from spreadmap.pressure.tiles import READY, pressure_tiles, tile_job, tile_values
from spreadmap.values.grid import Grid
from spreadmap.values.inventory import Sources
from spreadmap.values.settings import PressureSettings
from spreadmap.values.wind import WindClimate

ENGINE = Engine(workers=2)
SETTINGS = PressureSettings(method="fast")
CRS = "EPSG:25832"
PROBES, SAMPLES = 500, 16


def scene(side: int, count: int) -> tuple[Grid, Sources, Spread]:
    """Return a map with sources anywhere."""
    rose = never_negative(rose_of_von_mises(np.array(60.0), np.array(1.0), 8))
    climate = WindClimate(rose=rose, basis="made for timing", sector_share=np.zeros(16))
    kernel = Kernel(family="student_2d", scale_m=50.0, shape=1.5)
    east, north = np.random.default_rng(1).uniform(0, side, (2, count))
    return (
        Grid(west=0.0, north=float(side), cell_m=1.0, n_rows=side, n_cols=side),
        Sources(easting=east, northing=north, strength=np.ones(count), plant=np.arange(count)),
        Spread(kernel=kernel, climate=climate, wind_influence=0.5, near_radius_m=1.0),
    )


def sink_at(path: Path, grid: Grid, asked: argparse.Namespace) -> RasterSink:
    """Return the sink that the options ask for."""
    band = Band(
        grid=grid, crs=CRS, description="made for timing", tags={}, mantissa_bits=asked.bits, packing=asked.packing
    )
    return RasterSink(path=path, band=band, key="made for timing")


def samples(asked: argparse.Namespace) -> list[np.ndarray]:
    """Return some tiles of the map, and forget what they were made with."""
    grid, sources, law = scene(asked.side, asked.sources)
    job = tile_job(grid, sources, law, settings=SETTINGS)
    tiles = [tile for tile in sink_at(Path("x.tif"), grid, asked).tiles if tile.n_rows == tile.n_cols]
    some = tiles[:: max(1, len(tiles) // SAMPLES)][:SAMPLES]
    found = ENGINE.map(lambda tile: tile_values(READY.of(job, ENGINE), job, tile), some)
    READY.forget()
    return found


def stream(asked: argparse.Namespace, path: Path) -> dict[str, float]:
    """Compute and write the whole map."""
    grid, sources, law = scene(asked.side, asked.sources)
    small = scene(2500, 50)
    warm = sink_at(path.with_name("warm.tif"), small[0], asked)
    pressure_tiles(*small, ENGINE, warm, settings=SETTINGS)
    warm.finish()
    imports = peak_mb()
    begin, busy = time.perf_counter(), time.process_time()
    sink = sink_at(path, grid, asked)
    done = pressure_tiles(grid, sources, law, ENGINE, sink, settings=SETTINGS)
    tiles = time.perf_counter() - begin
    sink.finish()
    took, cpu, peak = time.perf_counter() - begin, time.process_time() - busy, peak_mb()
    rows, cols = probe_cells(grid, sources, PROBES)
    exact = exact_cells(grid, rows, cols, sources, law_at(law, sources), ENGINE)
    with rasterio.open(path) as file:
        read = np.array([file.read(1, window=((r, r + 1), (c, c + 1)))[0, 0] for r, c in zip(rows, cols, strict=True)])
    error = read / exact - 1
    print(f"    {done.why}; bound {done.error_bound:.2g}; {done.tiles} tiles in {tiles:.1f} s", file=sys.stderr)
    print(f"    {imports:.0f} MB before, imports and a small map", file=sys.stderr)
    return {"s": took, "cpu": cpu, "peak": peak, "max": np.abs(error).max(), "rms": np.sqrt((error**2).mean())}


def our_writer(asked: argparse.Namespace, path: Path) -> dict[str, float]:
    """Write ready tiles by the sink alone."""
    ready = samples(asked)
    sink = sink_at(path, scene(asked.side, 1)[0], asked)
    begin, busy = time.perf_counter(), time.process_time()
    work = list(enumerate(sink.todo()))
    ENGINE.map(lambda one: sink.write(one[1], ready[one[0] % len(ready)][: one[1].n_rows, : one[1].n_cols]), work)
    sink.finish()
    return {"s": time.perf_counter() - begin, "cpu": time.process_time() - busy, "peak": peak_mb()}


def library_writer(asked: argparse.Namespace, path: Path, overviews: bool) -> dict[str, float]:
    """Write ready tiles by the library alone, same block size and packing, in two threads; then overviews, if asked."""
    ready = samples(asked)
    grid = scene(asked.side, 1)[0]
    sink = sink_at(path, grid, asked)
    packing = dict(PACKINGS[asked.packing]) | ({"predictor": 3} if PACKINGS[asked.packing] else {})
    begin, busy = time.perf_counter(), time.process_time()
    with rasterio.open(
        path, "w", driver="GTiff", width=grid.n_cols, height=grid.n_rows, count=1, dtype="float32", crs=CRS,
        transform=transform_of(grid), tiled=True, blockxsize=512, blockysize=512, bigtiff="IF_SAFER", num_threads=2,
        **packing,
    ) as file:  # fmt: skip
        for tile, values in zip(sink.tiles, itertools.cycle(ready), strict=False):
            cells = rounded(values[: tile.n_rows, : tile.n_cols], asked.bits)
            file.write(cells, 1, window=((tile.row, tile.row + tile.n_rows), (tile.col, tile.col + tile.n_cols)))
    if overviews:
        with rasterio.Env(GDAL_NUM_THREADS=2), rasterio.open(path, "r+") as file:
            levels = range(1, int(np.ceil(np.log2(asked.side / 512))) + 1)
            file.build_overviews([2**level for level in levels], rasterio.enums.Resampling.average)
    with path.open("rb+") as file:
        os.fsync(file.fileno())
    return {"s": time.perf_counter() - begin, "cpu": time.process_time() - busy, "peak": peak_mb()}


ROLES = {
    "stream": stream,
    "sink alone": our_writer,
    "library alone, overviews": lambda asked, path: library_writer(asked, path, True),
    "library alone, none": lambda asked, path: library_writer(asked, path, False),
}


def peak_mb() -> float:
    """Return the most memory this process held [MB]."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def one_role(asked: argparse.Namespace) -> None:
    """Do one role in this process and print its figures."""
    with tempfile.TemporaryDirectory(dir=asked.folder) as folder:
        path = Path(folder) / "risk.tif"
        found = ROLES[asked.role](asked, path)
        print(json.dumps({name: float(value) for name, value in found.items()} | {"file": path.stat().st_size / 1e6}))


def main() -> None:
    """Run every role in turn, several times, each in a fresh process."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--large", action="store_true")
    parser.add_argument("--bits", type=int, default=10)
    parser.add_argument("--packing", default="deflate", choices=list(PACKINGS))
    parser.add_argument("--repeat", type=int, default=2)
    parser.add_argument("--folder", default=tempfile.gettempdir())
    parser.add_argument("--role", choices=list(ROLES))
    parser.add_argument("--side", type=int, default=20_000)
    parser.add_argument("--sources", type=int, default=10_000)
    asked = parser.parse_args()
    if asked.role:
        one_role(asked)
        return
    if asked.large:
        asked.side, asked.sources = 40_000, 100_000
    needed = 3 * 4 * asked.side**2
    if shutil.disk_usage(asked.folder).free < needed:
        print(f"{asked.folder} has not the {needed / 1e9:.0f} GB that this may take")
        return
    print(f"{asked.side} x {asked.side} cells, {asked.sources} sources, {asked.packing}, {asked.bits} bits of mantissa")
    print(f"{'':28}{'s':>8}{'cpu s':>8}{'peak MB':>10}{'file MB':>10}{'max rel':>10}{'rms':>10}{'load':>7}")
    best: dict[str, float] = {}
    options = [f"--{name}={getattr(asked, name)}" for name in ("bits", "packing", "folder", "side", "sources")]
    for _, role in itertools.product(range(asked.repeat), ROLES):
        load = os.getloadavg()[0]
        done = subprocess.run([sys.executable, __file__, "--role", role, *options], stdout=subprocess.PIPE, check=True)
        found = json.loads(done.stdout)
        best[role] = min(best.get(role, np.inf), found["s"])
        errors = "".join(f"{found[name]:10.1e}" if name in found else f"{'':10}" for name in ("max", "rms"))
        print(
            f"{role:28}{found['s']:8.1f}{found['cpu']:8.1f}{found['peak']:10.0f}{found['file']:10.0f}{errors}{load:7.1f}",
            flush=True,
        )
    for role in list(ROLES)[1:]:
        print(f"stream / {role}: {best['stream'] / best[role]:.2f}")


if __name__ == "__main__":
    main()
