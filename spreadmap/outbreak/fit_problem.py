"""A survey history as the sampler takes it: columns of plants and looks, days as numbers, what is believed beforehand."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from spreadmap.dispersal.kernels import Kernel
from spreadmap.errors import InputError
from spreadmap.values.arrays import BoolArray, FloatArray, IntArray, freeze_columns


@dataclass(frozen=True, slots=True, kw_only=True)
class Incubation:
    """Season days from infection to symptoms: log-normal, cut off below the day of a share; or fixed at its median.

    median_d [season d, zero or more], sigma [- (log)], cut_share [-].
    """

    median_d: float
    sigma: float
    cut_share: float
    is_fixed: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Beliefs:
    """Normal priors of the seven parameters in the order of `fit_types`, and which of them are free.

    `introductions_mean` is the mean number of plants infected on the day it began.
    """

    mean: tuple[float, ...]
    sd: tuple[float, ...]
    free: tuple[bool, ...]
    introductions_mean: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FitProblem:
    """All host plants (n), all looks at them (k), and what else the sampler needs. Days count from `day_zero`.

    `receive` is susceptibility times size, `send` size [medium plants]. A plant stands from `enter_day` to `leave_day`;
    one taken out on `removed_day` sends `rest` of its strength until `gone_day`. Looks are in the order of plant and
    day, none after the one that noticed a plant. `pass_showing`, `pass_silent` are the chances of what a look said of
    an infected plant that shows, and of one that does not yet. `flight` and `season` hold each day's weight of flight
    [-] and whether it is one of the growing season. It may have begun from `first_day` to `latest_day`, each day of
    flight alike; infections after `end_day` are left to the forecast.
    """

    day_zero: np.datetime64
    easting: FloatArray
    northing: FloatArray
    receive: FloatArray
    send: FloatArray
    enter_day: FloatArray
    leave_day: FloatArray
    removed_day: FloatArray
    rest: FloatArray
    gone_day: FloatArray
    noticed: BoolArray
    look_plant: IntArray
    look_day: FloatArray
    pass_showing: FloatArray
    pass_silent: FloatArray
    wild_easting: FloatArray
    wild_northing: FloatArray
    wild_send: FloatArray
    flight: FloatArray
    season: FloatArray
    first_day: float
    latest_day: float
    end_day: float
    infectious_after_d: float
    incubation: Incubation
    kernel: Kernel
    near_radius_m: float
    canopy_m: float
    touching_m: float
    beliefs: Beliefs
    candidates_least: int
    candidates_per_case: float

    def __post_init__(self) -> None:
        """Freeze every column, and refuse a start before the clock begins, which would be cut off unsaid."""
        if not 0.0 <= self.first_day <= self.latest_day:
            msg = (
                f"the fit is told that it began between day {self.first_day:g} and day {self.latest_day:g} after "
                f"{self.day_zero}; allowed: day 0 or later, the earlier one first. Begin with an earlier day_zero."
            )
            raise InputError(msg)
        plants = (
            "easting", "northing", "receive", "send", "enter_day", "leave_day", "removed_day", "rest", "gone_day",
        )  # fmt: skip
        freeze_columns(self, {**dict.fromkeys(plants, np.float64), "noticed": np.bool_}, len(self.easting))
        looks = dict.fromkeys(("look_day", "pass_showing", "pass_silent"), np.float64)
        freeze_columns(self, {"look_plant": np.int64, **looks}, len(self.look_plant))
        freeze_columns(
            self, dict.fromkeys(("wild_easting", "wild_northing", "wild_send"), np.float64), len(self.wild_send)
        )
        freeze_columns(self, dict.fromkeys(("flight", "season"), np.float64), len(self.flight))

    def __len__(self) -> int:
        """Return the number of plants."""
        return len(self.easting)

    def clock(self) -> FloatArray:
        """Return the sum of flight weights up to each midnight, one entry more than days [d of full flight]."""
        return np.concatenate([np.zeros(1), np.cumsum(self.flight)])

    def season_clock(self) -> FloatArray:
        """Return the days of the growing season up to each midnight [d]."""
        return np.concatenate([np.zeros(1), np.cumsum(self.season)])
