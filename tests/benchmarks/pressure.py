"""Print time, memory and error of the fast sums beside what general libraries do. Asserts nothing.

Every run has a process of its own; peer and own are run in turn. The peer gets its kernel image for free; imports and
compiling are outside the clock. "kept": tables and spectra are there; "anew": made in the run. Errors are against the
exact sum at probe cells: some within 3 m of a source, some within 60 m, some anywhere, all above 1e-12 of the maximum.
K1 is the default kernel, K2 a Student kernel of 50 m and shape 1.5; both in a 16-sector wind.

    python tests/benchmarks/pressure.py            rows of seconds
    python tests/benchmarks/pressure.py --long     8,000 and 20,000 cells a side too: minutes, 13 GB for one peer
    python tests/benchmarks/pressure.py NAME ...   only rows whose name holds one of these words
"""

from __future__ import annotations

import json
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
from scipy import fft
from scipy.signal import fftconvolve

from spreadmap.dispersal.bearings import never_negative, rose_of_von_mises, turned
from spreadmap.dispersal.kernels import Kernel
from spreadmap.dispersal.spread import Spread
from spreadmap.engine import Engine
from spreadmap.pressure import KeptGeometry, pressure_at_points, pressure_on_grid
from spreadmap.pressure.kept import KEPT
from spreadmap.pressure.probes import exact_cells
from spreadmap.pressure.strands import law_at
from spreadmap.values.grid import Grid
from spreadmap.values.inventory import Receptors, Sources
from spreadmap.values.settings import PressureSettings
from spreadmap.values.wind import WindClimate

TWO = Engine(workers=2)
EXACT, FAST = PressureSettings(method="exact"), PressureSettings(method="fast")
HARMONICS, CONCENTRATION = 8, 10.0
KERNELS = {
    "K1": (Kernel(family="wald", scale_m=10.95, shape=3.17), 0.0),
    "K2": (Kernel(family="student_2d", scale_m=50.0, shape=1.5), 10.0),
}
REPEATS = 3
PROBES = (150, 150, 200)


def wind(side_m: float, bends: bool) -> WindClimate:
    """Return a 16-sector wind, the same everywhere or turning over the map in 64 x 64 steps."""
    share = np.random.default_rng(0).dirichlet(np.full(16, 2.0))
    sectors = [rose_of_von_mises(np.array(22.5 * k), np.array(CONCENTRATION), HARMONICS) for k in range(16)]
    rose = never_negative(sum(part * sector for part, sector in zip(share, sectors, strict=True)))
    if not bends:
        return WindClimate(rose=rose, basis="made for timing", sector_share=np.zeros(16))
    axis = np.linspace(0, side_m, 64)
    angle = 60 * np.sin(axis[None, :] / side_m * 5) + 60 * np.cos(axis[:, None] / side_m * 4)
    return WindClimate(
        rose=rose, basis="made for timing", sector_share=np.zeros(16), field_easting=axis,
        field_northing=axis[::-1].copy(), field=turned(rose, angle),
    )  # fmt: skip


def law(name: str, side_m: float, bends: bool = False) -> Spread:
    """Return K1 or K2."""
    kernel, near = KERNELS[name]
    return Spread(kernel=kernel, climate=wind(side_m, bends), wind_influence=1.0, near_radius_m=near)


def places(count: int, side_m: float, beds: bool, seed: int = 1) -> np.ndarray:
    """Return places in 40 clusters, or in beds of four rows a metre apart."""
    rng = np.random.default_rng(seed)
    if beds:
        number = np.arange(count)
        start = rng.uniform(0.02, 0.9, (count // 200 + 1, 2)) * side_m
        return start[number // 200] + np.stack([number % 50, number % 200 // 50], axis=1) * 1.0
    centre = rng.uniform(0.05, 0.95, (40, 2)) * side_m
    return np.clip(centre[rng.integers(0, 40, count)] + rng.normal(0, side_m / 80, (count, 2)), 1, side_m - 1)


def sources(count: int, side_m: float, beds: bool = False) -> Sources:
    """Return sources of strengths between a half and two."""
    at = places(count, side_m, beds)
    strength = np.random.default_rng(2).uniform(0.5, 2, count)
    return Sources(easting=at[:, 0], northing=at[:, 1], strength=strength, plant=np.full(count, -1))


def grid(cells: int) -> Grid:
    """Return a square of 1 m cells."""
    return Grid(west=0.0, north=float(cells), cell_m=1.0, n_rows=cells, n_cols=cells)


def probe_cells(cells: int, given: Sources) -> tuple[np.ndarray, np.ndarray]:
    """Return rows and columns of the probes."""
    rng = np.random.default_rng(5)
    rows, cols = [], []
    for count, radius in zip(PROBES[:2], (3.0, 60.0), strict=True):
        one, turn = rng.integers(0, len(given), count), rng.uniform(0, 2 * np.pi, count)
        away = radius * np.sqrt(rng.uniform(0, 1, count))
        rows.append(np.floor(cells - given.northing[one] - away * np.cos(turn)))
        cols.append(np.floor(given.easting[one] + away * np.sin(turn)))
    rows.append(rng.integers(0, cells, PROBES[2]))
    cols.append(rng.integers(0, cells, PROBES[2]))
    return tuple(np.clip(np.concatenate(parts), 0, cells - 1).astype(np.int64) for parts in (rows, cols))


def clock(work: Callable[[], Any], before: Callable[[], None] = lambda: None) -> tuple[float, Any]:
    """Return the shortest time of a few runs and the last result."""
    times, result = [], None
    for _ in range(REPEATS):
        # Two results at once would count twice as memory.
        result = None
        before()
        begin = time.perf_counter()
        result = work()
        times.append(time.perf_counter() - begin)
    return min(times), result


def own_map(case: dict[str, Any], anew: bool) -> tuple[float, np.ndarray]:
    """Time our map."""
    side = float(case["cells"])
    given, spread, raster = (
        sources(case["sources"], side, case["beds"]),
        law(case["law"], side, case["bends"]),
        grid(case["cells"]),
    )
    pressure_on_grid(grid(256), sources(50, 256.0), spread, TWO, settings=FAST, dtype=np.float32)
    if not anew:
        pressure_on_grid(raster, given, spread, TWO, settings=FAST, dtype=np.float32)
    taken, result = clock(
        lambda: pressure_on_grid(raster, given, spread, TWO, settings=FAST, dtype=np.float32),
        KEPT.clear if anew else lambda: None,
    )
    return taken, result.values


def image_of(case: dict[str, Any], folder: Path) -> np.ndarray:
    """Return the peer's kernel image, cell means about one source, made beforehand by `prepare`."""
    return np.load(folder / f"{case['law']}_{case['cells']}.npy")


def prepare(case: dict[str, Any], folder: Path) -> None:
    """Make the peer's kernel image and the exact sums at the probes."""
    cells, side = case["cells"], float(case["cells"])
    given = sources(case["sources"], side, case["beds"])
    rows, cols = probe_cells(cells, given)
    spread = law(case["law"], side, case["bends"])
    exact = exact_cells(grid(cells), rows, cols, given, law_at(spread, given), TWO)
    np.save(folder / f"exact_{case['name'].replace(' ', '_')}.npy", exact)
    path = folder / f"{case['law']}_{cells}.npy"
    if case["peers"] and not path.exists():
        wide = Grid(west=-side + 0.5, north=side - 0.5, cell_m=1.0, n_rows=2 * cells - 1, n_cols=2 * cells - 1)
        one = Sources(easting=np.zeros(1), northing=np.zeros(1), strength=np.ones(1), plant=np.full(1, -1))
        image = pressure_on_grid(wide, one, law(case["law"], side), TWO, settings=EXACT, dtype=np.float32).values
        np.save(path, image)


def laid(given: Sources, cells: int, weight: np.ndarray, bilinear: bool) -> np.ndarray:
    """Return sources on cell centres, the nearest or the four about each."""
    image = np.zeros((cells, cells), dtype=np.float32)
    row, col = cells - given.northing - 0.5, given.easting - 0.5
    if not bilinear:
        np.add.at(
            image, (np.rint(row).astype(int).clip(0, cells - 1), np.rint(col).astype(int).clip(0, cells - 1)), weight
        )
        return image
    r0, c0 = np.floor(row).astype(int), np.floor(col).astype(int)
    for dr in (0, 1):
        for dc in (0, 1):
            part = weight * np.abs(1 - dr - (row - r0)) * np.abs(1 - dc - (col - c0))
            np.add.at(image, ((r0 + dr).clip(0, cells - 1), (c0 + dc).clip(0, cells - 1)), part)
    return image


def peer_fftconvolve(case: dict[str, Any], folder: Path) -> tuple[float, np.ndarray]:
    """Time scipy.signal.fftconvolve with the full kernel in single precision, 16 times for 16 classes of wind."""
    given, image, cells = (
        sources(case["sources"], float(case["cells"]), case["beds"]),
        image_of(case, folder),
        case["cells"],
    )
    begin = time.perf_counter()
    total = fftconvolve(laid(given, cells, given.strength, False), image, mode="same")
    return (time.perf_counter() - begin) * (16 if case["bends"] else 1), total


def peer_rfft2(case: dict[str, Any], folder: Path) -> tuple[float, np.ndarray]:
    """Time a careful transform: single precision, least padding, two workers, bilinear sources, kernel spectrum kept."""
    given, image, cells = (
        sources(case["sources"], float(case["cells"]), case["beds"]),
        image_of(case, folder),
        case["cells"],
    )
    size = fft.next_fast_len(2 * cells - 1, real=True)
    padded = np.zeros((size, size), dtype=np.float32)
    padded[: 2 * cells - 1, : 2 * cells - 1] = image
    del image
    spectrum = fft.rfft2(np.roll(padded, (-(cells - 1), -(cells - 1)), axis=(0, 1)), workers=2, overwrite_x=True)
    del padded

    def run() -> np.ndarray:
        product = fft.rfft2(laid(given, cells, given.strength, True), s=(size, size), workers=2)
        product *= spectrum
        return fft.irfft2(product, s=(size, size), workers=2, overwrite_x=True)[:cells, :cells]

    return clock(run)


def floor(case: dict[str, Any]) -> tuple[float, np.ndarray]:
    """Time writing the result once."""

    def run() -> np.ndarray:
        values = np.empty((case["cells"], case["cells"]), dtype=np.float32)
        values.fill(1.0)
        return values

    return clock(run)


def own_points(case: dict[str, Any], how: PressureSettings, share: float) -> tuple[float, np.ndarray]:
    """Time sums at plants; with a share of the plants only, scaled up."""
    side = 8000.0
    given, spread = sources(case["sources"], side, True), law(case["law"], side)
    at = places(case["plants"], side, True, seed=9)[: int(case["plants"] * share)]
    count = len(at)
    plants = Receptors(easting=at[:, 0], northing=at[:, 1], radius_m=np.zeros(count), plant=np.full(count, -1))
    few = Receptors(easting=at[:50, 0], northing=at[:50, 1], radius_m=np.zeros(50), plant=np.full(50, -1))
    pressure_at_points(few, sources(50, side, True), spread, TWO, settings=how)
    taken, result = clock(lambda: pressure_at_points(plants, given, spread, TWO, settings=how))
    return taken / share, result.density[:: max(case["plants"] // 500, 1)] if share == 1 else result.density


def own_kept(case: dict[str, Any]) -> tuple[float, np.ndarray]:
    """Time 1,000 sums with kept geometry, from 50 of them."""
    at = places(case["plants"], 2000.0, True)
    number = np.arange(case["plants"])
    plants = Receptors(easting=at[:, 0], northing=at[:, 1], radius_m=np.full(len(at), 0.4), plant=number)
    given = sources(case["sources"], 2000.0, True)
    spread = replace(law("K1", 2000.0), near_radius_m=1.0)
    kept = KeptGeometry(plants, given, spread, TWO)
    kept.density(spread)
    others = [replace(spread, kernel=spread.kernel.scaled(0.5 + k / 20), wind_influence=k / 50) for k in range(50)]
    begin = time.perf_counter()
    for other in others:
        found = kept.density(other)
    return (time.perf_counter() - begin) * 20, found


RUNS: dict[str, Callable[[dict[str, Any], Path], tuple[float, np.ndarray]]] = {
    "own, kept": lambda case, _: own_map(case, anew=False),
    "own, anew": lambda case, _: own_map(case, anew=True),
    "fftconvolve f32": peer_fftconvolve,
    "rfft2 f32, kept": peer_rfft2,
    "write once": lambda case, _: floor(case),
    "own points": lambda case, _: own_points(case, FAST, 1.0),
    "every pair, scaled": lambda case, _: own_points(case, EXACT, 500 / case["plants"]),
    "1,000 sums, kept geometry": lambda case, _: own_kept(case),
}


def case(name: str, law: str, cells: int, count: int, *, beds: bool = False, bends: bool = False, long: bool = False,
         peers: tuple[str, ...] = ("fftconvolve f32", "rfft2 f32, kept")) -> dict[str, Any]:  # fmt: skip
    """Return one row of the table for maps."""
    return {"name": name, "law": law, "cells": cells, "sources": count, "beds": beds, "bends": bends, "long": long,
            "peers": [peer for peer in peers if peer != "write once"], "runs": ("own, kept", "own, anew", *peers)}  # fmt: skip


CASES = [
    case("K1 2,000 x 2,000, 1e4", "K1", 2000, 10_000),
    case("K1 2,000 x 2,000, 1e5 in beds", "K1", 2000, 100_000, beds=True),
    case("K1 2,000 x 2,000, 1e4, wind bends", "K1", 2000, 10_000, bends=True, peers=("fftconvolve f32",)),
    case("K2 2,000 x 2,000, 1e4", "K2", 2000, 10_000),
    case("K1 8,000 x 8,000, 1e4", "K1", 8000, 10_000, long=True, peers=("fftconvolve f32", "rfft2 f32, kept", "write once")),
    case("K2 8,000 x 8,000, 1e3", "K2", 8000, 1_000, long=True, peers=()),
    case("K2 8,000 x 8,000, 1e4", "K2", 8000, 10_000, long=True, peers=("fftconvolve f32", "rfft2 f32, kept", "write once")),
    case("K2 8,000 x 8,000, 1e5", "K2", 8000, 100_000, long=True, peers=()),
    case("K2 20,000 x 20,000, 1e4", "K2", 20000, 10_000, long=True, peers=("write once",)),
    *({"name": f"{name} points 1e5 x 1e6", "law": name, "sources": 100_000, "plants": 1_000_000, "long": True,
       "runs": ("own points", "every pair, scaled")} for name in ("K1", "K2")),
    {"name": "kept geometry 1e3 x 1e4", "sources": 1_000, "plants": 10_000, "long": False,
     "runs": ("1,000 sums, kept geometry",)},
]  # fmt: skip


def alone(arguments: list[str]) -> dict[str, Any]:
    """Run one thing in a process of its own."""
    done = subprocess.run(
        [sys.executable, __file__, "--one", *arguments], capture_output=True, text=True, check=False
    )  # fmt: skip
    if done.returncode != 0:
        return {"fault": (done.stderr.strip().splitlines() or [f"ended with {done.returncode}"])[-1]}
    found: dict[str, Any] = json.loads(done.stdout)
    return found


def one(name: str, run: str, folder: Path) -> None:
    """Do one thing and print its time, memory and values at the probes."""
    row = next(row for row in CASES if row["name"] == name)
    if run == "prepare":
        prepare(row, folder)
        print(json.dumps({}))
        return
    taken, values = RUNS[run](row, folder)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e3
    at, top = values, float(values.max())
    if values.ndim == 2:
        at = values[probe_cells(row["cells"], sources(row["sources"], float(row["cells"]), row["beds"]))]
    print(
        json.dumps(
            {"s": taken, "mb": peak, "top": top, "least": float(values.min()), "values": at.astype(float).tolist()}
        )
    )


def errors(row: dict[str, Any], found: dict[str, Any], folder: Path) -> str:
    """Return the largest relative errors near, about and anywhere, and their root mean square."""
    path = folder / f"exact_{row['name'].replace(' ', '_')}.npy"
    if not path.exists() or found["top"] == found["least"] or (row.get("bends") and "values" not in found):
        return ""
    exact, values = np.load(path), np.array(found["values"])
    counts = exact > 1e-12 * exact.max()
    off = np.abs(values / exact - 1)
    ends = np.cumsum((0, *PROBES))
    parts = [np.max(off[a:b][counts[a:b]], initial=0.0) for a, b in pairwise(ends)]
    return " ".join(f"{part:8.1e}" for part in (*parts, np.sqrt(np.mean(off[counts] ** 2))))


def main(words: list[str]) -> None:
    """Print the table."""
    wanted = [word for word in words if not word.startswith("--")]
    print(f"{'':38}{'s':>9}{'MB':>8}{'ratio':>8}   errors: 3 m, 60 m, anywhere, rms")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for row in CASES:
            chosen = any(word in row["name"] for word in wanted) if wanted else "--long" in words or not row["long"]
            if not chosen:
                continue
            print(row["name"])
            if "cells" in row:
                alone([row["name"], "prepare", name])
            first = None
            for run in row["runs"]:
                found = alone([row["name"], run, name])
                if "fault" in found:
                    print(f"  {run:36}{found['fault'][:90]}")
                    continue
                first = first or found["s"]
                print(
                    f"  {run:36}{found['s']:9.3f}{found['mb']:8.0f}{found['s'] / first:8.2f}   {errors(row, found, folder)}",
                    flush=True,
                )


if __name__ == "__main__":
    if sys.argv[1:2] == ["--one"]:
        one(sys.argv[2], sys.argv[3], Path(sys.argv[4]))
    else:
        main(sys.argv[1:])
