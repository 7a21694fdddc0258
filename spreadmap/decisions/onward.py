"""What plants that could be taken out would bring about if they stayed: doses on healthy plants until a horizon."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace

import numpy as np
from scipy.spatial import cKDTree

from spreadmap.biology.season import flight_days
from spreadmap.biology.season_clock import SeasonClock
from spreadmap.decisions.order import Contributions
from spreadmap.dispersal.spread import Spread, unit_density
from spreadmap.engine import Engine
from spreadmap.outbreak.assumed_rates import assumed_rates
from spreadmap.pressure import kept_density, pressure_at_points
from spreadmap.pressure.pairs import near_pair_densities
from spreadmap.records.sources import receiving_weight, receptors_of, size_factor
from spreadmap.records.state import confirmed
from spreadmap.values.arrays import FloatArray, IntArray
from spreadmap.values.hidden import Hidden
from spreadmap.values.inventory import Inventory, Receptors, ScreenSegments, Sources
from spreadmap.values.pest_system import PestSystem
from spreadmap.values.rates import Rates
from spreadmap.values.settings import Settings
from spreadmap.values.surveys import PlantState

MOST_PAIRS = 6_000_000
"""Pairs that are reckoned one by one: about 60 bytes each. Of more, the nearest; the rest counts to first order."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Receivers:
    """Plants that may still become infected, as receptors.

    `healthy` is the chance of being so, `receives` the factor of size and susceptibility on arrivals [-].
    """

    plants: Receptors
    healthy: FloatArray
    receives: FloatArray

    def __len__(self) -> int:
        """Return the number of receivers."""
        return len(self.healthy)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Giving:
    """n plants that could be taken out: what each sends with if it is infected, and the chance that it is [-].

    `days` is the flight for which each counts [d of full flight].
    """

    sources: Sources
    chance: FloatArray
    days: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Onward:
    """What n plants would bring about: `worth` in infections by the rates that count, `relative` in units of pressure.

    `relative` (n,) sums over healthy hosts. `pair_receiver` and `pair_share` say for the pairs of `worth` which plant of
    the inventory receives, and which share of all that the giver would send to healthy hosts falls on it, to first
    order [-].
    """

    worth: Contributions
    relative: FloatArray
    pair_receiver: IntArray
    pair_share: FloatArray


def receivers_of(inventory: Inventory, state: PlantState, settings: Settings, hidden: Hidden | None) -> Receivers:
    """Return the plants that may still become infected; without hidden infection all that are not known to be sick count whole.

    Suspects count with the share of suspects that turns out healthy, confirmed plants and what does not stand nothing.
    """
    weight = receiving_weight(inventory, state, settings.sources)
    receives = inventory.susceptibility * size_factor(inventory, settings.sources)
    healthy = np.divide(weight, receives, out=np.zeros(len(weight)), where=receives > 0)
    if hidden is not None:
        known = np.isfinite(hidden.healthy) & (healthy > 0)
        healthy = np.where(known, hidden.healthy, healthy)
    keep = healthy * receives > 0
    return Receivers(
        plants=receptors_of(inventory, keep, settings.sources), healthy=healthy[keep], receives=receives[keep]
    )


def horizon_days(as_of: dt.date, horizon_on: dt.date | None, system: PestSystem, settings: Settings) -> float:
    """Return the flight from the date of the state until the horizon, across the winter [d of full flight].

    A horizon that ends with the season would make a plant found in autumn look harmless, which is a source again next
    spring: it reaches over `settings.removal.value_days` at least.
    """
    last = as_of + dt.timedelta(days=settings.removal.value_days)
    last = max(last, horizon_on) if horizon_on is not None else last
    return flight_days(np.datetime64(as_of), np.datetime64(last), system.flight_weight)


def green_horizon_days(as_of: dt.date, days: float, system: PestSystem, settings: Settings) -> float:
    """Return the flight for which a plant without a finding counts, at most `days` [d of full flight].

    If it is infected it will show, be found and come out without the model: what it sends after that is not avoided by
    taking it out now. So it counts over `settings.removal.green_days` of the growing season, across the winter, too.
    """
    clock = SeasonClock(begins=settings.infection.growing_from, ends=settings.infection.growing_to)
    first = np.datetime64(as_of)
    last = clock.date_after(np.array([first]), float(settings.removal.green_days))[0]
    return min(days, flight_days(first, last, system.flight_weight))


def near_reach(spread: Spread, settings: Settings) -> float:
    """Return the distance up to which receivers are told apart one by one [m]; of too many pairs only the nearest are."""
    reach = float(spread.kernel.quantile(settings.removal.near_share))
    return max(reach, settings.inspection.touching_m)


def assumed_air_rates(sent: FloatArray, infections: float, system: PestSystem, settings: Settings) -> Rates:
    """Return rates under which the mean of some plants causes so many infections in a year, through the air alone.

    Parameters
    ----------
    sent : array, shape (n,)
        What each plant sends to healthy hosts: strength times density times size and susceptibility. [m^-2]
    infections : float
        Per plant and full season.
    system, settings
        As for `outbreak.assumed_rates`, whose contact and background are left out.
    """
    rates = assumed_rates(infections, float(sent.mean()) if len(sent) else 0.0, system, settings)
    return replace(rates, contact_per_day=0.0, background_per_day=0.0)


class Reckoner:
    """What plants would bring about under one law of arrivals; rates may be changed without summing anew.

    Parameters
    ----------
    giving : Giving, n plants
    receivers : Receivers, m plants
    others : Sources
        Whatever sends and is not to be taken out.
    spread, screens, settings, engine
        As elsewhere.
    believed : Reckoner, optional
        What others send is taken from there: it says which receivers are lost anyway, and is nearly the same under all laws
        that a fit allows.
    """

    def __init__(
        self, giving: Giving, receivers: Receivers, others: Sources, spread: Spread, screens: ScreenSegments,
        settings: Settings, engine: Engine, believed: Reckoner | None = None,
    ) -> None:  # fmt: skip
        self._giving, self._receivers = giving, receivers
        expected = Sources(
            easting=giving.sources.easting, northing=giving.sources.northing,
            strength=giving.sources.strength * giving.chance, plant=giving.sources.plant,
        )  # fmt: skip
        weight = receivers.healthy * receivers.receives
        with_weight = {"screens": screens, "receptor_weight": weight, "settings": settings.pressure}
        sums = pressure_at_points(receivers.plants, expected, spread, engine, **with_weight)  # type: ignore[arg-type]
        self.sent = sums.sent if sums.sent is not None else np.zeros(len(expected))
        self._outside: FloatArray = (
            _outside(receivers.plants, others, spread, screens, settings, engine)
            if believed is None
            else believed._outside
        )
        touching = settings.inspection.touching_m
        self._pairs = near_pair_densities(
            receivers.plants, giving.sources, spread, engine, screens=screens, within_m=near_reach(spread, settings),
            most_pairs=MOST_PAIRS,
        )  # fmt: skip
        source = self._pairs.source
        self._near = self._pairs.density * giving.sources.strength[source]
        self._touch = np.where(self._pairs.distance_m <= touching, giving.sources.strength[source], 0.0)
        expected_near = self._near * giving.chance[source]
        landing = np.bincount(self._pairs.receptor, weights=expected_near, minlength=len(receivers))
        self._rest = np.maximum(sums.density - landing, 0.0)
        near_sent = np.bincount(
            source, weights=expected_near * weight[self._pairs.receptor], minlength=len(giving.sources)
        )
        self._far = np.maximum(self.sent - near_sent, 0.0)
        self._touched = _touched_by(others, receivers.plants, touching)
        self._unit = unit_density(spread.kernel)

    def under(self, rates: Rates, days: float, loss: FloatArray, others_at: Rates | None = None) -> Onward:
        """Return what each plant would bring about in its days; `loss` is what taking it out costs.

        All others send for `days`; where what they send is that of another law, at the rates that belong to it.
        """
        receives, source, own_days = self._receivers.receives, self._pairs.source, self._giving.days
        air, touch = rates.per_day_m2, rates.contact_per_day
        if_infected = (air * self._near + touch * self._touch) * receives[self._pairs.receptor] * own_days[source]
        chance = self._giving.chance[source]
        # A plant that is infected with chance p lets a receiver escape with 1 - p + p exp(-dose): one dose less.
        with np.errstate(divide="ignore"):
            dose = np.where(chance < 1, -np.log1p(chance * np.expm1(-if_infected)), if_infected)
        elsewhere = (receives * days) * (
            (others_at or rates).per_day_m2 * self._outside + air * self._rest + touch * self._touched
            + rates.background_per_day
        )  # fmt: skip
        worth = Contributions(
            start=self._pairs.start, receiver=self._pairs.receptor, dose=dose, healthy=self._receivers.healthy,
            elsewhere=elsewhere, far=air * own_days * self._far, loss=loss,
        )  # fmt: skip
        # Shares are of arrivals, so that they are the same whatever the rates; contact counts where it is known.
        sent = (self._near + (touch / air if air > 0 else 0.0) * self._touch) * chance
        sent = sent * (self._receivers.healthy * receives)[self._pairs.receptor]
        whole = np.bincount(source, weights=sent, minlength=len(self.sent)) + self._far
        return Onward(
            worth=worth, relative=self.sent / self._unit,
            pair_receiver=np.asarray(self._receivers.plants.plant[self._pairs.receptor], dtype=np.int64),
            pair_share=sent / np.where(whole > 0, whole, 1.0)[source],
        )  # fmt: skip


def _outside(
    plants: Receptors, others: Sources, spread: Spread, screens: ScreenSegments, settings: Settings, engine: Engine
) -> FloatArray:
    """Return the density of arrivals from others at each receiver, shape (receivers,) [m^-2].

    Wild stands send the same whatever comes out: other steps of the run ask for their sums as well.
    """
    wild, own = others.only(others.plant < 0), others.only(others.plant >= 0)
    density = pressure_at_points(plants, own, spread, engine, screens=screens, settings=settings.pressure).density
    more = kept_density(plants, wild, spread, engine, screens=screens, settings=settings.pressure)
    return np.asarray(density + more)


def _touched_by(others: Sources, plants: Receptors, touching_m: float) -> FloatArray:
    """Return the strength of the other plants that touch each receiver, shape (receivers,); wild stands touch none."""
    strength = np.zeros(len(plants))
    known = np.flatnonzero(others.plant >= 0)
    if not len(known) or not len(plants):
        return strength
    to = cKDTree(np.column_stack([plants.easting, plants.northing]))
    near = to.query_ball_point(np.column_stack([others.easting[known], others.northing[known]]), touching_m)
    for source, receivers in zip(known.tolist(), near, strict=True):
        for receiver in receivers:
            if plants.plant[receiver] != others.plant[source]:
                strength[receiver] += others.strength[source]
    return strength


def green_candidates(
    inventory: Inventory, state: PlantState, hidden: Hidden, receivers: Receivers, spread: Spread,
    screens: ScreenSegments, rates: Rates, days: float, settings: Settings, engine: Engine,
) -> IntArray:  # fmt: skip
    """Return the plants without a finding that could be worth taking out: chance times onward above price times health.

    To first order, which is never below what taking a plant out can avoid: nothing that is worth it is left out.
    """
    infected = np.nan_to_num(hidden.infected, nan=0.0)
    plant = np.flatnonzero((infected > 0) & state.is_standing & state.is_host & ~confirmed(state))
    if not len(plant):
        return plant
    strength = infected[plant] * size_factor(inventory, settings.sources)[plant]
    sources = Sources(
        easting=inventory.easting[plant], northing=inventory.northing[plant], strength=strength, plant=plant
    )
    weight = receivers.healthy * receivers.receives
    sums = pressure_at_points(receivers.plants, sources, spread, engine, screens=screens, receptor_weight=weight,
                              settings=settings.pressure)  # fmt: skip
    sent = sums.sent if sums.sent is not None else np.zeros(len(plant))
    touching = settings.inspection.touching_m
    onward = rates.per_day_m2 * days * sent
    onward += rates.contact_per_day * days * strength * touching_weight(sources, receivers.plants, weight, touching)
    return plant[onward > settings.removal.green_price * (1.0 - infected[plant])]


def touching_weight(sources: Sources, plants: Receptors, weight: FloatArray, touching_m: float) -> FloatArray:
    """Return the weight (receptors,) of the plants that touch each source, itself left out, shape (sources,)."""
    if not len(sources) or not len(plants):
        return np.zeros(len(sources))
    to = cKDTree(np.column_stack([plants.easting, plants.northing]))
    of = cKDTree(np.column_stack([sources.easting, sources.northing]))
    near = of.sparse_distance_matrix(to, touching_m, output_type="ndarray")
    is_other = sources.plant[near["i"]] != plants.plant[near["j"]]
    source, receptor = near["i"][is_other], near["j"][is_other]
    # In the order of receptors, so that sums are the same on every run.
    order = np.lexsort((receptor, source))
    return np.bincount(source[order], weights=weight[receptor[order]], minlength=len(sources)).astype(np.float64)


def standing_sources(inventory: Inventory, strength: FloatArray) -> Sources:
    """Return the plants of the inventory whose strength (n,) is above zero as sources."""
    sends = np.flatnonzero(strength > 0)
    return Sources(
        easting=inventory.easting[sends], northing=inventory.northing[sends], strength=strength[sends], plant=sends
    )
