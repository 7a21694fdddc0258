"""Speed of the event sampler against a dense daily product and a daily transform, and two-sample tests of its law.

Run `python tests/benchmarks/outbreak.py` for the small comparison, with `--full` for 100,000 plants as well. Peers and
sampler run in turn on one machine; times are of the process itself, building the lists of a draw counted in over 20
members. Prints figures, asserts nothing.
"""

import argparse
import math
import resource
import sys
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
from scipy import fft, stats

sys.path.insert(0, str(Path(__file__).parents[1]))

from small_outbreaks import clock_of, course_of, draw_of, ground_at, world_of
from small_worlds import screens_of, spread_of

from spreadmap.dispersal.kernels import Kernel
from spreadmap.engine import Engine
from spreadmap.outbreak.events import run_draw

DAYS, AFTER, MEMBERS = 365, 20, 20
STUDENT = Kernel(family="student_2d", scale_m=50.0, shape=1.5)
CELL_M = 4.0


def places_of(n, seed=1):
    """Plants scattered at one per 100 m2."""
    return np.random.default_rng(seed).uniform(0, 10.0 * math.sqrt(n), (n, 2))


def world_at(places, sick, days=DAYS, kept=1):
    return world_of(
        ground_at(places), sick=sick, after=float(AFTER), latency=(69.0, 0.7),
        clock=clock_of(days, range(28, days, 28)), kept=kept,
    )  # fmt: skip


def dense_matrix(places, beta):
    """Return the daily hazards between all plants, single precision, row by row."""
    n = len(places)
    matrix = np.empty((n, n), dtype=np.float32)
    for i in range(n):
        r = np.hypot(places[:, 0] - places[i, 0], places[:, 1] - places[i, 1])
        matrix[i] = beta * STUDENT.location_density(r)
        matrix[i, i] = 0
    return matrix


def dense_member(matrix, sick, days, rng):
    """Return the day of infection of every plant, by one product of the matrix a day."""
    n = len(matrix)
    on = np.full(n, days, dtype=np.int64)
    sends = np.full(n, days, dtype=np.int64)
    on[sick], sends[sick] = -1, 0
    for day in range(days):
        force = matrix @ (sends <= day).astype(np.float32)
        caught = (on == days) & (rng.random(n) < -np.expm1(-force))
        on[caught], sends[caught] = day, day + AFTER
    return on


def transform_member(places, beta, sick, days, rng, first_days=None):
    """Return the seconds of one member whose forces come from a transform of the map on each day."""
    n = len(places)
    cell = np.floor((places - places.min(axis=0)) / CELL_M).astype(np.int64)
    rows, cols = cell.max(axis=0) + 1
    shape = (fft.next_fast_len(2 * int(rows), real=True), fft.next_fast_len(2 * int(cols), real=True))
    row = np.minimum(np.arange(shape[0]), shape[0] - np.arange(shape[0])) * CELL_M
    col = np.minimum(np.arange(shape[1]), shape[1] - np.arange(shape[1])) * CELL_M
    spectrum = fft.rfft2(
        (beta * STUDENT.location_density(np.hypot(row[:, None], col[None, :]))).astype(np.float32), workers=2
    )
    on, sends = np.full(n, days), np.full(n, days)
    on[sick], sends[sick] = -1, 0
    began = time.process_time()
    told = first_days or days
    for day in range(told):
        grid = np.zeros(shape, dtype=np.float32)
        np.add.at(grid, tuple(cell[sends <= day].T), 1)
        force = fft.irfft2(fft.rfft2(grid, workers=2) * spectrum, s=shape, workers=2)[tuple(cell.T)]
        caught = (on == days) & (rng.random(n) < -np.expm1(-np.maximum(force, 0)))
        on[caught], sends[caught] = day, day + AFTER
    return (time.process_time() - began) * days / told


def sampler_seconds(places, beta, sick):
    """Return seconds per member, the lists of a draw counted in over MEMBERS, and without them; and cases."""
    world = world_at(places, sick)
    draw = draw_of(world, per_day_m2=beta, spread=spread_of(STUDENT))
    run_draw(1, 1, world, draw)
    began = time.process_time()
    tally = run_draw(1, MEMBERS, world, draw)
    first = time.process_time() - began
    began = time.process_time()
    run_draw(1, 3 * MEMBERS, world, draw)
    more = time.process_time() - began
    return first / MEMBERS, (more - first) / (2 * MEMBERS), float(tally.new.mean())


def same_law(n=400, members=800, beta=7.0):
    """Print the two-sample tests of final size, dates and single plants against the dense model."""
    places, sick = places_of(n, 3), np.arange(3)
    matrix, rng = dense_matrix(places, beta), np.random.default_rng(4)
    dense = np.array([dense_member(matrix, sick, DAYS, rng) for _ in range(members)])
    world = world_at(places, sick)
    half = world_of(
        world.ground, sick=sick, after=float(AFTER), latency=(69.0, 0.7), clock=world.clock, kept=1,
        checks=np.arange(0, DAYS + 1, 5), courses=(course_of(n, len(world.clock.stretch) - 1),),
    )  # fmt: skip
    tally = run_draw(2, members, half, draw_of(half, per_day_m2=beta, spread=spread_of(STUDENT)))
    sizes = ((dense >= 0) & (dense < DAYS)).sum(axis=1), tally.new[0, :, -1]
    print(
        f"final size at {n} plants: dense {sizes[0].mean():.1f} +- {sizes[0].std():.1f}, events {sizes[1].mean():.1f} +- "
        f"{sizes[1].std():.1f}, KS p {stats.ks_2samp(*sizes).pvalue:.3f}"
    )
    days = np.sort(dense, axis=1)[:, 2 + n // 10]
    checks = np.arange(0, DAYS + 1, 5)
    reached = np.array([checks[np.argmax(row >= n // 10)] if row[-1] >= n // 10 else DAYS for row in tally.new[0]])
    told = np.array(
        [
            checks[min(np.searchsorted(checks, day, side="right"), len(checks) - 1)] if day < DAYS else DAYS
            for day in days
        ]
    )
    print(
        f"day on which a tenth is infected: dense {told.mean():.1f}, events {reached.mean():.1f}, "
        f"KS p {stats.ks_2samp(told, reached).pvalue:.3f}"
    )
    one, two = ((dense < DAYS).mean(axis=0)[3:], tally.plant_infected[0, -1][3:] / members)
    share = (one + two) / 2
    score = (one - two) / np.sqrt(2 * share * (1 - share) / members)
    print(
        f"plants infected by the end: largest difference {np.abs(one - two).max():.3f}, mean square of scores "
        f"{np.mean(score**2):.3f} (1 expected; members of one run move together)"
    )


def compare(n, beta, dense):
    """Print members per second and ratios at one size."""
    places, sick = places_of(n), np.arange(10)
    rng = np.random.default_rng(1)
    with_lists, alone, cases = sampler_seconds(places, beta, sick)
    print(
        f"{n} plants, {cases / n:.0%} infected at the end: events {with_lists * 1e3:.1f} ms a member with lists over "
        f"{MEMBERS} members, {alone * 1e3:.1f} ms without"
    )
    if dense:
        matrix = dense_matrix(places, beta)
        began = time.process_time()
        dense_member(matrix, sick, 40, rng)
        seconds = (time.process_time() - began) * DAYS / 40
        print(
            f"  dense product: {seconds:.2f} s a member, {seconds / with_lists:.0f}x ({seconds / alone:.0f}x without lists)"
        )
        del matrix
    seconds = transform_member(places, beta, sick, DAYS, rng, first_days=20)
    print(
        f"  daily transform, 4 m cells: {seconds:.2f} s a member, {seconds / with_lists:.0f}x "
        f"({seconds / alone:.0f}x without lists)"
    )


def whole_job(n=100_000, draws=50, members=20):
    """Print time and peak memory of the whole job: a made city, every usual course of action, calibrated."""
    from generator import make_project
    from small_outbreaks import plan_of

    from spreadmap.outbreak.ahead import spread_ahead
    from spreadmap.outbreak.assumed_rates import assumed_rates, onward_density
    from spreadmap.records.sources import reservoir_sources
    from spreadmap.records.state import plant_state
    from spreadmap.values.settings import AheadSettings, Settings

    project = make_project(plants=n, confirmed=200, seed=1)
    system = next(each for each in project.pest_systems if each.key == "rose_rosette")
    as_of, settings = np.datetime64("2026-04-15"), Settings(ahead=AheadSettings(draws=draws, members=members))
    state, _ = plant_state(project.inventory, project.surveys, project.work_log, system, np.datetime64(project.as_of))
    state = replace(state, as_of=as_of)
    spread, engine, screens = spread_of(), Engine(), screens_of()
    density = onward_density(project.inventory, state, spread, screens, settings, engine)
    fitted = [
        (spread.scaled(0.9 + 0.004 * i), assumed_rates(1.5 + 0.02 * i, density, system, settings)) for i in range(draws)
    ]
    plan = plan_of(np.flatnonzero(state.status == "infected"), as_of + np.timedelta64(4, "D"))
    began = time.perf_counter()
    found = spread_ahead(
        project.inventory, state, plan, reservoir_sources(project.reservoirs, 2.0), spread, screens, system,
        as_of + np.timedelta64(28, "D"), np.datetime64("2026-12-31"), settings, engine, fitted=fitted,
    )  # fmt: skip
    seconds = time.perf_counter() - began
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
    print(
        f"whole job: {n} plants, one season, {found.draws} draws x {found.members} members x {len(found.scenarios)} courses: "
        f"{seconds:.0f} s, peak {peak:.2f} GB; new cases if nothing is done {found.scenarios[0].by_horizon}"
    )
    print("\n".join((*found.remarks, *(one.says for one in found.comparisons))))


if __name__ == "__main__":
    asked = argparse.ArgumentParser()
    asked.add_argument("--full", action="store_true", help="100,000 plants as well")
    asked.add_argument("--job", action="store_true", help="only the whole job")
    given = asked.parse_args()
    if given.job:
        whole_job()
    else:
        same_law()
        compare(10_000, 900.0 / DAYS, dense=True)
        if given.full:
            compare(100_000, 900.0 / DAYS, dense=False)
            whole_job()
