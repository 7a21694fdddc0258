"""Orders of plants compared with each other over one or several surveys, with ranges from redrawn beds."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.sparse import csr_array
from scipy.stats import hypergeom

from spreadmap.outbreak.score_sample import Sample
from spreadmap.values.arrays import BoolArray, FloatArray, IntArray

REDRAWS = 1000
"""Times the beds are drawn anew for a range."""
AT_ONCE = 50
"""Redraws held at once."""
MOST_GROUPS = 3000
"""Groups into which an order is cut at most while beds are redrawn; the plain figures are exact."""
SEED = 20_260_301
RANGE = 0.95
LEAST_BEDS = 5
"""Beds below which redrawing them gives no range worth printing."""
FIRST_SHARE = 0.1
"""Share of the inspected plants that a first part holds [-]; rounded up."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RankFigures:
    """Figures of one order, one item per redraw: pairs in order, pairs, found plants in the first part, found plants."""

    ordered: FloatArray
    pairs: FloatArray
    in_first: FloatArray
    hits: FloatArray

    def __add__(self, other: RankFigures) -> RankFigures:
        """Return the figures of two surveys together: only plants of one survey are compared with each other."""
        return RankFigures(
            ordered=self.ordered + other.ordered,
            pairs=self.pairs + other.pairs,
            in_first=self.in_first + other.in_first,
            hits=self.hits + other.hits,
        )

    @property
    def auc(self) -> FloatArray:
        """Return the share of pairs in order; NaN where there is no pair."""
        nothing = np.full(len(self.pairs), np.nan)
        return np.asarray(np.divide(self.ordered, self.pairs, out=nothing, where=self.pairs > 0))


def first_part(plants: int) -> int:
    """Return how many plants the first tenth holds."""
    return int(np.ceil(FIRST_SHARE * plants - 1e-9))


def groups_of(order: FloatArray, most: int | None = None) -> IntArray:
    """Return the group of each plant, 0 for the highest; plants of equal value are one group.

    With more than `most` values, neighbouring ones are put together in groups of nearly equal numbers of plants.
    """
    places = np.unique(-order, return_inverse=True)[1].astype(np.int64)
    if most is None or not len(order) or places.max() < most:
        return places
    before = np.cumsum(np.r_[0, np.bincount(places)[:-1]])
    return np.asarray((before[places] * most) // len(order), dtype=np.int64)


def rank_figures(
    groups: IntArray, found: BoolArray, bed: IntArray, times: FloatArray, first_share: float
) -> RankFigures:
    """Return the figures of one order, with every bed counted a number of times.

    Parameters
    ----------
    groups, found, bed : arrays, shape (n,)
        Group of each plant, lower first, equal ones sharing their places; what came of it; where it stands.
    times : array, shape (redraws, beds)
        How often each bed counts.
    first_share : float
        Share of the plants in the first part. [-]
    """
    if not len(groups):
        nothing = np.zeros(len(times))
        return RankFigures(ordered=nothing, pairs=nothing, in_first=nothing, hits=nothing)
    shape = (times.shape[1], int(groups.max()) + 1)
    everyone = np.asarray(times @ csr_array((np.ones(len(groups)), (bed, groups)), shape=shape))
    hits = np.asarray(times @ csr_array((np.ones(int(found.sum())), (bed[found], groups[found])), shape=shape))
    others = everyone - hits
    behind = others.sum(axis=1, keepdims=True) - np.cumsum(others, axis=1)
    before = np.cumsum(everyone, axis=1) - everyone
    places = first_share * everyone.sum(axis=1, keepdims=True) - before
    taken = np.clip(np.divide(places, everyone, out=np.zeros_like(everyone), where=everyone > 0), 0.0, 1.0)
    return RankFigures(
        ordered=(hits * (behind + 0.5 * others)).sum(axis=1),
        pairs=hits.sum(axis=1) * others.sum(axis=1),
        in_first=(hits * taken).sum(axis=1),
        hits=hits.sum(axis=1),
    )


def first_share_of(sample: Sample) -> float:
    """Return which share of a sample its first tenth is, rounded up to a plant [-]."""
    return first_part(len(sample.found)) / max(1, len(sample.found))


def figures_over(samples: Sequence[Sample], rule: str) -> RankFigures:
    """Return the figures of one rule over surveys, with one item: no redraw."""
    parts = [
        rank_figures(
            groups_of(sample.orders[rule]),
            sample.found,
            np.zeros(len(sample.found), dtype=np.int64),
            np.ones((1, 1)),
            first_share_of(sample),
        )
        for sample in samples
    ]
    return _together(parts)


def redrawn(samples: Sequence[Sample], rules: Sequence[str]) -> dict[str, RankFigures]:
    """Return the figures of every rule for beds redrawn with replacement within each survey; the same every time.

    All rules are seen on the same beds. Whole beds are drawn because plants of one bed share their fate. An order with
    more than a few thousand values is cut into that many groups.

    References
    ----------
    Davison & Hinkley 1997, Bootstrap methods and their application, section 3.8, resampling whole groups (from memory).
    """
    rng = np.random.default_rng(SEED)
    parts: dict[str, list[RankFigures]] = {rule: [] for rule in rules}
    for sample in samples:
        beds, share = int(sample.bed.max(initial=-1)) + 1, first_share_of(sample)
        groups = {rule: groups_of(sample.orders[rule], MOST_GROUPS) for rule in rules}
        pieces: dict[str, list[RankFigures]] = {rule: [] for rule in rules}
        for begin in range(0, REDRAWS, AT_ONCE):
            times = np.zeros((min(AT_ONCE, REDRAWS - begin), beds))
            for row in times if beds else ():
                row += np.bincount(rng.integers(0, beds, beds), minlength=beds)
            for rule in rules:
                pieces[rule].append(rank_figures(groups[rule], sample.found, sample.bed, times, share))
        for rule in rules:
            parts[rule].append(_joined(pieces[rule]))
    return {rule: _together(each) for rule, each in parts.items()}


def range_of(values: FloatArray) -> tuple[float, float]:
    """Return the range that holds 95 % of the redraws; NaN where fewer than half of them have a value."""
    known = values[np.isfinite(values)]
    if len(known) < max(1, len(values) / 2):
        return np.nan, np.nan
    low, high = np.quantile(known, [(1 - RANGE) / 2, (1 + RANGE) / 2])
    return float(low), float(high)


def random_range(samples: Sequence[Sample]) -> tuple[int, int]:
    """Return the ends of 95 % of what orders at random hold of the found plants in the first tenths; exact.

    Of N plants with K found, n first ones hold a hypergeometric number; over surveys the numbers add.
    """
    mass = np.ones(1)
    for sample in samples:
        plants, hits = len(sample.found), int(sample.found.sum())
        mass = np.convolve(
            mass, hypergeom.pmf(np.arange(hits + 1), plants, hits, first_part(plants)) if plants else [1.0]
        )
    below = np.cumsum(mass)
    low, high = np.searchsorted(below, [(1 - RANGE) / 2, (1 + RANGE) / 2 - 1e-12])
    return int(low), int(min(high, len(mass) - 1))


def beds_with_any(samples: Sequence[Sample]) -> int:
    """Return in how many beds plants were inspected."""
    return sum(len(np.unique(sample.bed)) for sample in samples)


def _joined(parts: Sequence[RankFigures]) -> RankFigures:
    return RankFigures(
        **{name: np.concatenate([getattr(part, name) for part in parts]) for name in RankFigures.__slots__}
    )


def _together(parts: Sequence[RankFigures]) -> RankFigures:
    total = parts[0]
    for part in parts[1:]:
        total = total + part
    return total
