"""Classes of wind speed among the flight hours: windier hours come from other directions and carry farther."""

from __future__ import annotations

import numpy as np

from spreadmap.dispersal.bearings import parts_of_rose, rose_of_bearings
from spreadmap.values.arrays import BoolArray, ComplexArray, FloatArray
from spreadmap.values.settings import WindSettings
from spreadmap.values.wind import SpeedClass


def class_bounds(settings: WindSettings) -> FloatArray:
    """Return where classes of speed begin, ascending, 0 and the limit of calm first, shape (classes,) [m/s]."""
    above = [bound for bound in settings.speed_bounds_m_s if bound > settings.calm_below_m_s]
    return np.unique([0.0, settings.calm_below_m_s, *above])


def speed_classes(
    speed_m_s: FloatArray,
    weight: FloatArray,
    toward_deg: FloatArray,
    has_direction: BoolArray,
    spread_deg: FloatArray,
    rose: ComplexArray,
    settings: WindSettings,
) -> tuple[SpeedClass, ...]:
    """Return the flight hours by class of speed, slowest first, without classes that have no hour.

    Parameters
    ----------
    speed_m_s, weight, toward_deg, spread_deg : arrays, shape (n,)
        Speed [m/s], weight of the season [-], bearing toward which air moves [deg] and the width over which it is
        spread [deg] of every flight hour; bearings count where `has_direction` only.
    has_direction : array of bool, shape (n,)
        False for calm and variable hours, which favour no bearing.
    rose : complex array, shape (M,)
        Rose of all these hours together; the classes make it up exactly.
    settings : WindSettings

    Returns
    -------
    tuple of SpeedClass
        Empty where no hour has weight.
    """
    total = float(weight.sum())
    if total <= 0:
        return ()
    lower = class_bounds(settings)
    upper = np.append(lower[1:], np.inf)
    of_class = np.searchsorted(lower, speed_m_s, side="right") - 1
    present = [index for index in range(len(lower)) if weight[of_class == index].sum() > 0]
    share = np.array([weight[of_class == index].sum() / total for index in present])
    own = np.zeros((len(present), len(rose)), dtype=np.complex128)
    for place, index in enumerate(present):
        inside = of_class == index
        moving = inside & has_direction
        own[place] = rose_of_bearings(
            toward_deg[moving], weight[moving], float(weight[inside & ~moving].sum()), len(rose), spread_deg[moving]
        )
    roses = parts_of_rose(own, share, rose)
    return tuple(
        SpeedClass(
            lower_m_s=float(lower[index]),
            upper_m_s=float(upper[index]),
            share=float(share[place]),
            mean_speed_m_s=float(np.average(speed_m_s[of_class == index], weights=weight[of_class == index])),
            rose=roses[place],
        )
        for place, index in enumerate(present)
    )
