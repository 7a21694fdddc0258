"""From plants, plan and settings to the world of an ensemble: days, starts, places and courses of action."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from spreadmap.biology.season import flight_weight_on
from spreadmap.errors import InputError
from spreadmap.outbreak.compiled_events import KNOWN
from spreadmap.outbreak.events import NEVER, Clock, CourseRun, Life, Start, World
from spreadmap.outbreak.exposure import candidates
from spreadmap.outbreak.ground import Ground, ground_of
from spreadmap.outbreak.past import growing_season
from spreadmap.records.sources import canopy_radius, size_factor
from spreadmap.records.state import confirmed, weak_remains
from spreadmap.values.action import Action
from spreadmap.values.arrays import DateArray, IntArray
from spreadmap.values.hidden import Hidden
from spreadmap.values.inventory import Inventory, ScreenSegments
from spreadmap.values.pest_system import PestSystem
from spreadmap.values.settings import Settings
from spreadmap.values.surveys import PlantState
from spreadmap.values.words import Status

LONGEST_STRETCH = 28
"""Days of a stretch at most: what a plant could do before it is infected is drawn in vain [d]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Period:
    """From the date of the state to the horizon."""

    as_of: np.datetime64
    next_survey: np.datetime64
    horizon: np.datetime64

    def __post_init__(self) -> None:
        """Refuse dates out of order."""
        if np.isnat(self.next_survey) or np.isnat(self.horizon) or not self.as_of < self.next_survey <= self.horizon:
            msg = (
                f"spread ahead: the state is of {self.as_of}, the next survey on {self.next_survey} and the horizon on "
                f"{self.horizon}; allowed: the survey after the state, and the horizon not before the survey. Correct "
                "next_survey_on or horizon_on in the project file."
            )
            raise InputError(msg)

    @property
    def days(self) -> int:
        """Return the days to the horizon [d]."""
        return int((self.horizon - self.as_of).astype(np.int64))

    @property
    def survey_day(self) -> int:
        """Return the days to the next survey [d]."""
        return int((self.next_survey - self.as_of).astype(np.int64))

    @property
    def checks(self) -> IntArray:
        """Return the days on which is counted: the start, the survey, the horizon and the middles between them."""
        survey, last = self.survey_day, self.days
        return np.unique(np.array([0, survey // 2, survey, (survey + last) // 2, last], dtype=np.int64))

    def dates(self, days: IntArray) -> DateArray:
        """Return days as dates."""
        return np.asarray(self.as_of + days.astype("timedelta64[D]"), dtype="datetime64[D]")


def ground_for(inventory: Inventory, state: PlantState, settings: Settings) -> Ground:
    """Return the plants as receivers (standing hosts that are not confirmed) and as sources, roots by their strength."""
    size = size_factor(inventory, settings.sources)
    remains = np.where(weak_remains(state), settings.sources.partly_removed_strength, 1.0)
    return ground_of(
        inventory.easting,
        inventory.northing,
        canopy_radius(inventory, settings.sources),
        np.where(candidates(state), inventory.susceptibility * size, 0.0),
        size * remains,
        settings.inspection.touching_m,
    )


def start_for(
    inventory: Inventory, state: PlantState, period: Period, hidden: Hidden | None, settings: Settings
) -> Start:
    """Return what is known of every plant at the start, and the chances from which the rest is drawn.

    Confirmed plants and remains of roots send from the start. Of the candidates each member draws its own: with
    `hidden` by its chances and since when by its steps, else healthy, suspects by the share that turns out infected.
    """
    n = len(inventory)
    chance = np.zeros((n, 3))
    suspect = (state.status == Status.SUSPECT.value) & candidates(state)
    chance[suspect, 2] = settings.sources.suspect_chance
    if hidden is not None:
        told = candidates(state) & np.isfinite(hidden.healthy)
        showing = np.clip(np.nan_to_num(hidden.symptomatic), 0.0, np.nan_to_num(hidden.infectious))
        # A suspect shows something: whatever chance it has, it has with symptoms.
        showing = np.where(suspect, np.nan_to_num(hidden.not_yet_infectious + hidden.infectious), showing)
        chance[told, 0] = np.where(suspect, 0.0, hidden.not_yet_infectious)[told]
        chance[told, 1] = np.maximum(np.where(suspect, 0.0, hidden.infectious - showing), 0.0)[told]
        chance[told, 2] = showing[told]
    planted = np.where(np.isnat(inventory.planted_on), period.as_of, inventory.planted_on)
    stands_from = np.maximum((planted - period.as_of).astype(np.int64), 0)
    unsure = np.flatnonzero((chance.sum(axis=1) > 0) & (stands_from == 0))
    known = confirmed(state) | weak_remains(state)
    return Start(
        **_past_of(hidden, unsure, period, settings),
        state=np.where(known & state.is_host, KNOWN, 0).astype(np.uint8),
        unsure=unsure,
        chance=chance[unsure],
        stands_from=np.minimum(stands_from, NEVER).astype(np.int32),
    )


def _past_of(hidden: Hidden | None, unsure: IntArray, period: Period, settings: Settings) -> dict[str, Any]:
    """Return the weights of infection by steps of the past of the plants whose state is drawn; nothing without them."""
    if hidden is None or not len(unsure):
        return {}
    borders = np.concatenate([hidden.step_from, np.array([period.as_of], dtype="datetime64[D]")])
    season = growing_season(settings.infection)
    return {
        "heaped": np.cumsum(hidden.infected_in[unsure], axis=1, dtype=np.float32),
        "since": (period.as_of - borders).astype(np.float64),
        "passed": season.days_between(borders, np.full(len(borders), period.as_of)).astype(np.float64),
    }


def survey_days(action: Action, days: int) -> IntArray:
    """Return the days of the surveys of a course before the horizon."""
    return np.arange(action.survey_every_days, days, action.survey_every_days, dtype=np.int64)


def clock_for(period: Period, actions: tuple[Action, ...], system: PestSystem, settings: Settings) -> Clock:
    """Return the clocks of flight and growing season, cut wherever a course surveys, and into a month at most."""
    days = period.days
    dates = period.dates(np.arange(days + 1))
    season = growing_season(settings.infection)
    cuts = np.unique(np.concatenate([[0, days], *(survey_days(action, days) for action in actions)]).astype(np.int64))
    pieces = [
        np.linspace(first, last, -(-(last - first) // LONGEST_STRETCH) + 1).astype(np.int64)
        for first, last in zip(cuts[:-1].tolist(), cuts[1:].tolist(), strict=True)
    ]
    return Clock(
        flight=np.concatenate([[0.0], np.cumsum(flight_weight_on(dates[:-1], system.flight_weight))]),
        season=np.ascontiguousarray(season.days_between(dates[0], dates), dtype=np.int64),
        stretch=np.unique(np.concatenate(pieces)),
    )


def course_for(action: Action, period: Period, clock: Clock) -> CourseRun:
    """Return a course of action in days."""
    out = np.where(np.isnat(action.removal_on), period.as_of, action.removal_on)
    gone = np.where(np.isnat(action.removal_on), NEVER, (out - period.as_of).astype(np.int64))
    return CourseRun(
        gone=np.minimum(gone, NEVER).astype(np.int32),
        surveyed=np.isin(clock.stretch[:-1], survey_days(action, period.days)).astype(np.uint8),
        takes_out=action.found_come_out,
        crew_hours=action.crew_hours_per_week,
        free_from=float((action.crew_free_on - period.as_of).astype(np.int64)),
        delay_days=float(action.delay_days),
        hours=action.crew_hours,
        missed_share=action.missed_roots_share,
        more_screens=action.more_screens,
    )


def world_for(
    inventory: Inventory,
    state: PlantState,
    period: Period,
    actions: tuple[Action, ...],
    screens: ScreenSegments,
    system: PestSystem,
    hidden: Hidden | None,
    settings: Settings,
    *,
    kept: int,
    place: IntArray,
    places: int,
) -> World:
    """Return all that the draws of an ensemble share."""
    clock = clock_for(period, actions, system, settings)
    infection = settings.infection
    return World(
        ground=ground_for(inventory, state, settings),
        start=start_for(inventory, state, period, hidden, settings),
        clock=clock,
        life=Life(
            infectious_after_days=infection.infectious_after_days,
            latency_median_days=infection.latency_median_days,
            latency_sigma=infection.latency_sigma,
            seen_per_pass=settings.detection.visual_symptomatic,
            roots_strength=settings.sources.partly_removed_strength,
        ),
        courses=tuple(course_for(action, period, clock) for action in actions),
        screens=screens,
        checks=period.checks,
        place=place,
        places=places,
        kept=kept,
    )
