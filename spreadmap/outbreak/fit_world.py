"""From a survey history to the sampler's arrays: who is tracked, rings and sectors, sums over all plants."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from scipy.spatial import cKDTree
from scipy.special import ndtri

from spreadmap.dispersal.kernels import KERNELS, Kernel
from spreadmap.engine import Engine
from spreadmap.errors import InputError
from spreadmap.outbreak.fit_compiled_pairs import count_pairs, pair_bins
from spreadmap.outbreak.fit_compiled_ranges import look_ranges
from spreadmap.outbreak.fit_problem import FitProblem, Incubation
from spreadmap.outbreak.fit_types import (
    ALL_RECEIVE,
    BIN_ROWS,
    CUT,
    DISC_M,
    DRAWN_BELOW,
    END,
    FIRST,
    FIXED,
    GONE_ON,
    HIDDEN_LIST,
    HIDDEN_PLACE,
    HIGH,
    INFECTIOUS,
    INFECTIOUS_ON,
    IS_NOTICED,
    LATEST,
    LIST,
    LIVE_ROWS,
    LOG_R0,
    LOG_SEED,
    LOG_STEP,
    LOOK_FIRST,
    LOW,
    MARK_ROWS,
    MEDIAN,
    NEAR_M,
    NEVER,
    NOTICED,
    NUMBERS,
    ODD_LIST,
    ODDS,
    PARAMETERS,
    PLACE,
    PLANT_ROWS,
    PLANTS,
    RECEIVE,
    REMOVED_ON,
    REST,
    REVERSE,
    SECTORS,
    SEND,
    SIGMA,
    STAMPED,
    STANDS_FROM,
    STANDS_TO,
    STRETCHES,
    SUMS,
    TIME,
    TOUCHING,
    WILD_COUNTS,
    World,
)  # fmt: skip
from spreadmap.values.arrays import BoolArray, FloatArray, IntArray

RINGS = 112
"""Rings of distance, each a constant factor wider than the last; the kernel is taken at the mean log distance of the
pairs in it, so that plants in even rows are not all misplaced alike [-]."""
NEAREST_M = 0.2
"""Pairs closer than this are one ring [m]."""
TABLE = (1e-5, 1e7, 3001)
"""First and last distance [m, in multiples of the factor on lengths] and length of the kernel's table."""
SHAPES = np.linspace(-1.5, 1.5, 121)
"""Logarithms of the factors on the shape between which the table is read [-]."""
FLOOR = -690.0
"""Least log density: below it nothing arrives."""
PIECES = 32
MOST_BYTES = 800e6
"""Beyond this the pairs of tracked plants are refused: a fit stays below one gigabyte in all [B]."""
APART_M = 1e-2
"""How far apart plants on one spot are told [m]: finer than plants are measured. None: our choice."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Prepared:
    """The sampler's arrays, which plants of the problem are tracked (noticed ones first), and what is left out.

    `outside_receive` sums the receiving weight of plants that could be hidden infections and are not tracked.
    """

    world: World
    tracked: IntArray
    noticed: int
    outside_receive: float
    stray: int


def day_of_share(incubation: Incubation, share: float) -> float:
    """Return the season day by which a share of plants would show, without the cut-off [d]."""
    return float(incubation.median_d * math.exp(incubation.sigma * ndtri(share))) if share > 0 else 0.0


def sum_on(sums: FloatArray, day: FloatArray) -> FloatArray:
    """Return a running sum over days at any day; beyond the last one a day."""
    inside = np.interp(np.clip(day, 0, len(sums) - 1), np.arange(len(sums)), sums)
    return np.asarray(inside + np.maximum(np.minimum(day, 1e9) - (len(sums) - 1), 0.0))


def prepare(problem: FitProblem, engine: Engine) -> Prepared:
    """Return the sampler's arrays.

    Raises
    ------
    InputError
        If the pairs of tracked plants would take more memory than a fit may.
    """
    cases = np.flatnonzero(problem.noticed)
    clock = problem.clock()
    enter = sum_on(clock, problem.enter_day)
    leave = np.where(np.isfinite(problem.leave_day), sum_on(clock, problem.leave_day), NEVER)
    number = numbers_of(problem, clock)
    odd = (enter > number[FIRST]) | (leave < number[END])
    candidates, stray, outside = _candidates(problem, cases, number, enter, leave, odd)
    tracked = np.concatenate([cases, candidates]).astype(np.int64)
    s, bins = len(tracked), RINGS * SECTORS
    needed = 2.0 * s * s + 4.0 * s * bins
    if needed > MOST_BYTES:
        msg = (
            f"{len(cases)} noticed plants and {len(candidates)} that may be hidden infections need {needed / 1e9:.1f} GB; "
            f"allowed: {MOST_BYTES / 1e9:g} GB. Lower settings.fit.candidates_per_case, or fit a part of the town as a "
            "project of its own."
        )
        raise InputError(msg)
    number[NOTICED] = len(cases)
    low, high, _ = ranges_of(problem, tracked, number, clock, enter, leave)
    geometry, ring_m, touching, wild_counts = _geometry(problem, tracked, engine)
    bare = bare_world(problem, tracked, number, clock)
    removed, gone = (
        np.where(np.isfinite(days), sum_on(clock, days), NEVER) for days in (problem.removed_day, problem.gone_day)
    )
    plant, mark, bins = bare.plant.copy(), bare.mark.copy(), bare.bins.copy()
    for row, values in (
        (RECEIVE, problem.receive), (SEND, problem.send), (REMOVED_ON, removed), (REST, problem.rest), (GONE_ON, gone),
        (STANDS_FROM, enter), (STANDS_TO, leave),
    ):  # fmt: skip
        plant[row] = values[tracked]
    plant[LOW], plant[HIGH], plant[TOUCHING] = low, high, touching
    strange = np.flatnonzero(odd[tracked])
    mark[ODD_LIST, : len(strange)], number[ODDS] = strange, len(strange)
    bins[WILD_COUNTS] = wild_counts
    world = bare._replace(
        **geometry, plant=plant, mark=mark, bins=bins, ring_m=ring_m, number=number,
        wild_send=problem.wild_send.copy(), hide=_proposals(problem, cases, candidates),
    )  # fmt: skip
    return Prepared(world=world, tracked=tracked, noticed=len(cases), outside_receive=outside, stray=stray)


def numbers_of(problem: FitProblem, clock: FloatArray) -> FloatArray:
    """Return the numbers of the world, without the count of noticed plants."""
    number = np.zeros(NUMBERS)
    ends = sum_on(clock, np.array([problem.end_day, problem.first_day, problem.latest_day]))
    number[END], number[FIRST], number[LATEST] = ends
    number[LATEST] = min(number[LATEST], number[END])
    incubation, mean = problem.incubation, problem.beliefs.introductions_mean
    number[INFECTIOUS], number[MEDIAN] = problem.infectious_after_d, incubation.median_d
    number[SIGMA], number[CUT], number[FIXED] = incubation.sigma, incubation.cut_share, float(incubation.is_fixed)
    number[ALL_RECEIVE], number[PLANTS] = problem.receive.sum(), len(problem)
    number[LOG_SEED] = math.log(mean / (1 + mean))
    number[NEAR_M], number[DISC_M] = problem.near_radius_m, problem.canopy_m
    number[LOG_R0], number[LOG_STEP] = math.log(TABLE[0]), math.log(TABLE[1] / TABLE[0]) / (TABLE[2] - 1)
    return number


def _no(*shape: int, dtype: Any = np.float64) -> Any:
    return np.zeros(shape, dtype=dtype)


def bare_world(problem: FitProblem, tracked: IntArray, number: FloatArray, clock: FloatArray) -> World:
    """Return a world that knows looks, clocks, kernel and priors of the tracked plants, and nothing of pairs."""
    s = len(tracked)
    place = np.full(len(problem), -1, dtype=np.int64)
    place[tracked] = np.arange(s)
    rows = np.flatnonzero(place[problem.look_plant] >= 0)
    rows = rows[np.lexsort((np.arange(len(rows)), problem.look_day[rows], place[problem.look_plant[rows]]))]
    first = np.searchsorted(place[problem.look_plant[rows]], np.arange(s + 1))
    season = problem.season_clock()
    grid, table = kernel_table(problem)
    mark, bins = np.zeros((MARK_ROWS, s + 1), dtype=np.int64), _no(BIN_ROWS, RINGS * SECTORS)
    mark[IS_NOTICED, :s], mark[LOOK_FIRST] = problem.noticed[tracked], first
    mark[[LIST, PLACE, HIDDEN_LIST, HIDDEN_PLACE, STAMPED]] = -1
    back = np.arange(RINGS)[:, None] * SECTORS + (np.arange(SECTORS) + SECTORS // 2) % SECTORS
    bins[REVERSE] = back.ravel()
    looks = np.array([
        problem.look_day[rows], sum_on(season, problem.look_day[rows]), problem.pass_showing[rows],
        problem.pass_silent[rows],
    ])  # fmt: skip
    plant, beliefs = _no(PLANT_ROWS, s), problem.beliefs
    plant[[TIME, INFECTIOUS_ON]] = NEVER
    param = np.array([beliefs.mean, beliefs.mean, beliefs.sd, beliefs.free], dtype=np.float64)
    return World(
        pair=_no(0, 0, dtype=np.uint16), counts=_no(0, 0, dtype=np.float32), wild_pair=_no(s, 0, dtype=np.uint16),
        plant=plant, live=_no(LIVE_ROWS, s), mark=mark, looks=np.ascontiguousarray(looks),
        days=np.array([clock, season]), bins=bins, ring_m=np.ones(RINGS), disc=disc_points(),
        log_k=np.ascontiguousarray(table), shape_grid=grid, wild_send=_no(0), hide=_no(2, 0), hide_at=_evenly(),
        param=param, number=number, sum=_no(SUMS), old=_no(10, max(s, SUMS, PARAMETERS)), new=_no(9),
    )  # fmt: skip


def of_a_chain(world: World) -> World:
    """Return the world with arrays of its own for what is sampled; what never changes is shared."""
    names = ("plant", "live", "mark", "bins", "hide", "hide_at", "param", "sum", "old", "new")
    own = {name: getattr(world, name).copy() for name in names}
    return world._replace(**own)


def disc_points() -> FloatArray:
    """Return points that stand for a disc of radius one: east, north, weight, shape (32, 3); equal areas."""
    radius = np.sqrt((np.arange(4) + 0.5) / 4)
    angle = 2 * np.pi * (np.arange(8) + 0.5) / 8
    east, north = np.outer(radius, np.cos(angle)).ravel(), np.outer(radius, np.sin(angle)).ravel()
    return np.column_stack([east, north, np.full(len(east), 1 / len(east))])


def with_shape(kernel: Kernel, log_factor: float) -> Kernel:
    """Return the kernel with its shape's distance from the least allowed one multiplied by exp(log_factor)."""
    if kernel.shape is None or log_factor == 0:
        return kernel
    least = KERNELS[kernel.family].least_shape
    return replace(kernel, shape=least + (kernel.shape - least) * math.exp(log_factor))


def kernel_table(problem: FitProblem) -> tuple[FloatArray, FloatArray]:
    """Return log factors on the shape, and the log density by them and by log distance."""
    asked = problem.beliefs.free[PARAMETERS - 1] and problem.kernel.shape is not None
    grid = SHAPES.copy() if asked else np.zeros(1)
    r = np.geomspace(*TABLE)
    with np.errstate(divide="ignore"):
        rows = [np.log(with_shape(problem.kernel, factor).location_density(r)) for factor in grid]
    return grid, np.maximum(np.array(rows), FLOOR)


def ranges_of(
    problem: FitProblem, plants: IntArray, number: FloatArray, clock: FloatArray, enter: FloatArray, leave: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return between which clock times each plant can have been infected after what looks said; empty: none.

    And the mean chance of that over those times: for a plant never noticed, of staying so [-].
    """
    world = bare_world(problem, plants, number, clock)
    low, high, mean = np.empty(len(plants)), np.empty(len(plants)), np.empty(len(plants))
    look_ranges(world, np.ascontiguousarray(enter[plants]), np.ascontiguousarray(leave[plants]), low, high, mean)
    return low, high, mean


def _candidates(
    problem: FitProblem, cases: IntArray, number: FloatArray, enter: FloatArray, leave: FloatArray, odd: BoolArray
) -> tuple[IntArray, int, float]:
    """Return plants never noticed that may be hidden infections, nearest to a case first.

    Plants that came or went meanwhile come before all others, for what they miss is reckoned plant by plant. And how
    many of those found no room and count as standing throughout; and the receiving weight of those left out, times the
    chance of staying unnoticed.
    """
    others = np.flatnonzero(~problem.noticed)
    places = np.column_stack([problem.easting, problem.northing])
    away, _ = cKDTree(places[cases]).query(places[others])
    clock = problem.clock()
    low, high, mean = ranges_of(problem, others, number, clock, enter, leave)
    may = low < high
    wanted = max(problem.candidates_least, math.ceil(problem.candidates_per_case * len(cases)))
    rank = np.argsort(away, kind="stable")
    strange = rank[odd[others[rank]]]
    near = rank[may[rank] & ~odd[others[rank]]]
    taken = np.concatenate([near[:wanted], strange[:wanted]])
    left = near[wanted:]
    return others[taken], max(len(strange) - wanted, 0), float((problem.receive[others] * mean)[left].sum())


def _evenly() -> FloatArray:
    """Return proposals of times before anything is known of them: every stretch of the clock alike."""
    return np.array([np.linspace(0.0, 1.0, STRETCHES + 1), np.zeros(STRETCHES + 1)])


def _proposals(problem: FitProblem, cases: IntArray, candidates: IntArray) -> FloatArray:
    """Return by which weights candidates are proposed: nearer to a case more often; any weights leave the fit right."""
    hide = np.zeros((2, len(candidates)))
    if len(candidates) == 0:
        return hide
    places = np.column_stack([problem.easting, problem.northing])
    away, _ = cKDTree(places[cases]).query(places[candidates])
    weight = 0.1 + np.exp(-away / max(float(np.median(away)), 1.0))
    hide[DRAWN_BELOW] = np.cumsum(weight / weight.sum())
    return hide


def told_apart(easting: FloatArray, northing: FloatArray) -> FloatArray:
    """Return eastings with plants on one spot a centimetre apart: every pair needs a direction and the opposite one back."""
    _, spot = np.unique(np.column_stack([easting, northing]), axis=0, return_inverse=True)
    order = np.argsort(spot.ravel(), kind="stable")
    number, is_first = np.arange(len(order)), np.diff(spot.ravel()[order], prepend=-1) > 0
    apart = np.empty(len(order))
    apart[order] = number - np.maximum.accumulate(np.where(is_first, number, 0))
    return np.asarray(easting + apart * APART_M)


def _geometry(
    problem: FitProblem, tracked: IntArray, engine: Engine
) -> tuple[dict[str, Any], FloatArray, FloatArray, FloatArray]:
    """Return pairs and sums by bin, the distance of each ring [m], and receiving weight in touch and round wild stands."""
    east, north = told_apart(problem.easting, problem.northing), problem.northing.copy()
    receive = problem.receive.copy()
    wild_east, wild_north = problem.wild_easting.copy(), problem.wild_northing.copy()
    spans = [np.ptp(np.concatenate([a, b])) for a, b in ((east, wild_east), (north, wild_north))]
    log_first = math.log(NEAREST_M)
    log_step = (math.log(max(math.hypot(*spans), 10.0)) + 1e-6 - log_first) / RINGS
    own, s, bins = np.ascontiguousarray(tracked.astype(np.float64)), len(tracked), RINGS * SECTORS
    t_east, t_north = np.ascontiguousarray(east[tracked]), np.ascontiguousarray(north[tracked])
    counts, touching = np.zeros((s, bins), dtype=np.float32), np.zeros(s)
    pair = np.zeros((s, s), dtype=np.uint16)
    edges = np.linspace(0, s, min(PIECES, max(s, 1)) + 1).astype(np.int64)

    def piece(number: int) -> FloatArray:
        length = np.zeros((2, RINGS))
        span = (int(edges[number]), int(edges[number + 1]))
        count_pairs(*span, t_east, t_north, east, north, receive, own, log_first, log_step, RINGS, counts, touching,
                    length, problem.touching_m)  # fmt: skip
        pair_bins(*span, t_east, t_north, t_east, t_north, log_first, log_step, RINGS, pair, problem.touching_m)
        return length

    length = np.sum(engine.map(piece, range(len(edges) - 1)), axis=0)
    w = len(problem.wild_send)
    wild_pair, wild_counts = np.zeros((w, s), dtype=np.uint16), np.zeros((w, bins), dtype=np.float32)
    pair_bins(0, w, wild_east, wild_north, t_east, t_north, log_first, log_step, RINGS, wild_pair, 0.0)
    count_pairs(0, w, wild_east, wild_north, east, north, receive, np.full(w, -1.0), log_first, log_step, RINGS,
                wild_counts, np.zeros(w), np.zeros((2, RINGS)), 0.0)  # fmt: skip
    middle = log_first + log_step * (np.arange(RINGS) + 0.5)
    ring = np.where(length[0] > 0, length[1] / np.maximum(length[0], 1.0), middle)
    arrays = {"pair": pair, "counts": counts, "wild_pair": np.ascontiguousarray(wild_pair.T)}
    return arrays, np.exp(ring), touching, problem.wild_send @ wild_counts.astype(np.float64)
