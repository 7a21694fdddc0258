"""A fit to the survey history: what was believed, what the draws say, and whether to believe them."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field

import numpy as np

from spreadmap.values.arrays import DateArray, FloatArray, IntArray, TextArray, freeze_columns

DRAW_COLUMNS = (
    "rate_per_day_m2", "scale_factor", "wind_east", "wind_north", "background_per_day", "contact_per_day",
    "shape_factor", "began_days_before", "infected", "introduced", "outside",
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FitDraws:
    """Draws of the posterior, one item per draw; those of one chain stand together, evenly spaced and in their order.

    `rate_per_day_m2` [m2/day of full flight], `scale_factor` and `shape_factor` [-] multiply the lengths and the shape
    of the kernel, `wind_east`, `wind_north` [-] are the vector toward which arrivals concentrate (a von Mises density
    with the vector's length as concentration), `background_per_day`, `contact_per_day` [1/day of full flight].
    `began_days_before` [d] counts from the first survey back; `infected` are all infections up to the end of the fit,
    `introduced` those of the day it began, `outside` the expected number of the others that came from outside.
    """

    chain: IntArray
    rate_per_day_m2: FloatArray
    scale_factor: FloatArray
    wind_east: FloatArray
    wind_north: FloatArray
    background_per_day: FloatArray
    contact_per_day: FloatArray
    shape_factor: FloatArray
    began_days_before: FloatArray
    infected: FloatArray
    introduced: FloatArray
    outside: FloatArray

    def __post_init__(self) -> None:
        """Freeze every column."""
        freeze_columns(self, {"chain": np.int64, **dict.fromkeys(DRAW_COLUMNS, np.float64)}, len(self.chain))

    def __len__(self) -> int:
        """Return the number of draws."""
        return len(self.chain)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FitStates:
    """Which plants were infected at the end of the fit, and since which day: one state for each draw, in their order.

    Those of draw k are `first[k]` to `first[k + 1]` - 1. `plant` is the place in `plant_id`, the keys of all plants that
    were followed one by one.

    Over all iterations, of which the draws are some, `share` is the part of them in which a plant never noticed
    (`share_plant`, a place in `plant_id`) was infected within a week before the end of the fit from `share_from` on [-].
    """

    plant_id: TextArray
    first: IntArray
    plant: IntArray
    infected_on: DateArray
    share_plant: IntArray
    share_from: DateArray
    share: FloatArray

    def __post_init__(self) -> None:
        """Freeze every column, and refuse places that do not fit together."""
        freeze_columns(self, {"plant_id": object}, len(self.plant_id))
        freeze_columns(self, {"first": np.int64}, len(self.first))
        freeze_columns(self, {"plant": np.int64, "infected_on": "datetime64[D]"}, len(self.plant))
        shares = {"share_plant": np.int64, "share_from": "datetime64[D]", "share": np.float64}
        freeze_columns(self, shares, len(self.share))
        rises = len(self.first) > 0 and self.first[0] == 0 and self.first[-1] == len(self.plant)
        places = np.concatenate([self.plant, self.share_plant])
        inside = not len(places) or (places.min() >= 0 and places.max() < len(self.plant_id))
        if not (rises and inside and bool(np.all(np.diff(self.first) >= 0))):
            msg = "the states of a fit do not fit together: places that are not there"
            raise ValueError(msg)

    def __len__(self) -> int:
        """Return the number of states."""
        return len(self.first) - 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimate:
    """One parameter: prior beside posterior, and what its chains are worth.

    `prior`, `posterior` are 2.5 %, 50 % and 97.5 % points in `unit`. `moved` is false where the posterior is nearly the
    prior, so that the data said nothing; `is_fixed` where the parameter was held at the middle of its prior.
    """

    name: str
    unit: str
    prior: tuple[float, float, float]
    posterior: tuple[float, float, float]
    effective_size: float
    r_hat: float
    moved: bool
    is_fixed: bool = False


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Check:
    """One statistic of the survey history, or of the draws' infections, beside what the fit makes of it.

    `p` is the share of made histories, or of what the law foretells, that is at least as far off [-]. `label` names each
    item of `seen`, `low`, `middle` and `high` (5, 50 and 95 % points of the made ones); NaN where a statistic cannot be
    told.
    """

    name: str
    unit: str
    label: tuple[str, ...]
    seen: FloatArray
    low: FloatArray
    middle: FloatArray
    high: FloatArray
    p: float

    def __post_init__(self) -> None:
        """Freeze every column."""
        freeze_columns(self, dict.fromkeys(("seen", "low", "middle", "high"), np.float64), len(self.label))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class HistoryFit:
    """The fit of one pest system to its survey history.

    `system_key` and the dates say of what: surveys from `first_look` to `last_look`, infections up to the
    part `ends_at` of the day `ends_on` [d].
    `accepted` is true where the draws may be used; `says` are the verdicts in words, refusals first. `inputs` maps
    roles of inputs to hashes, `settings_sha256` is that of the settings the fit rests on. `without_background` are the
    rate's and the scale's estimates with the background held at nothing. `finds_wind` is whether no direction at all
    lies outside the joint region of the two components. `states` are what was infected on `ends_on`, draw by draw.
    """

    system_key: str
    as_of: dt.date
    first_look: dt.date
    last_look: dt.date
    ends_on: dt.date
    ends_at: float
    mode: str
    iterations: int
    noticed: int
    new_cases: int
    tracked: int
    neglected: float
    draws: FitDraws
    states: FitStates
    estimates: tuple[Estimate, ...]
    without_background: tuple[Estimate, ...] = ()
    checks: tuple[Check, ...] = ()
    finds_wind: bool = False
    accepted: bool = False
    says: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()
    settings_sha256: str = ""
    inputs: dict[str, str] = field(default_factory=dict)

    def estimate(self, name: str) -> Estimate:
        """Return one parameter by its name; KeyError where there is none."""
        for one in self.estimates:
            if one.name == name:
                return one
        raise KeyError(name)
