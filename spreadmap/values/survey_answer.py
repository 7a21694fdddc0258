"""What the last survey allows to be said, what the next one needs, and how hours are shared between looking and removing."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from enum import StrEnum

from spreadmap.values.arrays import IntArray, freeze_columns

RANDOM_MARK = "drawn at random"
"""Stands in the note of a field sheet beside plants that chance chose; rows that come back with it count as such."""
WHOLE = "all sites together"


class Basis(StrEnum):
    """How the plants that were looked at came to be chosen."""

    EVERY = "every plant"
    RANDOM = "drawn at random"
    CHOSEN = "chosen, not drawn"
    NONE = "none"


@dataclass(frozen=True, slots=True, kw_only=True)
class SurveyStatement:
    """What one survey allows to be said of one lot of plants: a site, or all of them together.

    The lot are `plants` standing hosts that were not confirmed before the survey. `looked_at` of them were inspected,
    `drawn` because they were drawn at random; `counted` are those the statement rests on, with `noticed` confirmed or
    suspect among them. `sensitivity` is the mean over these of the share of showing plants that one look notices [-].

    `confidence` is that of fewer than `design_plants` showing plants in the lot; NaN where one was noticed. At 95 %
    confidence at most `most_showing` plants of the lot show symptoms, `noticed` among them. `size_needed`,
    `quick_size_needed` are the plants to be drawn for the design and for the quick check, None where one look at every
    plant is not enough; then so many passes over every plant are needed at the least, None where none are enough.
    """

    site_id: str
    place: str
    plants: int
    looked_at: int
    drawn: int
    counted: int
    noticed: int
    basis: Basis
    sensitivity: float
    design_plants: int
    confidence: float
    most_showing: int
    size_needed: int | None
    passes_needed: int | None
    quick_size_needed: int | None
    quick_passes_needed: int | None
    sentence: str

    @property
    def excluded(self) -> float:
        """Return the smallest prevalence that is excluded at 95 % confidence [-]; NaN where none is."""
        return (self.most_showing + 1) / self.plants if self.most_showing < self.plants else float("nan")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RandomSample:
    """Plants drawn at random for the next survey: `plant` are positions in the inventory, ascending, drawn of `lot`.

    `wanted` is the size the design asks for, None where it is not reachable; `sentence` says what a clean look at the
    plants drawn will allow to be said.
    """

    plant: IntArray
    lot: int
    wanted: int | None
    sentence: str

    def __post_init__(self) -> None:
        """Freeze the column."""
        freeze_columns(self, {"plant": "int64"}, len(self.plant))

    def __len__(self) -> int:
        """Return the number of plants drawn."""
        return len(self.plant)


@dataclass(frozen=True, slots=True, kw_only=True)
class HoursShare:
    """What one share of one pot of person-hours looks at and takes out, and the part of all worth each of them holds."""

    share: float
    looking_hours: float
    removing_hours: float
    looked_at: int
    looked_worth: float
    removed: int
    removed_worth: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SurveyAnswer:
    """What the last survey allows to be said, whole first, then site by site; and what is drawn for the next one.

    `first_on`, `last_on` are the days of the last survey, None where nobody looked.
    """

    first_on: dt.date | None
    last_on: dt.date | None
    statements: tuple[SurveyStatement, ...]
    sample: RandomSample
    hours: tuple[HoursShare, ...] = ()
    remarks: tuple[str, ...] = ()

    @property
    def whole(self) -> SurveyStatement:
        """Return the statement on all sites together."""
        return self.statements[0]
