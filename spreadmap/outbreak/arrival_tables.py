"""The law of arrivals as the event sampler needs it: tables of its strands, and bounds that nothing exceeds."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from spreadmap.dispersal.kernels import Kernel
from spreadmap.dispersal.spread import Spread
from spreadmap.outbreak.ground import Ground
from spreadmap.pressure.exact import reach_of_discs
from spreadmap.pressure.kept import rounded_up
from spreadmap.pressure.rules import curvature
from spreadmap.pressure.strands import law_at
from spreadmap.pressure.tables import even_table, radial_tables
from spreadmap.values.arrays import ComplexArray, FloatArray
from spreadmap.values.inventory import Sources

BINS = 2048
FINE = 4
"""Distances tried in every bin of a bound [-]."""
NEAREST_M = 1e-3
MARGIN = 1.02
"""By how much a bound is put up, for what the tables and rules of a sum may err by; raised when it was too little [-]."""
UNBOUNDED = 1e250
BEARINGS = 128
"""Bearings at which a rose is tried for its greatest value; its curvature bounds what lies between [-]."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ArrivalTables:
    """The strands of one law, one row of `strands` each, and their tables one after another.

    Columns of `strands`: share, first log distance and step of the radial tables, near radius, steps per metre and
    validity of the even table, first and last + 1 place in the radial tables, the same in `pieces`, first row of
    `roses`, 1 if all plants have this one row, and what a rose may exceed its tried values by.

    `greatest` (strands, bins) bounds the density in still air at the bin's distance and beyond, `here` is about the
    density there; bins are even in log distance from `log_first` on, `per_log` of them each. `exact_m` and `simple_m`
    (strands, n) are the distances at which the rules for the mean over a canopy disc change.
    """

    strands: FloatArray
    mass: FloatArray
    mass_slope: FloatArray
    bent_mass: FloatArray
    bent_slope: FloatArray
    log_density: FloatArray
    pieces: FloatArray
    roses: ComplexArray
    exact_m: FloatArray
    simple_m: FloatArray
    greatest: FloatArray
    here: FloatArray
    log_first: float
    per_log: float


def arrival_tables(spread: Spread, ground: Ground, margin: float = MARGIN) -> ArrivalTables:
    """Return the tables of a law over the plants of a ground; `margin` multiplies the bounds [-]."""
    farthest = rounded_up(ground.farthest_m)
    places = Sources(
        easting=ground.easting, northing=ground.northing, strength=np.ones(len(ground)), plant=np.arange(len(ground))
    )
    law = law_at(spread, places)
    most = max((one.roses.shape[1] for one in law), default=0)
    rows, radial, even, roses, exact, simple, greatest, here = [], [], [], [], [], [], [], []
    nodes = pieces = rose = 0
    for one in law:
        table = radial_tables(one.spread, farthest)
        far = even_table(one.spread, farthest, farthest)
        near, plain = reach_of_discs(one.spread, one.rose, ground.radius_m, farthest)
        rows.append([
            one.share, table.log_first, table.step, one.spread.near_radius_m, 1.0 / far.step_m, far.valid_from_m,
            nodes, nodes + len(table.mass), pieces, pieces + len(far.pieces), rose, float(one.is_uniform),
            curvature(one.rose) * (2 * np.pi / BEARINGS) ** 2 / 8,
        ])  # fmt: skip
        nodes, pieces, rose = nodes + len(table.mass), pieces + len(far.pieces), rose + len(one.roses)
        radial.append(table)
        even.append(far.pieces)
        roses.append(np.pad(one.roses, ((0, 0), (0, most - one.roses.shape[1]))))
        exact.append(near)
        simple.append(plain)
        above, about = _bounds(one.spread.kernel, farthest)
        greatest.append(above * margin)
        here.append(about)

    def flat(name: str) -> FloatArray:
        return np.ascontiguousarray(np.concatenate([getattr(table, name) for table in radial]))

    return ArrivalTables(
        strands=np.array(rows, dtype=np.float64),
        mass=flat("mass"),
        mass_slope=flat("mass_slope"),
        bent_mass=flat("bent_mass"),
        bent_slope=flat("bent_slope"),
        log_density=flat("log_density"),
        pieces=np.ascontiguousarray(np.concatenate(even)),
        roses=np.ascontiguousarray(np.concatenate(roses)),
        exact_m=np.array(exact),
        simple_m=np.array(simple),
        greatest=np.array(greatest),
        here=np.array(here),
        log_first=float(np.log(NEAREST_M)),
        per_log=(BINS - 1) / float(np.log(farthest / NEAREST_M)),
    )


def _bounds(kernel: Kernel, farthest_m: float) -> tuple[FloatArray, FloatArray]:
    """Return for every bin a bound on the density at its distance and beyond, and the density itself [m^-2].

    A kernel that still rises where the bins begin has no bound there: single plants are reckoned one by one then.
    """
    tried = np.geomspace(NEAREST_M, farthest_m, (BINS - 1) * FINE + 1)
    density = kernel.location_density(tried)
    above = np.maximum.accumulate(density[::-1])[::-1][::FINE].copy()
    if kernel.location_density(NEAREST_M / 10) > above[0] * 1.001:
        above[0] = UNBOUNDED
    return above, density[::FINE].copy()
