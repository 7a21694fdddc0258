"""A plume with settling: a second opinion on how far the physical kernel carries, never a default.

A plume of height H spreads to both sides and up and down while it drifts; the ground throws it back; what falls tilts
it by V_t x / u. The published spreads are those of gases averaged over ten minutes, from 100 m to 10 km from a stack.
Most mites come down nearer than 100 m, where these spreads are a straight line drawn back to the source and nothing
more: that is why they have to be asked for (`extrapolate`).

What the check says: in the same turbulence, what settles out of a plume without reflection has exactly 1 + mean/shape
times the kernel's mean distance. With reflection and a depleted source, half of the bodies come down farther than by the
kernel, which counts their first touch, and in every case tried by less than that factor. With Briggs' spreads in open
country it is 2.7 to 6.3 times the kernel's distance in classes F to B (H = 1 m, 2 m/s, 0.1 m/s): the same order. In
class A it is 17 times, and the two do not confirm each other. Bound by tests/test_physics.py.

Source of all tables: Fundamentals of Air Pollution, 3rd edition, chapter 19, pp. 303-305 and tables 19-6 and 19-7,
after Gifford (read). Bound by tests/published/test_textbook_plume.py.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from spreadmap.dispersal.bounds import require_above_zero
from spreadmap.errors import SettingsError
from spreadmap.values.arrays import FloatArray

VerticalSpread = Callable[[FloatArray], FloatArray]
"""Standard deviation of height [m] at distances downwind [m]."""

LEAST_M, MOST_M = 100.0, 10_000.0
"""Distances for which Briggs' coefficients were made [m]; same source."""
STEPS = 4000
"""Steps in the logarithm of distance over which deposition is summed."""

Formula = tuple[float, float, float]
"""c, a, p of c x (1 + a x)^p, x in metres."""
_URBAN_A, _URBAN_E = ((0.32, 4e-4, -0.5), (0.24, 1e-3, 0.5)), ((0.11, 4e-4, -0.5), (0.08, 1.5e-3, -0.5))
BRIGGS: dict[str, dict[str, tuple[Formula, Formula]]] = {
    "rural": {
        "A": ((0.22, 1e-4, -0.5), (0.20, 0.0, 1.0)),
        "B": ((0.16, 1e-4, -0.5), (0.12, 0.0, 1.0)),
        "C": ((0.11, 1e-4, -0.5), (0.08, 2e-4, -0.5)),
        "D": ((0.08, 1e-4, -0.5), (0.06, 1.5e-3, -0.5)),
        "E": ((0.06, 1e-4, -0.5), (0.03, 3e-4, -1.0)),
        "F": ((0.04, 1e-4, -0.5), (0.016, 3e-4, -1.0)),
    },
    # one line of the table holds A and B, and one E and F; the exponent +1/2 of A and B is hard to read in the scan,
    # and is the usual one from memory
    "urban": {
        "A": _URBAN_A,
        "B": _URBAN_A,
        "C": ((0.22, 4e-4, -0.5), (0.20, 0.0, 1.0)),
        "D": ((0.16, 4e-4, -0.5), (0.14, 3e-4, -0.5)),
        "E": _URBAN_E,
        "F": _URBAN_E,
    },
}
"""Briggs' spread across the wind and up, by surroundings and stability class A (unstable) to F (stable)."""


def briggs_spread(
    downwind_m: FloatArray | float, stability_class: str, surroundings: str, *, extrapolate: bool = False
) -> tuple[FloatArray, FloatArray]:
    """Return the spread of a plume across the wind and up, by Briggs' formulas.

    Parameters
    ----------
    downwind_m : array, any shape
        Distance from the source along the wind, 100 to 10,000. [m]
    stability_class : str
        `A` (very unstable) to `F` (stable).
    surroundings : str
        `rural` or `urban`.
    extrapolate : bool
        Use the formulas nearer than 100 m and farther than 10 km, where nothing was measured.

    Returns
    -------
    crosswind_m, vertical_m : arrays, same shape
        Standard deviations. [m]

    Raises
    ------
    SettingsError
        If class or surroundings are unknown, or a distance is out of range.

    Notes
    -----
    Bound by test_textbook_plume.py::test_briggs_at_one_kilometre and test_briggs_table.
    """
    x = _distances(downwind_m, (0.0, np.inf) if extrapolate else (LEAST_M, MOST_M), "or ask for extrapolate")
    if surroundings not in BRIGGS or stability_class not in BRIGGS[surroundings]:
        msg = (
            f"plume: class {stability_class!r} in {surroundings!r} surroundings is not known; allowed: A to F, in "
            f"{' or '.join(BRIGGS)}. Correct the words."
        )
        raise SettingsError(msg)
    (c_y, a_y, p_y), (c_z, a_z, p_z) = BRIGGS[surroundings][stability_class]
    return c_y * x * (1 + a_y * x) ** p_y, c_z * x * (1 + a_z * x) ** p_z


def class_b_spread(downwind_m: FloatArray | float) -> tuple[FloatArray, FloatArray]:
    """Return the spread of a plume in class B, by the local formula of the textbook's example.

    Parameters
    ----------
    downwind_m : array, any shape
        Distance from the source along the wind, 200 to 400. [m]

    Returns
    -------
    crosswind_m, vertical_m : arrays, same shape
        Standard deviations. [m]

    Raises
    ------
    SettingsError
        If a distance is out of range.

    Notes
    -----
    465.116 x tan(18.333 deg - 1.8096 deg ln x) and 98.483 x^0.98332, x in kilometres; bound by
    test_textbook_plume.py::test_class_b_spreads.
    """
    x = _distances(downwind_m, (200.0, 400.0), "or use briggs_spread") / 1000
    return 465.116 * x * np.tan(np.deg2rad(18.333 - 1.8096 * np.log(x))), 98.483 * x**0.98332


def plume_concentration(
    downwind_m: FloatArray | float,
    crosswind_m: FloatArray | float,
    height_m: FloatArray | float,
    *,
    rate: float,
    wind_m_s: float,
    release_height_m: float,
    spread_m: tuple[FloatArray, FloatArray],
    falling_speed_m_s: float = 0.0,
    ground_reflection: float = 1.0,
) -> FloatArray:
    """Return the concentration in a plume that tilts as its bodies fall.

    Parameters
    ----------
    downwind_m, crosswind_m, height_m : arrays that fit together
        Place: along the wind from the source, above zero; across it; above the ground, zero or more. [m]
    rate : float
        What the source sends per second, above zero. [units/s]
    wind_m_s : float
        Wind along which the plume drifts, above zero. [m/s]
    release_height_m : float
        Height of the source, above zero. [m]
    spread_m : pair of arrays
        Standard deviations across the wind and up at `downwind_m`. [m]
    falling_speed_m_s : float
        Zero for a gas. [m/s]
    ground_reflection : float
        Share of what reaches the ground that is thrown back, 0 to 1. [-]

    Returns
    -------
    array
        Concentration. [units/m3]

    Raises
    ------
    SettingsError
        If a quantity is out of range.

    Notes
    -----
    C = Q / (2 pi u s_y s_z) exp(-y^2 / 2 s_y^2) [exp(-(z - h)^2 / 2 s_z^2) + R exp(-(z + h)^2 / 2 s_z^2)] with
    h = H - V_t x / u; bound by test_textbook_plume.py::test_worked_example, by test_physics.py::test_plume_keeps_mass
    and, for the tilt, by test_physics.py::test_a_falling_plume_is_lower.

    References
    ----------
    Same textbook, p. 303, without settling; the tilt is common practice, from memory.
    """
    _require_plume(rate=rate, wind_m_s=wind_m_s, release_height_m=release_height_m)
    _require_settling(falling_speed_m_s, ground_reflection)
    x = _distances(downwind_m, (0.0, np.inf), "upwind of the source there is no plume")
    y, z = np.asarray(crosswind_m, dtype=np.float64), np.asarray(height_m, dtype=np.float64)
    side, up = spread_m
    axis = release_height_m - falling_speed_m_s * x / wind_m_s
    vertical = np.exp(-(((z - axis) / up) ** 2) / 2) + ground_reflection * np.exp(-(((z + axis) / up) ** 2) / 2)
    return rate / (2 * np.pi * wind_m_s * side * up) * np.exp(-((y / side) ** 2) / 2) * vertical


def deposition_flux(ground_concentration: FloatArray | float, deposition_speed_m_s: float) -> FloatArray:
    """Return what settles per area and second from a concentration at the ground [units/m3]: V_d C [units/m2/s].

    For bodies that only fall, the deposition speed is the falling speed [m/s] (from memory, common practice). Raises
    SettingsError if it is not above zero.
    """
    _require_plume(deposition_speed_m_s=deposition_speed_m_s)
    return deposition_speed_m_s * np.asarray(ground_concentration, dtype=np.float64)


def settling_along_wind(
    downwind_m: FloatArray,
    *,
    wind_m_s: float,
    release_height_m: float,
    falling_speed_m_s: float,
    vertical_m: FloatArray,
    ground_reflection: float = 1.0,
) -> FloatArray:
    """Return what settles per metre of distance, summed across the wind, of a plume that loses nothing on its way.

    Parameters
    ----------
    downwind_m : array, any shape
        Distance along the wind, above zero. [m]
    wind_m_s, release_height_m, falling_speed_m_s : float
        As in `plume_concentration`, above zero; bodies settle as fast as they fall.
    vertical_m : array, same shape
        Standard deviation of height at each distance. [m]
    ground_reflection : float
        Share that the ground throws back, 0 to 1. [-]

    Returns
    -------
    array, same shape
        Share of what the source sends, per metre. [m^-1]

    Raises
    ------
    SettingsError
        If a quantity is out of range.

    Notes
    -----
    V (1 + R) / (sqrt(2 pi) u s_z) exp(-h^2 / 2 s_z^2), the integral of V C(x, y, 0) over y; bound by
    test_physics.py::test_settling_is_the_flux_summed_across_the_wind.
    """
    _require_plume(wind_m_s=wind_m_s, release_height_m=release_height_m, falling_speed_m_s=falling_speed_m_s)
    _require_settling(falling_speed_m_s, ground_reflection)
    x = _distances(downwind_m, (0.0, np.inf), "upwind of the source there is no plume")
    axis = release_height_m - falling_speed_m_s * x / wind_m_s
    peak = falling_speed_m_s * (1 + ground_reflection) / (np.sqrt(2 * np.pi) * wind_m_s * vertical_m)
    return np.asarray(peak * np.exp(-((axis / vertical_m) ** 2) / 2))


def deposition_along_wind(
    downwind_m: FloatArray,
    vertical_spread: VerticalSpread,
    *,
    wind_m_s: float,
    release_height_m: float,
    falling_speed_m_s: float,
) -> tuple[FloatArray, FloatArray]:
    """Return where bodies of a plume come down, summed across the wind, and how many are still in the air.

    What came down nearer is missing farther out: the source is taken to be weaker by that share (source depletion).

    Parameters
    ----------
    downwind_m : array (n,)
        Distances along the wind, ascending, above zero. [m]
    vertical_spread : function
        Distances (m,) to standard deviations of height (m,), above zero for every distance above zero.
    wind_m_s, release_height_m, falling_speed_m_s : float
        As in `settling_along_wind`.

    Returns
    -------
    density : array (n,)
        Share that comes down, per metre. [m^-1]
    airborne : array (n,)
        Share still in the air; one minus the integral of `density`. [-]

    Raises
    ------
    SettingsError
        If a quantity is out of range or distances do not ascend.

    Notes
    -----
    airborne = exp(-integral of f from 0 to x), density = f airborne, f from `settling_along_wind` with full
    reflection. Bound by test_physics.py::test_what_came_down_and_what_flies_is_all.

    References
    ----------
    Source depletion after Chamberlain 1953 (from memory).
    """
    x = _distances(downwind_m, (0.0, np.inf), "upwind of the source there is no plume")
    if x.ndim != 1 or len(x) == 0 or (np.diff(x) <= 0).any():
        msg = "plume: downwind_m does not ascend; allowed: one row of ascending distances. Sort them."
        raise SettingsError(msg)
    # fine steps of the logarithm from far within the foot of the plume, with the distances asked for among them
    path = np.union1d(np.geomspace(x[-1] * 1e-7, x[-1], STEPS), x)
    loss = settling_along_wind(
        path,
        wind_m_s=wind_m_s,
        release_height_m=release_height_m,
        falling_speed_m_s=falling_speed_m_s,
        vertical_m=vertical_spread(path),
    )
    step = np.diff(np.log(path)) * (loss[1:] * path[1:] + loss[:-1] * path[:-1]) / 2
    airborne = np.exp(-np.concatenate([[0.0], np.cumsum(step)]))
    here = np.searchsorted(path, x)
    return loss[here] * airborne[here], airborne[here]


def _distances(downwind_m: FloatArray | float, bounds: tuple[float, float], remedy: str) -> FloatArray:
    """Return distances as an array, refused outside the bounds; zero itself is never allowed."""
    x = np.asarray(downwind_m, dtype=np.float64)
    wrong = x[~((x > 0) & (x >= bounds[0]) & (x <= bounds[1]) & np.isfinite(x))]
    if wrong.size:
        limits = "above 0 m" if bounds[0] == 0 else f"{bounds[0]:g} to {bounds[1]:g} m"
        msg = f"plume: downwind_m is {wrong[0]:g} m; allowed: {limits}. Give other distances, {remedy}."
        raise SettingsError(msg)
    return x


def _require_plume(**quantities: float) -> None:
    """Refuse quantities of a plume that are not above zero."""
    units = {"wind_m_s": "m/s", "release_height_m": "m", "rate": "units/s"}
    require_above_zero(
        "plume", {name: (value, units.get(name, "m/s")) for name, value in quantities.items()}, "Correct the values."
    )


def _require_settling(falling_speed_m_s: float, ground_reflection: float) -> None:
    """Refuse a falling speed below zero and a reflection that is no share."""
    faults = []
    if not (np.isfinite(falling_speed_m_s) and falling_speed_m_s >= 0):
        faults.append(f"falling_speed_m_s is {falling_speed_m_s:g} m/s; allowed: 0 m/s or more")
    if not 0 <= ground_reflection <= 1:
        faults.append(f"ground_reflection is {ground_reflection:g}; allowed: 0 to 1")
    if faults:
        msg = f"plume: {'; '.join(faults)}. Correct the values."
        raise SettingsError(msg)
