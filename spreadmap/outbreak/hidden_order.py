"""The order of hidden infection where no rates were fitted: ranks over an assumed range of rates, and no chance."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from spreadmap.dispersal.spread import Spread
from spreadmap.outbreak.assumed_rates import assumed_rates, onward_density
from spreadmap.outbreak.exposure import candidates, ranks
from spreadmap.outbreak.fitted_start import FittedStart
from spreadmap.outbreak.hidden_from_fit import hidden_from_fit
from spreadmap.outbreak.hidden_now import hidden_at_rates
from spreadmap.outbreak.scene import Scene
from spreadmap.values.arrays import BoolArray, FloatArray
from spreadmap.values.fit import HistoryFit
from spreadmap.values.hidden import Hidden, HiddenOrder
from spreadmap.values.rates import Rates

MOST_WEIGHT = 100.0
"""Weight of the candidate that weighs most [-]."""
PARTS = 10
"""A rank holds when its plant stays in one of so many equal parts of the order."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Unseen:
    """What is hidden, as it may be shown, and what `spread_ahead` begins with: from a fit, or at assumed rates.

    `begin` holds the draws of a fit with the state of the plants in each; None without a fit. `assumed` is what is
    hidden at every assumed rate, of which nothing may be shown; empty with a fit.
    """

    hidden: Hidden | HiddenOrder
    begin: FittedStart | None = None
    assumed: Mapping[float, Hidden] = field(default_factory=dict)

    @property
    def chances(self) -> Hidden | None:
        """Return the chances of every plant; None where there are none to be shown."""
        return self.hidden if isinstance(self.hidden, Hidden) else None

    @property
    def laws(self) -> tuple[tuple[Spread, Rates], ...]:
        """Return laws and rates by draw; none without a fit."""
        return () if self.begin is None else self.begin.fitted


def assumed_hidden(scene: Scene) -> dict[float, Hidden]:
    """Return what is hidden at every assumed rate, the middle one first; for orders and for starts of outbreaks only.

    `infection.assumed_onward` and its range take the place of fitted rates.

    Returns
    -------
    dict of float to Hidden
        Chances under rates that nobody measured: none may be shown.
    """
    inventory, state, spread, system, settings = (
        scene.inventory, scene.state, scene.spread, scene.system, scene.settings,
    )  # fmt: skip
    density = onward_density(inventory, state, spread, scene.screens, settings, scene.engine)
    infection = settings.infection
    tried = tuple(dict.fromkeys((infection.assumed_onward, *infection.assumed_onward_range)))
    rates = tuple(assumed_rates(onward, density, system, settings) for onward in tried)
    runs = hidden_at_rates(
        rates, inventory, state, scene.surveys, scene.work_log, scene.wild, spread, scene.screens, system, settings,
        scene.engine,
    )  # fmt: skip
    return dict(zip(tried, runs, strict=True))


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


def hidden_or_order(scene: Scene, fit: HistoryFit | None) -> Unseen:
    """Return the chances by the draws of a fit and where its outbreaks start, else the order by the mean field.

    The mean field is no substitute for a fit: it is not calibrated. Of what it says at assumed rates the order is shown,
    that at the middle of the assumed range with how far all of the range moves it, and nothing else.
    """
    if fit is not None:
        hidden, begin = hidden_from_fit(fit, scene)
        return Unseen(hidden=hidden, begin=begin)
    assumed = assumed_hidden(scene)
    return Unseen(hidden=order_of(tuple(assumed.values()), candidates(scene.state)), assumed=assumed)


def looking_weight(hidden: Hidden | HiddenOrder) -> FloatArray:
    """Return how much speaks for each plant's being infected unknown, in units that only compare, shape (n,)."""
    return hidden.infected if isinstance(hidden, Hidden) else hidden.weight
