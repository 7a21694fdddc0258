"""The strands a law of arrivals is made of: each a share of all arrivals with its own kernel and wind."""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass

import numpy as np

from spreadmap.dispersal.spread import Spread
from spreadmap.pressure.kept import law_key
from spreadmap.pressure.rules import UPWIND_SHARE, worst_rose
from spreadmap.values.arrays import ComplexArray, FloatArray
from spreadmap.values.inventory import Sources

SAME_ROSE = 1e-14


def strands_of(spread: Spread) -> tuple[tuple[float, Spread], ...]:
    """Return the strands of a law, each with its share of arrivals; a law without strands is one of its own [-]."""
    return spread.each_strand()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Strand:
    """One strand at its sources: `roses` (1, M) where all have one rose, else (sources, M)."""

    share: float
    spread: Spread
    roses: ComplexArray

    @property
    def is_uniform(self) -> bool:
        """Whether all sources have one rose."""
        return len(self.roses) == 1

    @property
    def rose(self) -> ComplexArray:
        """Return the rose with the finest detail; the only one where there is one."""
        return worst_rose(self.roses)

    @property
    def key(self) -> Hashable:
        """Return what tells this strand from another."""
        return self.share, law_key(self.spread, self.rose)

    def whole(self, east_m: FloatArray, north_m: FloatArray) -> FloatArray:
        """Return this strand's density of arrivals at offsets from a source of its finest rose [m^-2]."""
        return self.share * self.spread.density(east_m, north_m, self.rose)

    def scale(self, east_m: FloatArray, north_m: FloatArray) -> FloatArray:
        """Return the density that errors count against: upwind at least a share of that in still air [m^-2]."""
        still = self.share * self.spread.kernel.location_density(np.hypot(east_m, north_m))
        return np.maximum(self.whole(east_m, north_m), UPWIND_SHARE * still)


Law = tuple[Strand, ...]


def law_at(spread: Spread, sources: Sources) -> Law:
    """Return the strands with the coefficients of their sources; none where no source has a direction."""
    found = []
    for share, one in strands_of(spread):
        roses = one.coefficients_at(sources.easting, sources.northing)
        used = np.flatnonzero(np.any(roses != 0, axis=0))
        roses = roses[:, : used[-1] + 1 if len(used) else 0]
        if len(roses) and np.max(np.abs(roses - roses[0]), initial=0.0) < SAME_ROSE:
            roses = roses[:1]
        found.append(Strand(share=share, spread=one, roses=np.array(roses, order="C")))
    return tuple(found)


def key_of(law: Law) -> Hashable:
    """Return what tells one law at its sources from another."""
    return tuple(strand.key for strand in law)


def density_at(law: Law, distance_m: FloatArray | float) -> FloatArray:
    """Return the density of arrivals in still air at each distance, all strands together [m^-2]."""
    return np.asarray(sum(one.share * one.spread.kernel.location_density(distance_m) for one in law))


def mass_of(law: Law, distance_m: float) -> float:
    """Return the share of arrivals that end within a distance, all strands together [-]."""
    return float(sum(one.share * float(one.spread.kernel.mass_within(distance_m)) for one in law))


def greatest_of(law: Law, within_m: float) -> float:
    """Return the mean density within a distance of a source, about the greatest value of a sum [m^-2]."""
    return mass_of(law, within_m) / (np.pi * within_m**2)
