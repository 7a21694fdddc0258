"""Outbreaks of single plants, event by event, with surveys by imperfect eyes: the truth for reliability tables.

Nothing here imports the package's formulas: kernel, latency and clock are written anew.
"""

import heapq
import math
from dataclasses import dataclass

import numpy as np
from small_records import inventory_at


@dataclass(frozen=True)
class Truth:
    """Parameters of an outbreak; every day flies alike, and plants grow all year."""

    per_day_m2: float = 0.12
    contact_per_day: float = 0.003
    background_per_day: float = 2e-5
    touching_m: float = 1.0
    after_days: float = 14.0
    median_d: float = 69.0
    sigma: float = 0.71
    seen: float = 0.55
    mean_m: float = 10.95
    shape_m: float = 3.17
    radius_m: float = 0.4
    removal_days: float = 10.0


@dataclass(frozen=True)
class Outbreak:
    """What happened: positions, day of infection (infinite: never), and the records that surveyors and crews left."""

    plants: object
    infected: np.ndarray
    rows: list
    work: list


def wald(r, mean, shape):
    return math.sqrt(shape / (8 * math.pi**3 * r**5)) * math.exp(-shape * (r - mean) ** 2 / (2 * mean**2 * r))


def disc_mean(r, truth):
    """Mean over the receiver's disc: sixty points, each for the same area."""
    total = 0.0
    for k in range(5):
        rho = truth.radius_m * math.sqrt((k + 0.5) / 5)
        for turn in (np.arange(12) + 0.5) * math.pi / 6:
            total += wald(
                max(math.hypot(r + rho * math.cos(turn), rho * math.sin(turn)), 1e-3), truth.mean_m, truth.shape_m
            )
    return total / 60


def place_plants(count, rng):
    """Beds of eight plants about a metre apart, strewn over a place whose size keeps their density."""
    beds = count // 8
    middle = rng.uniform(0, 28.0 * math.sqrt(beds), (beds, 2))
    offsets = np.array([(x, y) for x in range(4) for y in range(2)], dtype=float) * 1.1
    return (middle[:, None, :] + offsets + rng.normal(0, 0.15, (beds, 8, 2))).reshape(-1, 2)


def outbreak(truth, count, days, surveys, looked_share, rng):
    """Simulate infections in continuous time (next event by competing thresholds) with surveys and removals."""
    places = place_plants(count, rng)
    n = len(places)
    gap = np.hypot(*(places[:, None, :] - places[None, :, :]).T)
    radii = np.geomspace(0.05, 2000, 400)
    table = np.array([disc_mean(r, truth) for r in radii])
    rate = truth.per_day_m2 * np.interp(gap, radii, table) + truth.contact_per_day * (gap <= truth.touching_m)
    np.fill_diagonal(rate, 0.0)
    threshold = rng.exponential(size=n)  # infected when the pressure gathered since day 0 reaches it
    gathered, force = np.zeros(n), np.full(n, truth.background_per_day)
    infected, shows = np.full(n, np.inf), np.full(n, np.inf)
    standing, found, sending = np.ones(n, dtype=bool), np.zeros(n, dtype=bool), np.zeros(n, dtype=bool)
    events = [(float(day), 1, -1) for day in surveys]  # (day, kind, plant): 0 begins to send, 1 survey, 2 removed
    heapq.heapify(events)
    rows, work, now = [], [], 0.0
    while True:
        open_to = standing & np.isinf(infected)
        wait = np.where(open_to, (threshold - gathered) / force, np.inf)
        next_plant = int(np.argmin(wait))
        when = now + wait[next_plant]
        until = min(when, events[0][0] if events else days, days)
        gathered += force * (until - now)
        now = until
        if now >= days:
            break
        if when <= (events[0][0] if events else days):
            infected[next_plant] = now
            shows[next_plant] = now + truth.median_d * math.exp(truth.sigma * rng.normal())
            heapq.heappush(events, (now + truth.after_days, 0, next_plant))
            continue
        _, kind, plant = heapq.heappop(events)
        if kind == 0 and standing[plant]:
            sending[plant] = True
            force += rate[:, plant]
        elif kind == 2:
            standing[plant] = False
            work.append((plant, now))
            if sending[plant]:
                force -= rate[:, plant]
            force = np.maximum(force, truth.background_per_day)
        elif kind == 1:
            looked = standing & ~found & (rng.random(n) < looked_share)
            told = looked & (shows <= now) & (rng.random(n) < truth.seen)
            rows += [(i, now, "infected" if told[i] else "clean") for i in np.flatnonzero(looked)]
            found |= told
            for i in np.flatnonzero(told):
                heapq.heappush(events, (float(math.ceil(now + truth.removal_days)), 2, int(i)))
    return Outbreak(plants=inventory_at(*places), infected=infected, rows=rows, work=work)
