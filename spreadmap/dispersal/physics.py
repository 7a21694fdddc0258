"""The WALD kernel from physics: release height, falling speed, wind and turbulence instead of lengths that were fitted.

A body released at height H drifts with the mean wind U, sinks with V_t, and is thrown up and down by turbulence until
it first touches the ground: the distance of that touch is inverse Gaussian, with the mean H U / V_t and the shape
(H / sigma)^2. Here sigma^2 [m] is the scatter of height gained per metre of travel, called `turbulence_m`.

Windier classes of the wind climate carry farther, each with a kernel of its own. The physics is that of seeds; for a
mite nothing of it has been measured, so that it is a named alternative and never the default.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields
from functools import partial

import numpy as np

from spreadmap.dispersal.bounds import require_above_zero
from spreadmap.dispersal.falling_speed import falling_speed_of_body
from spreadmap.dispersal.kernels import Kernel
from spreadmap.dispersal.wind_profile import VON_KARMAN, WIND_PROFILES, friction_speed
from spreadmap.errors import SettingsError
from spreadmap.values.arrays import FloatArray
from spreadmap.values.settings import PhysicalKernelSettings

Turbulence = Callable[[FloatArray, FloatArray], FloatArray]
"""Scatter of height per metre of travel [m] from friction speeds and mean winds, both (n,) [m/s]."""

REMEDY = "Correct settings.physics."


def turbulence_by_canopy_height(
    canopy_height_m: float,
    vertical_gust_m_s: FloatArray | float,
    mean_wind_m_s: FloatArray | float,
    mixing_length_share: float,
) -> FloatArray:
    """Return the scatter of height per metre of travel when eddies are as large as a share of the canopy height.

    Parameters
    ----------
    canopy_height_m : float
        Height of the plants around, above zero. [m]
    vertical_gust_m_s : array, any shape
        Standard deviation of the vertical wind, above zero. [m/s]
    mean_wind_m_s : array that fits it
        Mean wind over the fall, above zero. [m/s]
    mixing_length_share : float
        Size of the eddies as a share of the canopy height, 0.3 to 0.4. [-]

    Returns
    -------
    array
        sigma^2. [m]

    Raises
    ------
    SettingsError
        If a quantity is not above zero.

    Notes
    -----
    sigma^2 = 2 k h sigma_w / U, bound by test_skarpaas_shea_2007.py::test_wald_from_canopy_turbulence.

    References
    ----------
    Katul et al. 2005, American Naturalist 166:368-381 (form and range of the share from memory; abstract read).
    """
    require_above_zero(
        "turbulence by canopy height",
        {"canopy_height_m": (canopy_height_m, "m"), "vertical_gust_m_s": (vertical_gust_m_s, "m/s"),
         "mean_wind_m_s": (mean_wind_m_s, "m/s"), "mixing_length_share": (mixing_length_share, "[-]")},
        REMEDY,
    )  # fmt: skip
    gustiness = np.asarray(vertical_gust_m_s, dtype=np.float64) / np.asarray(mean_wind_m_s, dtype=np.float64)
    return 2 * mixing_length_share * canopy_height_m * gustiness


def turbulence_by_dissipation(
    height_above_displacement_m: float,
    friction_speed_m_s: FloatArray | float,
    mean_wind_m_s: FloatArray | float,
    vertical_gust_ratio: float,
    dissipation_constant: float,
) -> FloatArray:
    """Return the scatter of height per metre of travel when eddies live as long as their dissipation lets them.

    Parameters
    ----------
    height_above_displacement_m : float
        Release height less displacement, above zero. [m]
    friction_speed_m_s : array, any shape
        Friction speed, above zero. [m/s]
    mean_wind_m_s : array that fits it
        Mean wind over the fall, above zero. [m/s]
    vertical_gust_ratio : float
        Standard deviation of the vertical wind per friction speed, 1.3 in the source. [-]
    dissipation_constant : float
        Kolmogorov constant, 3.125 in the source. [-]

    Returns
    -------
    array
        sigma^2. [m]

    Raises
    ------
    SettingsError
        If a quantity is not above zero.

    Notes
    -----
    sigma = 2 A^2 sqrt(K (z - d) u* / (C U)), which is 2 sigma_w^2 T / U with sigma_w = A u*, eddies that live
    T = 2 sigma_w^2 / (C e), and dissipation e = u*^3 / (K (z - d)); bound by test_skarpaas_shea_2007.py::test_the_chain
    and by test_physics.py::test_dissipation_is_gusts_times_their_life.

    References
    ----------
    Skarpaas & Shea 2007, American Naturalist 170:421-430, eq. A4 (read in two public transcriptions).
    """
    require_above_zero(
        "turbulence by dissipation",
        {"height_above_displacement_m": (height_above_displacement_m, "m"),
         "friction_speed_m_s": (friction_speed_m_s, "m/s"), "mean_wind_m_s": (mean_wind_m_s, "m/s"),
         "vertical_gust_ratio": (vertical_gust_ratio, "[-]"), "dissipation_constant": (dissipation_constant, "[-]")},
        REMEDY,
    )  # fmt: skip
    ratio = np.asarray(friction_speed_m_s, dtype=np.float64) / np.asarray(mean_wind_m_s, dtype=np.float64)
    return 4 * vertical_gust_ratio**4 * VON_KARMAN * height_above_displacement_m * ratio / dissipation_constant


def wald_from_physics(
    *, release_height_m: float, mean_wind_m_s: float, falling_speed_m_s: float, turbulence_m: float
) -> Kernel:
    """Return the kernel of bodies that fall, drift and are thrown about until they touch the ground.

    Parameters
    ----------
    release_height_m : float
        Height at which mites let go, above zero. [m]
    mean_wind_m_s : float
        Mean wind between the release height and the ground, above zero. [m/s]
    falling_speed_m_s : float
        Speed of the fall in still air, above zero. [m/s]
    turbulence_m : float
        Scatter of height per metre of travel (sigma^2), above zero. [m]

    Returns
    -------
    Kernel
        Family `wald` with mean H U / V_t and shape H^2 / sigma^2, both in metres.

    Raises
    ------
    SettingsError
        If a quantity is not above zero.

    Notes
    -----
    Bound by test_skarpaas_shea_2007.py::test_wald_from_canopy_turbulence; that it is the law of the first touch by
    test_physics.py::test_kernel_is_where_a_random_walk_first_touches_the_ground.

    References
    ----------
    Katul et al. 2005, American Naturalist 166:368-381 (abstract read); mean and shape as in Skarpaas & Shea 2007,
    American Naturalist 170:421-430, eq. 6 and 7 (read in two public transcriptions).
    """
    require_above_zero(
        "kernel from physics",
        {"release_height_m": (release_height_m, "m"), "mean_wind_m_s": (mean_wind_m_s, "m/s"),
         "falling_speed_m_s": (falling_speed_m_s, "m/s"), "turbulence_m": (turbulence_m, "m")},
        REMEDY,
    )  # fmt: skip
    return Kernel(
        family="wald",
        scale_m=release_height_m * mean_wind_m_s / falling_speed_m_s,
        shape=release_height_m**2 / turbulence_m,
    )


def kernels_of_speed_classes(
    speed_m_s: FloatArray,
    *,
    reference_height_m: float,
    release_height_m: float,
    falling_speed_m_s: float,
    displacement_m: float,
    roughness_m: float,
    wind_profile: str,
    turbulence: Turbulence,
) -> tuple[Kernel, ...]:
    """Return one kernel for each speed class of the wind climate.

    Parameters
    ----------
    speed_m_s : array (n,)
        Mean wind speed of each class at the reference height, above zero. [m/s]
    reference_height_m, release_height_m : float
        Heights above the ground of the anemometer and of the mites that let go. [m]
    falling_speed_m_s : float
        Speed of the fall in still air. [m/s]
    displacement_m, roughness_m : float
        Lengths of the wind profile over the plants around. [m]
    wind_profile : str
        A key of `WIND_PROFILES`: the mean wind over the fall. The friction speed, which the turbulence needs, comes
        from the log law either way: the power law has none.
    turbulence : function
        Friction speeds (n,) and mean winds over the fall (n,) to scatters of height per metre of travel (n,).

    Returns
    -------
    tuple of Kernel, one per class, in the same order
        By either form of turbulence and either profile the mean grows in proportion to the speed, and the shape is
        the same for all classes.

    Raises
    ------
    SettingsError
        If the speeds are no list of numbers above zero, the profile is unknown, or heights do not fit together.

    Notes
    -----
    Bound by test_physics.py::test_windier_classes_carry_farther.
    """
    speed = np.asarray(speed_m_s, dtype=np.float64)
    if speed.ndim != 1 or len(speed) == 0:
        msg = f"speed classes: speed_m_s has shape {speed.shape}; allowed: one row with one speed or more. Give (n,)."
        raise SettingsError(msg)
    if wind_profile not in WIND_PROFILES:
        msg = (
            f"speed classes: wind_profile {wind_profile!r} is not known; allowed: {', '.join(WIND_PROFILES)}. {REMEDY}"
        )
        raise SettingsError(msg)
    friction = friction_speed(speed, reference_height_m, displacement_m, roughness_m)
    mean = WIND_PROFILES[wind_profile](speed, reference_height_m, release_height_m, displacement_m, roughness_m)
    return tuple(
        wald_from_physics(
            release_height_m=release_height_m,
            mean_wind_m_s=float(wind),
            falling_speed_m_s=falling_speed_m_s,
            turbulence_m=float(scatter),
        )
        for wind, scatter in zip(mean, turbulence(friction, mean), strict=True)
    )


def _surface(settings: PhysicalKernelSettings) -> tuple[float, float]:
    """Return displacement and roughness of the plants around [m]."""
    return settings.displacement_share * settings.canopy_height_m, settings.roughness_share * settings.canopy_height_m


def _by_canopy_height(settings: PhysicalKernelSettings, friction: FloatArray, mean_wind: FloatArray) -> FloatArray:
    """Return the turbulence of the settings by the size of the eddies."""
    gust = settings.vertical_gust_ratio * friction
    return turbulence_by_canopy_height(settings.canopy_height_m, gust, mean_wind, settings.mixing_length_share)


def _by_dissipation(settings: PhysicalKernelSettings, friction: FloatArray, mean_wind: FloatArray) -> FloatArray:
    """Return the turbulence of the settings by the life of the eddies."""
    height = settings.release_height_m - _surface(settings)[0]
    return turbulence_by_dissipation(
        height, friction, mean_wind, settings.vertical_gust_ratio, settings.dissipation_constant
    )


TURBULENCE_FORMS: dict[str, Callable[[PhysicalKernelSettings, FloatArray, FloatArray], FloatArray]] = {
    "canopy_height": _by_canopy_height,
    "dissipation": _by_dissipation,
}


def falling_speed_of_settings(settings: PhysicalKernelSettings) -> float:
    """Return the falling speed that the settings give or that follows from the body they give [m/s]."""
    if settings.falling_speed_from == "given":
        return settings.falling_speed_m_s
    return falling_speed_of_body(
        settings.body_length_um * 1e-6, settings.body_width_um * 1e-6, settings.body_density_kg_m3
    )


def physics_faults(settings: PhysicalKernelSettings) -> list[tuple[str, str, str]]:
    """Return what is wrong with the settings alone and together, as (found, allowed, remedy), empty if nothing is."""
    faults = []
    for item in fields(settings):
        value, note = getattr(settings, item.name), item.metadata
        name = f"'settings.physics.{item.name}' = '{value}'"
        if note["choices"]:
            if value not in note["choices"]:
                faults.append((name, ", ".join(note["choices"]), "Choose one of these."))
        elif not note["least"] <= value <= note["most"]:
            faults.append((name, f"{note['least']} to {note['most']} [{note['unit']}]", "Correct the value."))
    if faults:
        return faults
    rest = sum(_surface(settings))
    heights = ["reference_height_m"]
    if settings.wind_profile == "log" or settings.turbulence_form == "dissipation":
        heights.append("release_height_m")
    for height in heights:
        value = getattr(settings, height)
        if value <= rest:
            faults.append((
                f"'settings.physics.{height}' = '{value}'",
                f"above {rest:g} m, where the wind begins over a canopy of {settings.canopy_height_m:g} m",
                "Lower canopy_height_m, or correct the height.",
            ))  # fmt: skip
    if settings.falling_speed_from == "body" and settings.body_length_um < settings.body_width_um:
        faults.append((
            f"'settings.physics.body_length_um' = '{settings.body_length_um}'",
            f"body_width_um, {settings.body_width_um:g} um, or more",
            "Exchange length and width.",
        ))  # fmt: skip
    return faults


def physical_kernels(settings: PhysicalKernelSettings, speed_m_s: FloatArray) -> tuple[Kernel, ...]:
    """Return one kernel for each speed class of the wind climate, as the settings describe the physics.

    Parameters
    ----------
    settings : PhysicalKernelSettings
        Whether `use_physics` is set does not matter here.
    speed_m_s : array (n,)
        Mean wind speed of each class at `settings.reference_height_m`, zero or more; below `settings.least_speed_m_s`
        that speed counts, since no kernel can hold all its mass at the source. [m/s]

    Returns
    -------
    tuple of Kernel, one per class, in the same order

    Raises
    ------
    SettingsError
        If settings are out of range or do not fit together (all faults at once), a speed is below zero or unknown, or
        the body is not one whose fall the drag law describes.

    Notes
    -----
    Bound by test_physics.py::test_settings_are_passed_on.
    """
    faults = physics_faults(settings)
    if faults:
        msg = " ".join(f"{found}; allowed: {allowed}. {remedy}" for found, allowed, remedy in faults)
        raise SettingsError(msg)
    displacement, roughness = _surface(settings)
    speed = np.asarray(speed_m_s, dtype=np.float64)
    return kernels_of_speed_classes(
        np.where((speed >= 0) & (speed < settings.least_speed_m_s), settings.least_speed_m_s, speed),
        reference_height_m=settings.reference_height_m,
        release_height_m=settings.release_height_m,
        falling_speed_m_s=falling_speed_of_settings(settings),
        displacement_m=displacement,
        roughness_m=roughness,
        wind_profile=settings.wind_profile,
        turbulence=partial(TURBULENCE_FORMS[settings.turbulence_form], settings),
    )
