"""Print how long the exact sums take: 1,000 sources, 10,000 plants, 1,000 x 1,000 cells. Asserts nothing."""

from __future__ import annotations

import time
from collections.abc import Callable

import numpy as np

from spreadmap.dispersal.bearings import never_negative, rose_of_von_mises
from spreadmap.dispersal.kernels import Kernel
from spreadmap.dispersal.spread import Spread
from spreadmap.engine import Engine
from spreadmap.pressure import pressure_at_points, pressure_on_grid
from spreadmap.values.grid import Grid
from spreadmap.values.inventory import Receptors, ScreenSegments, Sources
from spreadmap.values.wind import WindClimate

SOURCES, PLANTS, CELLS, SIDE_M = 1_000, 10_000, 1_000, 2_000.0
WORKERS = (1, 2)


def seconds(work: Callable[[], object]) -> float:
    """Return the shortest of two times [s]."""
    times = []
    for _ in range(2):
        begin = time.perf_counter()
        work()
        times.append(time.perf_counter() - begin)
    return min(times)


def law(wind: bool) -> Spread:
    """Return the default kernel, in still air or in a moderate wind."""
    rose = never_negative(rose_of_von_mises(np.array(60.0), np.array(1.0), 8)) if wind else np.zeros(8, dtype=complex)
    climate = WindClimate(rose=rose, basis="made for timing", sector_share=np.zeros(16))
    kernel = Kernel(family="wald", scale_m=10.95, shape=3.17)
    return Spread(kernel=kernel, climate=climate, wind_influence=0.5, near_radius_m=1.0)


def main() -> None:
    """Place everything at random and time both functions."""
    rng = np.random.default_rng(1)
    east, north = rng.uniform(0, SIDE_M, (2, SOURCES))
    sources = Sources(easting=east, northing=north, strength=np.ones(SOURCES), plant=np.arange(SOURCES))
    east, north = rng.uniform(0, SIDE_M, (2, PLANTS))
    plants = Receptors(easting=east, northing=north, radius_m=np.full(PLANTS, 0.4), plant=np.arange(PLANTS))
    grid = Grid(west=0.0, north=SIDE_M, cell_m=SIDE_M / CELLS, n_rows=CELLS, n_cols=CELLS)
    start = rng.uniform(0, SIDE_M, (50, 2))
    screens = ScreenSegments(ends=np.hstack([start, start + rng.uniform(-40, 40, (50, 2))]), factor=np.full(50, 0.5))
    weight = np.ones(PLANTS)
    cases = [
        ("points, still air", lambda e: pressure_at_points(plants, sources, law(False), e)),
        ("points, wind", lambda e: pressure_at_points(plants, sources, law(True), e)),
        ("points, wind, sent", lambda e: pressure_at_points(plants, sources, law(True), e, receptor_weight=weight)),
        ("points, wind, 50 screens", lambda e: pressure_at_points(plants, sources, law(True), e, screens=screens)),
        ("grid, still air", lambda e: pressure_on_grid(grid, sources, law(False), e)),
        ("grid, wind", lambda e: pressure_on_grid(grid, sources, law(True), e)),
        ("grid, wind, 50 screens", lambda e: pressure_on_grid(grid, sources, law(True), e, screens=screens)),
    ]
    print(f"{SOURCES} sources, {PLANTS} plants, {CELLS} x {CELLS} cells of {grid.cell_m:g} m; seconds")
    print(f"{'':28}" + "".join(f"{f'{workers} workers':>12}" for workers in WORKERS))
    for name, work in cases:
        times = [seconds(lambda workers=workers, work=work: work(Engine(workers=workers))) for workers in WORKERS]
        print(f"{name:28}" + "".join(f"{one:12.2f}" for one in times))


if __name__ == "__main__":
    main()
