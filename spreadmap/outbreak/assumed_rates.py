"""Rates of infection where none was fitted: from assumed onward infections of a typical confirmed plant."""

from __future__ import annotations

import numpy as np

from spreadmap.biology.season import flight_days_of_a_year
from spreadmap.dispersal.spread import Spread
from spreadmap.engine import Engine
from spreadmap.pressure import pressure_at_points
from spreadmap.records.sources import plant_sources, receiving_weight, receptors_of
from spreadmap.records.state import confirmed
from spreadmap.values.inventory import Inventory, ScreenSegments, Sources
from spreadmap.values.pest_system import PestSystem
from spreadmap.values.rates import Rates
from spreadmap.values.settings import Settings
from spreadmap.values.surveys import PlantState

STAND_INS = 200
"""Hosts that stand in for confirmed plants where there are none, at most [-]."""


def onward_density(
    inventory: Inventory, state: PlantState, spread: Spread, screens: ScreenSegments, settings: Settings, engine: Engine
) -> float:
    """Return what a typical confirmed plant sends to all healthy hosts: mean over them of weight times density [m^-2].

    Where none is confirmed, hosts spread over the inventory stand in for them.
    """
    weight = receiving_weight(inventory, state, settings.sources)
    receives = weight > 0
    every = plant_sources(inventory, state, settings.sources)
    sick = every.only(confirmed(state)[every.plant])
    if len(sick) == 0:
        hosts = np.flatnonzero(receives)
        some = hosts[:: max(1, -(-len(hosts) // STAND_INS))]
        sick = Sources(
            easting=inventory.easting[some], northing=inventory.northing[some], strength=np.ones(len(some)), plant=some
        )
    if len(sick) == 0 or not receives.any():
        return 0.0
    sums = pressure_at_points(
        receptors_of(inventory, receives, settings.sources), sick, spread, engine, screens=screens,
        receptor_weight=weight[receives], settings=settings.pressure,
    )  # fmt: skip
    return 0.0 if sums.sent is None else float(sums.sent.mean())


def assumed_rates(onward: float, density_m2: float, system: PestSystem, settings: Settings) -> Rates:
    """Return the rates with which a typical confirmed plant infects so many others through the air in a full season.

    Parameters
    ----------
    onward : float
        Expected infections, to first order: none of the receivers is infected otherwise. [-]
    density_m2 : float
        What `onward_density` returns; zero where nothing arrives, and then nothing spreads through the air. [m^-2]
    system : PestSystem
    settings : Settings
        `infection` holds contact and background per season, which come besides.
    """
    days = flight_days_of_a_year(system.flight_weight)
    if days <= 0:
        return Rates(per_day_m2=0.0, contact_per_day=0.0, background_per_day=0.0)
    return Rates(
        per_day_m2=onward / (density_m2 * days) if density_m2 > 0 else 0.0,
        contact_per_day=settings.infection.contact_per_season / days,
        background_per_day=settings.infection.background_per_season / days,
    )
