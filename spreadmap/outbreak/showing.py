"""What shows of plants of which only the step of their infection is known: by now, and by when half of them do."""

from __future__ import annotations

import numpy as np

from spreadmap.engine import Engine
from spreadmap.outbreak.hidden_now import likelihood, shown_by_day
from spreadmap.outbreak.past import Evidence, Past
from spreadmap.values.arrays import BoolArray, FloatArray, IntArray
from spreadmap.values.settings import Settings

PLANTS_AT_ONCE = 4096


class Showing:
    """Symptoms by the latency of the settings and all looks at each plant.

    `plant` are places in the inventory whose looks tell something of their infection; of all others nothing shows but
    by the latency.
    """

    def __init__(self, past: Past, plant: IntArray, settings: Settings) -> None:
        steps = past.steps
        self._row = np.full(len(past.stood_to), -1, dtype=np.int64)
        self._row[plant] = np.arange(len(plant))
        like, silent = likelihood(records_of(past.evidence, plant), past, settings, Engine(workers=1))
        quiet = np.ones(like.shape)
        np.divide(silent, like, out=quiet, where=like > 0)
        # The last row stands for plants whose looks tell nothing.
        self._quiet = np.vstack([quiet, np.ones((1, len(steps)))])
        self._shown = shown_by_day(settings)
        middle = (np.arange(len(steps)) + 0.5) * steps.days
        since = np.interp(2 * middle, np.arange(len(steps.season)), steps.season)
        self._base = steps.season[int(2 * steps.end)] - since

    def share_shown(self, season_days: FloatArray) -> FloatArray:
        """Return the share of infected plants that show after so many season days, any shape [-]."""
        return np.interp(season_days, np.arange(len(self._shown)), self._shown)

    def by_now(self, plant: IntArray, step: IntArray) -> FloatArray:
        """Return the chance that plants infected in these steps show symptoms, shape of `plant` [-]."""
        hides = 1.0 - self.share_shown(self._base)
        return np.clip(1.0 - self._quiet[self._row[plant], step] * hides[step], 0.0, 1.0)

    def later(self, plant: IntArray, weight: FloatArray, season_days: float) -> FloatArray:
        """Return how much of the weight of having been infected in each step (m, steps) shows so many season days from now."""
        hides = weight * self._quiet[self._row[plant]]
        return np.asarray(weight.sum(axis=1) - hides @ (1.0 - self.share_shown(self._base + season_days)))

    def half_after(self, plant: IntArray, weight: np.ndarray) -> FloatArray:
        """Return the days of the season until half of the plants like each show, were they infected by now.

        Parameters
        ----------
        plant : array of int, shape (m,)
        weight : array, shape (m, steps)
            Of having been infected in each step, any unit, above zero in one step at least.

        Returns
        -------
        array, shape (m,)
            Whole days; zero where half show already. [d]
        """
        found = np.empty(len(plant))
        for first in range(0, len(plant), PLANTS_AT_ONCE):
            one = slice(first, first + PLANTS_AT_ONCE)
            found[one] = self._half_after(plant[one], np.asarray(weight[one], dtype=np.float64))
        return found

    def _half_after(self, plant: IntArray, weight: FloatArray) -> FloatArray:
        hides, half = weight * self._quiet[self._row[plant]], weight.sum(axis=1) / 2
        used = np.flatnonzero(weight.any(axis=0))
        hides, base = hides[:, used], self._base[used]

        def too_many_hide(days: FloatArray) -> BoolArray:
            sums: FloatArray = (hides * (1.0 - self.share_shown(base + days[:, None]))).sum(axis=1)
            return np.asarray(sums > half)

        low, high = np.zeros(len(plant)), np.full(len(plant), float(len(self._shown) - 1))
        now = too_many_hide(low)
        while np.any(high - low > 1):
            middle = np.floor((low + high) / 2)
            hide = too_many_hide(middle)
            low, high = np.where(hide, middle, low), np.where(hide, high, middle)
        return np.where(now, high, 0.0)


def records_of(evidence: Evidence, plant: IntArray) -> Evidence:
    """Return the inspections of some plants, plant after plant."""
    count = evidence.first[plant + 1] - evidence.first[plant]
    first = np.concatenate([[0], np.cumsum(count)]).astype(np.int64)
    at = np.repeat(evidence.first[plant] - first[:-1], count) + np.arange(first[-1])
    return Evidence(
        first=first,
        day=evidence.day[at],
        if_showing=evidence.if_showing[at],
        if_symptomless=evidence.if_symptomless[at],
        if_healthy=evidence.if_healthy[at],
    )
