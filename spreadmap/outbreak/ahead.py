"""What comes until the next survey and the horizon: an ensemble of outbreaks plant by plant, under courses of action."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import groupby

import numpy as np

from spreadmap.dispersal.spread import Spread
from spreadmap.engine import Engine
from spreadmap.outbreak.actions import LIST_DONE, NOTHING_DONE, check_actions, usual_actions
from spreadmap.outbreak.assumed_rates import assumed_rates, onward_density
from spreadmap.outbreak.ensemble import Period, start_for, world_for
from spreadmap.outbreak.events import Draw, Start, World, run_draw, run_draws
from spreadmap.outbreak.exposure import candidates
from spreadmap.outbreak.fitted_start import FittedStart
from spreadmap.outbreak.scenarios import comparisons_of, scenarios_of
from spreadmap.outbreak.tallies import (
    Adding,
    Totals,
    beds_of,
    chances_under,
    keys_out,
    places_ahead,
    plants_ahead,
)
from spreadmap.pressure import kept_density
from spreadmap.records.sources import receptors_of
from spreadmap.values.action import Action
from spreadmap.values.ahead import Ahead
from spreadmap.values.arrays import FloatArray, IntArray, even_steps, to_date
from spreadmap.values.hidden import Hidden
from spreadmap.values.inventory import Inventory, ScreenSegments, Sources
from spreadmap.values.pest_system import PestSystem
from spreadmap.values.plan import Plan
from spreadmap.values.rates import Rates
from spreadmap.values.score import Course, Sensitivity
from spreadmap.values.settings import Settings
from spreadmap.values.surveys import PlantState
from spreadmap.values.words import Mode

__all__ = ["LIST_DONE", "NOTHING_DONE", "spread_ahead"]

KEPT_COURSES = 2
"""Courses of which single plants are counted in calibrated mode: nothing done, and the list."""
DRAWS_OF_A_LAW, DRAWS_AT_ONCE = 4, 4
"""Draws that are run one after another for they share their law, at most, and how many of such runs are held together,
whatever the number of workers [-]."""
PILOT_MEMBERS = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Law:
    """One law and its rates; `is_middle` where it stands for all draws in relative mode, `onward` the assumed rate there."""

    spread: Spread
    rates: Rates
    is_middle: bool = True
    onward: float | None = None


def spread_ahead(
    inventory: Inventory,
    state: PlantState,
    plan: Plan,
    wild: Sources,
    spread: Spread,
    screens: ScreenSegments,
    system: PestSystem,
    next_survey: np.datetime64,
    horizon: np.datetime64,
    settings: Settings,
    engine: Engine,
    fitted: Sequence[tuple[Spread, Rates]] = (),
    hidden: Hidden | None = None,
    actions: tuple[Action, ...] | None = None,
    assumed: Mapping[float, Hidden] | None = None,
    begin: FittedStart | None = None,
) -> Ahead:
    """Return what comes under several courses of action, as an ensemble of outbreaks from the state of the plants.

    Parameters
    ----------
    inventory, state, plan : n plants, what is known of them, and the plan from which the courses are made
    wild : Sources
        Wild stands; they go on sending whatever is done.
    spread, screens, system, settings, engine
        As elsewhere; `spread` is the law where none was fitted.
    next_survey, horizon : `datetime64[D]`
        All is counted up to the mornings of these days.
    fitted : sequence of (Spread, Rates)
        Posterior draws; with them the result is calibrated. Without, rates are assumed over a stated range, the
        kernel's lengths over the scale run, and the result is relative: shares and ratios, no chance of infection.
    hidden : Hidden, optional
        Chances from which every member draws which green plants are infected already, and since when; without, none but
        suspects is, and since when is drawn as if the pressure of the past had been even.
    actions : tuple of Action, optional
        Courses of action, nothing done first; default `usual_actions`.
    assumed : mapping of float to Hidden, optional
        The same in relative mode, for every assumed rate (`hidden_order.assumed_hidden`); each is used at its rate with
        every scale of the kernel, although it was reckoned with scale 1.
    begin : FittedStart, optional
        Draws with the state from which the members of each start, in place of `fitted` and `hidden`. What was infected
        at the start then counts with the chances it gives, and the members tell what is added.

    Returns
    -------
    Ahead

    Raises
    ------
    InputError
        If dates are out of order, or a course does not fit the plants.

    Notes
    -----
    Susceptible, infected, infectious after `infection.infectious_after_days`, symptomatic after a latency of the
    growing season, found in surveys that look at every standing host, removed as the course says. All courses share
    their random numbers, so that differences between them are differences of what is done.

    References
    ----------
    Sampling of events by a bound and thinning: Lewis & Shedler 1979, Nav Res Logist Q 26:403-413,
    doi 10.1002/nav.3800260304. The rest: our choice; bound by tests/test_events.py and tests/test_ahead.py.
    """
    period = Period(as_of=state.as_of, next_survey=next_survey, horizon=horizon)
    courses = usual_actions(inventory, state, plan, period.survey_day, settings) if actions is None else actions
    check_actions(inventory, state, courses)
    among = candidates(state)
    place, names = beds_of(inventory, among)
    fitted = fitted if begin is None else begin.fitted
    is_calibrated = len(fitted) > 0
    world = world_for(
        inventory, state, period, courses, screens, system, hidden, settings,
        kept=min(KEPT_COURSES, len(courses)) if is_calibrated else 0,
        place=place, places=len(names) if is_calibrated else 0,
    )  # fmt: skip
    laws = (
        thinned(fitted, settings.ahead.draws)
        if is_calibrated
        else assumed_laws(inventory, state, spread, screens, system, settings, engine)
    )
    starts: list[Start | None] = [None] * len(laws)
    if begin is not None:
        starts = [begin.starts[at] for at in even_steps(len(begin.starts), len(laws))]
    elif not is_calibrated and assumed is not None:
        by_rate = {onward: start_for(inventory, state, period, one, settings) for onward, one in assumed.items()}
        starts = [None if law.onward is None else by_rate.get(law.onward) for law in laws]
    draws = [
        replace(draw, start=start)
        for draw, start in zip(_draws(laws, inventory, world, wild, screens, settings, engine), starts, strict=True)
    ]
    members, remarks = members_that_fit(world, draws, settings, engine)
    survey = int(np.searchsorted(period.checks, period.survey_day))
    totals = run_all(world, draws, members, survey, settings.ahead.seed, engine)
    ahead = _told(
        courses, totals, period, laws, settings, (*remarks, *_start_words(is_calibrated, any(starts), assumed))
    )
    if not is_calibrated:
        return ahead
    at_start = None if begin is None else begun_by_check(begin, period)
    chances = [chances_under(totals, number, among, at_start) for number in range(world.kept)]
    return replace(
        ahead,
        plants=plants_ahead(*chances[0], among, period),
        places=places_ahead(totals, names, np.bincount(place[place >= 0], minlength=len(names)), period),
        courses=courses_of(inventory, courses[: world.kept], totals, chances, period, settings),
    )


def thinned(fitted: Sequence[tuple[Spread, Rates]], draws: int) -> tuple[Law, ...]:
    """Return so many posterior draws at even steps, or all where they are fewer."""
    taken = even_steps(len(fitted), draws)
    return tuple(Law(spread=spread, rates=rates) for spread, rates in (fitted[at] for at in taken))


def onward_range(settings: Settings) -> tuple[float, ...]:
    """Return the assumed onward infections through the air of a typical confirmed plant in a full season, ascending."""
    infection = settings.infection
    return tuple(sorted({*infection.assumed_onward_range, infection.assumed_onward}))


def assumed_laws(
    inventory: Inventory, state: PlantState, spread: Spread, screens: ScreenSegments, system: PestSystem,
    settings: Settings, engine: Engine,
) -> tuple[Law, ...]:  # fmt: skip
    """Return every assumed rate with every scale of the kernel; the middle one has the assumed rate and scale 1."""
    laws = []
    for factor in (1.0, *settings.kernel.scale_run):
        law = spread if factor == 1.0 else spread.scaled(factor)
        density = onward_density(inventory, state, law, screens, settings, engine)
        for onward in onward_range(settings):
            is_middle = factor == 1.0 and onward == settings.infection.assumed_onward
            rates = assumed_rates(onward, density, system, settings)
            laws.append(Law(spread=law, rates=rates, is_middle=is_middle, onward=onward))
    return tuple(laws)


def _draws(
    laws: Sequence[Law], inventory: Inventory, world: World, wild: Sources, screens: ScreenSegments,
    settings: Settings, engine: Engine,
) -> tuple[Draw, ...]:  # fmt: skip
    """Return the draws with the hazard from outside: background, and wild stands under the screens of each course."""
    weight = world.ground.weight
    receives = weight > 0
    receptors = receptors_of(inventory, receives, settings.sources)
    known: dict[int, list[FloatArray]] = {}

    def from_wild(spread: Spread, more: ScreenSegments) -> FloatArray:
        pieces = ScreenSegments(
            ends=np.vstack([screens.ends, more.ends]), factor=np.concatenate([screens.factor, more.factor])
        )
        full = np.zeros(len(inventory))
        full[receives] = kept_density(receptors, wild, spread, engine, screens=pieces, settings=settings.pressure)
        return full

    none = ScreenSegments(ends=np.zeros((0, 4)), factor=np.zeros(0))
    draws = []
    for number, law in enumerate(laws):
        # Draws that share their law share its sums: they are kept by the law itself, which lives as long as the draws.
        if id(law.spread) not in known:
            known[id(law.spread)] = [from_wild(law.spread, none)] + [
                from_wild(law.spread, course.more_screens) if len(course.more_screens) else np.zeros(0)
                for course in world.courses
            ]
        density, *screened = known[id(law.spread)]
        rates = law.rates
        outside = (rates.per_day_m2 * density + rates.background_per_day) * weight
        left = []
        for more in screened:
            inside = (rates.per_day_m2 * more + rates.background_per_day) * weight if len(more) else more
            share = np.divide(inside, outside, out=np.ones(len(inside)), where=outside > 0) if len(more) else more
            left.append(np.minimum(share, 1.0))
        draws.append(Draw(number=number, spread=law.spread, rates=rates, outside=outside, outside_left=tuple(left)))
    return tuple(draws)


def members_that_fit(
    world: World, draws: Sequence[Draw], settings: Settings, engine: Engine
) -> tuple[int, tuple[str, ...]]:
    """Return the members per draw, fewer where all together would have more infections than allowed, and a sentence."""
    own = settings.ahead
    runs = len(draws) * len(world.courses) * own.members
    if runs * float((world.ground.weight > 0).sum()) <= own.most_infections:
        return own.members, ()
    tried = draws[:: max(1, len(draws) // 12)]
    counted = engine.map(
        lambda draw: int(run_draw(own.seed, PILOT_MEMBERS, world, draw).infected[..., -1].sum()), tried
    )
    each = sum(counted) / len(tried) / PILOT_MEMBERS
    members = int(np.clip(own.most_infections / max(each * len(draws), 1.0), 1, own.members))
    if members == own.members:
        return members, ()
    return members, (
        f"{members} members per draw instead of {own.members}: more would have had over {own.most_infections:,} "
        "infections in all (settings.ahead.most_infections).",
    )


def run_all(world: World, draws: Sequence[Draw], members: int, survey: int, seed: int, engine: Engine) -> Totals:
    """Run every draw, some at a time, and add them up in their order; `survey` is the check of the next survey.

    Neighbours that share their law are run together: what a source reaches is told once for them.
    """
    adding = Adding(survey)
    groups = [
        same[first : first + DRAWS_OF_A_LAW]
        for same in (tuple(group) for _, group in groupby(draws, key=lambda draw: id(draw.spread)))
        for first in range(0, len(same), DRAWS_OF_A_LAW)
    ]
    for first in range(0, len(groups), DRAWS_AT_ONCE):
        some = groups[first : first + DRAWS_AT_ONCE]
        for tallies in engine.map(lambda group: run_draws(seed, members, world, group), some):
            adding.take(tallies)
    return adding.totals()


def begun_by_check(begin: FittedStart, period: Period) -> tuple[FloatArray, FloatArray]:
    """Return the chances of having been infected at the start, and of that and showing by each check, (checks, n) [-]."""
    shows = np.array([begin.showing(day) for day in period.dates(period.checks)])
    return np.broadcast_to(begin.infected, shows.shape), shows


def courses_of(
    inventory: Inventory, actions: Sequence[Action], totals: Totals, chances: Sequence[tuple[FloatArray, FloatArray]],
    period: Period, settings: Settings,
) -> tuple[Course, ...]:  # fmt: skip
    """Return the chances of every plant under the kept courses, for the score of this forecast."""
    own = settings.detection
    sensitivity = Sensitivity(
        visual=own.visual_symptomatic, test=own.test_symptomatic, test_symptomless=own.test_symptomless
    )
    return tuple(
        Course(
            condition=action.says,
            taken_out=keys_out(inventory.plant_id, action.taken_out & (action.removal_on <= period.next_survey)),
            on=period.dates(period.checks),
            infected=infected,
            showing=showing,
            members_showing=_by_check(totals.showing[number]),
            sensitivity=sensitivity,
        )
        for number, (action, (infected, showing)) in enumerate(zip(actions, chances, strict=True))
    )


def _by_check(counts: IntArray) -> FloatArray:
    """Return counts (draws, members, checks) as (checks, members of all draws)."""
    return np.ascontiguousarray(counts.reshape(-1, counts.shape[-1]).T, dtype=np.float64)


def _told(
    actions: Sequence[Action], totals: Totals, period: Period, laws: Sequence[Law], settings: Settings,
    remarks: tuple[str, ...],
) -> Ahead:  # fmt: skip
    """Return what holds in both modes."""
    is_calibrated = not any(not law.is_middle for law in laws)
    middle = [number for number, law in enumerate(laws) if law.is_middle]
    draws, members = totals.new.shape[1:3]
    onward = () if is_calibrated else onward_range(settings)
    dates = [to_date(day) for day in (period.as_of, period.next_survey, period.horizon)]
    as_of, next_on, horizon_on = (day for day in dates if day is not None)
    return Ahead(
        mode=Mode.CALIBRATED if is_calibrated else Mode.RELATIVE,
        as_of=as_of,
        next_survey_on=next_on,
        horizon_on=horizon_on,
        draws=draws,
        members=members,
        seed=settings.ahead.seed,
        scenarios=scenarios_of(actions, totals, period, is_calibrated, middle),
        comparisons=comparisons_of(actions, totals, period, is_calibrated),
        rates_say=_rates_words(is_calibrated, draws, onward, settings),
        onward_range=onward,
        remarks=remarks,
    )


def _start_words(is_calibrated: bool, is_told: bool, assumed: Mapping[float, Hidden] | None) -> tuple[str, ...]:
    """Return from where the members start in relative mode."""
    if is_calibrated:
        return ()
    if not is_told:
        return ("Green plants count as healthy at the start: hidden infection is left out of the comparison.",)
    rough = (
        "" if all(one.settled for one in (assumed or {}).values()) else " That reckoning did not settle: it is rough."
    )
    return (
        "At the start every member also takes some green plants as infected already, drawn at its own assumed rate from "
        f"what they stood under and what inspections found; plants infected by then are no new cases.{rough}",
    )


def _rates_words(is_calibrated: bool, draws: int, onward: Sequence[float], settings: Settings) -> str:
    """Return on what the rates rest."""
    if is_calibrated:
        return f"Rates and law of distance come from {draws} draws of the fit to the surveys on record."
    runs = ", ".join(f"{factor:g}" for factor in settings.kernel.scale_run)
    return (
        "No rate was fitted: a typical confirmed plant is assumed to infect "
        f"{', '.join(f'{value:g}' for value in onward[:-1])} or {onward[-1]:g} others through the air in a full season, "
        f"among the hosts that stand here, with every length of the kernel times 1, {runs}. Contact, background and wild "
        "stands come besides. All results are shares and ratios; the range runs over all of these."
    )
