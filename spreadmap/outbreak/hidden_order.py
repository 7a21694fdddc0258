"""The order of hidden infection where no rates were fitted: ranks over an assumed range of rates, and no chance."""

from __future__ import annotations

import numpy as np

from spreadmap.dispersal.spread import Spread
from spreadmap.engine import Engine
from spreadmap.outbreak.assumed_rates import assumed_rates, onward_density
from spreadmap.outbreak.exposure import candidates, ranks
from spreadmap.outbreak.hidden_now import hidden_at_rates
from spreadmap.values.arrays import BoolArray, FloatArray
from spreadmap.values.hidden import Hidden, HiddenOrder
from spreadmap.values.inventory import Inventory, ScreenSegments, Sources
from spreadmap.values.pest_system import PestSystem
from spreadmap.values.settings import Settings
from spreadmap.values.surveys import PlantState, Surveys, WorkLog

MOST_WEIGHT = 100.0
"""Weight of the candidate that weighs most [-]."""
PARTS = 10
"""A rank holds when its plant stays in one of so many equal parts of the order."""


def assumed_hidden(
    inventory: Inventory,
    state: PlantState,
    surveys: Surveys,
    work_log: WorkLog,
    wild: Sources,
    spread: Spread,
    screens: ScreenSegments,
    system: PestSystem,
    settings: Settings,
    engine: Engine,
) -> dict[float, Hidden]:
    """Return what is hidden at every assumed rate, the middle one first; for orders and for starts of outbreaks only.

    Parameters
    ----------
    inventory, state, surveys, work_log, wild, spread, screens, system, settings, engine
        As for `mean_field_hidden`; `infection.assumed_onward` and its range take the place of fitted rates.

    Returns
    -------
    dict of float to Hidden
        By assumed onward infections. Its numbers rest on rates that nobody measured: none may be shown.
    """
    density = onward_density(inventory, state, spread, screens, settings, engine)
    infection = settings.infection
    tried = tuple(dict.fromkeys((infection.assumed_onward, *infection.assumed_onward_range)))
    rates = tuple(assumed_rates(onward, density, system, settings) for onward in tried)
    said = (inventory, state, surveys, work_log, wild, spread, screens, system, settings, engine)
    return dict(zip(tried, hidden_at_rates(rates, *said), strict=True))


def order_of(runs: tuple[Hidden, ...], among: BoolArray) -> HiddenOrder:
    """Return the order of the candidates by the first run, and how far the other runs move it."""
    table = np.array([ranks(np.nan_to_num(run.infected), among) for run in runs], dtype=np.int64)
    weight = np.where(among, runs[0].infected, np.nan)
    largest = float(np.nanmax(weight, initial=0.0)) if among.any() else 0.0
    count = max(int(among.sum()), 1)
    part = (PARTS * np.maximum(table - 1, 0)) // count
    return HiddenOrder(
        weight=MOST_WEIGHT * (weight / largest) if largest > 0 else np.where(among, 0.0, np.nan),
        rank=table[0],
        rank_low=table.min(axis=0),
        rank_high=table.max(axis=0),
        rank_holds=among & np.all(part == part[0], axis=0),
        half_show_by=runs[0].half_show_by,
        remarks=tuple(dict.fromkeys(remark for run in runs for remark in run.remarks)),
    )


def hidden_or_order(
    chances: Hidden | None,
    inventory: Inventory,
    state: PlantState,
    surveys: Surveys,
    work_log: WorkLog,
    wild: Sources,
    spread: Spread,
    screens: ScreenSegments,
    system: PestSystem,
    settings: Settings,
    engine: Engine,
) -> tuple[Hidden | HiddenOrder, dict[float, Hidden]]:
    """Return the chances that a fit gave, else the order by the mean field; and, without a fit, where outbreaks start.

    Parameters
    ----------
    chances : Hidden or None
        By the draws of a fit: the mean field is no substitute, for it is not calibrated.
    inventory, state, surveys, work_log, wild, spread, screens, system, settings, engine
        As for `mean_field_hidden`.

    Returns
    -------
    Hidden or HiddenOrder
        The order is that at the middle of the assumed range, with how far all of the range moves it.
    dict of float to Hidden
        What `spread_ahead` takes as `assumed`: nothing of it may be shown. Empty where chances were given.
    """
    if chances is not None:
        return chances, {}
    starts = assumed_hidden(
        inventory, state, surveys, work_log, wild, spread, screens, system, settings, engine
    )  # fmt: skip
    return order_of(tuple(starts.values()), candidates(state)), starts


def looking_weight(hidden: Hidden | HiddenOrder) -> FloatArray:
    """Return how much speaks for each plant's being infected unknown, in units that only compare, shape (n,)."""
    return hidden.infected if isinstance(hidden, Hidden) else hidden.weight
