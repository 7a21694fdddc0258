"""From the end of a fit to the date of the state: what each draw's outbreak did meanwhile, while nothing of it could show."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.sparse import csr_array

from spreadmap.biology.season import flight_weight_on
from spreadmap.dispersal.spread import Spread
from spreadmap.engine import Engine
from spreadmap.outbreak.compiled_events import KNOWN
from spreadmap.outbreak.ensemble import LONGEST_STRETCH
from spreadmap.outbreak.events import NEVER, Clock, CourseRun, Draw, Life, Start, World, days_of_member
from spreadmap.outbreak.exposure import candidates
from spreadmap.outbreak.ground import Ground, ground_of
from spreadmap.outbreak.past import Past
from spreadmap.outbreak.scene import Scene
from spreadmap.outbreak.source_field import touching_pairs
from spreadmap.pressure import pressure_at_points
from spreadmap.records.sources import canopy_radius, join_sources, receptors_of, size_factor
from spreadmap.values.arrays import FloatArray, IntArray
from spreadmap.values.fit import HistoryFit
from spreadmap.values.inventory import Receptors, Sources
from spreadmap.values.rates import Rates

DAY = np.timedelta64(1, "D")
MIDDAY = 0.5
"""When on its day a plant was infected of which only the day is known [d]."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Gap:
    """The days between the end of a fit and the date of the state, and the n plants in it; days count from the former.

    `heaped` (days + 1,) are the days of full flight passed by each morning. What is infected before day `border` is
    infectious on the date of the state, what is infected later is not yet. Plants stand from `stood_from` to `gone` [d];
    `remains` are (plant, from, to) rows of roots and regrowth that send weakly.
    """

    begins: np.datetime64
    days: int
    border: int
    heaped: FloatArray
    stood_from: FloatArray
    gone: FloatArray
    remains: FloatArray
    opens: float = 0.0

    def parts(self) -> tuple[tuple[float, float], tuple[float, float]]:
        """Return between which days those were infected who are infectious by now, and those who are not yet."""
        middle = max(float(self.border), self.opens)
        return (self.opens, middle), (middle, float(self.days))

    def flown(self, first: FloatArray, last: FloatArray) -> FloatArray:
        """Return the days of full flight from some days to others, none where the latter come first."""
        day = np.arange(self.days + 1)
        return np.maximum(np.interp(last, day, self.heaped) - np.interp(first, day, self.heaped), 0.0)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Caught:
    """The chance of every plant of having been infected in the gap, were it healthy before, shape (n,) [-].

    `early` is that of being infectious by the date of the state, `late` that of not being so yet; zero for plants that
    are no candidates.
    """

    early: FloatArray
    late: FloatArray


def gap_of(scene: Scene, past: Past, fit: HistoryFit) -> Gap:
    """Return the gap after the end of a fit."""
    ends_on = np.datetime64(fit.ends_on)
    days = max(int((scene.state.as_of - ends_on) / DAY), 0)
    dates = ends_on + np.arange(days) * DAY
    offset = float((ends_on - past.steps.edge[0]) / DAY)
    heaped = np.concatenate([[0.0], np.cumsum(flight_weight_on(dates, scene.system.flight_weight))])
    remains = past.remains.copy()
    remains[:, 1:] -= offset
    return Gap(
        begins=ends_on,
        days=days,
        border=max(days - math.ceil(scene.settings.infection.infectious_after_days), 0),
        heaped=heaped,
        stood_from=past.stood_from - offset,
        gone=past.stood_to - offset,
        remains=remains,
        opens=fit.ends_at,
    )


class Meanwhile:
    """What the draws of a fit share: receivers, touching pairs, and the ground on which their outbreaks go on."""

    def __init__(self, scene: Scene, past: Past, gap: Gap) -> None:
        self.scene, self.gap = scene, gap
        inventory, settings = scene.inventory, scene.settings
        self.n = len(inventory)
        self.size = size_factor(inventory, settings.sources)
        self.among = candidates(scene.state)
        self.receives = np.where(self.among, inventory.susceptibility * self.size, 0.0)
        self.receptors: Receptors = receptors_of(inventory, self.among, settings.sources)
        hosts = np.asarray(past.is_host, dtype=np.bool_)
        self.hosts = np.flatnonzero(hosts)
        self.touching: csr_array = touching_pairs(
            receptors_of(inventory, hosts, settings.sources), settings.inspection.touching_m
        )
        self.root_strength = settings.sources.partly_removed_strength
        self._is_found = past.is_found
        self._alone = Engine(workers=1)

    def of_draw(self, number: int, law: Spread, rates: Rates, plant: IntArray, day: IntArray) -> Caught:
        """Return the chances of one draw, in which the plants at these places were infected on days of the gap or before.

        Forces follow the sources of the draw: those of the fit, and, where the gap is long enough for any to become
        infectious in it, those that the draw's own outbreak adds, simulated once. A plant that is one of these still
        counts with its chance, which its own infections then raise a little.
        """
        gap, nothing = self.gap, np.zeros(self.n)
        if gap.days == 0:
            return Caught(early=nothing, late=nothing)
        if gap.border > 0:
            more, since = self._outbreak(number, law, rates, plant, day)
            plant, day = np.concatenate([plant, more]), np.concatenate([day, since])
        early, late = (
            self.dose(law, rates, self.strength_times_days(plant, day, first, last), first, last)
            for first, last in gap.parts()
        )
        return Caught(early=-np.expm1(-early), late=np.exp(-early) * -np.expm1(-late))

    def strength_times_days(
        self, plant: IntArray, day: IntArray, first: float, last: float, part: FloatArray | float = 1.0
    ) -> FloatArray:
        """Return what every plant sends from one day of the gap to another, shape (n,) [medium plants x days of flight].

        A plant may stand in `plant` more than once, and each time for a `part` of itself.
        """
        gap, sent = self.gap, np.zeros(self.n)
        begins = day + MIDDAY + self.scene.settings.infection.infectious_after_days
        until = np.minimum(gap.gone[plant], last)
        whole = self.size[plant] * gap.flown(np.maximum(begins, first), np.maximum(until, first))
        np.add.at(sent, plant, part * whole)
        for index, since, to in gap.remains:
            at = int(index)
            span = gap.flown(np.array([max(since, first)]), np.array([max(min(to, last), first)]))
            sent[at] += self.root_strength * self.size[at] * float(span[0])
        return sent

    def dose(self, law: Spread, rates: Rates, sent: FloatArray, first: float, last: float) -> FloatArray:
        """Return the expected infections of every candidate from one day of the gap to another, shape (n,) [-].

        `sent` (n,) is what every plant sends meanwhile, by `strength_times_days`.
        """
        if last <= first:
            return np.zeros(self.n)
        scene, gap = self.scene, self.gap
        inventory, whole = scene.inventory, float(gap.flown(np.array([first]), np.array([last]))[0])
        sends = np.flatnonzero(sent > 0)
        own = Sources(
            easting=inventory.easting[sends], northing=inventory.northing[sends], strength=sent[sends], plant=sends
        )
        wild = Sources(
            easting=scene.wild.easting, northing=scene.wild.northing, strength=scene.wild.strength * whole,
            plant=scene.wild.plant,
        )  # fmt: skip
        density, touched = np.zeros(self.n), np.zeros(self.n)
        density[self.among] = pressure_at_points(
            self.receptors, join_sources(own, wild), law, self._alone, screens=scene.screens,
            settings=scene.settings.pressure,
        ).density  # fmt: skip
        touched[self.hosts] = self.touching @ sent[self.hosts]
        dose = rates.per_day_m2 * density + rates.contact_per_day * touched + rates.background_per_day * whole
        stood = gap.flown(np.maximum(gap.stood_from, first), np.full(self.n, float(last)))
        return np.asarray(self.receives * dose * (stood / whole if whole > 0 else 0.0))

    def _outbreak(
        self, number: int, law: Spread, rates: Rates, plant: IntArray, day: IntArray
    ) -> tuple[IntArray, IntArray]:
        """Return the plants that one simulated outbreak infects in the gap, and on which of its days."""
        scene = self.scene
        world = World(
            ground=self._ground(),
            start=self._start(plant, day),
            clock=self._clock(),
            life=Life(
                infectious_after_days=scene.settings.infection.infectious_after_days,
                latency_median_days=scene.settings.infection.latency_median_days,
                latency_sigma=scene.settings.infection.latency_sigma,
                seen_per_pass=scene.settings.detection.visual_symptomatic,
                roots_strength=self.root_strength,
            ),
            courses=(self._course(),),
            screens=scene.screens,
            checks=np.array([self.gap.days], dtype=np.int64),
            place=np.full(self.n, -1, dtype=np.int64),
            places=0,
            kept=0,
        )
        wild = np.zeros(self.n)
        open_to = world.ground.weight > 0
        wild[open_to] = pressure_at_points(
            receptors_of(scene.inventory, open_to, scene.settings.sources), scene.wild, law, self._alone,
            screens=scene.screens, settings=scene.settings.pressure,
        ).density  # fmt: skip
        outside = (rates.per_day_m2 * wild + rates.background_per_day) * world.ground.weight
        draw = Draw(number=number, spread=law, rates=rates, outside=outside, outside_left=(np.zeros(0),))
        infected, _, _, _ = days_of_member(scene.settings.ahead.seed, 0, world, draw)
        new = np.flatnonzero((infected >= 0) & (infected < NEVER))
        return new, infected[new]

    def _ground(self) -> Ground:
        """Return the plants with what could be infected in the gap; roots that were left before it send weakly."""
        scene, inventory = self.scene, self.scene.inventory
        open_to = np.zeros(self.n, dtype=np.bool_)
        open_to[self.hosts] = True
        open_to &= ~self._is_found & (self.gap.gone > 0)
        strength = self.size.copy()
        strength[self._roots()] *= self.root_strength
        return ground_of(
            inventory.easting, inventory.northing, canopy_radius(inventory, scene.settings.sources),
            np.where(open_to, inventory.susceptibility * self.size, 0.0), strength, scene.settings.inspection.touching_m,
        )  # fmt: skip

    def _roots(self) -> IntArray:
        """Return the plants whose roots or regrowth send when the gap begins."""
        plant, first, last = self.gap.remains.T
        return np.asarray(plant[(first <= 0) & (last > 0)], dtype=np.int64)

    def _course(self) -> CourseRun:
        """Return what was done in the gap: plants come out when the records say so, and nobody looks."""
        gone = np.where(np.isfinite(self.gap.gone), np.clip(self.gap.gone, -NEVER, NEVER), NEVER)
        gone[self._roots()] = NEVER
        return CourseRun(
            gone=gone.astype(np.int32), surveyed=np.zeros(len(self._clock().stretch) - 1, dtype=np.uint8),
            takes_out=False, crew_hours=0.0, free_from=0.0, delay_days=0.0, hours=np.zeros(self.n),
        )  # fmt: skip

    def _clock(self) -> Clock:
        pieces = -(-self.gap.days // LONGEST_STRETCH) + 1
        return Clock(
            flight=self.gap.heaped,
            season=np.arange(self.gap.days + 1, dtype=np.int64),
            stretch=np.unique(np.linspace(0, self.gap.days, pieces).astype(np.int64)),
        )

    def _start(self, plant: IntArray, day: IntArray) -> Start:
        """Return the draw's state: what is infectious by now sends, of the rest it is known on which day it was infected."""
        after = math.ceil(self.scene.settings.infection.infectious_after_days)
        sends = np.zeros(self.n, dtype=np.uint8)
        sends[plant[(day <= -after) & (self.gap.gone[plant] > 0)]] = KNOWN
        sends[self._roots()] = KNOWN
        fresh = (day > -after) & (self.gap.gone[plant] > 0)
        row = np.argsort(plant[fresh], kind="stable")
        unsure, age = plant[fresh][row], -day[fresh][row]
        borders = np.arange(after, -1, -1, dtype=np.float64)
        told = np.zeros((len(unsure), after), dtype=np.float32)
        told[np.arange(len(unsure)), np.clip(after - 1 - age, 0, after - 1)] = 1.0
        return Start(
            state=sends,
            unsure=unsure,
            chance=np.tile([1.0, 0.0, 0.0], (len(unsure), 1)),
            stands_from=np.clip(self.gap.stood_from, 0, NEVER).astype(np.int32),
            heaped=np.cumsum(told, axis=1, dtype=np.float32),
            since=borders,
            passed=borders,
        )
