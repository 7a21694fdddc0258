"""Worlds of a few plants for outbreaks: everything that is not asked for is as plain as it can be."""

import math
from dataclasses import fields

import numpy as np
from small_worlds import spread_of

from spreadmap.dispersal.kernels import Kernel
from spreadmap.outbreak.events import NEVER, NO_SCREENS, Clock, CourseRun, Draw, Life, Start, World
from spreadmap.outbreak.ground import ground_of
from spreadmap.values.plan import InspectionList, Plan, RemovalList
from spreadmap.values.rates import Rates

NOTHING = np.zeros(0)
FLAT = Kernel(family="gaussian", scale_m=1000.0)
"""All plants within a few metres of each other get the same from each: 1 / (pi a^2), to a part in 10^5."""
PER_PLANT = 1 / (np.pi * 1000.0**2)
TINY_M = 0.001
"""A canopy that is a point, for all that a kernel shows."""


def ground_at(places, weight=None, strength=None, touching_m=0.0, radius=TINY_M):
    at = np.array(places, dtype=float).reshape(-1, 2)
    n = len(at)
    return ground_of(
        at[:, 0], at[:, 1], np.full(n, radius), np.ones(n) if weight is None else np.array(weight, float),
        np.ones(n) if strength is None else np.array(strength, float), touching_m,
    )  # fmt: skip


def apart(groups, size, inner_m=1.0):
    """Return places of groups that cannot reach each other, 30 km apart, and the group of every plant."""
    side = math.ceil(math.sqrt(groups))
    group = np.repeat(np.arange(groups), size)
    turn = 2 * np.pi * np.tile(np.arange(size), groups) / size
    east = (group % side) * 30_000.0 + inner_m * np.cos(turn)
    north = (group // side) * 30_000.0 + inner_m * np.sin(turn)
    return np.c_[east, north], group


def clock_of(days, stretch=None, flight=None, season=None):
    return Clock(
        flight=np.concatenate([[0.0], np.cumsum(np.ones(days) if flight is None else flight)]),
        season=np.arange(days + 1) if season is None else np.concatenate([[0], np.cumsum(season)]).astype(int),
        stretch=np.unique([0, days, *([] if stretch is None else stretch)]).astype(int),
    )


def course_of(n, stretches, gone=None, surveyed=(), **more):
    days = np.full(n, NEVER)
    for plant, day in (gone or {}).items():
        days[plant] = day
    flags = np.zeros(stretches)
    flags[list(surveyed)] = 1
    given = {"takes_out": False, "crew_hours": 1e9, "free_from": 0.0, "delay_days": 0.0, "hours": np.zeros(n)}
    return CourseRun(gone=days, surveyed=flags, **(given | more))


def world_of(
    ground, sick=(), days=30, after=1.0, latency=(1.0, 0.01), seen=1.0, courses=None, clock=None, unsure=(), chance=(),
    stands_from=None, screens=NO_SCREENS, checks=None, kept=0, place=None, places=0, roots=0.3,
):  # fmt: skip
    n = len(ground)
    state = np.zeros(n, dtype=np.uint8)
    state[list(sick)] = 4
    clock = clock or clock_of(days)
    return World(
        ground=ground,
        start=Start(
            state=state, unsure=np.array(unsure, dtype=int), chance=np.array(chance, dtype=float).reshape(-1, 3),
            stands_from=np.zeros(n) if stands_from is None else stands_from,
        ),
        clock=clock,
        life=Life(infectious_after_days=after, latency_median_days=latency[0], latency_sigma=latency[1],
                  seen_per_pass=seen, roots_strength=roots),
        courses=courses or (course_of(n, len(clock.stretch) - 1),),
        screens=screens,
        checks=np.array([clock.days] if checks is None else checks),
        place=np.full(n, -1) if place is None else place,
        places=places,
        kept=kept,
    )  # fmt: skip


def draw_of(world, per_day_m2=0.0, contact=0.0, outside=None, spread=None, number=0, left=None):
    n = len(world.ground)
    return Draw(
        number=number,
        spread=spread or spread_of(FLAT),
        rates=Rates(per_day_m2=per_day_m2, contact_per_day=contact, background_per_day=0.0),
        outside=np.zeros(n) if outside is None else np.array(outside, dtype=float),
        outside_left=left or (NOTHING,) * len(world.courses),
    )


def made_list(kind, n, **given):
    """Return a list of n items whose columns are nothing but what is given: zeros, no dates, empty texts."""
    values = {}
    for item in fields(kind):
        name = item.name
        if name in given:
            values[name] = given[name]
        elif name.endswith("_on") or name.endswith("_from"):
            values[name] = np.full(n, "NaT", dtype="datetime64[D]")
        elif item.default is item.default_factory and item.init:
            values[name] = [""] * n if name in ("reason", "decision", "decision_reason") else np.zeros(n)
    return kind(**values)


def plan_of(plants, planned_on, earliest_on=None, hours=0.25, set_up=0.0):
    """Return a plan that takes plants out, in this order, on the days given (one for all, or one each)."""
    n = len(plants)
    planned = np.broadcast_to(np.array(planned_on, dtype="datetime64[D]"), n)
    removal = made_list(
        RemovalList, n, plant=np.array(plants, dtype=int), planned_on=planned,
        earliest_on=planned if earliest_on is None else np.broadcast_to(np.datetime64(earliest_on), n),
        cumulative_hours=hours * np.arange(1, n + 1), set_up_minutes=np.full(n, set_up),
        within_hours=np.ones(n, dtype=bool),
    )  # fmt: skip
    return Plan(removal=removal, inspection=made_list(InspectionList, 0), backlog_weeks=0.0, remarks=())
