"""Wind speed between the ground and the height at which it was measured.

Above plants of height h the wind grows with the logarithm of height from zero at d + z0, with d a displacement of the
ground and z0 its roughness. Below d + z0 air is taken to be at rest, as the mean over height in Skarpaas & Shea does.
Still, neutral weather: no correction for warm or cold ground.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from spreadmap.dispersal.bounds import require_above_zero
from spreadmap.errors import SettingsError
from spreadmap.values.arrays import FloatArray

VON_KARMAN = 0.4
"""Slope of the log law [-]; 0.40 as Skarpaas & Shea 2007 use it (read in two public transcriptions)."""
POWER = 1 / 7
"""Exponent of the power law [-]; common practice over open ground, no source."""

REMEDY = "Correct the heights in settings.physics."


def friction_speed(
    speed_m_s: FloatArray | float, reference_height_m: float, displacement_m: float, roughness_m: float
) -> FloatArray:
    """Return the friction speed that belongs to a wind speed at a reference height.

    Parameters
    ----------
    speed_m_s : array, any shape
        Mean wind speed at the reference height, above zero. [m/s]
    reference_height_m : float
        Height of the anemometer above the ground, above displacement plus roughness. [m]
    displacement_m : float
        Height by which the plants lift the profile, zero or more. [m]
    roughness_m : float
        Roughness length, above zero. [m]

    Returns
    -------
    array, same shape as `speed_m_s`
        Friction speed. [m/s]

    Raises
    ------
    SettingsError
        If a length is out of range, or the reference height does not stand above displacement plus roughness.

    Notes
    -----
    u* = K U_m / ln((z_m - d) / z0), bound by test_skarpaas_shea_2007.py::test_friction_speed.

    References
    ----------
    Skarpaas & Shea 2007, American Naturalist 170:421-430, eq. A2 (read in two public transcriptions, not in the paper).
    """
    require_above_zero("wind profile", {"speed_m_s": (speed_m_s, "m/s")}, "Leave classes without wind out.")
    _require_surface(displacement_m, roughness_m)
    _require_over("reference_height_m", reference_height_m, displacement_m + roughness_m)
    logarithm = np.log((reference_height_m - displacement_m) / roughness_m)
    return np.asarray(VON_KARMAN * np.asarray(speed_m_s, dtype=np.float64) / logarithm)


def log_wind_speed(
    height_m: FloatArray | float, friction_speed_m_s: FloatArray | float, displacement_m: float, roughness_m: float
) -> FloatArray:
    """Return the wind speed at each height by the log law; zero up to displacement plus roughness.

    Parameters
    ----------
    height_m, friction_speed_m_s : arrays that fit together
        Height above the ground [m] and friction speed [m/s].
    displacement_m, roughness_m : float
        As in `friction_speed`. [m]

    Returns
    -------
    array
        Wind speed. [m/s]

    Raises
    ------
    SettingsError
        If displacement or roughness is out of range.

    Notes
    -----
    U(z) = (u*/K) ln((z - d) / z0), bound by test_skarpaas_shea_2007.py::test_log_profile.

    References
    ----------
    Standard surface-layer form; integrand of Skarpaas & Shea 2007, eq. A1 (read in two public transcriptions).
    """
    _require_surface(displacement_m, roughness_m)
    above = np.maximum((np.asarray(height_m, dtype=np.float64) - displacement_m) / roughness_m, 1.0)
    return np.asarray(friction_speed_m_s, dtype=np.float64) / VON_KARMAN * np.log(above)


def mean_log_wind_speed(
    release_height_m: float, friction_speed_m_s: FloatArray | float, displacement_m: float, roughness_m: float
) -> FloatArray:
    """Return the mean of the log profile between the release height and the ground.

    Parameters
    ----------
    release_height_m : float
        Height at which mites let go, above displacement plus roughness. [m]
    friction_speed_m_s : array, any shape
        Friction speed. [m/s]
    displacement_m, roughness_m : float
        As in `friction_speed`. [m]

    Returns
    -------
    array, same shape as `friction_speed_m_s`
        Mean wind speed over the fall. [m/s]

    Raises
    ------
    SettingsError
        If a length is out of range, or the release height lies in the air at rest.

    Notes
    -----
    (1/H) integral of U(z) from d + z0 to H = (u*/K) [(H - d)(ln((H - d)/z0) - 1) + z0] / H: the layer at rest below
    d + z0 counts in H. Bound by test_skarpaas_shea_2007.py::test_mean_wind_of_the_chain and by
    test_physics.py::test_mean_wind_is_the_mean_of_the_profile.

    References
    ----------
    Skarpaas & Shea 2007, American Naturalist 170:421-430, eq. A1 with its lower bound at d + z0 (read in two public
    transcriptions, which both say that they raised the bound from the ground to where the logarithm begins).
    """
    _require_surface(displacement_m, roughness_m)
    _require_over("release_height_m", release_height_m, displacement_m + roughness_m)
    above = release_height_m - displacement_m
    share = float((above * (np.log(above / roughness_m) - 1) + roughness_m) / release_height_m)
    return np.asarray(friction_speed_m_s, dtype=np.float64) / VON_KARMAN * share


def power_wind_speed(
    height_m: FloatArray | float, speed_m_s: FloatArray | float, reference_height_m: float
) -> FloatArray:
    """Return the wind speed at each height by the one-seventh power law.

    Parameters
    ----------
    height_m, speed_m_s : arrays that fit together
        Height above the ground, zero or more [m], and speed at the reference height [m/s].
    reference_height_m : float
        Height at which the speed was measured, above zero. [m]

    Returns
    -------
    array
        Wind speed. [m/s]

    Raises
    ------
    SettingsError
        If the reference height is out of range.

    Notes
    -----
    U(z) = U_m (z/z_m)^(1/7), bound by test_skarpaas_shea_2007.py::test_power_law. It knows nothing of the plants on
    the ground, and gives 40 % more than the log law at 2 m over plants of 1 m.
    """
    require_above_zero("wind profile", {"reference_height_m": (reference_height_m, "m")}, REMEDY)
    share: FloatArray = (np.asarray(height_m, dtype=np.float64) / reference_height_m) ** POWER
    return np.asarray(speed_m_s, dtype=np.float64) * share


def mean_power_wind_speed(
    release_height_m: float, speed_m_s: FloatArray | float, reference_height_m: float
) -> FloatArray:
    """Return the mean of the one-seventh power law between the release height and the ground.

    Parameters
    ----------
    release_height_m, reference_height_m : float
        Heights above the ground, above zero. [m]
    speed_m_s : array, any shape
        Speed at the reference height. [m/s]

    Returns
    -------
    array, same shape as `speed_m_s`
        Mean wind speed over the fall, 7/8 of the speed at the release height. [m/s]

    Raises
    ------
    SettingsError
        If a height is out of range.

    Notes
    -----
    Bound by test_physics.py::test_mean_wind_is_the_mean_of_the_profile.
    """
    require_above_zero("wind profile", {"release_height_m": (release_height_m, "m")}, REMEDY)
    return power_wind_speed(release_height_m, speed_m_s, reference_height_m) / (1 + POWER)


MeanWind = Callable[[FloatArray, float, float, float, float], FloatArray]


def _mean_by_log(speed_m_s: FloatArray, reference_m: float, release_m: float, d: float, z0: float) -> FloatArray:
    """Return the mean wind over the fall by the log law."""
    return mean_log_wind_speed(release_m, friction_speed(speed_m_s, reference_m, d, z0), d, z0)


def _mean_by_power(speed_m_s: FloatArray, reference_m: float, release_m: float, d: float, z0: float) -> FloatArray:
    """Return the mean wind over the fall by the power law, which has no use for displacement and roughness."""
    return mean_power_wind_speed(release_m, speed_m_s, reference_m)


WIND_PROFILES: dict[str, MeanWind] = {"log": _mean_by_log, "power": _mean_by_power}
"""Mean wind over the fall from speeds, reference height, release height, displacement and roughness, by profile."""


def _require_surface(displacement_m: float, roughness_m: float) -> None:
    """Refuse a displacement below zero and a roughness that is not above it."""
    require_above_zero("wind profile", {"roughness_m": (roughness_m, "m")}, REMEDY)
    if not (np.isfinite(displacement_m) and displacement_m >= 0):
        msg = f"wind profile: displacement_m is {displacement_m:g} m; allowed: 0 m or more. {REMEDY}"
        raise SettingsError(msg)


def _require_over(name: str, height_m: float, rest_m: float) -> None:
    """Refuse a height that lies in the layer at rest."""
    if not (np.isfinite(height_m) and height_m > rest_m):
        msg = (
            f"wind profile: {name} is {height_m:g} m; allowed: above {rest_m:g} m, where the log law begins "
            f"(displacement plus roughness). Give lower plants around, or another {name}."
        )
        raise SettingsError(msg)
