"""Relative infection pressure on every plant, from which sources, and how far it rests on the kernel's scale."""

from __future__ import annotations

import numpy as np

from spreadmap.dispersal.spread import Spread, unit_density
from spreadmap.engine import Engine
from spreadmap.pressure import kept_density, pressure_at_points
from spreadmap.records.sources import receptors_of, size_factor
from spreadmap.records.state import confirmed
from spreadmap.values.arrays import BoolArray, FloatArray, IntArray
from spreadmap.values.inventory import Inventory, ScreenSegments, Sources
from spreadmap.values.results import Exposure
from spreadmap.values.settings import Settings
from spreadmap.values.surveys import PlantState


def candidates(state: PlantState) -> BoolArray:
    """Return the plants that could be infected without being known: standing hosts, not confirmed, shape (n,)."""
    return state.is_host & state.is_standing & ~confirmed(state)


def ranks(values: FloatArray, among: BoolArray) -> IntArray:
    """Return ranks, 1 for the largest; equal values keep the order of the inventory; 0 for those not in `among`."""
    places = np.flatnonzero(among)
    order = places[np.argsort(-values[places], kind="stable")]
    result = np.zeros(len(values), dtype=np.int64)
    result[order] = np.arange(1, len(order) + 1)
    return result


def plant_exposure(
    inventory: Inventory,
    state: PlantState,
    plants: Sources,
    reservoirs: Sources,
    spread: Spread,
    screens: ScreenSegments,
    settings: Settings,
    engine: Engine,
) -> Exposure:
    """Return the relative infection pressure on every plant.

    Parameters
    ----------
    inventory, state : n plants and what is known of them
    plants, reservoirs : Sources
        What sends, from the inventory and from wild stands.
    spread, screens, settings, engine
        Kernel and wind, screens that count, settings, where work runs.

    Returns
    -------
    Exposure
        Pressure in multiples of what one confirmed medium plant sends in still air to a place 10 m away, times the
        plant's susceptibility and size; zero for plants that are no candidates. In each run of the scale, the unit is
        that run's own, so that ranks and not lengths are compared.
    """
    among = candidates(state)
    everyone = receptors_of(inventory, among, settings.sources)
    receiving = (inventory.susceptibility * size_factor(inventory, settings.sources))[among]

    def pressure(law: Spread) -> tuple[FloatArray, FloatArray]:
        """Return the pressure from plants and from wild stands, each (n,)."""
        own = pressure_at_points(
            everyone, plants, law, engine, screens=screens, settings=settings.pressure
        ).density  # fmt: skip
        wild = kept_density(everyone, reservoirs, law, engine, screens=screens, settings=settings.pressure)
        full = np.zeros((2, len(inventory)))
        full[:, among] = np.stack([own, wild]) * receiving / unit_density(law.kernel)
        return full[0], full[1]

    own, wild = pressure(spread)
    factors = np.array(settings.kernel.scale_run, dtype=np.float64)
    runs = [ranks(np.add(*pressure(spread.scaled(float(factor)))), among) for factor in factors]
    return Exposure(
        pressure=own + wild,
        from_plants=own,
        from_reservoirs=wild,
        scale_factors=factors,
        scale_rank=np.array(runs, dtype=np.int64).reshape(len(factors), len(inventory)),
    )
