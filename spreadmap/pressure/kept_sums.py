"""Sums at points that several steps of one run ask for, made once."""

from __future__ import annotations

import hashlib

import numpy as np

from spreadmap.dispersal.spread import Spread
from spreadmap.engine import Engine
from spreadmap.pressure.kept import KEPT, law_key
from spreadmap.pressure.strands import law_at
from spreadmap.pressure.sums import pressure_at_points
from spreadmap.values.arrays import FloatArray
from spreadmap.values.inventory import Receptors, ScreenSegments, Sources
from spreadmap.values.settings import PressureSettings


def kept_density(
    receptors: Receptors,
    sources: Sources,
    spread: Spread,
    engine: Engine,
    *,
    screens: ScreenSegments,
    settings: PressureSettings,
) -> FloatArray:
    """Return the density that `pressure_at_points` gives, made once for the same places, sources, law and screens.

    For sources that send the same whatever is done, as wild stands do.

    Parameters
    ----------
    receptors, sources, spread, engine, screens, settings
        As for `pressure_at_points`.

    Returns
    -------
    array, shape (receptors,)
        Not to be written to. [m^-2]
    """
    law = law_at(spread, sources)
    mark = hashlib.blake2b(digest_size=16)
    columns = (
        receptors.easting, receptors.northing, receptors.radius_m, receptors.plant, sources.easting, sources.northing,
        sources.strength, sources.plant, screens.ends, screens.factor, *(one.roses for one in law),
    )  # fmt: skip
    for values in columns:
        mark.update(f"{values.shape}".encode())
        mark.update(np.ascontiguousarray(values).tobytes())
    strands = tuple((one.share, law_key(one.spread)) for one in law)

    def made() -> FloatArray:
        density = pressure_at_points(
            receptors, sources, spread, engine, screens=screens, settings=settings
        ).density  # fmt: skip
        density.setflags(write=False)
        return density

    return KEPT.get(("density", mark.digest(), strands, settings), made)
