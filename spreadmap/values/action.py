"""What may be done about an outbreak, what is known of it today, and what a forecast then counts."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from spreadmap.errors import InputError, SettingsError
from spreadmap.values.arrays import BoolArray, DateArray, FloatArray, IntArray, column, freeze_columns
from spreadmap.values.inventory import ScreenSegments


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Action:
    """One course of action over n plants, from the as-of date on.

    Parameters
    ----------
    condition : str
        In words, as it stands in products: "if nothing is done".
    out_on : array of `datetime64[D]`, shape (n,)
        The day on whose morning each plant is out; NaT where it is not on a list.
    surveys_on : array of `datetime64[D]`, shape (k,)
        Days on which plants are looked at, ascending.
    looked_at : array of bool, shape (n,)
        Which plants a survey looks at.
    share_seen : float
        Share of showing plants that one look finds. [-]
    takes_found_out : bool
        Whether what a survey finds comes out.
    days_to_removal : int
        From finding to the morning on which the plant is out, one or more. [d]
    crew_minutes_per_day : float
        Work on plants found, calendar days alike; infinite where hours do not matter. [min]
    crew_free_on : `datetime64[D]`
        From when on the crew has time for plants found; NaT for at once.
    minutes : array, shape (n,)
        Work on each plant. [min]
    ring_m : float
        Around every plant found, all plants within this distance come out with it. [m]
    roots_missed : float
        Share of removals that leave roots in the ground. [-]
    roots_strength : float
        What such roots send, as a share of the plant. [-]
    screens : ScreenSegments, optional
        Screens that stand from the as-of date on, in place of those of today.

    Raises
    ------
    SettingsError
        If a number is out of range; all faults at once.
    InputError
        If the columns have not one length, or surveys are not in order.
    """

    condition: str
    out_on: DateArray
    surveys_on: DateArray
    looked_at: BoolArray
    minutes: FloatArray
    share_seen: float = 0.55
    takes_found_out: bool = False
    days_to_removal: int = 7
    crew_minutes_per_day: float = math.inf
    crew_free_on: np.datetime64 = np.datetime64("NaT", "D")  # noqa: RUF009  a date never changes
    ring_m: float = 0.0
    roots_missed: float = 0.0
    roots_strength: float = 0.3
    screens: ScreenSegments | None = None

    def __post_init__(self) -> None:
        """Freeze the columns and check every number."""
        for name in ("looked_at", "minutes"):
            if len(getattr(self, name)) != len(self.out_on):
                msg = (
                    f"{self.condition}: {name} has {len(getattr(self, name))} items and out_on {len(self.out_on)}; "
                    "allowed: one for each plant. Make them from one inventory."
                )
                raise InputError(msg)
        columns = {"out_on": "datetime64[D]", "looked_at": np.bool_, "minutes": np.float64}
        freeze_columns(self, columns, len(self.out_on))
        object.__setattr__(self, "surveys_on", column(self.surveys_on, "datetime64[D]"))
        checks = (
            ("share_seen", self.share_seen, 0 <= self.share_seen <= 1, "0 to 1"),
            ("days_to_removal", self.days_to_removal, self.days_to_removal >= 1, "1 d or more"),
            ("crew_minutes_per_day", self.crew_minutes_per_day, self.crew_minutes_per_day > 0, "above 0 min"),
            ("ring_m", self.ring_m, 0 <= self.ring_m < math.inf, "0 m or more"),
            ("roots_missed", self.roots_missed, 0 <= self.roots_missed <= 1, "0 to 1"),
            ("roots_strength", self.roots_strength, 0 <= self.roots_strength <= 1, "0 to 1"),
        )
        wrong = [f"{name} is {value}; allowed: {allowed}" for name, value, right, allowed in checks if not right]
        if wrong:
            msg = f"{self.condition}: {'; '.join(wrong)}. Correct the course of action."
            raise SettingsError(msg)
        if np.isnat(self.surveys_on).any() or np.any(np.diff(self.surveys_on) <= np.timedelta64(0, "D")):
            msg = (
                f"{self.condition}: surveys_on is not a list of dates, each after the one before; put the dates of the "
                "surveys in order and leave out doubles."
            )
            raise InputError(msg)

    def __len__(self) -> int:
        """Return the number of plants."""
        return len(self.out_on)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Start:
    """What is thought of n plants on the as-of date.

    Parameters
    ----------
    latent, silent, showing : arrays, shape (n,)
        Chances of being infected and not yet sending; sending without symptoms; sending with symptoms. What is left to
        one is the chance of being healthy. A `showing` of one is a plant already known. [-]
    roots : array, shape (n,)
        What remains of plants taken out still send, as a share of the plant; zero for all others. [-]
    age_d : array, shape (n,)
        Season days since infection of a plant that is silent. [d]

    Raises
    ------
    InputError
        If chances are below zero or add up to more than one, with how many and the first of them.
    """

    latent: FloatArray
    silent: FloatArray
    showing: FloatArray
    roots: FloatArray
    age_d: FloatArray

    def __post_init__(self) -> None:
        """Freeze the columns and check every chance."""
        names = ("latent", "silent", "showing", "roots", "age_d")
        freeze_columns(self, dict.fromkeys(names, np.float64), len(column(self.latent, np.float64)))
        total = self.latent + self.silent + self.showing
        rest = self.roots
        wrong = ~((np.min([self.latent, self.silent, self.showing], axis=0, initial=1) >= 0) & (total <= 1 + 1e-9))
        wrong |= ~((rest >= 0) & (rest <= 1) & (self.age_d >= 0) & np.isfinite(self.age_d))
        if wrong.any():
            first = int(np.flatnonzero(wrong)[0])
            msg = (
                f"{int(wrong.sum())} of {len(wrong)} plants cannot be started, first plant {first}: latent "
                f"{self.latent[first]:g}, silent {self.silent[first]:g}, showing {self.showing[first]:g}, roots {rest[first]:g}, "
                f"age {self.age_d[first]:g} d; allowed: chances of 0 to 1 that add up to 1 at most, an age of 0 d or more. "
                "Correct the chances of hidden infection."
            )
            raise InputError(msg)

    def __len__(self) -> int:
        """Return the number of plants."""
        return len(self.latent)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Outbreaks:
    """What D draws x m members of one course of action came to, counted before each of c dates.

    `new` (D, m, c) are plants newly infected since the as-of date in each member, `showing` (D, m, c) plants that show.
    `new_by_plant`, `infected_by_plant`, `showing_by_plant` (c, n) are how many of all members it was so in;
    `mean_day` (n,) is the mean day of new infection from the as-of date, NaN without one [d]. `new_by_group` (D, m, c,
    groups) and `first_day` (D, m, groups), the day of the first new infection, count groups of plants; `first_day` is
    above `days` where there is none.
    """

    condition: str
    on: DateArray
    days: int
    new: IntArray
    showing: IntArray
    new_by_plant: IntArray
    infected_by_plant: IntArray
    showing_by_plant: IntArray
    mean_day: FloatArray
    new_by_group: IntArray
    first_day: IntArray

    @property
    def members(self) -> int:
        """Return the number of members of all draws."""
        return int(self.new.shape[0] * self.new.shape[1])
