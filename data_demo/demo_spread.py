"""The epidemic of Tallowmere, plant by plant and day by day, with parameters that are known because they are set here.

Nothing of spreadmap is used: formulas are written anew, so that what spreadmap reads from the outcome can be compared
with the truth.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field

import numpy as np
from demo_weather import Hours, is_flight_hour, turn_into_valley
from scipy.stats import invgauss

KERNEL_MEAN_M, KERNEL_SHAPE_M = 14.0, 4.0
"""WALD (inverse Gaussian) density of distances, spread evenly over the circle."""
WIND_INFLUENCE, NEAR_RADIUS_M = 0.7, 1.0
"""Share of arrivals whose bearing follows the wind, and the radius within which bearings mean nothing."""
RATE_M2_PER_DAY = 0.08
"""Infections per day of full season, per unit of arrival density [1/m²], of a medium plant with one medium source."""
BACKGROUND_PER_SEASON = 0.0015
"""Infections of a medium, ordinary plant from elsewhere in one season (weights of months add up to one)."""
SEASON_WEIGHT = (0, 0, 0, 0.2, 0.5, 0.8, 1.0, 1.0, 1.0, 0.9, 0.4, 0)
"""Mites in the air, January first; one is full season."""
DAYS_TO_INFECTIOUS = 14
LATENCY_MEDIAN_DAYS, LATENCY_SIGMA = 69.0, 0.71
"""Log-normal, infection to symptoms, counted in days of the growing season only."""
GROWING_MONTHS = (4, 5, 6, 7, 8, 9, 10, 11)
PARTLY_REMOVED_STRENGTH = 0.3

LEAST_DISTANCE_M = 0.5
BEARINGS = 36


@dataclass(frozen=True)
class Truth:
    """The parameters of one epidemic; the defaults are those of the demo."""

    kernel_mean_m: float = KERNEL_MEAN_M
    kernel_shape_m: float = KERNEL_SHAPE_M
    wind_influence: float = WIND_INFLUENCE
    near_radius_m: float = NEAR_RADIUS_M
    rate_m2_per_day: float = RATE_M2_PER_DAY
    background_per_season: float = BACKGROUND_PER_SEASON
    days_to_infectious: int = DAYS_TO_INFECTIOUS
    latency_median_days: float = LATENCY_MEDIAN_DAYS
    latency_sigma: float = LATENCY_SIGMA


@dataclass(frozen=True)
class Rose:
    """One month's density of bearings toward which air moves, per radian, at every ten degrees of grid bearing."""

    density: np.ndarray
    mean_bearing_deg: float

    def at(self, bearing_deg: np.ndarray) -> np.ndarray:
        """Return the density at bearings, linear between the tens."""
        place = np.mod(bearing_deg, 360) / 10
        low = np.floor(place).astype(int)
        share = place - low
        return (1 - share) * self.density[low % BEARINGS] + share * self.density[(low + 1) % BEARINGS]


def monthly_roses(hours: Hours, convergence_deg: float) -> dict[int, Rose]:
    """Return the rose of each month on record from its flight hours; hours without a direction favour no bearing."""
    month = np.array([time.month for time in hours.local_time])
    flying = is_flight_hour(hours)
    roses = {}
    for each in sorted(set(month.tolist())):
        came_from = hours.wind_from_deg[flying & (month == each)]
        known = came_from[np.isfinite(came_from)]
        # whole tens of true bearings; turned to grid north by moving the counts between neighbouring tens
        count = np.bincount(np.round(known / 10 + BEARINGS / 2).astype(int) % BEARINGS, minlength=BEARINGS)
        even = (len(came_from) - len(known)) / BEARINGS
        true_rose = Rose((count + even) / len(came_from) / (2 * np.pi / BEARINGS), 0.0)
        density = true_rose.at(np.arange(BEARINGS) * 10.0 + convergence_deg)
        mean = np.angle((density * np.exp(1j * np.deg2rad(np.arange(BEARINGS) * 10.0))).sum(), deg=True)
        roses[each] = Rose(density, float(mean))
    return roses


def location_kernel(distance_m: np.ndarray, truth: Truth) -> np.ndarray:
    """Return the WALD density of arrivals per area at distances [1/m²]."""
    distance = np.maximum(distance_m, LEAST_DISTANCE_M)
    ratio = truth.kernel_mean_m / truth.kernel_shape_m
    return invgauss.pdf(distance, ratio, scale=truth.kernel_shape_m) / (2 * np.pi * distance)


def wind_factor(
    distance_m: np.ndarray, bearing_deg: np.ndarray, turn_deg: float, rose: Rose | None, truth: Truth
) -> np.ndarray:
    """Return what the wind at one source makes of its arrivals; its mean over all bearings is one.

    Beyond the near radius a share `wind_influence` of the arrivals follows the rose, turned clockwise by the local
    turn; the rest goes evenly. Toward the source the rule fades as exp(-r²/m²).
    """
    if rose is None:
        return np.ones_like(distance_m)
    beyond = 1 - np.exp(-((distance_m / truth.near_radius_m) ** 2))
    return 1 + truth.wind_influence * (2 * np.pi * rose.at(bearing_deg - turn_deg) - 1) * beyond


def crosses(start: np.ndarray, ends: np.ndarray, first: np.ndarray, last: np.ndarray) -> np.ndarray:
    """Return which straight ways from `start` to `ends` cross the piece from `first` to `last`."""

    def side(a: np.ndarray, b: np.ndarray, c: np.ndarray) -> np.ndarray:
        return np.sign((b[..., 0] - a[..., 0]) * (c[..., 1] - a[..., 1])
                       - (b[..., 1] - a[..., 1]) * (c[..., 0] - a[..., 0]))  # fmt: skip

    return (side(first, last, start) * side(first, last, ends) < 0) & (
        side(start, ends, first) * side(start, ends, last) < 0
    )


@dataclass
class Outbreak:
    """The state of an epidemic, moved on day by day.

    `places` (n, 2) in the town's frame [m]; `receives` and `sends` (n,) multiply arrivals on and from each plant [-].
    `stand_places` (s, 2) and `stand_strength` (s,) are wild plants that send all season and never change.
    `screens` are pieces (first, last) with the factor on arrivals that cross. Each plant draws one exponential
    threshold and is infected on the day on which its hazard, added up since the start, has reached it (Sellke 1983,
    J Appl Probab 20:390-394): the chance by any day is 1 - exp(-hazard).
    """

    places: np.ndarray
    receives: np.ndarray
    sends: np.ndarray
    random: np.random.Generator
    today: dt.date
    truth: Truth = field(default_factory=Truth)
    roses: dict[int, Rose] | None = None
    stand_places: np.ndarray = field(default_factory=lambda: np.zeros((0, 2)))
    stand_strength: np.ndarray = field(default_factory=lambda: np.zeros(0))
    screens: tuple[tuple[np.ndarray, np.ndarray, float], ...] = ()

    def __post_init__(self) -> None:
        """Draw what every plant has drawn once and for all."""
        count = len(self.places)
        self.threshold = self.random.exponential(size=count)
        self.latency = self.truth.latency_median_days * np.exp(
            self.truth.latency_sigma * self.random.normal(size=count)
        )
        self.hazard = np.zeros(count)
        self.days_since = np.full(count, -1.0)
        self.growing_days_since = np.zeros(count)
        self.infected_on: list[dt.date | None] = [None] * count
        self.symptoms_on: list[dt.date | None] = [None] * count
        self.strength_left = np.ones(count)
        self.standing = np.ones(count, dtype=bool)
        self._rows: dict[tuple[int, int], np.ndarray] = {}
        self._through: dict[int, np.ndarray] = {}
        self._stand_rows: dict[int, np.ndarray] = {}

    def infect(self, plant: int) -> None:
        """Infect one plant today."""
        self.days_since[plant] = 0.0
        self.infected_on[plant] = self.today

    def remove(self, plant: int, left: float = 0.0) -> None:
        """Take a plant out today; `left` is the strength of what stayed in the ground."""
        self.standing[plant] = False
        self.strength_left[plant] = left

    def is_infected(self) -> np.ndarray:
        """Return which plants are infected."""
        return self.days_since >= 0

    def has_symptoms(self) -> np.ndarray:
        """Return which standing plants show symptoms."""
        return self.is_infected() & self.standing & (self.growing_days_since >= self.latency)

    def advance(self, until: dt.date) -> None:
        """Move on, day by day, until the morning of a date."""
        while self.today < until:
            self._one_day()
            self.today += dt.timedelta(days=1)

    def _one_day(self) -> None:
        season = SEASON_WEIGHT[self.today.month - 1]
        infected = self.is_infected()
        if season > 0:
            full_days = 30.4 * sum(SEASON_WEIGHT)
            arrivals = self._arrivals_today(infected)
            daily = self.truth.rate_m2_per_day * arrivals + self.truth.background_per_season / full_days
            self.hazard += season * self.receives * daily
        self.days_since[infected] += 1
        if self.today.month in GROWING_MONTHS:
            self.growing_days_since[infected] += 1
        for plant in np.flatnonzero(infected & (self.growing_days_since >= self.latency)):
            if self.symptoms_on[plant] is None:
                self.symptoms_on[plant] = self.today
        for plant in np.flatnonzero(~infected & self.standing & (self.hazard >= self.threshold)):
            self.infect(plant)

    def _arrivals_today(self, infected: np.ndarray) -> np.ndarray:
        """Return the density of arrivals on every plant, added up over all sources [1/m²]."""
        month = self.today.month
        if month not in self._stand_rows:
            rows = [strength * self._row(place, month, self._screen_factor(place))
                    for place, strength in zip(self.stand_places, self.stand_strength, strict=True)]  # fmt: skip
            self._stand_rows[month] = np.sum(rows, axis=0) if rows else np.zeros(len(self.places))
        total = self._stand_rows[month].copy()
        sends = self.sends * self.strength_left * (infected & (self.days_since >= self.truth.days_to_infectious))
        for plant in np.flatnonzero(sends > 0):
            key = (int(plant), month)
            if plant not in self._through:
                self._through[plant] = self._screen_factor(self.places[plant])
            if key not in self._rows:
                self._rows[key] = self._row(self.places[plant], month, self._through[plant])
                self._rows[key][plant] = 0.0
            total += sends[plant] * self._rows[key]
        return total

    def _row(self, place: np.ndarray, month: int, through: np.ndarray) -> np.ndarray:
        """Return the density of arrivals on every plant from one source of strength one [1/m²]."""
        offset = self.places - place
        distance = np.hypot(offset[:, 0], offset[:, 1])
        bearing = np.rad2deg(np.arctan2(offset[:, 0], offset[:, 1]))
        rose, turn = None, 0.0
        if self.roses is not None:
            rose = self.roses[min(month, max(self.roses))]
            turn = float(turn_into_valley(place[None], rose.mean_bearing_deg)[0])
        return location_kernel(distance, self.truth) * wind_factor(distance, bearing, turn, rose, self.truth) * through

    def _screen_factor(self, place: np.ndarray) -> np.ndarray:
        """Return the factor of the screens on the ways from one source to every plant."""
        factor = np.ones(len(self.places))
        for first, last, effect in self.screens:
            factor[crosses(place, self.places, first, last)] *= effect
        return factor
