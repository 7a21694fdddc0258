"""Kernels from a measured mean and standard deviation, where the family can have such a pair."""

from __future__ import annotations

import math
from dataclasses import dataclass

from scipy.optimize import brentq

from spreadmap.dispersal.catch_curve import wald_of_catches
from spreadmap.dispersal.families import KERNELS, Family
from spreadmap.dispersal.kernels import Kernel
from spreadmap.errors import SettingsError

FIXED_RATIO_SLACK = 1e-3
"""How far, as a part of it, a measured ratio may lie from the fixed one of a family with one parameter [-]."""
STEEPEST_SHAPE, LARGEST_SHAPE = 1e-9, 1e6
"""Shapes between which the search goes, counted from the least one at which a standard deviation exists [-]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RatioRange:
    """What the ratio of standard deviation to mean of a family can be: above `low`, or fixed at it [-].

    `first_shape` is the shape above which there is a standard deviation.
    """

    low: float
    is_fixed: bool = False
    first_shape: float = 0.0


OF_A_UNIFORM_DISC = math.sqrt(1 / 8)
"""Distances over a disc of even density, f = 2r/R^2: mean 2R/3, variance R^2/18 [-]."""
OF_A_GAUSSIAN = math.sqrt(4 / math.pi - 1)
OF_AN_EXPONENTIAL = math.sqrt(1 / 2)

RATIOS: dict[str, RatioRange] = {
    "wald": RatioRange(low=0.0),
    "lognormal": RatioRange(low=0.0),
    "student_2d": RatioRange(low=OF_A_GAUSSIAN, first_shape=2.0),
    "inverse_power": RatioRange(low=OF_AN_EXPONENTIAL, first_shape=4.0),
    "logistic": RatioRange(low=OF_A_UNIFORM_DISC, first_shape=4.0),
    "exponential_power": RatioRange(low=OF_A_UNIFORM_DISC),
    "weibull": RatioRange(low=0.0),
    "gamma": RatioRange(low=0.0),
    "exponential": RatioRange(low=OF_AN_EXPONENTIAL, is_fixed=True),
    "gaussian": RatioRange(low=OF_A_GAUSSIAN, is_fixed=True),
}
"""Limits as the shape grows: Student's becomes gaussian, the inverse power exponential, the logistic and the
exponential-power kernel an even disc; each falls steadily as the shape grows. Our derivation, bound by
test_kernel_moments.py::test_the_ratio_falls_to_its_limit_as_the_shape_grows."""


def _fits(family: str, ratio: float) -> bool:
    """Return whether a family can have a ratio of standard deviation to mean."""
    limits = RATIOS[family]
    if limits.is_fixed:
        return abs(ratio / limits.low - 1) <= FIXED_RATIO_SLACK
    return ratio > limits.low


def _check_pair(what: str, mean_m: float, sd_m: float) -> None:
    """Refuse a mean or a standard deviation that is no length above zero."""
    faults = [
        f"{name} is {value} m; allowed: above 0 m"
        for name, value in (("mean_m", mean_m), ("sd_m", sd_m))
        if not (math.isfinite(value) and value > 0)
    ]
    if faults:
        msg = f"{what}: {'; '.join(faults)}. Give both as measured, in metres."
        raise SettingsError(msg)


def kernel_from_moments(family: str, mean_m: float, sd_m: float) -> Kernel:
    """Return the kernel of a family whose distance has a measured mean and standard deviation.

    Parameters
    ----------
    family : str
        A key of `KERNELS`.
    mean_m, sd_m : float
        Mean and standard deviation of the distance f(r), above zero. [m] Catches along a line may say something else:
        see `catch_curve_kernel`.

    Returns
    -------
    Kernel

    Raises
    ------
    SettingsError
        If the family is unknown, a number is not above zero, or the family cannot have such a pair.

    Notes
    -----
    The ratio of the two gives the shape, the mean then gives the scale. WALD: shape a^3/sd^2; log-normal: b^2 =
    ln(1 + ratio^2); gamma: b = 1/ratio^2; inverse power: b = (8 ratio^2 - 1)/(2 ratio^2 - 1), from sd^2/mean^2 =
    (b-1)/(2(b-4)); the others by search, since the ratio falls steadily as the shape grows. Bound by
    test_kernel_moments.py::test_a_pair_comes_back and tests/published/test_bergh_mccoy_1997.py.
    """
    if family not in KERNELS:
        msg = f"kernel family {family!r} is not known; allowed: {', '.join(sorted(KERNELS))}. Choose one of these."
        raise SettingsError(msg)
    _check_pair(f"kernel {family} from moments", mean_m, sd_m)
    ratio = sd_m / mean_m
    if not _fits(family, ratio):
        raise SettingsError(_cannot(family, mean_m, sd_m))
    if family == "wald":
        return Kernel(family=family, scale_m=mean_m, shape=mean_m / ratio**2)
    form = KERNELS[family]
    shape = _shape_of_ratio(family, form, ratio) if form.shape_name else None
    return Kernel(family=family, scale_m=mean_m / form.moment(1, 1.0, shape or 0.0), shape=shape)


def _cannot(family: str, mean_m: float, sd_m: float) -> str:
    """Return why a family cannot have a pair, and which could."""
    limits, ratio = RATIOS[family], sd_m / mean_m
    allowed = f"is fixed at {limits.low:.4f}" if limits.is_fixed else f"lies above {limits.low:.4f}"
    others = ", ".join(sorted(name for name in KERNELS if _fits(name, ratio)))
    return (
        f"mean {mean_m:g} m and standard deviation {sd_m:g} m cannot be met by the family {family}: its ratio of standard "
        f"deviation to mean {allowed}, and this pair's is {ratio:.4f}. Choose a family that can have it ({others}), or "
        "give scale and shape yourself."
    )


def _shape_of_ratio(family: str, form: Family, ratio: float) -> float:
    """Return the shape at which a family has a ratio of standard deviation to mean that it can have."""
    square = ratio * ratio
    if family == "lognormal":
        return math.sqrt(math.log1p(square))
    if family == "gamma":
        return 1 / square
    if family == "inverse_power":
        return (8 * square - 1) / (2 * square - 1)
    first = RATIOS[family].first_shape

    def too_wide(log_shape: float) -> float:
        shape = first + math.exp(log_shape)
        spread = form.sd(1.0, shape) / form.moment(1, 1.0, shape)
        return math.log(spread / ratio) if math.isfinite(spread) else 1e3

    # Without a least shape a small one makes moments larger than any number: there the search begins at 1/50.
    low = math.log(STEEPEST_SHAPE if first else 0.02)
    high = math.log(LARGEST_SHAPE)
    if too_wide(low) < 0 or too_wide(high) > 0:
        msg = (
            f"a ratio of standard deviation to mean of {ratio:.6g} asks for a shape of the family {family} beyond what can "
            f"be reckoned with ({first + math.exp(low):.3g} to {first + math.exp(high):.3g}). Choose another family."
        )
        raise SettingsError(msg)
    return first + math.exp(brentq(too_wide, low, high, xtol=1e-14, rtol=1e-14))


def catch_curve_kernel(mean_m: float, sd_m: float) -> Kernel:
    """Return the WALD whose density per area along a line has a measured mean and standard deviation.

    The other reading of trap catches, against `kernel_from_moments`: catches along a line follow the density per area
    k, not the density of distance f. From 10.95 +- 20.34 m the true mean distance becomes 48.7 m instead of 10.95 m.
    The derivation stands in `catch_curve.wald_of_catches`.

    Parameters
    ----------
    mean_m, sd_m : float
        Mean and standard deviation of the distances of the catches, above zero. [m]

    Returns
    -------
    Kernel
        Of the family `wald`.

    Raises
    ------
    SettingsError
        If a number is not above zero.
    """
    _check_pair("kernel from a catch curve", mean_m, sd_m)
    scale, shape = wald_of_catches(mean_m, sd_m)
    return Kernel(family="wald", scale_m=scale, shape=shape)
