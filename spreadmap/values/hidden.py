"""What is hidden on the date of the state: chances of every plant, or their order where no rates were fitted."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from spreadmap.values.arrays import BoolArray, DateArray, FloatArray, IntArray, freeze_columns

NORMAL_95 = 1.959963984540054
"""Half of the middle 95 % of the normal distribution [standard deviations]."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Hidden:
    """Chances of every plant on the date of the state; same order as the inventory.

    A candidate is a standing host that is not confirmed. For candidates `not_yet_infectious`, `infectious` (with or
    without symptoms that nobody noticed) and `healthy` sum to one; for all others they are NaN. `symptomatic` is the
    part of all infected that shows unnoticed symptoms. `half_show_by` is the date by which half of the candidates like
    this one, if infected by now, show symptoms; `days_infected` is how long they have been infected on average [d],
    also given for confirmed plants. [-] elsewhere.

    `infected_in` (n, steps) is the chance of having been infected in each step of time, also for confirmed plants, for
    which it sums to one, and for plants that were taken out; `step_from` (steps,) are the first days of the steps, the
    last of which ends on the date of the state.

    `expected_infected` is the sum over candidates of the chance of being infected, `error` its standard error where the
    chances are means over draws, which are worth `worth` independent states [-]. `iterations` and `change` say how a
    fixed point over hidden sources was reached; `settled` whether it was.
    """

    not_yet_infectious: FloatArray
    infectious: FloatArray
    healthy: FloatArray
    symptomatic: FloatArray
    half_show_by: DateArray
    days_infected: FloatArray
    infected_in: np.ndarray
    step_from: DateArray
    expected_infected: float
    iterations: int = 0
    change: float = 0.0
    settled: bool = True
    error: float = 0.0
    worth: float = 0.0
    remarks: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        """Freeze every column."""
        names = ("not_yet_infectious", "infectious", "healthy", "symptomatic", "days_infected")
        kinds = {**dict.fromkeys(names, np.float64), "half_show_by": "datetime64[D]", "infected_in": np.float32}
        freeze_columns(self, kinds, len(self.healthy))
        freeze_columns(self, {"step_from": "datetime64[D]"}, self.infected_in.shape[1])

    def __len__(self) -> int:
        """Return the number of plants."""
        return len(self.healthy)

    @property
    def infected(self) -> FloatArray:
        """Return the chance of being infected, infectious or not, shape (n,) [-]; NaN for plants that are no candidates."""
        return self.not_yet_infectious + self.infectious

    def drawn_range(self) -> tuple[FloatArray, FloatArray]:
        """Return how far drawing alone may have moved `infected`: limits of 95 %, shape (n,) each [-]; NaN without draws.

        What few states say of a share, no more: that the law may be another is in the states themselves.

        References
        ----------
        Wilson 1927, J Am Stat Assoc 22:209-212, doi 10.1080/01621459.1927.10502953, score interval; formula from memory,
        bound by scipy's in tests/test_hidden.py.
        """
        share, worth = self.infected, self.worth if self.worth > 0 else np.nan
        shrunk = 1.0 / (1.0 + NORMAL_95**2 / worth)
        middle = shrunk * (share + NORMAL_95**2 / (2.0 * worth))
        half = shrunk * NORMAL_95 * np.sqrt(share * (1.0 - share) / worth + NORMAL_95**2 / (4.0 * worth**2))
        return np.maximum(middle - half, 0.0), np.minimum(middle + half, 1.0)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class HiddenOrder:
    """The order of the candidates where no rates were fitted: ranks and weights, and nothing that is a chance.

    `weight` is relative, 100 for the candidate that weighs most, NaN for plants that are no candidates. `rank` is 1 for
    the largest weight and 0 for no candidate; `rank_low`, `rank_high` are the best and worst rank over the assumed range
    of rates; `rank_holds` says that a plant stays in its tenth of the candidates over all of it. `half_show_by` is as in
    `Hidden`.
    """

    weight: FloatArray
    rank: IntArray
    rank_low: IntArray
    rank_high: IntArray
    rank_holds: BoolArray
    half_show_by: DateArray
    remarks: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        """Freeze every column."""
        whole = dict.fromkeys(("rank", "rank_low", "rank_high"), np.int64)
        kinds = {**whole, "weight": np.float64, "rank_holds": np.bool_, "half_show_by": "datetime64[D]"}
        freeze_columns(self, kinds, len(self.weight))

    def __len__(self) -> int:
        """Return the number of plants."""
        return len(self.weight)
