"""What a fit to the survey history found: draws of the rates, how far they can be trusted, and what they were made of."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from spreadmap.values.arrays import FloatArray, IntArray, freeze_columns
from spreadmap.values.epidemic import Rates


class FitVerdict(StrEnum):
    """Whether a fit may be used, and if not, why."""

    ACCEPTED = "accepted"
    TOO_FEW_CASES = "too_few_cases"
    NOT_CONVERGED = "not_converged"
    REFUSED_BY_CHECK = "refused_by_check"


@dataclass(frozen=True, slots=True, kw_only=True)
class FittedNumber:
    """One fitted number: prior and posterior, each as 2.5 %, 50 % and 97.5 % points, and what the chains are worth.

    `is_moved` says whether the data narrowed the prior by a fifth or more. A number that has no prior of its own, such
    as how many plants hide an infection, has NaN there.
    """

    name: str
    unit: str
    prior: tuple[float, float, float]
    posterior: tuple[float, float, float]
    effective_size: float
    r_hat: float
    is_moved: bool


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Discrepancy:
    """One thing that was looked at in simulated outbreaks: its name, what was found, what they gave, (replicates,).

    `p` is twice the share of replicates on the rarer side of what was found [-].
    """

    name: str
    found: float
    simulated: FloatArray
    p: float

    def __post_init__(self) -> None:
        """Freeze the replicates."""
        freeze_columns(self, {"simulated": np.float64}, len(self.simulated))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FitResult:
    """A fit to the survey history of one pest system.

    Every column has one item per draw. `wind_east`, `wind_north` are a vector whose length is the concentration of a
    von Mises density of bearings toward which arrivals go; with the wind form `record`, `wind_influence` holds instead how
    far arrivals follow the wind record, and NaN elsewhere. `start_day` counts from `first_day`. The infections of the
    state draws stand in `state_plant` (places in the inventory), `state_day` (from `first_day`), with `state_first`
    (states + 1) saying where each state's begin, and `state_draw` the draw of the rates that belongs to it.
    Infections after `end` are no part of the fit: they could not show yet.
    """

    system_key: str
    as_of: dt.date
    first_day: dt.date
    end: dt.date
    verdict: FitVerdict
    says: tuple[str, ...]
    numbers: tuple[FittedNumber, ...]
    rate_m2_per_day: FloatArray
    scale_factor: FloatArray
    shape_factor: FloatArray
    contact_per_season: FloatArray
    background_per_season: FloatArray
    wind_form: str
    wind_east: FloatArray
    wind_north: FloatArray
    wind_influence: FloatArray
    start_day: FloatArray
    infected: IntArray
    infectious_after_d: float
    state_first: IntArray
    state_plant: IntArray
    state_day: FloatArray
    state_draw: IntArray
    is_wind_told: bool
    wind_beyond: float
    """Share of the draws of the wind farther from their middle than no wind at all [-]; below 0.05 a wind is told."""
    outside_expected: tuple[float, float, float]
    """Expected number of infections from outside during the fit: 2.5 %, 50 % and 97.5 % points."""
    checks: tuple[Discrepancy, ...]
    settings: str
    """The settings that count for the fit, as JSON text with sorted keys."""
    inputs: tuple[tuple[str, str], ...]
    """Role and SHA-256 of every file that counts for the fit."""

    def __post_init__(self) -> None:
        """Freeze every column."""
        names = ("rate_m2_per_day", "scale_factor", "shape_factor", "contact_per_season", "background_per_season",
                 "wind_east", "wind_north", "wind_influence", "start_day")  # fmt: skip
        freeze_columns(self, {**dict.fromkeys(names, np.float64), "infected": np.int64}, len(self.rate_m2_per_day))
        freeze_columns(self, {"state_plant": np.int64, "state_day": np.float64}, len(self.state_plant))
        freeze_columns(self, {"state_draw": np.int64}, len(self.state_draw))
        freeze_columns(self, {"state_first": np.int64}, len(self.state_first))

    def __len__(self) -> int:
        """Return the number of draws."""
        return len(self.rate_m2_per_day)

    @property
    def is_accepted(self) -> bool:
        """Return whether forecasts may rest on this fit."""
        return self.verdict is FitVerdict.ACCEPTED

    def rates(self, draw: int) -> Rates:
        """Return one draw of the rates; the wind that belongs to it stands in the columns."""
        return Rates(
            rate_m2_per_day=float(self.rate_m2_per_day[draw]),
            contact_per_season=float(self.contact_per_season[draw]),
            background_per_season=float(self.background_per_season[draw]),
            scale_factor=float(self.scale_factor[draw]),
            infectious_after_d=self.infectious_after_d,
        )

    def infected_in(self, state: int) -> tuple[IntArray, FloatArray]:
        """Return the plants that are infected in one state, and their days from `first_day`."""
        rows = slice(int(self.state_first[state]), int(self.state_first[state + 1]))
        return self.state_plant[rows], self.state_day[rows]


def is_narrower(prior: tuple[float, float, float], posterior: tuple[float, float, float]) -> bool:
    """Return whether an interval is narrower than its prior by a fifth or more; lengths, or logarithms above zero."""
    if min(prior[0], posterior[0]) > 0:
        before, after = np.log(prior[2] / prior[0]), np.log(posterior[2] / posterior[0])
    else:
        before, after = prior[2] - prior[0], posterior[2] - posterior[0]
    return bool(after < 0.8 * before)
