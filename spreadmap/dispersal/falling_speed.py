"""How fast a small body falls through still air.

The body is taken as a sphere of the same volume. For a spheroid of 150 x 40 um that is 1.17 times the speed of the
spheroid itself in random orientation (Oberbeck's drag, bound by test_falling_speed.py), so that distances come out
some 14 % short: small beside what is not known of the mite. No falling speed of an eriophyid mite has been found
measured.
"""

from __future__ import annotations

from scipy import optimize

from spreadmap.dispersal.bounds import require_above_zero
from spreadmap.errors import SettingsError

GRAVITY_M_S2 = 9.80665
"""Standard acceleration of free fall [m/s2], by definition."""
AIR_DENSITY_KG_M3 = 1.204
"""Density of dry air at 20 deg C and 1013 hPa [kg/m3]; tables of physics, from memory."""
AIR_VISCOSITY_PA_S = 1.81e-5
"""Dynamic viscosity of air at 20 deg C [Pa s]; tables of physics, from memory."""
LEAST_DIAMETER_M = 10e-6
"""Smaller bodies slip between the molecules of air, more than 2 % faster than Stokes' law says [m]; from memory."""
MOST_REYNOLDS = 800.0
"""End of the drag law of Schiller & Naumann [-]; 800 in some texts, 1000 in others, from memory."""

REMEDY = "Correct the body in settings.physics, or give falling_speed_m_s itself."


def equal_volume_diameter(length_m: float, width_m: float) -> float:
    """Return the diameter of the sphere with the volume of a spheroid that is long along its axis.

    Parameters
    ----------
    length_m, width_m : float
        Body length, and width across it, above zero, the length not below the width. [m]

    Returns
    -------
    float
        Diameter. [m]

    Raises
    ------
    SettingsError
        If a length is out of range.

    Notes
    -----
    d = (L W^2)^(1/3), bound by test_falling_speed.py::test_equal_volume_sphere.
    """
    require_above_zero("body", {"length_m": (length_m, "m"), "width_m": (width_m, "m")}, REMEDY)
    if length_m < width_m:
        msg = f"body: length_m is {length_m:g} m; allowed: its width {width_m:g} m or more. {REMEDY}"
        raise SettingsError(msg)
    return float((length_m * width_m**2) ** (1 / 3))


def stokes_speed(diameter_m: float, density_kg_m3: float) -> float:
    """Return the falling speed of a sphere in creeping flow.

    Parameters
    ----------
    diameter_m : float
        Diameter, above zero. [m]
    density_kg_m3 : float
        Density of the body, above that of air. [kg/m3]

    Returns
    -------
    float
        Speed. [m/s]

    Raises
    ------
    SettingsError
        If diameter or density is out of range.

    Notes
    -----
    V = (rho - rho_air) g d^2 / (18 mu), bound by test_falling_speed.py::test_spheres.

    References
    ----------
    Stokes 1851; any text of fluid mechanics (from memory).
    """
    require_above_zero("falling speed", {"diameter_m": (diameter_m, "m")}, REMEDY)
    if not density_kg_m3 > AIR_DENSITY_KG_M3:
        msg = (
            f"falling speed: density_kg_m3 is {density_kg_m3:g} kg/m3; allowed: above that of air, "
            f"{AIR_DENSITY_KG_M3:g} kg/m3. {REMEDY}"
        )
        raise SettingsError(msg)
    return (density_kg_m3 - AIR_DENSITY_KG_M3) * GRAVITY_M_S2 * diameter_m**2 / (18 * AIR_VISCOSITY_PA_S)


def reynolds_number(speed_m_s: float, diameter_m: float) -> float:
    """Return the ratio of inertia to friction of a body moving through air [-]; speed in m/s, diameter in m."""
    return AIR_DENSITY_KG_M3 * speed_m_s * diameter_m / AIR_VISCOSITY_PA_S


def drag_correction(reynolds: float) -> float:
    """Return by how much drag exceeds Stokes' law, 1 + 0.15 Re^0.687 [-] (Schiller & Naumann 1933, from memory)."""
    return float(1 + 0.15 * reynolds**0.687)


def falling_speed(diameter_m: float, density_kg_m3: float) -> float:
    """Return the falling speed of a sphere with its drag corrected for inertia.

    Parameters
    ----------
    diameter_m : float
        Diameter, 10 um or more. [m]
    density_kg_m3 : float
        Density of the body, above that of air. [kg/m3]

    Returns
    -------
    float
        Speed at which weight and drag are equal. [m/s]

    Raises
    ------
    SettingsError
        If the body is too small (air is no longer a continuum for it), no denser than air, or falls with a Reynolds
        number above 800, beyond which the drag law does not hold.

    Notes
    -----
    V (1 + 0.15 Re(V)^0.687) = V_Stokes, bound by test_falling_speed.py::test_spheres and
    test_physics.py::test_weight_and_drag_are_equal.

    References
    ----------
    Schiller & Naumann 1933, Zeitschrift des Vereines Deutscher Ingenieure 77:318-320: form and exponent from memory.
    """
    creeping = stokes_speed(diameter_m, density_kg_m3)
    if diameter_m < LEAST_DIAMETER_M:
        msg = f"falling speed: diameter_m is {diameter_m:g} m; allowed: {LEAST_DIAMETER_M:g} m or more. {REMEDY}"
        raise SettingsError(msg)

    def excess(speed: float) -> float:
        return speed * drag_correction(reynolds_number(speed, diameter_m)) - creeping

    speed = float(optimize.brentq(excess, 0.0, creeping, xtol=1e-16, rtol=1e-14))
    reynolds = reynolds_number(speed, diameter_m)
    if reynolds > MOST_REYNOLDS:
        msg = (
            f"falling speed: a body of {diameter_m:g} m falls with a Reynolds number of {reynolds:.0f}; allowed: up "
            f"to {MOST_REYNOLDS:g}, where the drag law ends. {REMEDY}"
        )
        raise SettingsError(msg)
    return speed


def falling_speed_of_body(length_m: float, width_m: float, density_kg_m3: float) -> float:
    """Return the falling speed of a long body: that of the sphere with its volume.

    Parameters
    ----------
    length_m, width_m : float
        As in `equal_volume_diameter`. [m]
    density_kg_m3 : float
        Density of the body, above that of air. [kg/m3]

    Returns
    -------
    float
        Speed. [m/s]

    Raises
    ------
    SettingsError
        As in `equal_volume_diameter` and `falling_speed`.

    Notes
    -----
    Bound by test_falling_speed.py::test_bodies_of_a_rose_mite: 0.107 m/s for 150 x 40 um and the density of water.
    """
    return falling_speed(equal_volume_diameter(length_m, width_m), density_kg_m3)
