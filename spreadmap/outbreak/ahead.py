"""What comes until the next survey. First form: expected arrivals to first order, relative, with and without a plan."""

from __future__ import annotations

import numpy as np

from spreadmap.biology.season import flight_days
from spreadmap.dispersal.spread import Spread, unit_density
from spreadmap.engine import Engine
from spreadmap.pressure import pressure_at_points
from spreadmap.records.sources import receiving_weight, receptors_of
from spreadmap.values.arrays import FloatArray
from spreadmap.values.inventory import Inventory, ScreenSegments, Sources
from spreadmap.values.pest_system import PestSystem
from spreadmap.values.plan import Plan
from spreadmap.values.results import Outlook
from spreadmap.values.settings import Settings
from spreadmap.values.surveys import PlantState

NOTHING_DONE = "if nothing is done"
LIST_DONE = "if this week's crew hours go to the list, on its earliest dates, and no more comes out"


def standing_share(
    sources: Sources, plan: Plan | None, first: np.datetime64, last: np.datetime64, system: PestSystem
) -> FloatArray:
    """Return the share of the period's flight during which each source still stands, shape (sources,) [-].

    Zero for every source in a period in which no mite flies.
    """
    whole = flight_days(first, last, system.flight_weight)
    if whole <= 0:
        return np.zeros(len(sources))
    if plan is None:
        return np.ones(len(sources))
    # One crew's plants share one earliest date as a rule: sum the flight of each date once.
    dates = plan.removal.earliest_on[plan.removal.within_hours]
    until = {day: flight_days(first, max(first, min(day, last)), system.flight_weight) / whole for day in set(dates)}
    leaves = {
        int(plant): until[day] for plant, day in zip(plan.removal.plant[plan.removal.within_hours], dates, strict=True)
    }
    return np.array([leaves.get(int(plant), 1.0) for plant in sources.plant], dtype=np.float64)


def spread_ahead(
    inventory: Inventory,
    state: PlantState,
    sources: Sources,
    spread: Spread,
    screens: ScreenSegments,
    system: PestSystem,
    period: tuple[np.datetime64, np.datetime64],
    settings: Settings,
    engine: Engine,
    plan: Plan | None = None,
) -> Outlook:
    """Return the arrivals on healthy hosts in a period under one course of action, relative.

    Parameters
    ----------
    inventory, state, sources, spread, screens, system, settings, engine
        As elsewhere; `sources` holds plants and wild stands.
    period : two `datetime64[D]`
        First day, and the day after the last.
    plan : Plan, optional
        Without it nothing is done. With it, the plants within the crew hours stop sending on their earliest date.

    Returns
    -------
    Outlook
        Arrivals in medium plants each 10 m from one confirmed medium plant; `share_avoided` compares with doing
        nothing and is a share of arrivals, not of infections; `low` and `high` are its least and greatest value over
        the scale run (both zero when nothing is done). All are zero where no mite flies in the period.

    Notes
    -----
    First order: plants that become infected in the period send nothing yet. Wild stands go on sending.
    """
    weight = receiving_weight(inventory, state, settings.sources)
    receiving = weight > 0
    receptors = receptors_of(inventory, receiving, settings.sources)
    flies = standing_share(sources, None, *period, system)
    stays = standing_share(sources, plan, *period, system)

    def arrivals(law: Spread) -> tuple[float, float]:
        sums = pressure_at_points(receptors, sources, law, engine, screens=screens, receptor_weight=weight[receiving])
        sent = sums.sent if sums.sent is not None else np.zeros(len(sources))
        unit = unit_density(law.kernel)
        return float((sent * flies).sum() / unit), float((sent * stays).sum() / unit)

    def avoided(before: float, after: float) -> float:
        return 1.0 - after / before if before > 0 else 0.0

    before, after = arrivals(spread)
    shares = [avoided(*arrivals(spread.scaled(factor))) for factor in settings.kernel.scale_run] if plan else []
    shares.append(avoided(before, after))
    return Outlook(
        condition=NOTHING_DONE if plan is None else LIST_DONE,
        arrivals=after,
        share_avoided=avoided(before, after),
        low=min(shares),
        high=max(shares),
    )
