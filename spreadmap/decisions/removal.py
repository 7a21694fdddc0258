"""Which plants come out first, and how far a crew's hours reach."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection
from dataclasses import dataclass, replace

import numpy as np

from spreadmap.decisions.onward import (
    Giving,
    Onward,
    Receivers,
    Reckoner,
    assumed_air_rates,
    green_candidates,
    green_horizon_days,
    horizon_days,
    receivers_of,
    standing_sources,
)
from spreadmap.decisions.order import Order, gains_in_order, pick_order
from spreadmap.decisions.places import person_minutes, set_up_minutes, work_places
from spreadmap.decisions.plant_costs import plant_costs
from spreadmap.decisions.reasons import removal_reasons
from spreadmap.decisions.regrowth import checks_after, replant_days
from spreadmap.decisions.removal_words import Knowledge, evenly_spaced, removal_remarks
from spreadmap.decisions.schedule import Calendar, earliest_days, plan_days
from spreadmap.decisions.verdicts import Verdicts, verdicts_of
from spreadmap.dispersal.spread import Spread
from spreadmap.engine import Engine
from spreadmap.records.sources import chance_infectious, join_sources, size_factor
from spreadmap.records.state import confirmed, due_for_removal
from spreadmap.values.arrays import BoolArray, DateArray, FloatArray, IntArray
from spreadmap.values.inventory import Inventory, ScreenSegments, Sites, Sources
from spreadmap.values.pest_system import PestSystem
from spreadmap.values.plan import PackingPrice, RemovalCurve, RemovalList
from spreadmap.values.rates import Rates
from spreadmap.values.settings import Settings
from spreadmap.values.surveys import PlantState

RANGE_DRAWS = 12
"""Draws of the fit over which ranks and curves are told, evenly spaced among all [-]; our choice: each is summed anew."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Jobs:
    """The plants to take out, shape (n,): minutes of each, and of setting up its place, `place` a number per place.

    `is_green` marks plants without a finding, `earliest` is the first day on which each may be dug out.
    """

    plant: IntArray
    minutes: FloatArray
    set_up: FloatArray
    place: IntArray
    is_green: BoolArray
    earliest: DateArray

    def __len__(self) -> int:
        """Return the number of plants."""
        return len(self.plant)


def rank_removals(
    inventory: Inventory,
    sites: Sites,
    state: PlantState,
    spread: Spread,
    screens: ScreenSegments,
    system: PestSystem,
    settings: Settings,
    as_of: dt.date,
    holidays: Collection[dt.date],
    engine: Engine,
    knowledge: Knowledge | None = None,
) -> RemovalList:
    """Return every confirmed plant, and regrowth of removed ones, in the order in which they should come out.

    Order: infections that taking a plant out avoids until the horizon, among hosts still healthy, per person-minute with
    set-up and travel, reckoned anew after each pick because sources share receivers. Crew hours draw the cut-off and
    leave nobody off the list. Plants that a manager put off or refused stand last, outside the cut-off.

    Parameters
    ----------
    inventory, sites, state : n plants, polygons with their set-up, and what is known of the plants
    spread, screens : kernel and wind, screens that count
    system : PestSystem
    settings : Settings
        With `removal.green_plants`, plants without a finding come onto the list where they are worth their loss, in
        calibrated mode alone.
    as_of : date
        The locate ticket is asked for on this day, and notice is given.
    holidays : dates without work
    engine : Engine
    knowledge : Knowledge, optional
        In relative mode infections are reckoned with rates under which the mean of the plants on the list causes
        `infection.assumed_onward` infections in a season; they are not stated, only their order is used.

    Returns
    -------
    RemovalList

    Raises
    ------
    ValueError
        If the pest system's verdict does not call for removal with roots: such a list must not be made.
    SettingsError
        If there is no working day within a year, or minutes are not above zero.

    References
    ----------
    None: our choice.
    """
    if not system.is_mapped:
        msg = f"{system.key}: its verdict is {system.verdict}, so no removal list may be made"
        raise ValueError(msg)
    known = knowledge or Knowledge()
    work = _Work(inventory, sites, state, spread, screens, system, settings, as_of, holidays, engine, known)
    return work.listed()


class _Work:
    """One removal list in the making: jobs, what they are worth, their order, and what is said of it."""

    def __init__(
        self, inventory: Inventory, sites: Sites, state: PlantState, spread: Spread, screens: ScreenSegments,
        system: PestSystem, settings: Settings, as_of: dt.date, holidays: Collection[dt.date], engine: Engine,
        known: Knowledge,
    ) -> None:  # fmt: skip
        self.inventory, self.sites, self.state, self.spread, self.screens = inventory, sites, state, spread, screens
        self.system, self.settings, self.as_of, self.engine, self.known = system, settings, as_of, engine, known
        self.holidays = holidays
        self.is_calibrated = known.rates is not None
        self.days = horizon_days(as_of, known.horizon_on, system, settings)
        self.green_days = green_horizon_days(as_of, self.days, system, settings)
        self.receivers: Receivers = receivers_of(inventory, state, settings, known.hidden)
        self.verdicts: Verdicts = verdicts_of(inventory, state, known.decisions, as_of)
        self.pointed_at = self._pointed_at()
        self.jobs = self._jobs()
        self.active = np.flatnonzero(~self.verdicts.is_held[self.jobs.plant])
        first = min((day.item() for day in self.jobs.earliest), default=as_of)
        self.calendar = Calendar(first=first, settings=settings.removal, holidays=holidays)
        self.giving = self._giving()
        price = settings.removal.green_price
        self.loss = np.where(self.jobs.is_green, price * (1.0 - self.giving.chance), 0.0)

    def _pointed_at(self) -> IntArray:
        """Return the plants without a finding that could be worth taking out by the fitted rates; none in relative mode."""
        known = self.known
        if known.rates is None or known.hidden is None:
            return np.zeros(0, dtype=np.int64)
        return green_candidates(
            self.inventory, self.state, known.hidden, self.receivers, self.spread, self.screens, known.rates,
            self.green_days, self.settings, self.engine,
        )  # fmt: skip

    def _jobs(self) -> Jobs:
        """Return the plants to take out with their minutes and places: confirmed ones and regrowth, then green ones."""
        settings, due = self.settings.removal, np.flatnonzero(due_for_removal(self.state))
        green = (
            self.pointed_at[~self.verdicts.is_held[self.pointed_at]] if settings.green_plants else self.pointed_at[:0]
        )
        plant = np.concatenate([due, green])
        return Jobs(
            plant=plant,
            minutes=person_minutes(self.inventory, plant, settings),
            set_up=set_up_minutes(self.inventory, self.sites, plant, settings),
            place=work_places(self.inventory)[0][plant],
            is_green=np.arange(len(plant)) >= len(due),
            earliest=earliest_days(self.inventory, self.sites, plant, settings, self.as_of, self.holidays),
        )

    def _giving(self) -> Giving:
        """Return the plants to take out as sources, as strong as they are if infected, with the chance that they are."""
        jobs, size = self.jobs, size_factor(self.inventory, self.settings.sources)[self.jobs.plant]
        strength, chance = chance_infectious(self.state, self.settings.sources)[jobs.plant] * size, np.ones(len(jobs))
        if self.known.hidden is not None:
            strength = np.where(jobs.is_green, size, strength)
            infected = np.nan_to_num(self.known.hidden.infected[jobs.plant], nan=0.0)
            chance = np.where(jobs.is_green, infected, chance)
        sources = Sources(
            easting=self.inventory.easting[jobs.plant], northing=self.inventory.northing[jobs.plant],
            strength=strength, plant=jobs.plant,
        )  # fmt: skip
        return Giving(sources=sources, chance=chance, days=np.where(jobs.is_green, self.green_days, self.days))

    def _others(self) -> Sources:
        """Return whatever sends and is not on the list: wild stands, and suspects or hidden plants."""
        strength = chance_infectious(self.state, self.settings.sources)
        if self.known.hidden is not None:
            infected = self.known.hidden.infected
            strength = np.where(np.isfinite(infected), infected, strength)
        strength = strength * size_factor(self.inventory, self.settings.sources)
        strength[self.jobs.plant] = 0.0
        return join_sources(standing_sources(self.inventory, strength), self.known.wild)

    def _reckoner(self, spread: Spread, believed: Reckoner | None = None) -> Reckoner:
        """Return what sums up under a law of arrivals; `believed` lends what all others send, which is dear to sum."""
        return Reckoner(
            self.giving, self.receivers, self._others(), spread, self.screens, self.settings, self.engine, believed
        )

    def views(self) -> list[Onward]:
        """Return what the plants would bring about: as believed first, then over all that `ranges` names."""
        fitted = self.known.rates
        if fitted is not None:
            believed = self._reckoner(self.spread)
            told = [believed.under(fitted, self.days, self.loss)]
            for spread, rates in self._laws(fitted) if len(self.jobs) else ():
                told.append(self._reckoner(spread, believed).under(rates, self.days, self.loss, fitted))
            return told
        infection = self.settings.infection

        def under(spread: Spread, many: Collection[float]) -> list[Onward]:
            reckoner = self._reckoner(spread)
            rates = [assumed_air_rates(reckoner.sent, each, self.system, self.settings) for each in many]
            return [reckoner.under(each, self.days, self.loss) for each in rates]

        middle, ends = infection.assumed_onward, infection.assumed_onward_range
        found = under(self.spread, (middle, *ends) if len(self.jobs) else (middle,))
        for factor in self.settings.kernel.scale_run if len(self.jobs) else ():
            found += under(self.spread.scaled(factor), (middle,))
        return found

    def _laws(self, rates: Rates) -> list[tuple[Spread, Rates]]:
        """Return the laws and rates over which ranges are told in calibrated mode: draws of the fit, else the scale run."""
        if self.known.laws:
            return evenly_spaced(self.known.laws, RANGE_DRAWS)
        return [(self.spread.scaled(factor), rates) for factor in self.settings.kernel.scale_run]

    def ranges(self) -> str:
        """Return in words over what ranks and curves are told."""
        if not self.is_calibrated:
            return "the kernel's lengths or the assumed rates"
        if not self.known.laws:
            return "the kernel's lengths"
        return f"law and rates within the fit ({min(RANGE_DRAWS, len(self.known.laws))} of its draws)"

    def order(self, view: Onward, *, pack: bool) -> Order:
        """Return the order of the jobs that are not held back, numbered among all jobs."""
        removal, active = self.settings.removal, self.active
        minutes, set_up, place = self.jobs.minutes[active], self.jobs.set_up[active], self.jobs.place[active]
        worth = view.worth.only(active)
        if removal.crew_hours_per_week <= 0:
            order = pick_order(worth, minutes, set_up, place)
            return replace(order, job=active[order.job], week=np.zeros_like(order.week))
        ready = np.array([self.calendar.week_of(day.item()) for day in self.jobs.earliest[active]], dtype=np.int64)
        weeks = self.calendar.week_minutes()
        order = pick_order(worth, minutes, set_up, place, week_minutes=weeks, ready=ready, pack=pack)
        return replace(order, job=active[order.job])

    def listed(self) -> RemovalList:
        """Return the list."""
        views, jobs, people = self.views(), self.jobs, self.settings.removal.people_per_crew
        view, order = views[0], self.order(views[0], pack=True)
        # How well ranks hold is told from orders without packing, which is slow and moves few plants.
        orders = [self.order(each, pack=False) for each in views]
        held = np.setdiff1d(np.arange(len(jobs)), self.active)
        line = np.concatenate([order.job, held])
        plant, minutes = jobs.plant[line], jobs.minutes[line]
        added = np.concatenate([order.added, jobs.set_up[held]])
        week = np.concatenate([order.week, np.zeros(len(held), dtype=np.int64)])
        sick = np.bincount(work_places(self.inventory)[0][confirmed(self.state)], minlength=len(self.inventory) + 1)
        planned, day_order = plan_days(
            week, minutes + added, jobs.place[line], sick[jobs.place[line]], jobs.earliest[line], self.calendar
        )
        hours = np.cumsum(minutes + added) / 60.0 / people
        low, high, holds = _over(orders, line, len(order.job))
        out_on = np.where(np.isnat(planned), jobs.earliest[line], planned)
        checks = checks_after(out_on, self.settings.removal)
        reason = removal_reasons(
            self.inventory, self.sites, self.state, self.giving.sources, view, self.spread, self.settings,
            self.known.hidden,
        )  # fmt: skip
        return RemovalList(
            plant=plant,
            onward=view.relative[line],
            person_minutes=minutes,
            set_up_minutes=added,
            cumulative_hours=hours,
            within_hours=week == 1,
            earliest_on=jobs.earliest[line],
            regrowth_on=checks,
            rank_low=low,
            rank_high=high,
            rank_holds=holds,
            reason=reason[line],
            avoided=np.concatenate([self._avoided(order, view), np.zeros(len(held))]),
            week=week,
            planned_on=planned,
            day_order=day_order,
            cost=plant_costs(self.inventory, plant, minutes + added, self.settings.costs),
            is_green=jobs.is_green[line],
            decision=self.verdicts.decision[plant],
            decision_reason=self.verdicts.reason[plant],
            replant_from=replant_days(self.inventory, self.state, plant, out_on, checks, self.settings, self.as_of),
            curve=self._curve(order, views, hours[: len(order.job)]),
            packing=self._packing(order, view, float(hours[: len(order.job)][order.week == 1].max(initial=0.0))),
            remarks=removal_remarks(
                self.known,
                self.settings,
                self.as_of,
                self._exchange(order),
                len(held),
                len(order.job),
                jobs.earliest[line],
            ),
            ranks_over=self.ranges(),
            pointed_at=tuple(self.pointed_at.tolist()),
        )

    def _avoided(self, order: Order, view: Onward) -> FloatArray:
        """Return what each plant of an order avoids: infections, or shares of the arrivals that all of them send."""
        if self.is_calibrated:
            return order.gain
        whole = float(view.relative[self.active].sum())
        return view.relative[order.job] / (whole if whole > 0 else 1.0)

    def _curve(self, order: Order, views: list[Onward], hours: FloatArray) -> RemovalCurve:
        """Return what crew hours avoid along the list, with the range over all views."""
        shares, infections = [], []
        for view in views:
            parts = gains_in_order(view.worth, order.job) if self.is_calibrated else view.relative[order.job]
            whole = float(parts.sum())
            shares.append(np.concatenate([[0.0], np.cumsum(parts) / (whole if whole > 0 else 1.0)]))
            infections.append(
                np.concatenate([[0.0], np.cumsum(parts)]) if self.is_calibrated else np.full(len(parts) + 1, np.nan)
            )
        return RemovalCurve(
            hours=np.concatenate([[0.0], hours]),
            plants=np.arange(len(order.job) + 1),
            share=shares[0],
            low=np.min(shares, axis=0),
            high=np.max(shares, axis=0),
            infections=infections[0],
            infections_low=np.min(infections, axis=0),
            infections_high=np.max(infections, axis=0),
        )

    def _packing(self, order: Order, view: Onward, hours: float) -> PackingPrice | None:
        """Return this week's plants against as many minutes of digging by value alone; None where nothing waits."""
        this_week = order.week == 1
        if not this_week.any() or this_week.all():
            return None
        jobs, active = self.jobs, self.active
        alone = pick_order(
            view.worth.only(active), jobs.minutes[active], np.zeros(len(active)), np.arange(len(active)),
            week_minutes=float(jobs.minutes[order.job[this_week]].sum()), pack=False, weeks=1,
        )  # fmt: skip
        taken = active[alone.job]
        _, first = np.unique(jobs.place[taken], return_index=True)
        needs = float(jobs.minutes[taken].sum() + jobs.set_up[taken[first]].sum())
        return PackingPrice(
            packed_hours=hours,
            by_value_hours=needs / 60.0 / self.settings.removal.people_per_crew,
            packed=float(self._avoided(order, view)[this_week].sum()),
            by_value=float(self._avoided(replace(alone, job=taken), view).sum()),
        )

    def _exchange(self, order: Order) -> tuple[float, float]:
        """Return how many healthy plants the green ones on the list cost, and how many infections they avoid."""
        green = self.jobs.is_green[order.job]
        healthy = 1.0 - self.giving.chance[order.job]
        return float(healthy[green].sum()), float(order.gain[green].sum())


def _over(orders: list[Order], line: IntArray, planned: int) -> tuple[IntArray, IntArray, BoolArray]:
    """Return best and worst rank over all views, and whether each plant stays on its side of the cut-off in all of them.

    `line` is the list, of which the first `planned` are to be done; what is held back stands behind them in every view.
    A plant that a view does not list has the rank behind all of its plants there.
    """
    own = np.arange(1, len(line) + 1)
    ranks, sides = [own], []
    for order in orders:
        count = max(int(line.max(initial=-1)), int(order.job.max(initial=-1))) + 1
        rank, side = np.full(count, len(order.job) + 1, dtype=np.int64), np.zeros(count, dtype=np.bool_)
        rank[order.job], side[order.job] = np.arange(1, len(order.job) + 1), order.week == 1
        ranks.append(np.where(own <= planned, rank[line], own))
        sides.append(side[line])
    table, same = np.array(ranks, dtype=np.int64), np.array(sides, dtype=np.bool_)
    return table.min(axis=0), table.max(axis=0), np.all(same == same[0], axis=0)
