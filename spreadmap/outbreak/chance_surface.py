"""The chance by a fit that an ordinary plant at a place is infected in a period: what sends meanwhile, and the sum of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from spreadmap.biology.season import flight_weight_on
from spreadmap.outbreak.exposure import candidates
from spreadmap.outbreak.scene import Scene
from spreadmap.pressure.tiles import TileSink
from spreadmap.records.sources import chance_infectious, size_factor
from spreadmap.values.arrays import FloatArray
from spreadmap.values.hidden import Hidden
from spreadmap.values.inventory import Sources
from spreadmap.values.rates import Rates
from spreadmap.values.score import Course
from spreadmap.values.tile import Tile

DAY = np.timedelta64(1, "D")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PeriodSources:
    """What sends from the date of the state to a day, and what a density of its arrivals means for a medium plant.

    `plants` and `wild` have the strength of medium plants times days of full flight. Where their density of arrivals is
    `one_per_m2`, one infection is expected in the period; `outside` infections are expected beside it, from nowhere
    known [-].
    """

    plants: Sources
    wild: Sources
    one_per_m2: float
    outside: float


def period_sources(
    scene: Scene, hidden: Hidden, undone: Course | None, rates: Rates, until: np.datetime64
) -> PeriodSources:
    """Return what sends from the date of the state until the morning of a day, if nothing is done.

    Parameters
    ----------
    scene : Scene
    hidden : Hidden
        Chances of a fit; a hidden plant sends from the day on which it is infectious, each chance as so much of a plant.
    undone : Course, optional
        The course in which nothing is done: what it infects between its dates sends from the middle of them on, once it
        is infectious. Without, nothing new sends.
    rates : Rates
    until : `datetime64[D]`
        End of the period, after the date of the state.

    Returns
    -------
    PeriodSources

    Notes
    -----
    Expected infections of a medium plant of ordinary susceptibility that stands where the density of arrivals of all
    sources together is d: d / one_per_m2 + outside. Contact is left out: nothing touches a place. Bound by
    tests/test_chance_surface.py, beside the ensemble of outbreaks too.
    """
    inventory, state, settings = scene.inventory, scene.state, scene.settings
    days = int((until - state.as_of) / DAY)
    weight = flight_weight_on(state.as_of + np.arange(days) * DAY, scene.system.flight_weight)
    heaped = np.concatenate([[0.0], np.cumsum(weight)])
    whole, after = float(heaped[-1]), settings.infection.infectious_after_days

    def sent_from(day: FloatArray) -> FloatArray:
        """Days of full flight from a day of the period to its end, for plants infected on it."""
        return np.asarray(whole - np.interp(np.clip(day + after, 0.0, days), np.arange(days + 1), heaped))

    among = candidates(state)
    flown = chance_infectious(state, settings.sources) * whole
    edges = np.append(hidden.step_from, state.as_of)
    middle = ((edges[:-1] - state.as_of) / DAY + (edges[1:] - state.as_of) / DAY) / 2
    flown[among] = hidden.infected_in[among].astype(np.float64) @ sent_from(middle)
    if undone is not None:
        on = (undone.on[undone.on <= until] - state.as_of) / DAY
        gained = np.maximum(np.diff(undone.infected[: len(on)], axis=0), 0.0)
        flown += np.where(among, sent_from((on[:-1] + on[1:]) / 2) @ gained, 0.0)
    strength = flown * size_factor(inventory, settings.sources)
    sends = np.flatnonzero(strength > 0)
    wild = scene.wild
    return PeriodSources(
        plants=Sources(
            easting=inventory.easting[sends], northing=inventory.northing[sends], strength=strength[sends], plant=sends
        ),
        wild=Sources(
            easting=wild.easting, northing=wild.northing, strength=wild.strength * whole, plant=wild.plant
        ),
        one_per_m2=1.0 / rates.per_day_m2 if rates.per_day_m2 > 0 else float("inf"),
        outside=rates.background_per_day * whole,
    )  # fmt: skip


def chance_of(expected: FloatArray) -> FloatArray:
    """Return the chance of at least one infection where so many are expected, any shape [-]."""
    return np.asarray(-np.expm1(-expected), dtype=np.float64)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ChanceSink:
    """Takes tiles of expected infections from known sources, and hands chances of infection to a sink."""

    sink: TileSink
    outside: float

    @property
    def tiles(self) -> Sequence[Tile]:
        """Return all tiles of the grid."""
        return self.sink.tiles

    def todo(self) -> Sequence[Tile]:
        """Return the tiles that are still missing."""
        return self.sink.todo()

    def write(self, tile: Tile, values: npt.NDArray[np.float32]) -> None:
        """Keep the chances of one tile."""
        self.sink.write(tile, chance_of(values.astype(np.float64) + self.outside).astype(np.float32))
