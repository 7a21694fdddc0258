"""The one measured distance of an eriophyid mite, and what it makes of each family.

Bergh, J. C. & McCoy, C. W. (1997), Aerial dispersal of citrus rust mite (Acari: Eriophyidae) from Florida citrus
groves, Environmental Entomology 26:256-264, doi 10.1093/ee/26.2.256, abstract: mean distance 10.95 m, SD 20.34 m.
Another mite species, from trees, as trap catches.

The parameters, shares and densities below are not printed there: they were computed from that one pair with 25 to 40 digit
arithmetic. Tolerance: 1e-5 on parameters (half the last digit where fewer were kept), half the last digit on the rest.
"""

import math

import numpy as np
import pytest
from scipy import integrate

from spreadmap.dispersal.kernels import Kernel, kernel_from_settings
from spreadmap.dispersal.moments import catch_curve_kernel, kernel_from_moments
from spreadmap.errors import SettingsError
from spreadmap.values.settings import KernelSettings

MEAN, SD = 10.95, 20.34
BEYOND = np.array([30.0, 100.0, 135.0, 800.0])
# family: scale a [m], shape b, share beyond 30, 100, 135 and 800 m, density 100 m away [m^-2]
BY_MOMENTS = {
    "lognormal": (5.190545, 1.2218844, (0.07553, 0.007736, 0.003830, 1.87e-5), 2.77e-7),
    "wald": (10.95, 3.1735143, (0.08591, 0.01026, 0.004603, 7.06e-8), 3.96e-7),
    "student_2d": (8.0914639, 2.1226941, (0.04874, 0.003507, 0.001793, 3.31e-5), 1.25e-7),
}
# 50, 90, 95 and 99 % of arrivals end within [m]
QUANTILES = {
    "lognormal": (5.191, 24.85, 38.73, 89.07),
    "wald": (4.192, 26.58, 44.07, 101.1),
    "student_2d": (7.478, 21.06, 29.64, 62.39),
}


def half_of_last_digit(value, digits):
    """Return half a unit of the last of so many digits."""
    return 0.5 * 10.0 ** (math.floor(math.log10(value)) - digits + 1)


@pytest.mark.parametrize("family", BY_MOMENTS)
def test_parameters_by_moments(family):
    kernel = kernel_from_moments(family, MEAN, SD)
    scale, shape, shares, density = BY_MOMENTS[family]
    assert (kernel.scale_m, kernel.shape) == pytest.approx((scale, shape), abs=1e-5)
    assert (kernel.mean_m(), kernel.sd_m()) == pytest.approx((MEAN, SD), rel=1e-10)
    for distance, share in zip(BEYOND, shares, strict=True):
        digits = 3 if share < 1e-4 else 4
        assert float(kernel.mass_beyond(distance)) == pytest.approx(share, abs=half_of_last_digit(share, digits))
    assert float(kernel.location_density(100.0)) == pytest.approx(density, abs=half_of_last_digit(density, 3))


@pytest.mark.parametrize("family", QUANTILES)
def test_quantiles_by_moments(family):
    found = kernel_from_moments(family, MEAN, SD).quantile(np.array([0.5, 0.9, 0.95, 0.99]))
    for value, printed in zip(found, QUANTILES[family], strict=True):
        assert value == pytest.approx(printed, abs=half_of_last_digit(printed, 4))


def test_log_normal_beyond_a_hundred_metres():
    assert float(kernel_from_moments("lognormal", MEAN, SD).mass_beyond(100.0)) == pytest.approx(0.00773634, abs=1e-5)


def test_exponential_power_meets_the_pair_only_with_a_scale_of_less_than_a_millimetre():
    kernel = kernel_from_moments("exponential_power", MEAN, SD)
    assert kernel.shape == pytest.approx(0.23721, abs=5e-6)
    assert kernel.scale_m == pytest.approx(0.00067527, abs=5e-9)
    assert [float(kernel.mass_beyond(r)) for r in (30, 100, 135)] == pytest.approx([0.0842, 0.00868, 0.00408], rel=2e-3)
    assert float(kernel.mass_beyond(800.0)) == pytest.approx(5.9e-6, abs=5e-8)


def test_the_default_kernel_is_the_wald_fit():
    default, fit = kernel_from_settings(KernelSettings()), kernel_from_moments("wald", MEAN, SD)
    assert default.mean_m() == MEAN
    # the default shape is the fit's, to the two decimals that were kept
    assert default.shape == pytest.approx(fit.shape, abs=0.005)


def test_one_parameter_families_cannot_have_the_pair():
    # coefficient of variation 1.8575 against 0.7071 and 0.5227
    assert pytest.approx(1.8575, abs=5e-5) == SD / MEAN
    for family, fixed in (("exponential", "0.7071"), ("gaussian", "0.5227")):
        with pytest.raises(SettingsError, match=rf"is fixed at {fixed}, and this pair's is 1.8575"):
            kernel_from_moments(family, MEAN, SD)


def test_the_family_moves_the_tail_by_orders_of_magnitude():
    exponential = Kernel(family="exponential", scale_m=MEAN / 2)
    assert exponential.sd_m() == pytest.approx(7.743, abs=5e-4)
    # 1 - F = (1 + r/a) exp(-r/a)
    tail = (1 + 100 / exponential.scale_m) * math.exp(-100 / exponential.scale_m)
    assert tail == pytest.approx(2.25e-7, rel=0.01)
    assert float(exponential.mass_beyond(100.0)) == pytest.approx(tail, rel=1e-12)
    assert float(exponential.mass_beyond(30.0)) == pytest.approx(0.02703, abs=5e-6)
    assert float(exponential.mass_beyond(135.0)) == pytest.approx(5.0e-10, abs=5e-12)
    assert float(kernel_from_moments("lognormal", MEAN, SD).mass_beyond(100.0)) / tail > 3e4
    assert float(exponential.location_density(100.0)) == pytest.approx(6.20e-11, rel=1e-3)


def test_read_as_a_catch_curve_the_true_mean_is_more_than_four_times_as_far():
    # (m^2 + s^2) / m of the printed pair, by hand: (119.9025 + 413.7156) / 10.95
    kernel = catch_curve_kernel(MEAN, SD)
    assert kernel.mean_m() == pytest.approx(533.6181 / 10.95, rel=1e-12)
    assert kernel.mean_m() == pytest.approx(48.7, abs=0.05)
    # and the catches of that kernel along a line have the printed mean and standard deviation again
    power = [
        integrate.quad(
            lambda u, n=n: math.exp((n + 1) * u) * float(kernel.location_density(math.exp(u))),
            -12, 12, epsabs=0, epsrel=1e-11, limit=400,
        )[0]
        for n in (0, 1, 2)
    ]  # fmt: skip
    mean = power[1] / power[0]
    assert mean == pytest.approx(MEAN, rel=1e-8)
    assert math.sqrt(power[2] / power[0] - mean**2) == pytest.approx(SD, rel=1e-8)
    assert kernel_from_settings(KernelSettings(reading="catch_curve")) == kernel
