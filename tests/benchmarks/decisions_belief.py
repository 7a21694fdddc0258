"""What a planner believes of green plants: the benchmark's own form, behind the few functions that a rule needs.

Steps of a week. A plant's chance of infection in a step and of symptoms in a later one is weighed with every look that
saw nothing, or found it; what plants send in each step follows from that, and the force on others from what they send,
so that the past of green plants is revised by each later pass. The planner knows the laws and rates that are given to
it, and what was looked at; it knows nobody's infection.
"""

from __future__ import annotations

import numpy as np
from decisions_world import (
    DETECTION,
    FOUNDERS,
    HIDDEN_STRENGTH,
    PLANTS,
    SENDS_AFTER_D,
    START_D,
    WEEK_D,
    WEEKS,
    flown_before,
    latency_share,
)
from numba import njit

BACK = 56
"""Weeks before the programme with which the belief begins: the founders' day, of which the planner knows number and date."""
WINDOW = 60
"""Weeks over which the past is revised; what is older stays as it was."""
SEEN_AFTER = round(SENDS_AFTER_D / WEEK_D)
FIRST_SWEEPS = 4
SMALL = 3e-4
"""Sources that never send more than this in the window are left out of the sums [plants]."""

LEAST = 3e-7
"""Chances of infection in one step below this are left out [-]."""
NOT_FOUND = 1_000_000


@njit(cache=True, fastmath={"reassoc", "contract"})
def _revise(force, flight_from, now, found, gone, shows, clean, sends, chance, current, unnoticed):
    """Set for each plant what it sends in each step before `now`, and its chance of being infected now.

    `force` (steps, plants) is the expected infections of each step, `clean` (plants, steps) the chance that all looks at a
    plant saw nothing, had it shown symptoms from that step on, `shows` (steps,) the share by lag in steps.
    """
    span = now - flight_from
    weight, full, infected, looks = np.zeros(span), np.zeros(span), np.zeros(span), np.zeros(span)
    shown = np.zeros(span + 1)
    for at in range(span):
        shown[at + 1] = shown[at] + shows[at]
    for plant in range(len(found)):
        is_found = found[plant] < NOT_FOUND
        # A plant that was found at a pass had symptoms before it and was missed by the passes between.
        last = min(now, found[plant]) - flight_from
        scale = 1.0 / clean[plant, found[plant] - 1] if is_found else 1.0
        left, total = 1.0, 0.0
        for at in range(span):
            new = left * -np.expm1(-force[flight_from + at, plant]) if flight_from + at < gone[plant] else 0.0
            weight[at] = new
            left -= new
            full[at], infected[at] = 0.0, 0.0
            looks[at] = clean[plant, flight_from + at] * scale
        for at in range(last):
            if weight[at] < LEAST:
                continue
            seen, some = 0.0, weight[at]
            for step in range(at, last):
                one = shows[step - at] * looks[step]
                full[step] += some * one
                seen += one
            hidden = 0.0 if is_found else max(1.0 - shown[last - at], 0.0)
            infected[at] = some * (seen + hidden)
            total += infected[at]
        healthy = 0.0 if is_found else left
        norm = total + healthy
        if norm <= 0.0:
            # Found without any force that explains it: infected so long ago that it shows, no more is known.
            norm = 1.0
            if is_found:
                step = max(last - 1, 0)
                infected[max(step - 9, 0)] = 1.0
                full[step] = 1.0
                total = 1.0
        old, showing = 0.0, 0.0
        for at in range(span):
            if at >= SEEN_AFTER:
                old += infected[at - SEEN_AFTER]
            half = 0.5 * full[at]
            strength = HIDDEN_STRENGTH * max(old - showing - half, 0.0) + showing + half
            showing += full[at]
            step = flight_from + at
            stands = 1.0 if step < gone[plant] else 0.0
            sends[step, plant] = stands * strength / norm
        chance[plant] = total / norm
        unnoticed[plant] = showing / norm
        current[plant] = sends[now - 1, plant]


class Belief:
    """Chances of all plants from week to week, for a planner that holds some law to be true."""

    name = "the benchmark's own: smoothed, revised by each later clean pass"

    def __init__(self, rate: np.ndarray, wild: np.ndarray) -> None:
        self._rate = rate
        steps = BACK + WEEKS + 2
        edges = START_D + WEEK_D * (np.arange(steps + 1) - BACK)
        self.flight = np.diff(flown_before(np.maximum(edges, 0))).astype(np.float32)
        self._wild = wild.astype(np.float32)
        self._force = np.zeros((steps, PLANTS), dtype=np.float32)
        self._force[:] = self._wild * self.flight[:, None]
        self._force[0] += FOUNDERS / PLANTS
        self._sends = np.zeros((steps, PLANTS), dtype=np.float32)
        lag = np.arange(steps + 1)
        self._shows = np.diff(latency_share(np.maximum((lag - 0.5) * WEEK_D, 0)))
        self._clean = np.ones((PLANTS, steps + 1))
        self._found = np.full(PLANTS, NOT_FOUND)
        self._gone = np.full(PLANTS, NOT_FOUND)
        self.chance, self.current, self.unnoticed = np.zeros(PLANTS), np.zeros(PLANTS), np.zeros(PLANTS)
        self._swept, self.revised = 0, -2

    def looked_at(self, week: int, plants: np.ndarray, found: np.ndarray) -> None:
        """Note looks at plants at the beginning of a week, and which of them were found."""
        now = BACK + week
        self._clean[plants, :now] *= 1 - DETECTION
        # The pass that found a plant counts as one that missed it; both are a constant factor of what it is divided by.
        self._found[found] = now

    def removed(self, week: int, plants: np.ndarray) -> None:
        """Note plants that go in a week."""
        self._gone[plants] = np.minimum(self._gone[plants], BACK + week + 1)

    def revise(self, week: int, sweeps: int = 1) -> None:
        """Bring chances and all of the past to what is known at the beginning of a week."""
        now, self.revised = BACK + week, week
        begin = max(now - WINDOW, 0)
        for _ in range(sweeps if self._swept else FIRST_SWEEPS):
            _revise(
                self._force, begin, now, self._found, self._gone, self._shows, self._clean, self._sends, self.chance,
                self.current, self.unnoticed,
            )  # fmt: skip
            part = self._sends[begin:now]
            active = np.flatnonzero(part.max(axis=0) > SMALL)
            force = np.ascontiguousarray(part[:, active]) @ self._rate[active] + self._wild
            self._force[begin:now] = force * self.flight[begin:now, None]
            if begin == 0:
                self._force[0] += FOUNDERS / PLANTS
            self._swept += 1
        # What is sent from now on until the next revision.
        sends = np.where(self._gone > now, self.current, 0.0).astype(np.float32)
        active = np.flatnonzero(sends > SMALL)
        ahead = sends[active] @ self._rate[active] + self._wild
        later = slice(now, min(now + 8, len(self.flight)))
        self._force[later] = ahead * self.flight[later, None]
        self._sends[later] = sends
