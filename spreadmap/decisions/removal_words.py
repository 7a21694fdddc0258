"""What must be said beside a removal list: on what it rests, what it leaves out, and where no order helps."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TypeVar

import numpy as np

from spreadmap.dispersal.spread import Spread
from spreadmap.values.arrays import DateArray, even_steps
from spreadmap.values.hidden import Hidden
from spreadmap.values.inventory import Sources
from spreadmap.values.rates import Rates
from spreadmap.values.settings import Settings
from spreadmap.values.surveys import Decisions

T = TypeVar("T")
CENTRAL_95 = 1.96
"""Standard deviations below which one in forty lies: what shows sooner is rare [-]."""


def _nobody() -> Sources:
    """Return no sources."""
    return Sources(easting=np.zeros(0), northing=np.zeros(0), strength=np.zeros(0), plant=np.zeros(0, dtype=np.int64))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Knowledge:
    """What is known beside the state: wild stands, fitted rates and hidden infection, decisions, and two dates.

    Rates and hidden infection belong together: both are there in calibrated mode, none in relative mode. `laws` are draws
    of the fit, law of arrivals and rates of each, over which ranges are told.
    """

    wild: Sources = field(default_factory=_nobody)
    rates: Rates | None = None
    hidden: Hidden | None = None
    laws: tuple[tuple[Spread, Rates], ...] = ()
    decisions: Decisions | None = None
    horizon_on: dt.date | None = None
    next_survey_on: dt.date | None = None


def evenly_spaced(draws: Sequence[T], most: int) -> list[T]:
    """Return so many draws at even steps, or all where they are fewer."""
    return [draws[at] for at in even_steps(len(draws), most)]


def removal_remarks(
    known: Knowledge,
    settings: Settings,
    as_of: dt.date,
    exchange: tuple[float, float],
    held: int,
    listed: int,
    earliest: DateArray,
) -> tuple[str, ...]:
    """Return the sentences of a list of `listed` plants to plan and `held` ones that managers hold back.

    `exchange` is how many healthy plants the green ones cost and how many infections they avoid; `earliest` are the days
    from which the plants may be dug out.
    """
    said: list[str] = []
    if held:
        stands = (
            "1 plant was put off or refused and stands"
            if held == 1
            else f"{held} plants were put off or refused and stand"
        )
        said.append(f"{stands} last on the list, outside the crew hours; left in place it goes on sending." if held == 1
                    else f"{stands} last on the list, outside the crew hours; left in place they go on sending.")  # fmt: skip
    if not listed:
        return tuple(said)
    if known.next_survey_on is not None:
        gap = (known.next_survey_on - as_of).days
        if gap > settings.removal.longest_interval_days:
            said.append(
                f"The next survey is {gap} days away: at this survey interval no order beats a short ring. Look more often, "
                "or take out the neighbours of what was found; a clever list promises nothing here."
            )
    soonest = settings.infection.latency_median_days * float(np.exp(-CENTRAL_95 * settings.infection.latency_sigma))
    late = int(np.sum(earliest > np.datetime64(as_of) + np.timedelta64(int(np.ceil(soonest)), "D")))
    if late:
        said.append(
            f"{late} of the plants may not be dug out within {soonest:.0f} days, for notice, tickets or holidays: the soonest "
            "of the plants that they infect meanwhile show symptoms by then. Ask for a shorter notice, or let a "
            "crew work on a holiday."
        )
    if known.rates is None:
        low, high = settings.infection.assumed_onward_range
        said.append(
            f"The order was reckoned as if a plant on the list caused {settings.infection.assumed_onward:g} infections "
            "through the air in a full season, an assumption that nothing here was fitted to; ranks are given over "
            f"{low:g} to {high:g} and over the scale run."
        )
    if not len(known.wild):
        said.append(
            "No wild stands are known: what arrives from stands that nobody mapped is left out, so that places near one are "
            "shown as safer after a removal than they are. Look for wild hosts within "
            f"{settings.zones.wild_host_line_m:g} m of confirmed plants."
        )
    if settings.removal.green_plants and known.rates is None:
        said.append(
            "Plants without a finding may be listed by the settings, and none is: that needs rates fitted to the surveys. "
            "Those under most pressure stand first on the inspection list."
        )
    (healthy, avoided), price = exchange, settings.removal.green_price
    if avoided > 0:
        said.append(
            f"Green plants on the list: removes {_few(healthy)} healthy plants to avoid {_few(avoided)} infections, at a price "
            f"of {price:g} infection{'' if price == 1 else 's'} for a healthy plant. Test them before digging."
        )
    return tuple(said)


def _few(number: float) -> str:
    """Return a number without decimals, small ones with one."""
    return f"{number:.0f}" if number >= 10 else f"{number:.1f}"
