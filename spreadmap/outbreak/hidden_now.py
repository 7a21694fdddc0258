"""Hidden infection by a mean field: for orders and for the starts of outbreaks, not for chances that anybody reads.

Plants are reckoned one by one against the mean of all others, which does not keep what belongs together: infected plants
come in groups. Ranks bear that, sums do not: tests/test_hidden_calibration.py prints both against simulated outbreaks.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.sparse import csr_array

from spreadmap.biology.latency import day_of_share, share_showing
from spreadmap.dispersal.spread import Spread
from spreadmap.engine import Engine
from spreadmap.outbreak.exposure import candidates
from spreadmap.outbreak.hidden_compiled import (
    fill_chances,
    fill_force,
    fill_gain,
    fill_likelihood,
    fill_showing,
    fill_told,
)
from spreadmap.outbreak.past import Evidence, Past, growing_season, latency_of, past_of, suspects
from spreadmap.outbreak.source_field import STALE, SourceField, touching_pairs
from spreadmap.pressure import kept_density
from spreadmap.records.sources import receptors_of, size_factor
from spreadmap.values.arrays import BoolArray, FloatArray, IntArray, no_dates
from spreadmap.values.hidden import Hidden
from spreadmap.values.inventory import Inventory, ScreenSegments, Sources
from spreadmap.values.pest_system import PestSystem
from spreadmap.values.rates import Rates
from spreadmap.values.settings import Settings
from spreadmap.values.surveys import PlantState, Surveys, WorkLog

SETTLED = 1e-4
"""Largest change of any chance at which the sources count as settled [-]."""
MOST_ITERATIONS = 100
LEAST_LOG = -20.0
"""Logarithm of the least that records of neighbours leave of a chance [-]."""
NEARLY = 0.01
"""Change below which far sources are summed anew where they moved much [-]."""
LEAST_PACE, FASTER = 0.25, 1.5
"""Least share of a step that is taken, and what a share grows by while nothing turns back [-]: our choice; any values end
at the same place."""
FRESH = 0.01
"""Share of strength that may have moved since far sources were last summed, once all else is settled [-]."""
PLANTS_PER_PIECE = 1024
LAST_SHOWS = 1e-9
"""The table of latency ends where so small a share shows later [-]."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Readings:
    """Ways to read the records of m plants, plant after plant: those of plant i are `first[i]` to `first[i + 1]` - 1.

    Most plants have one. A suspect has two: its symptoms were of this disease (`certain`), with the stated share of
    suspects, or they were not, and the plant is like any other that was looked at.
    """

    first: IntArray
    certain: BoolArray
    share: FloatArray
    like: np.ndarray
    silent: np.ndarray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Members:
    """The m hosts that stood at any time on record: `plant` (m,) in the inventory, with what they send and receive.

    `remains` (m, steps) is what roots and regrowth send, in multiples of a medium plant [-].
    """

    plant: IntArray
    size: FloatArray
    receives: FloatArray
    stood_from: FloatArray
    stood_to: FloatArray
    remains: csr_array


def mean_field_hidden(
    inventory: Inventory,
    state: PlantState,
    surveys: Surveys,
    work_log: WorkLog,
    wild: Sources,
    spread: Spread,
    screens: ScreenSegments,
    system: PestSystem,
    rates: Rates,
    settings: Settings,
    engine: Engine,
) -> Hidden:
    """Return for every standing host that is not confirmed the mean-field values of infected, infectious, and healthy.

    They sum to one like chances, and rank like them; over many outbreaks they are not calibrated.

    Parameters
    ----------
    inventory, state : n plants and what is known of them
    surveys, work_log : all records
    wild : Sources
        Wild stands, which send all the time.
    spread, screens, system, settings, engine
        As elsewhere; screens count as they stand now, for all of the past.
    rates : Rates
        What turns pressure into infections.

    Returns
    -------
    Hidden
        `remarks` say what was assumed, and that hidden sources did not settle where they did not.

    Notes
    -----
    Time runs in steps of a week (`Steps`). The chance of infection in step s, together with the records, is
    exp(-sum of forces before s) (1 - exp(-force in s)) x (chance of the records given infection in s); that of being
    healthy is exp(-sum of all forces). Both are divided by their sum. The records count all inspections, each with its
    sensitivity, with one latency per plant: visual looks tell symptomatic plants only, and none outside the growing
    season, in which alone latency runs. Passes by eye count as independent, which they are not quite: the chance that
    is left after many clean passes is an under-estimate to that extent.

    Confirmed plants are read the same way, given that they were found, so that they send from when they are likely to
    have become infectious until they were taken out; plants that were taken out without a finding count with their
    chance until then. What every plant sends in each step is revised by all of its later inspections, and by those of
    the plants that it would have infected (`_hear`); the forces follow what all plants send, until no chance changes by
    1e-4: hidden sources do not hold each other up beyond what clean passes on them and around them allow. Findings
    beside a green plant raise its chance by their pressure only, not as a hint that it may be where they came from.
    So the sum of the values goes astray where spread is fast: tests/test_hidden_calibration.py prints by how much.

    Assumed: nothing was infected before the first step, which lies the longest usual latency before the first record;
    inspections never take a healthy plant for an infected one; a plant was healthy when it was planted.

    References
    ----------
    None: our choice. Bound by tests/test_hidden_now.py.
    """
    said = (inventory, state, surveys, work_log, wild, spread, screens, system, settings, engine)
    return hidden_at_rates((rates,), *said)[0]


def hidden_at_rates(
    rates: tuple[Rates, ...],
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
) -> tuple[Hidden, ...]:
    """Return `mean_field_hidden` for several rates; records and pairs of plants are told once."""
    past = past_of(inventory, state, surveys, work_log, system, settings)
    members = members_of(inventory, past, settings)
    readings = read_records(past, members.plant, state, settings, engine)
    receptors = receptors_of(inventory, _among(len(inventory), members.plant), settings.sources)
    outside = kept_density(receptors, wild, spread, engine, screens=screens, settings=settings.pressure)
    field = SourceField(receptors, spread, screens, settings.pressure, engine, past.steps.flight)
    touching = touching_pairs(receptors, settings.inspection.touching_m)
    results = []
    loop: _Loop | None = None
    for each in rates:
        before, loop = loop, _Loop(past, members, readings, field, touching, outside, each, settings, engine)
        loop.settle(before)
        results.append(_told(loop, inventory, state, settings))
    return tuple(results)


def members_of(inventory: Inventory, past: Past, settings: Settings) -> Members:
    """Return the hosts that stood at any time on record."""
    plant = np.flatnonzero(past.is_host & (past.stood_to > 0))
    size = size_factor(inventory, settings.sources)[plant]
    steps, place = past.steps, np.full(len(inventory), -1)
    place[plant] = np.arange(len(plant))
    edges = np.arange(len(steps) + 1) * float(steps.days)
    rows, cols, values = [np.zeros(0, dtype=np.int64)], [np.zeros(0, dtype=np.int64)], [np.zeros(0)]
    for index, begins, ends in past.remains:
        where = place[int(index)]
        share = np.clip(np.minimum(edges[1:], ends) - np.maximum(edges[:-1], begins), 0, None) / steps.days
        when = np.flatnonzero(share > 0) if where >= 0 else np.zeros(0, dtype=np.int64)
        rows.append(np.full(len(when), where))
        cols.append(when)
        values.append(share[when] * settings.sources.partly_removed_strength * size[where])
    shape = (len(plant), len(steps))
    return Members(
        plant=plant,
        size=size,
        receives=inventory.susceptibility[plant] * size,
        stood_from=past.stood_from[plant],
        stood_to=past.stood_to[plant],
        remains=csr_array((np.concatenate(values), (np.concatenate(rows), np.concatenate(cols))), shape=shape),
    )


def read_records(past: Past, plant: IntArray, state: PlantState, settings: Settings, engine: Engine) -> Readings:
    """Return the readings of the records of each plant with their chances given infection in each step."""
    doubted = suspects(state)[plant]
    count = 1 + doubted.astype(np.int64)
    first = np.concatenate([[0], np.cumsum(count)])
    who = np.repeat(np.arange(len(plant)), count)
    second = np.concatenate([[False], who[1:] == who[:-1]]) if len(who) else np.zeros(0, dtype=np.bool_)
    q = settings.sources.suspect_chance
    share = np.where(second, q, np.where(doubted[who], 1.0 - q, 1.0))
    told = past.evidence
    parts = [np.arange(told.first[index], told.first[index + 1]) for index in plant[who].tolist()]
    at = np.concatenate(parts) if parts else np.zeros(0, dtype=np.int64)
    row = np.repeat(np.arange(len(who)), [len(part) for part in parts])
    columns = [told.day[at], told.if_showing[at], told.if_symptomless[at], told.if_healthy[at]]
    seen = past.steps.day_of(state.status_on[plant[who[second]]])
    row = np.concatenate([row, np.flatnonzero(second)])
    # The day on which a suspect became one, read as a look that saw symptoms.
    extra = (seen, np.ones(len(seen)), np.zeros(len(seen)), np.zeros(len(seen)))
    columns = [np.concatenate(pair) for pair in zip(columns, extra, strict=True)]
    order = np.lexsort((columns[0], row))
    day, showing, symptomless, healthy = (column[order].copy() for column in columns)
    records = Evidence(
        first=np.searchsorted(row[order], np.arange(len(who) + 1)).astype(np.int64),
        day=day, if_showing=showing, if_symptomless=symptomless, if_healthy=healthy,
    )  # fmt: skip
    like, silent = likelihood(records, past, settings, engine)
    certain = second | past.is_found[plant[who]]
    return Readings(first=first.astype(np.int64), certain=certain, share=share, like=like, silent=silent)


def likelihood(records: Evidence, past: Past, settings: Settings, engine: Engine) -> tuple[np.ndarray, np.ndarray]:
    """Return the chance of each row's records given infection in each step, and as if nothing had shown, (rows, steps)."""
    rows, steps = len(records.first) - 1, past.steps
    like = np.zeros((rows, len(steps)), dtype=np.float32)
    silent = np.zeros_like(like)
    shown = shown_by_day(settings)

    def piece(begin: int) -> None:
        fill_likelihood(
            begin, min(begin + PLANTS_PER_PIECE, rows), records.first, records.day, records.if_showing,
            records.if_symptomless, records.if_healthy, steps.season, shown, float(steps.days), like, silent,
        )  # fmt: skip

    engine.map(piece, range(0, rows, PLANTS_PER_PIECE))
    return like, silent


def shown_by_day(settings: Settings) -> FloatArray:
    """Return the share of infected plants that show by whole days of the season since infection, until all do [-]."""
    latency = latency_of(settings.infection)
    last = min(int(np.ceil(day_of_share(latency, 1 - LAST_SHOWS))), 36_500)
    return np.ascontiguousarray(share_showing(latency, np.arange(last + 1)))


def sending_by_step(after_days: float, step_days: float) -> FloatArray:
    """Return the share of a step in which a plant sends that was infected k steps earlier, k = 0, 1, ... [-].

    Infection and the moment looked at are spread evenly over their steps, so their distance has a triangular density
    about k steps; beyond the last entry the share is one.
    """
    after = after_days / step_days
    last = int(np.ceil(after)) + 1
    late = after - np.arange(last + 1)  # the plant sends when the difference of two even parts of a step exceeds this
    sooner, later = 1 - np.clip(1 + late, 0, 1) ** 2 / 2, np.clip(1 - late, 0, 1) ** 2 / 2
    return np.asarray(np.where(late <= 0, sooner, later), dtype=np.float64)


def _among(n: int, plant: IntArray) -> BoolArray:
    """Return which of n plants are named."""
    keep = np.zeros(n, dtype=np.bool_)
    keep[plant] = True
    return keep


class _Loop:
    """The fixed point: what all send makes the forces, the forces and the records make what all send."""

    def __init__(
        self, past: Past, members: Members, readings: Readings, field: SourceField, touching: csr_array,
        outside: FloatArray, rates: Rates, settings: Settings, engine: Engine,
    ) -> None:  # fmt: skip
        self.past, self.members, self.readings = past, members, readings
        self._field, self._touching = field, touching.astype(np.float32)
        self.rates, self._engine = rates, engine
        self._sending = sending_by_step(settings.infection.infectious_after_days, float(past.steps.days))
        shape = (len(members.plant), len(past.steps))
        self.infected, self.sends = np.zeros(shape), np.zeros(shape)
        self.force = np.zeros(shape)
        self._onward = field.onward()
        self._remains = members.remains[:, field.when].tocoo()
        self.told = np.ones(shape)
        self._least = rates.per_day_m2 * outside + rates.background_per_day
        self.iterations, self.change, self.settled = 0, np.inf, False

    def settle(self, near: _Loop | None = None) -> None:
        """Iterate until no chance changes by more than `SETTLED`, from where a loop with other rates ended if given.

        A plant whose values turn back takes half the step from then on, and longer ones again while they do not.
        """
        if near is not None:
            self.infected, self.sends, self.told = near.infected, near.sends, near.told
        last, pace = np.inf, np.ones(len(self.sends))
        moved: np.ndarray | None = None
        while self.iterations < MOST_ITERATIONS:
            self.iterations += 1
            before, were = self.sends, self.infected
            strength = self.strength_of(before)
            # Far sources are dear: they are summed anew when the near ones have nearly settled, and at the end.
            self._press(strength, FRESH if last < SETTLED else STALE if last < NEARLY else np.inf)
            if self.iterations > 1:
                self._hear()
            self._fill()
            step = self.sends - before
            change = float(np.abs(step).max(initial=0.0))
            self.change = max(change, float(np.abs((self.infected - were).sum(axis=1)).max(initial=0.0)))
            if self.change < SETTLED and self._field.is_fresh(strength, FRESH):
                self.settled = True
                return
            last = self.change
            now = step[:, self._field.when].astype(np.float32)
            if moved is not None:
                turns = np.einsum("ij,ij->i", now, moved) < 0
                pace = np.where(turns, np.maximum(pace / 2, LEAST_PACE), np.minimum(pace * FASTER, 1.0))
            moved = now
            if pace.min(initial=1.0) < 1.0:
                self.sends = before + pace[:, None] * step

    def strength_of(self, sends: FloatArray) -> np.ndarray:
        """Return what every member sends in steps of flight, roots and regrowth included [medium plants]."""
        strength = sends[:, self._field.when] * self.members.size[:, None]
        strength[self._remains.coords[0], self._remains.coords[1]] += self._remains.data
        return strength.astype(np.float32)

    def _press(self, strength: np.ndarray, stale: float) -> None:
        """Set the forces from what all send."""
        found = self._field.arrivals(strength, stale)
        touched = np.asarray(self._touching @ strength)
        self.force = np.empty_like(self.sends)

        def piece(begin: int, end: int) -> None:
            fill_force(
                begin, end, self._field.when, found.near, touched, found.factor, found.more, found.profile,
                self.rates.per_day_m2, self.rates.contact_per_day, self._least, self.force,
            )  # fmt: skip

        self.over_plants(piece)

    def _hear(self) -> None:
        """Set what the records of its neighbours say for or against each plant's infection in each step.

        A plant that was infected early would have infected neighbours, and some of them would have been found. To first
        order the records of plant j change by exp(g x added force), g below zero where they speak against more force.
        Only what speaks against is counted.
        """
        steps, members = self.past.steps, self.members
        gain = np.empty_like(self.force)

        def piece(begin: int, end: int) -> None:
            fill_gain(
                begin, end, self.readings.first, self.readings.certain, self.readings.share, self.readings.like,
                self.told, self.force, steps.flight, float(steps.days), members.receives, members.stood_from,
                members.stood_to, gain,
            )  # fmt: skip

        self.over_plants(piece)
        open_to = gain[:, self._field.when].astype(np.float32)
        flown, touched = self._onward.of(open_to), np.asarray(self._touching @ open_to)
        self.told = np.empty_like(self.force)

        def hear(begin: int, end: int) -> None:
            fill_told(
                begin, end, self._field.when, flown, touched, self.rates.per_day_m2, self.rates.contact_per_day,
                members.size, float(steps.days), members.stood_to, self._sending, LEAST_LOG, self.told,
            )  # fmt: skip

        self.over_plants(hear)

    def _fill(self) -> None:
        """Set the chances from forces and records."""
        self.infected, self.sends = np.empty_like(self.infected), np.empty_like(self.sends)
        readings, steps, members = self.readings, self.past.steps, self.members

        def piece(begin: int, end: int) -> None:
            fill_chances(
                begin, end, readings.first, readings.certain, readings.share, readings.like, self.told, self.force, steps.flight,
                float(steps.days), members.receives, members.stood_from, members.stood_to, self._sending,
                self.infected, self.sends,
            )  # fmt: skip

        self.over_plants(piece)

    def over_plants(self, piece: Callable[[int, int], None]) -> None:
        """Call a function with the first and the end of every piece of the members."""
        count = len(self.members.plant)
        self._engine.map(lambda begin: piece(begin, min(begin + PLANTS_PER_PIECE, count)),
                         range(0, count, PLANTS_PER_PIECE))  # fmt: skip

    def showing(self, shown: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return the chance of unnoticed symptoms now [-], and days of the season until half of such plants show."""
        count = len(self.members.plant)
        symptomatic, half = np.zeros(count), np.zeros(count)
        readings, steps, members = self.readings, self.past.steps, self.members

        def piece(begin: int, end: int) -> None:
            fill_showing(
                begin, end, readings.first, readings.certain, readings.share, readings.like, readings.silent,
                self.told, self.force, steps.flight, float(steps.days), members.receives, members.stood_from, members.stood_to,
                steps.season, shown, symptomatic, half,
            )  # fmt: skip

        self.over_plants(piece)
        return symptomatic, half


def _told(loop: _Loop, inventory: Inventory, state: PlantState, settings: Settings) -> Hidden:
    """Return what the fixed point says of every plant of the inventory."""
    n, steps, plant = len(inventory), loop.past.steps, loop.members.plant
    symptomatic, half = loop.showing(shown_by_day(settings))
    infected = loop.infected.sum(axis=1)
    middle = (np.arange(len(steps)) + 0.5) * steps.days
    first_day = np.arange(len(steps)) * float(steps.days)
    after = settings.infection.infectious_after_days
    ready = loop.infected @ np.clip((steps.end - after - first_day) / steps.days, 0.0, 1.0)
    among = candidates(state)[plant]

    def everywhere(values: FloatArray, where: BoolArray) -> FloatArray:
        full = np.full(n, np.nan)
        full[plant[where]] = values[where]
        return full

    some = infected > 0
    age = np.where(some, steps.end - (loop.infected @ middle) / np.where(some, infected, 1.0), np.nan)
    by = no_dates(n)
    shows = among & some
    if shows.any():
        by[plant[shows]] = growing_season(settings.infection).date_after(
            np.full(int(shows.sum()), state.as_of), half[shows]
        )  # fmt: skip
    weeks = np.zeros((n, len(steps)), dtype=np.float32)
    weeks[plant] = loop.infected
    return Hidden(
        not_yet_infectious=everywhere(np.maximum(infected - ready, 0.0), among),
        infectious=everywhere(ready, among),
        healthy=everywhere(np.maximum(1.0 - infected, 0.0), among),
        symptomatic=everywhere(symptomatic, among),
        half_show_by=by,
        days_infected=everywhere(age, some),
        infected_in=weeks,
        step_from=steps.edge[:-1],
        expected_infected=float(infected[among].sum()),
        iterations=loop.iterations,
        change=loop.change,
        settled=loop.settled,
        remarks=(*loop.past.remarks, *_unsettled(loop)),
    )


def _unsettled(loop: _Loop) -> tuple[str, ...]:
    """Return a sentence where the fixed point was not reached."""
    if loop.settled:
        return ()
    return (
        f"Hidden sources did not settle after {loop.iterations} rounds: the last one still moved a value by "
        f"{loop.change:.2g}, where {SETTLED:g} is allowed. Read the figures of hidden infection as rough.",
    )
