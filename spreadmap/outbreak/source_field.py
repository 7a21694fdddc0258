"""Arrivals of many weak sources whose strengths change from step to step, on the same plants that send."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.sparse import csr_array
from scipy.spatial import cKDTree

from spreadmap.dispersal.spread import Spread
from spreadmap.engine import Engine
from spreadmap.outbreak.hidden_compiled import add_pairs, add_products
from spreadmap.pressure import pressure_at_points
from spreadmap.pressure.rules import disc_points
from spreadmap.values.arrays import FloatArray, IntArray
from spreadmap.values.inventory import Receptors, ScreenSegments, Sources
from spreadmap.values.settings import PressureSettings

MOST_PAIRS = 6_000_000
"""Pairs that are kept one by one: 12 bytes each, and a second or two to make."""
NEAR_SHARE = 0.99
"""Pairs farther apart than this share of arrivals flies are summed over time at once [-]."""
PAIRS_PER_PIECE, ROWS_PER_PIECE = 200_000, 512
TABLE_NODES = 2048
NEAREST_M, FARTHEST_M = 0.01, 1e6
FAR_RTOL = 0.01
"""Error allowed in the far part [-]."""
WEAK_SHARE = 0.01
"""The weakest plants that together make this share of all strength count in the near part only [-]."""
STALE = 0.05
"""The far part is summed anew when this share of all strength has moved since the last time [-]."""
MOVED = 2e-6
"""Least change that is passed on to others: a fiftieth of the change at which chances count as settled [-]."""
MANY = 0.5
"""Share of the plants that move above which everything is multiplied afresh [-]."""


class KeptProduct:
    """A sparse matrix (m, m) times values (m, columns) that change little by little: only what moved is sent again.

    Single precision, whose error is far below that of the chances; what a plant has not passed on never exceeds `MOVED`.
    """

    def __init__(self, matrix: csr_array, engine: Engine) -> None:
        self._first, self._column = matrix.indptr.astype(np.int32), matrix.indices.astype(np.int32)
        self._share, self._engine = matrix.data.astype(np.float32), engine
        self._values: np.ndarray | None = None
        self._product: np.ndarray | None = None

    def of(self, values: np.ndarray) -> np.ndarray:
        """Return the product with values (m, columns), same shape."""
        now = np.ascontiguousarray(values, dtype=np.float32)
        if self._values is None or self._product is None:
            return self._afresh(now)
        moved = np.flatnonzero(np.abs(now - self._values).max(axis=1, initial=0.0) > MOVED)
        if len(moved) > MANY * len(now):
            return self._afresh(now)
        if len(moved):
            more = self._times(moved, np.ascontiguousarray(now[moved] - self._values[moved]))
            self._product = self._product + more
            self._values[moved] = now[moved]
        return self._product

    def _afresh(self, now: np.ndarray) -> np.ndarray:
        self._values, self._product = now.copy(), self._times(np.arange(len(now)), now)
        return self._product

    def _times(self, rows: IntArray, given: np.ndarray) -> np.ndarray:
        """Return the product with values of which only some rows are not zero."""
        place = np.full(len(self._first) - 1, -1, dtype=np.int32)
        place[rows] = np.arange(len(rows), dtype=np.int32)
        out = np.zeros((len(place), given.shape[1]), dtype=np.float32)

        def piece(begin: int) -> None:
            end = min(begin + ROWS_PER_PIECE, len(out))
            add_products(begin, end, self._first, self._column, self._share, place, given, out)

        self._engine.map(piece, range(0, len(out), ROWS_PER_PIECE))
        return out


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Arrivals:
    """Density of arrivals on m plants in steps of flight: near x factor + more x profile [m^-2].

    `near` (m, flights) comes from near plants, `factor` and `more` (m,) set the sum over time right, `profile`
    (flights,) is the strength of all in each step over its mean.
    """

    near: np.ndarray
    factor: FloatArray
    more: FloatArray
    profile: FloatArray


class SourceField:
    """Density of arrivals on each of m plants, step by step, from all others.

    Parameters
    ----------
    receptors : Receptors, m plants; each of them may send
    spread, screens, settings, engine
        The law of arrivals, what holds them back, error allowed, where work runs.
    flight : array, shape (steps,)
        Days of full flight of each step: the weights of sums over time. [d]

    Notes
    -----
    Pairs of near plants are kept and summed step by step. What is left of the full sum (far pairs, screens, the last
    per cent of accuracy) is taken from `pressure_at_points` for strengths averaged over all flight, and spread over the
    steps: less than the near pairs gave is a factor on them, more is added in the measure of all strength in a step. So
    every plant's sum over time is that of `pressure_at_points`, but for the far part of the weakest plants, which is
    left out. All pairs are near where they are few. Steps without flight have no arrivals, and are passed over.
    """

    def __init__(
        self, receptors: Receptors, spread: Spread, screens: ScreenSegments, settings: PressureSettings,
        engine: Engine, flight: FloatArray,
    ) -> None:  # fmt: skip
        self._receptors, self._spread, self._screens = receptors, spread, screens
        self._settings, self._engine = settings, engine
        self._time = flight / flight.sum() if flight.sum() > 0 else np.zeros(len(flight))
        self.when = np.flatnonzero(flight > 0)
        self.near = near_pairs(receptors, spread, engine).astype(np.float32)
        self._turned = csr_array(self.near.T)
        self._arrivals = KeptProduct(self.near, engine)
        self._last: FloatArray | None = None
        self._factor, self._more, self._whole = np.ones(len(receptors)), np.zeros(len(receptors)), 0.0

    def arrivals(self, strength: np.ndarray, stale: float = STALE) -> Arrivals:
        """Return what arrives for strengths (m, flights) in the steps `when`, the only ones with flight."""
        mean = self._mean(strength)
        if self._last is None or self._whole <= 0 or not self._is_fresh(mean, stale):
            self._sum_far(mean)
        every = strength.sum(axis=0, dtype=np.float64)
        return Arrivals(
            near=self._arrivals.of(strength), factor=self._factor, more=self._more,
            profile=every / self._whole if self._whole > 0 else np.zeros(len(self.when)),
        )  # fmt: skip

    def _mean(self, strength: np.ndarray) -> FloatArray:
        return np.asarray(strength @ self._time[self.when], dtype=np.float64)

    def onward(self) -> KeptProduct:
        """Return the product that tells every plant what comes of a value of each of its near receivers."""
        return KeptProduct(self._turned, self._engine)

    def is_fresh(self, strength: np.ndarray, stale: float) -> bool:
        """Return whether the far part was summed for strengths (m, flights) that differ by less than a share."""
        return self._is_fresh(self._mean(strength), stale)

    def _is_fresh(self, mean: FloatArray, stale: float) -> bool:
        moved = np.inf if self._last is None else float(np.abs(mean - self._last).sum())
        return moved == 0.0 or moved <= stale * float(mean.sum())

    def _sum_far(self, mean: FloatArray) -> None:
        """Sum everything once, for strengths averaged over time."""
        sends = strongest(mean, 1.0 - WEAK_SHARE)
        sources = Sources(
            easting=self._receptors.easting[sends], northing=self._receptors.northing[sends], strength=mean[sends],
            plant=self._receptors.plant[sends],
        )  # fmt: skip
        rough = replace(self._settings, rtol=max(self._settings.rtol, FAR_RTOL))
        full = pressure_at_points(
            self._receptors, sources, self._spread, self._engine, screens=self._screens, settings=rough
        ).density
        counted = np.zeros(len(mean))
        counted[sends] = mean[sends]
        near = np.asarray(self.near @ counted)
        self._factor = np.where(near > full, full / np.where(near > 0, near, 1.0), 1.0)
        self._more, self._whole, self._last = np.maximum(full - near, 0.0), float(mean.sum()), mean


def strongest(strength: FloatArray, share: float) -> IntArray:
    """Return the fewest plants that make a share of all strength, in their order; all that send where few do."""
    sends = np.flatnonzero(strength > 0)
    falling = sends[np.argsort(-strength[sends], kind="stable")]
    heaped = np.cumsum(strength[falling])
    if not len(falling):
        return sends
    return np.sort(falling[: int(np.searchsorted(heaped, share * heaped[-1])) + 1])


def near_pairs(receptors: Receptors, spread: Spread, engine: Engine) -> csr_array:
    """Return the density that each near plant sends to each, shape (m, m) [m^-2], rows receive; screens not counted."""
    m = len(receptors)
    places = np.column_stack([receptors.easting, receptors.northing])
    if m < 2:
        return csr_array((m, m), dtype=np.float64)
    tree = cKDTree(places)
    radius = float("inf") if m * m <= MOST_PAIRS else float(spread.kernel.quantile(NEAR_SHARE))
    while np.isfinite(radius) and tree.count_neighbors(tree, radius) > MOST_PAIRS:
        radius *= 0.8
    if np.isfinite(radius):
        found = tree.query_pairs(radius, output_type="ndarray").astype(np.int64)
        to, of = np.concatenate([found[:, 0], found[:, 1]]), np.concatenate([found[:, 1], found[:, 0]])
    else:
        to, of = (part.ravel() for part in np.divmod(np.arange(m * m), m))
        to, of = to[to != of], of[to != of]
    order = np.lexsort((of, to))
    to, of = to[order], of[order]
    values = pair_density(receptors, to, of, spread, engine)
    first = np.searchsorted(to, np.arange(m + 1))
    return csr_array((values, of, first), shape=(m, m))


def pair_density(receptors: Receptors, to: IntArray, of: IntArray, spread: Spread, engine: Engine) -> FloatArray:
    """Return the mean density over the canopy disc of plant `to` from a source of strength one at `of` [m^-2]."""
    radii, size = np.unique(receptors.radius_m, return_inverse=True)
    nodes = np.geomspace(NEAREST_M, FARTHEST_M, TABLE_NODES)
    points, weights = disc_points()
    out = np.zeros(len(to))
    east, north = receptors.easting.copy(), receptors.northing.copy()
    size = np.asarray(size, dtype=np.int64)
    for share, one in spread.each_strand():
        rows = []
        for radius in radii:
            away = np.hypot(nodes[:, None] + radius * points[:, 1], radius * points[:, 0])
            rows.append(one.kernel.location_density(np.maximum(away, 1e-4)) @ weights)
        tables = np.ascontiguousarray(np.array(rows, dtype=np.float64))
        roses = np.ascontiguousarray(one.coefficients_at(east, north))
        if len(roses) and float(np.abs(roses - roses[0]).max(initial=0.0)) < 1e-12:
            roses = roses[:1].copy()

        def piece(
            begin: int, tables: FloatArray = tables, roses: np.ndarray = roses, one: Spread = one, share: float = share
        ) -> None:
            add_pairs(
                begin, min(begin + PAIRS_PER_PIECE, len(to)), to, of, east, north, size, tables,
                float(np.log(NEAREST_M)), (TABLE_NODES - 1) / float(np.log(FARTHEST_M / NEAREST_M)), roses,
                one.near_radius_m, share, out,
            )  # fmt: skip

        engine.map(piece, range(0, len(to), PAIRS_PER_PIECE))
    return out


def touching_pairs(receptors: Receptors, touching_m: float) -> csr_array:
    """Return which plants touch, shape (m, m), one where their middles are at most so far apart."""
    m = len(receptors)
    if m < 2:
        return csr_array((m, m), dtype=np.float64)
    found = cKDTree(np.column_stack([receptors.easting, receptors.northing])).query_pairs(
        touching_m, output_type="ndarray"
    )
    to, of = np.concatenate([found[:, 0], found[:, 1]]), np.concatenate([found[:, 1], found[:, 0]])
    return csr_array((np.ones(len(to)), (to, of)), shape=(m, m))
