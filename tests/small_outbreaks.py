"""Grounds, starts and courses of action that several test files write down in a few words."""

import numpy as np
from small_worlds import screens_of, sources_at, spread_of
from spreadmap.outbreak.events import Ground, calendar_of, infection_times, simulate

from spreadmap.biology.latency import Latency
from spreadmap.biology.season_clock import SeasonClock
from spreadmap.dispersal.kernels import Kernel
from spreadmap.engine import Engine
from spreadmap.values.action import Action, Start
from spreadmap.values.epidemic import Rates

AS_OF = np.datetime64("2026-01-01")
ALL_YEAR = SeasonClock(begins=(1, 1), ends=(12, 31))
ONE_DAY = Latency(family="lognormal", median_d=0.5, spread=0.01)
"""All plants show on the first season day after infection."""
EVEN_M = 1e6
EVEN = spread_of(Kernel(family="gaussian", scale_m=EVEN_M))
"""So wide that among plants within a few metres every pair has the density 1 / (pi a^2)."""
PER_HAZARD = np.pi * EVEN_M**2
"""The rate with which each pair of that law has a daily hazard of one [m^2 per day]."""
ONE = Engine(workers=1)


def day(number):
    return AS_OF + np.timedelta64(int(number), "D")


def days(*numbers):
    return np.array([day(number) for number in numbers], dtype="datetime64[D]")


def ground_at(*places, radius=0.0, receives=1.0, sends=1.0, touching_m=0.0):
    at = np.array(places, dtype=float).reshape(-1, 2)
    n = len(at)
    return Ground(
        easting=at[:, 0],
        northing=at[:, 1],
        radius_m=np.broadcast_to(np.asarray(radius, dtype=float), n),
        receives=np.broadcast_to(np.asarray(receives, dtype=float), n),
        sends=np.broadcast_to(np.asarray(sends, dtype=float), n),
        touching_m=touching_m,
    )


def crowd(n, **more):
    """Return n plants on one spot, in effect: no pair is nearer than another to the even law."""
    return ground_at(*[(0.01 * i, 0.0) for i in range(n)], **more)


def start_with(n, known=(), latent=0.0, silent=0.0, showing=0.0, roots=(), age=0.0):
    chance = [np.broadcast_to(np.asarray(one, dtype=float), n).copy() for one in (latent, silent, showing, age)]
    chance[2][list(known)] = 1.0
    left = np.zeros(n)
    for plant, share in roots:
        left[plant] = share
    return Start(latent=chance[0], silent=chance[1], showing=chance[2], roots=left, age_d=chance[3])


def action_of(n, out=(), surveys=(), condition="a course", **more):
    """Return a course; `out` are (plant, day) and `surveys` days."""
    out_on = np.full(n, "NaT", dtype="datetime64[D]")
    for plant, on in out:
        out_on[plant] = day(on)
    given = {"looked_at": np.ones(n, dtype=bool), "minutes": np.full(n, 30.0), **more}
    return Action(condition=condition, out_on=out_on, surveys_on=days(*surveys), **given)


def rates_of(rate=0.0, contact=0.0, background=0.0, scale=1.0, after=1.0):
    return Rates(
        rate_m2_per_day=rate,
        contact_per_season=contact,
        background_per_season=background,
        scale_factor=scale,
        infectious_after_d=after,
    )


def calendar(length, flight=(1,) * 12, clock=ALL_YEAR):
    return calendar_of(AS_OF, day(length), flight, clock)


def outbreaks(
    ground, start, actions, rates, length, members, *, spread=EVEN, wild=None, screens=None, latency=ONE_DAY, seed=1,
    engine=ONE, checks=None, groups=None, when=None,
):  # fmt: skip
    """Return what each course comes to by the horizon, or by the days of `checks`."""
    draws = [rates] if isinstance(rates, Rates) else rates
    return simulate(
        ground, start, actions, spread, screens or screens_of(), wild or sources_at(), draws, latency,
        when or calendar(length), days(*(checks or [length])), members, seed, engine, groups,
    )  # fmt: skip


def times(
    ground, start, action, rates, length, members, *, spread=EVEN, wild=None, screens=None, latency=ONE_DAY, seed=1,
    when=None,
):  # fmt: skip
    return infection_times(
        ground, start, action, spread, screens or screens_of(), wild or sources_at(), rates, latency,
        when or calendar(length), members, seed,
    )  # fmt: skip
