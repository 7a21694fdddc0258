"""Hidden infection on the as-of date: what is thought of every plant that is not confirmed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from spreadmap.values.arrays import BoolArray, DateArray, FloatArray, IntArray, freeze_columns
from spreadmap.values.epidemic import Rates
from spreadmap.values.words import Mode


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class HiddenChances:
    """Four chances that add up to one for every standing host that is not confirmed, NaN for all others, (n,) [-].

    `not_infectious`: infected, and sends nothing yet; `symptomless`: sends, and shows nothing; `missed`: shows, and
    nobody has seen it; `healthy`.
    """

    not_infectious: FloatArray
    symptomless: FloatArray
    missed: FloatArray
    healthy: FloatArray

    def __post_init__(self) -> None:
        """Freeze every column."""
        names = ("not_infectious", "symptomless", "missed", "healthy")
        freeze_columns(self, dict.fromkeys(names, np.float64), len(self.healthy))

    @property
    def infected(self) -> FloatArray:
        """Return the chance of being infected, whatever can be seen of it, (n,) [-]."""
        return self.not_infectious + self.symptomless + self.missed


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class HiddenInfection:
    """Hidden infection of n plants, in ranks and relative units, and in chances where rates were fitted.

    Parameters
    ----------
    mode : Mode
        Calibrated only when the rates come from an accepted fit.
    is_candidate : array, (n,)
        Standing hosts that are not confirmed. All columns below are empty values for other plants.
    rank, rank_low, rank_high : arrays, (n,)
        1 is most hidden infection, 0 no candidate; low and high are best and worst over all runs.
    run_rank : array, (runs, n)
        The rank in every run; the first run gives `rank` in relative mode.
    relative : array, (n,)
        Hidden infection in multiples of the average candidate; NaN for others. [-]
    shows_on : array of dates, (n,)
        The date by which half of such plants, were they infected, would show; the as-of date where they would already;
        NaT for no candidate and beyond ten years.
    sends_share : array, (n,)
        Of such plants that are infected, the share that sends already; NaN for others. [-]
    rates : tuple of Rates
        The rates of each run.
    rounds, change : tuples
        For each run: rounds until nothing changed by more than the tolerance, and the last change.
    chances : HiddenChances or None
        None in relative mode.
    remarks : tuple of str
        What was assumed, in sentences.
    """

    mode: Mode
    is_candidate: BoolArray
    rank: IntArray
    rank_low: IntArray
    rank_high: IntArray
    run_rank: IntArray
    relative: FloatArray
    shows_on: DateArray
    sends_share: FloatArray
    rates: tuple[Rates, ...]
    rounds: tuple[int, ...]
    change: tuple[float, ...]
    chances: HiddenChances | None = None
    remarks: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        """Freeze every column; chances belong to calibrated mode alone."""
        whole = dict.fromkeys(("rank", "rank_low", "rank_high"), np.int64)
        numbers = dict.fromkeys(("relative", "sends_share"), np.float64)
        freeze_columns(
            self, {**whole, **numbers, "is_candidate": np.bool_, "shows_on": "datetime64[D]"}, len(self.is_candidate)
        )
        freeze_columns(self, {"run_rank": np.int64}, len(self.rates))
        if (self.mode is Mode.CALIBRATED) != (self.chances is not None):
            msg = f"mode is {self.mode.value}; allowed: chances in calibrated mode, and none in relative mode"
            raise ValueError(msg)

    def __len__(self) -> int:
        """Return the number of plants."""
        return len(self.is_candidate)
