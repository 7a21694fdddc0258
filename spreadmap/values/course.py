"""What a pest system's file states about the course of its numbers through a year."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Stated:
    """A number with its status and source."""

    value: float
    status: str
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class StatedDay:
    """A (month, day) of an ordinary year with its status and source."""

    value: tuple[int, int]
    status: str
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """Figures from which daily temperatures give the course of mite numbers through a year.

    `organism` is the one of the file's `development` whose thresholds go with the growth. Temperatures are in `unit`,
    C or F, and so are degree-days. `growth_per_day` [1/d] holds at a steady `at_temperature`, before `loss_per_day`
    [1/d]; `overwintered_share` is the mites of the first day over the most the plants can bear [-]. One start, one stop
    or both. Systems that rest while the mean of `rest_window_days` [d] is above `rests_above` lose
    `resting_loss_per_day` [1/d] meanwhile.
    """

    organism: str
    unit: str
    growth_per_day: Stated
    at_temperature: Stated
    loss_per_day: Stated
    overwintered_share: Stated
    starts_on: StatedDay | None = None
    starts_at_degree_days: Stated | None = None
    stops_on: StatedDay | None = None
    stops_below_daylight_h: Stated | None = None
    rests_above: Stated | None = None
    rest_window_days: Stated | None = None
    resting_loss_per_day: Stated | None = None

    def stated(self) -> dict[str, Stated | StatedDay]:
        """Return the figures that are given, by their keys, in the order of this class."""
        names = ("growth_per_day", "at_temperature", "loss_per_day", "overwintered_share", "starts_on",
                 "starts_at_degree_days", "stops_on", "stops_below_daylight_h", "rests_above", "rest_window_days",
                 "resting_loss_per_day")  # fmt: skip
        given = {name: getattr(self, name) for name in names}
        return {name: each for name, each in given.items() if each is not None}
