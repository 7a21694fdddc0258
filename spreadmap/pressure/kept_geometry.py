"""The same receptors and sources summed many times, with other kernels and other wind influence: a fit's inner loop."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.spatial import cKDTree

from spreadmap.dispersal.spread import Spread
from spreadmap.engine import Engine
from spreadmap.errors import InputError
from spreadmap.pressure.checks import check_places, refuse_memory
from spreadmap.pressure.compiled_kept import NOWHERE, keep_pairs, sum_kept, sum_kept_points
from spreadmap.pressure.rules import disc_points
from spreadmap.pressure.strands import SAME_ROSE, strands_of
from spreadmap.values.arrays import ComplexArray, FloatArray, IntArray
from spreadmap.values.inventory import Receptors, Sources
from spreadmap.values.settings import PressureSettings
from spreadmap.values.wind import WindClimate

PIECES = 32
TABLE_NODES = 16384
DISC_RADII = 12.0
"""Within so many radii of a source a disc is many points, beyond it is one [-]."""
GAUSS_2 = np.polynomial.legendre.leggauss(2)
GAUSS_16 = np.polynomial.legendre.leggauss(16)
NEAREST_M = 1e-4
MOST_SIZES = 16
RELATIVE_ERROR_BOUND = 3e-4
"""Largest relative error of a sum, most of it from discs close to a source [-]; bound by test_pressure_kept.py."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Points:
    """Points that stand for discs: position of receptor and source, log distance, excess by strand, weight."""

    receptor: IntArray
    source: IntArray
    log_r: FloatArray
    turn: tuple[FloatArray, ...]
    weight: FloatArray


class KeptGeometry:
    """Distances and bearings of every pair, kept as single-precision numbers: 4 bytes, and 4 for each strand.

    Parameters
    ----------
    receptors, sources : Receptors, Sources
        A receptor and a source that are the same plant are left out of each other's sum.
    spread : Spread
        Its wind and near radius are kept; kernel and wind influence are free at every sum.
    engine : Engine
    settings : PressureSettings, optional
        For the memory that is allowed.

    Raises
    ------
    InputError
        If a position is not finite, or more memory is needed than is allowed.
    """

    def __init__(
        self, receptors: Receptors, sources: Sources, spread: Spread, engine: Engine,
        settings: PressureSettings | None = None,
    ) -> None:  # fmt: skip
        check_places("receptor", receptors.easting, receptors.northing)
        check_places("source", sources.easting, sources.northing)
        strands = strands_of(spread)
        refuse_memory(
            f"keeping {len(receptors)} x {len(sources)} pairs",
            4.0 * len(receptors) * len(sources) * (1 + len(strands)),
            (settings or PressureSettings()).most_memory_gb, "Take fewer receptors at a time, or pressure_at_points.",
        )  # fmt: skip
        self._n_receptors, self._strength, self._engine = len(receptors), sources.strength, engine
        self._laws = tuple((one.climate, one.near_radius_m) for _, one in strands)
        roses = [_full_rose(one, sources) for _, one in strands]
        self._sizes, self._which = _sizes(receptors.radius_m)
        shape = (len(receptors), len(sources))
        self._log_r = np.empty(shape, dtype=np.float32)
        self._turn = tuple(np.empty(shape, dtype=np.float32) for _ in strands)
        self._size = max(-(-len(receptors) // PIECES), 1)

        def keep(first: int) -> None:
            for (_, one), rose, turn in zip(strands, roses, self._turn, strict=True):
                keep_pairs(
                    first, min(first + self._size, len(receptors)), receptors.easting.copy(),
                    receptors.northing.copy(), receptors.radius_m.copy(), DISC_RADII, receptors.plant.copy(),
                    sources.easting.copy(), sources.northing.copy(), sources.plant.copy(), rose, one.near_radius_m,
                    self._log_r, turn,
                )  # fmt: skip

        engine.map(keep, range(0, len(receptors), self._size))
        laws = tuple(one for _, one in strands)
        self._points = _points_for_discs(receptors, sources, laws, roses, DISC_RADII * receptors.radius_m)
        near = self._points.log_r.min(initial=NOWHERE)
        kept = self._log_r[self._log_r < NOWHERE]
        low = min(near, float(kept.min(initial=np.float32(NOWHERE))))
        high = max(float(kept.max(initial=np.float32(-NOWHERE))), float(self._points.log_r.max(initial=-NOWHERE)))
        self._first = max(low, float(np.log(NEAREST_M))) if low < NOWHERE else 0.0
        self._step = max(high - self._first, 1.0) * 1.0001 / (TABLE_NODES - 3)

    def density(self, spread: Spread, strength: FloatArray | None = None) -> FloatArray:
        """Return the density at every receptor [m^-2] for a law with the kept wind; relative error at most 3e-4.

        Parameters
        ----------
        spread : Spread
            Any kernel and wind influence; the wind and near radius that are kept.
        strength : array, shape (sources,), optional
            Strengths in place of the sources' own; a rate of all of them is a factor on the result. [-]

        Raises
        ------
        InputError
            If wind or near radius are other ones than those kept.
        """
        strands = strands_of(spread)
        if len(strands) != len(self._laws) or not all(
            one.near_radius_m == near and _same_wind(one.climate, climate)
            for (_, one), (climate, near) in zip(strands, self._laws, strict=True)
        ):
            msg = (
                "the law has another wind or near radius than the kept geometry; allowed: another kernel, share and "
                "wind influence. Make a new KeptGeometry for it."
            )
            raise InputError(msg)
        weight = self._strength if strength is None else np.asarray(strength, dtype=np.float64)
        largest = float(np.max(np.abs(weight), initial=0.0)) or 1.0
        single = (weight / largest).astype(np.float32)
        out = np.zeros(self._n_receptors)
        nodes = np.exp(self._first + self._step * np.arange(TABLE_NODES))
        for (share, one), turn, point_turn in zip(strands, self._turn, self._points.turn, strict=True):
            table = np.array(one.kernel.location_density(nodes))
            table[-2:] = 0.0
            tables = self._disc_tables(table, nodes)
            top = float(tables.max()) or 1.0
            factor, mine = share * largest * top, np.zeros(self._n_receptors)
            scaled = (tables / top).astype(np.float32)

            def piece(
                first: int, turn: np.ndarray = turn, scaled: np.ndarray = scaled, one: Spread = one,
                mine: FloatArray = mine,
            ) -> None:  # fmt: skip
                sum_kept(
                    first, min(first + self._size, self._n_receptors), self._log_r, turn, single, self._which, scaled,
                    np.float32(self._first), np.float32(1.0 / self._step), np.float32(one.wind_influence), mine,
                )  # fmt: skip

            self._engine.map(piece, range(0, self._n_receptors, self._size))
            out += factor * mine
            self._add_points(share * weight, table, one, point_turn, out)
        return np.maximum(out, 0.0)

    def _add_points(
        self, strength: FloatArray, table: FloatArray, law: Spread, turn: FloatArray, out: FloatArray
    ) -> None:
        """Add the points that stand for discs close to a source; each piece has receptors of its own."""
        points, strength = self._points, np.ascontiguousarray(strength)
        ends = np.searchsorted(points.receptor, np.arange(0, self._n_receptors + self._size, self._size))

        def piece(number: int) -> None:
            sum_kept_points(
                ends[number], ends[number + 1], points.receptor, points.source, points.log_r, turn, points.weight,
                strength, table, self._first, 1.0 / self._step, law.wind_influence, out,
            )  # fmt: skip

        self._engine.map(piece, range(len(ends) - 1))

    def _disc_tables(self, table: FloatArray, nodes: FloatArray) -> FloatArray:
        """Return the mean of the density over discs of each size, to second order, (sizes, nodes).

        The Laplacian without its part by bearing is the second derivative by log distance over r^2.
        """
        curved = np.zeros_like(table)
        curved[1:-3] = (table[2:-2] - 2 * table[1:-3] + table[:-4]) / self._step**2
        part = (self._sizes[:, None] / nodes) ** 2
        return np.where(part <= 1.1 / DISC_RADII**2, table + part / 8 * curved, table)


def _sizes(radius_m: FloatArray) -> tuple[FloatArray, IntArray]:
    """Return the sizes of discs that are told apart, and which one each receptor has."""
    sizes, which = np.unique(radius_m, return_inverse=True)
    if len(sizes) > MOST_SIZES:
        edges = np.linspace(0, len(sizes), MOST_SIZES + 1).astype(np.int64)
        group = np.searchsorted(edges, np.arange(len(sizes)), side="right") - 1
        sizes, which = np.array([sizes[group == one].mean() for one in range(MOST_SIZES)]), group[which]
    return np.asarray(sizes, dtype=np.float64), np.asarray(which, dtype=np.int64)


def _full_rose(spread: Spread, sources: Sources) -> ComplexArray:
    """Return the coefficients at every source as if wind influence were one, (sources, M) or (1, M)."""
    roses = replace(spread, wind_influence=1.0).coefficients_at(sources.easting, sources.northing)
    same = len(roses) > 0 and float(np.max(np.abs(roses - roses[0]), initial=0.0)) < SAME_ROSE
    return np.ascontiguousarray(roses[:1] if same else roses)


def _same_wind(one: WindClimate, other: WindClimate) -> bool:
    """Return whether two climates have one rose everywhere."""
    if one is other:
        return True
    pairs = (
        (getattr(one, name), getattr(other, name)) for name in ("rose", "field", "field_easting", "field_northing")
    )
    return all((a is None) == (b is None) and (a is None or np.array_equal(a, b)) for a, b in pairs)


def _points_for_discs(
    receptors: Receptors, sources: Sources, strands: tuple[Spread, ...], roses: list[ComplexArray], apart: FloatArray
) -> _Points:
    """Return the points that stand for every disc close to a source, many more where it is very close."""
    pairs, away = _close_pairs(receptors, sources, apart)
    radii = away / receptors.radius_m[pairs[:, 0]]
    parts = []
    for low, high, (offsets, weights) in (
        (0.0, 2.5, disc_points(GAUSS_16, 48)), (2.5, 5.0, disc_points()), (5.0, DISC_RADII, disc_points(GAUSS_2, 8)),
    ):  # fmt: skip
        chosen = pairs[(radii >= low) & (radii < high)]
        receptor, source = np.repeat(chosen[:, 0], len(weights)), np.repeat(chosen[:, 1], len(weights))
        point = np.tile(np.arange(len(weights)), len(chosen))
        east = receptors.easting[receptor] - sources.easting[source]
        north = receptors.northing[receptor] - sources.northing[source]
        east, north = (
            middle + receptors.radius_m[receptor] * offsets[point, axis] for axis, middle in enumerate((east, north))
        )
        parts.append(np.column_stack([receptor, source, east, north, weights[point]]))
    table = np.concatenate(parts)
    table = table[np.argsort(table[:, 0], kind="stable")]
    to, of = table[:, 0].astype(np.int64), table[:, 1].astype(np.int64)
    east, north, weight = (np.ascontiguousarray(table[:, column]) for column in (2, 3, 4))
    distance = np.maximum(np.hypot(east, north), NEAREST_M)
    turns = []
    for one, rose in zip(strands, roses, strict=True):
        z = np.asarray((north - 1j * east) / distance, dtype=np.complex128)
        total = np.zeros(len(z), dtype=np.complex128)
        for order in range(rose.shape[1] - 1 if len(rose) else -1, -1, -1):
            total = np.asarray((total + (rose[of, order] if len(rose) > 1 else rose[0, order])) * z)
        bend = -np.expm1(-((distance / one.near_radius_m) ** 2)) if one.near_radius_m > 0 else 1.0
        turns.append(np.ascontiguousarray(2 * total.real * bend))
    return _Points(receptor=to, source=of, log_r=np.log(distance), turn=tuple(turns), weight=weight)


def _close_pairs(receptors: Receptors, sources: Sources, apart: FloatArray) -> tuple[IntArray, FloatArray]:
    """Return receptor and source of every pair closer than `apart`, but for same plants, (pairs, 2), and how close."""
    if len(receptors) == 0 or len(sources) == 0 or not (apart > 0).any():
        return np.zeros((0, 2), dtype=np.int64), np.zeros(0)
    tree = cKDTree(np.column_stack([sources.easting, sources.northing]))
    found = tree.query_ball_point(np.column_stack([receptors.easting, receptors.northing]), apart, return_sorted=True)
    count = np.array([len(one) for one in found])
    receptor = np.repeat(np.arange(len(receptors)), count)
    source = np.array([j for one in found for j in one], dtype=np.int64)
    away = np.hypot(
        receptors.easting[receptor] - sources.easting[source], receptors.northing[receptor] - sources.northing[source]
    )
    same = (receptors.plant[receptor] >= 0) & (receptors.plant[receptor] == sources.plant[source])
    keep = (away < apart[receptor]) & ~same
    return np.column_stack([receptor[keep], source[keep]]), away[keep]
