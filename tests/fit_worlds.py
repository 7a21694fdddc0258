"""Made outbreaks for the tests of the fit: a simulator of their own, surveys of it, and fits of known times.

Nothing here uses the package's likelihood or its compiled code: densities are those of `slow_reference`, one plant after
another is infected by Gillespie's method on a clock that runs evenly.
"""

import math
from dataclasses import dataclass, field

import numpy as np
from scipy.special import ndtr, ndtri
from slow_reference import location_density

from spreadmap.dispersal.kernels import Kernel
from spreadmap.outbreak.fit_problem import Beliefs, FitProblem, Incubation

TODAY = np.datetime64("2026-01-01")
NEVER = math.inf


@dataclass
class Truth:
    """What an outbreak is made with: rate [m2/day], scale [m], components of the direction, background [1/day]."""

    rate: float = 6.0
    scale: float = 25.0
    east: float = 0.0
    north: float = 0.0
    background: float = 0.0
    contact: float = 0.0
    family: str = "exponential"
    shape: float | None = None
    infectious_after: float = 0.0
    incubation: float = 0.0
    sigma: float = 0.0
    touching_m: float = 0.0


@dataclass
class Outbreak:
    """Times of infection and of symptoms of every plant, `inf` where never, and when each was taken out."""

    infected: np.ndarray
    showing: np.ndarray
    removed: np.ndarray
    found: np.ndarray
    seeds: np.ndarray
    looks: list = field(default_factory=list)
    """(plant, day, chance per pass on a showing plant, found or not), in the order of the days."""


def field_of(plants, per_hectare, rng):
    """Return places of plants at random in a square of the density given, (plants, 2) [m]."""
    side = math.sqrt(plants / per_hectare * 10_000.0)
    return rng.uniform(0, side, (plants, 2))


def densities(places, source, truth):
    """Return the density that one plant sends to every place [m^-2], zero to its own."""
    east, north = (places - places[source]).T
    r = np.hypot(east, north)
    r[source] = 1.0
    if truth.family == "exponential":
        k = np.exp(-r / truth.scale) / (2 * np.pi * truth.scale**2)
    elif truth.family == "two exponentials":  # one arrival in three goes as many times further as `shape` says
        long = truth.scale * truth.shape
        k = 2 / 3 * np.exp(-r / truth.scale) / (2 * np.pi * truth.scale**2)
        k += 1 / 3 * np.exp(-r / long) / (2 * np.pi * long**2)
    elif truth.family == "wald":
        a, b = truth.scale, truth.shape
        k = np.sqrt(b / (8 * np.pi**3 * r**5)) * np.exp(-b * (r - a) ** 2 / (2 * a**2 * r))
    else:
        k = np.array([location_density(truth.family, one, truth.scale, truth.shape) for one in r])
    kappa = math.hypot(truth.east, truth.north)
    with np.errstate(invalid="ignore"):
        turn = np.exp((truth.east * east + truth.north * north) / r) / np.i0(kappa)
    k = k * turn
    k[source] = 0.0
    return k


def incubate(truth, rng, cut=0.0):
    """Return a time from infection to symptoms."""
    if truth.sigma == 0:
        return truth.incubation
    return truth.incubation * math.exp(truth.sigma * ndtri(cut + (1 - cut) * rng.uniform()))


def spread_out(places, truth, seeds, start, end, surveys, rng, removal_after=None, missing=0.0, most=math.inf, cut=0.0):
    """Return an outbreak from plants infected on `start`, with surveys at (day, chance per pass) until `end`.

    Noticed plants are taken out `removal_after` days later where given. `missing` is the share of plants that each
    survey passes over.
    """
    n = len(places)
    infected, showing, removed, found = (np.full(n, NEVER) for _ in range(4))
    force, contact = np.zeros(n), np.zeros(n)
    sent = {}
    agenda = [(day, "look", chance) for day, chance in surveys] + [(end, "the end", 0)]
    looks = []
    now = start

    def infect(plant, day):
        infected[plant], showing[plant] = day, day + incubate(truth, rng, cut)
        agenda.append((day + truth.infectious_after, "begin", plant))

    for plant in seeds:
        infect(plant, start)
    while True:
        agenda.sort(key=lambda event: (event[0], event[1]))
        day, what, which = agenda[0]
        open_ = np.isinf(infected) & np.isinf(removed)
        hazard = np.where(open_, truth.rate * force + truth.contact * contact + truth.background, 0.0)
        total = hazard.sum()
        wait = rng.exponential(1 / total) if total > 0 else NEVER
        if now + wait < day:
            now += wait
            infect(rng.choice(n, p=hazard / total), now)
            if np.isfinite(infected).sum() > most:
                return None
            continue
        now = day
        agenda.pop(0)
        if what == "the end":
            return Outbreak(
                infected=infected,
                showing=showing,
                removed=removed,
                found=found,
                seeds=np.array(seeds, dtype=int),
                looks=looks,
            )
        if what == "begin" and np.isinf(removed[which]):
            sent[which] = densities(places, which, truth)
            force += sent[which]
            if truth.touching_m:
                touch = np.hypot(*(places - places[which]).T) <= truth.touching_m
                touch[which] = False
                contact += touch
                sent[which] = (sent[which], touch)
        elif what == "out":
            removed[which] = day
            if which in sent:
                one = sent.pop(which)
                force -= one[0] if truth.touching_m else one
                contact -= one[1] if truth.touching_m else 0
                force = np.maximum(force, 0)
        elif what == "look":
            for plant in np.flatnonzero(np.isinf(found) & np.isinf(removed)):
                if missing and rng.uniform() < missing:
                    continue
                hit = showing[plant] <= day and rng.uniform() < which
                looks.append((plant, day, which, hit))
                if hit:
                    found[plant] = day
                    if removal_after is not None:
                        agenda.append((day + removal_after, "out", plant))


def outbreak_by_hand(infected, found, looks, removed=None):
    """Return a history by hand; symptoms are not told."""
    n = len(infected)
    return Outbreak(
        infected=np.array(infected, dtype=float), showing=np.full(n, NEVER),
        removed=np.full(n, np.inf) if removed is None else np.array(removed, dtype=float),
        found=np.array(found, dtype=float), seeds=np.zeros(0, dtype=int), looks=looks,
    )  # fmt: skip


FIT_PRIORS = {
    "rate": (math.log(5), 1.5),
    "scale": (math.log(30 / 25), 1.0),
    "wind": 1.5,
    "background": (math.log(1e-5), 2.0),
    "contact": (math.log(0.01), 1.0),
    "shape": 0.5,
}


def beliefs_of(free=(True, True, True, True, True, False, False), priors=None, introductions=20.0):
    """Return priors; the scale is in multiples of the kernel that the problem is given."""
    p = FIT_PRIORS | (priors or {})
    contact = p["contact"][0] if free[5] else math.log(1e-12)
    mean = (p["rate"][0], p["scale"][0], 0.0, 0.0, p["background"][0], contact, 0.0)
    sd = (p["rate"][1], p["scale"][1], p["wind"], p["wind"], p["background"][1], p["contact"][1], p["shape"])
    return Beliefs(mean=mean, sd=sd, free=free, introductions_mean=introductions)


def problem_of(places, truth, outbreak, first_day, latest_day, last_look, beliefs=None, fixed=True, cut=0.0, **more):
    """Return the survey history of an outbreak as the sampler takes it: constant season, ordinary medium plants.

    The kernel has the true scale, so that the factor on lengths is one where the fit is right.
    """
    n = len(places)
    rows = sorted(outbreak.looks, key=lambda row: (row[0], row[1]))
    look = np.array(
        [(plant, day, chance if hit else 1 - chance, 0.0 if hit else 1.0) for plant, day, chance, hit in rows]
    ).reshape(-1, 4)
    removed = np.where(np.isfinite(outbreak.removed), outbreak.removed, np.inf)
    soonest = truth.incubation if fixed else truth.incubation * math.exp(truth.sigma * ndtri(cut)) if cut else 0.0
    days = math.ceil(last_look) + 5
    given = {
        "day_zero": TODAY, "easting": places[:, 0], "northing": places[:, 1], "receive": np.ones(n), "send": np.ones(n),
        "enter_day": np.full(n, -np.inf), "leave_day": removed, "removed_day": removed, "rest": np.zeros(n),
        "gone_day": removed, "noticed": np.isfinite(outbreak.found), "look_plant": look[:, 0].astype(int),
        "look_day": look[:, 1], "pass_showing": look[:, 2], "pass_silent": look[:, 3], "wild_easting": np.zeros(0),
        "wild_northing": np.zeros(0), "wild_send": np.zeros(0), "flight": np.ones(days), "season": np.ones(days),
        "first_day": first_day, "latest_day": latest_day, "end_day": last_look - soonest,
        "infectious_after_d": truth.infectious_after,
        "incubation": Incubation(median_d=truth.incubation, sigma=max(truth.sigma, 1e-9), cut_share=cut, is_fixed=fixed),
        "kernel": Kernel(family=truth.family, scale_m=truth.scale, shape=truth.shape), "near_radius_m": 0.0,
        "canopy_m": 0.0, "touching_m": truth.touching_m, "beliefs": beliefs or beliefs_of(), "candidates_least": 4000,
        "candidates_per_case": 3.0,
    }  # fmt: skip
    return FitProblem(**(given | more))


def share_shown(incubation, days):
    """Return the share of infected plants that show after so many days, cut off below."""
    if incubation.is_fixed:
        return float(days >= incubation.median_d)
    if days <= 0:
        return 0.0
    share = ndtr(math.log(days / incubation.median_d) / incubation.sigma)
    return max(0.0, (share - incubation.cut_share) / (1 - incubation.cut_share))
