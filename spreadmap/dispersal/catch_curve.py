"""What catches along a line say of distances, if they follow the density per area."""

from __future__ import annotations


def wald_of_catches(mean_m: float, sd_m: float) -> tuple[float, float]:
    """Return mean and shape of the WALD whose density per area along a line has this mean and standard deviation.

    Parameters
    ----------
    mean_m, sd_m : float
        Mean and standard deviation of the distances from the source at which traps along a line made their catches,
        above zero. [m]

    Returns
    -------
    tuple of float
        True mean distance and shape, both above `mean_m`. [m]

    Notes
    -----
    A trap catches from the area in front of it: along a line, catches follow the location kernel k, not the density of
    distance f = 2 pi r k. Scaled to one, the catch curve is g(r) = k / int k dr = (f/r) / E[1/r], with E the mean over
    f. Its own moments are therefore

        mean of g           m         = E[1] / E[1/r] = 1 / E[1/r]
        mean square of g    m^2 + s^2 = E[r] / E[1/r] = m E[r]

    so that E[r] = m + s^2/m for every family. A WALD of mean a and shape b has E[r] = a and E[1/r] = 1/a + 1/b: with
    a = m + s^2/m, 1/b = 1/m - 1/a gives b = m (m^2 + s^2) / s^2 = a m / (a - m).

    From 10.95 and 20.34 m the mean becomes 48.7 m and the shape 14.1 m. Bound by
    test_kernel_moments.py::test_the_catch_curve_has_the_moments_that_were_measured, which integrates k along the line.

    References
    ----------
    None: our derivation. Whether catches follow k or f depends on how the traps stood; the abstract of Bergh & McCoy
    1997, doi 10.1093/ee/26.2.256, does not say.
    """
    ratio = sd_m / mean_m
    return mean_m * (1 + ratio * ratio), mean_m * (1 + 1 / (ratio * ratio))
