"""Moments of every family, and kernels made from a measured mean and standard deviation."""

import math

import mpmath
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, stats
from small_worlds import ONE_OF_EACH

from spreadmap.dispersal.catch_curve import wald_of_catches
from spreadmap.dispersal.families import KERNELS
from spreadmap.dispersal.kernels import Kernel
from spreadmap.dispersal.moments import RATIOS, catch_curve_kernel, kernel_from_moments
from spreadmap.errors import SettingsError

BY_FAMILY = pytest.mark.parametrize("kernel", ONE_OF_EACH, ids=lambda kernel: kernel.family)
TWO_PARAMETERS = sorted(name for name in KERNELS if not RATIOS[name].is_fixed)
# the same density of distance in scipy.stats; the power law ones with a shape at which all moments asked for exist
ORACLE = {
    "gaussian": (None, stats.rayleigh(scale=10 / math.sqrt(2))),
    "exponential": (None, stats.gamma(2, scale=10)),
    "exponential_power": (0.7, stats.gengamma(a=2 / 0.7, c=0.7, scale=10)),
    "student_2d": (3.2, stats.burr12(c=2, d=2.2, scale=10)),
    "inverse_power": (5.5, stats.betaprime(2, 3.5, scale=10)),
    "lognormal": (0.8, stats.lognorm(s=0.8, scale=10)),
    "weibull": (1.4, stats.weibull_min(1.4, scale=10)),
    "gamma": (1.6, stats.gamma(1.6, scale=10)),
    "wald": (3.0, stats.invgauss(mu=10 / 3, scale=3)),
}


@pytest.mark.parametrize("family", ORACLE)
def test_scipy_has_the_same_mean_and_standard_deviation(family):
    shape, oracle = ORACLE[family]
    kernel = Kernel(family=family, scale_m=10.0, shape=shape)
    assert (kernel.mean_m(), kernel.sd_m()) == pytest.approx((oracle.mean(), oracle.std()), rel=1e-10)


def test_the_logistic_has_the_mean_and_standard_deviation_of_its_printed_formulas():
    # E r^n = a^n Gamma((2+n)/b) Gamma(1-(2+n)/b) / (Gamma(2/b) Gamma(1-2/b))
    kernel, gamma = Kernel(family="logistic", scale_m=10.0, shape=5.5), mpmath.gamma
    first, second = (
        10**n * gamma((2 + n) / 5.5) * gamma(1 - (2 + n) / 5.5) / (gamma(2 / 5.5) * gamma(1 - 2 / 5.5)) for n in (1, 2)
    )
    assert kernel.mean_m() == pytest.approx(float(first), rel=1e-12)
    assert kernel.sd_m() == pytest.approx(float(mpmath.sqrt(second - first**2)), rel=1e-12)


@BY_FAMILY
@pytest.mark.parametrize("order", [-1, 0, 1, 2])
def test_a_moment_is_the_mean_of_a_power_of_the_distance(kernel, order):
    if math.isinf(kernel.moment(order)):
        # a power law of shape b + 0.2 would still have none; grows without end with the distance looked at
        short, far = (_mean_power(kernel, order, high) for high in (1e6, 1e12))
        assert far > 1.2 * short
    else:
        # student_2d of shape 2.1 is the last to have ended, at order 2 like r^-0.2
        rel = 5e-3 if kernel.family == "student_2d" and order == 2 else 1e-7
        assert _mean_power(kernel, order, 1e18) == pytest.approx(kernel.moment(order), rel=rel)


def _mean_power(kernel, order, high):
    """Return the integral of r^order f(r) up to a distance, over its logarithm."""
    return integrate.quad(
        lambda u: math.exp((order + 1) * u) * float(kernel.distance_density(math.exp(u))),
        -90, math.log(high), epsabs=0, epsrel=1e-10, limit=800,
    )[0]  # fmt: skip


@BY_FAMILY
def test_standard_deviation_is_what_the_two_moments_say(kernel):
    if math.isinf(kernel.moment(2)):
        assert kernel.sd_m() == math.inf
    else:
        assert kernel.sd_m() == pytest.approx(math.sqrt(kernel.moment(2) - kernel.moment(1) ** 2), rel=1e-10)


@pytest.mark.parametrize(("family", "mean_above", "sd_above"),
                         [("student_2d", 1.5, 2.0), ("inverse_power", 3.0, 4.0), ("logistic", 3.0, 4.0)])  # fmt: skip
def test_a_power_law_has_moments_from_a_shape_on(family, mean_above, sd_above):
    # SD needs E r^2: tails f ~ r^(1-2b), r^(1-b), r^(1-b)
    for name, above in (("mean_m", mean_above), ("sd_m", sd_above)):
        at, beyond = (Kernel(family=family, scale_m=10.0, shape=above + more) for more in (0.0, 1e-3))
        assert getattr(at, name)() == math.inf
        assert getattr(beyond, name)() < math.inf


def test_a_small_spread_keeps_its_digits():
    # a^2 + a^3/b - a^2 would leave none of them
    assert Kernel(family="wald", scale_m=10.0, shape=1e17).sd_m() == pytest.approx(1e-7, rel=1e-12)
    assert Kernel(family="lognormal", scale_m=10.0, shape=1e-9).sd_m() == pytest.approx(1e-8, rel=1e-9)


@settings(max_examples=80, deadline=None, derandomize=True, database=None)
@given(family=st.sampled_from(TWO_PARAMETERS), mean=st.floats(0.3, 1e4), more=st.floats(0.05, 2.5))
def test_a_pair_comes_back(family, mean, more):
    sd = mean * (RATIOS[family].low + more)
    kernel = kernel_from_moments(family, mean, sd)
    assert kernel.family == family
    assert (kernel.mean_m(), kernel.sd_m()) == pytest.approx((mean, sd), rel=1e-9)


@pytest.mark.parametrize(
    ("family", "shape"),
    [("inverse_power", 4.8), ("gamma", 1.7), ("lognormal", 0.9), ("logistic", 6.0), ("weibull", 3.0)],
)
def test_the_parameters_come_back_from_their_moments(family, shape):
    kernel = Kernel(family=family, scale_m=7.0, shape=shape)
    again = kernel_from_moments(family, kernel.mean_m(), kernel.sd_m())
    assert (again.scale_m, again.shape) == pytest.approx((7.0, shape), rel=1e-9)


def test_a_family_with_one_parameter_takes_the_pair_it_has():
    # sd / mean is 1/sqrt(2) and sqrt(4/pi - 1)
    assert kernel_from_moments("exponential", 20.0, 20.0 / math.sqrt(2)).scale_m == pytest.approx(10.0)
    gaussian = kernel_from_moments("gaussian", 10.0, 5.227)
    assert gaussian.scale_m == pytest.approx(10.0 * 2 / math.sqrt(math.pi))
    assert gaussian.sd_m() == pytest.approx(5.227, rel=1e-3)


@pytest.mark.parametrize("family", TWO_PARAMETERS)
def test_the_ratio_falls_to_its_limit_as_the_shape_grows(family):
    limits = RATIOS[family]
    if family == "wald":
        # of a ring: the shape is a length
        kernels = [Kernel(family=family, scale_m=10.0, shape=b) for b in np.geomspace(1, 1e9, 40)]
    elif family == "lognormal":
        # the other way round: the ratio grows with the shape
        kernels = [Kernel(family=family, scale_m=10.0, shape=b) for b in np.geomspace(5, 1e-4, 40)]
    else:
        above = np.geomspace(0.05 if limits.first_shape == 0 else 0.01, 1e5, 60)
        kernels = [Kernel(family=family, scale_m=10.0, shape=limits.first_shape + b) for b in above]
    ratios = np.array([kernel.sd_m() / kernel.mean_m() for kernel in kernels])
    assert (np.diff(ratios) < 0).all()
    assert ratios[0] > 3
    assert ratios[-1] == pytest.approx(limits.low, abs=5e-3)
    assert ratios[-1] > limits.low - 1e-12


@pytest.mark.parametrize("family", ["gaussian", "exponential"])
def test_the_fixed_ratio_is_that_of_the_family(family):
    kernel = Kernel(family=family, scale_m=10.0)
    assert RATIOS[family].low == pytest.approx(kernel.sd_m() / kernel.mean_m(), rel=1e-12)
    assert RATIOS[family].low == pytest.approx({"gaussian": 0.5227, "exponential": 0.7071}[family], abs=5e-5)


def test_every_family_has_a_range_of_ratios():
    assert set(RATIOS) == set(KERNELS)


@pytest.mark.parametrize(
    ("family", "mean", "sd", "match"),
    [
        ("gaussian", 10.95, 20.34, r"mean 10.95 m and standard deviation 20.34 m cannot be met by the family gaussian: its "
         r"ratio .* is fixed at 0.5227, and this pair's is 1.8575. Choose a family that can have it \(exponential_power, "
         r"gamma, inverse_power, logistic, lognormal, student_2d, wald, weibull\)"),
        ("student_2d", 10.0, 4.0, r"lies above 0.5227, and this pair's is 0.4000. .*\(exponential_power, gamma, logistic, "
         r"lognormal, wald, weibull\)"),
        ("inverse_power", 10.0, 7.0, r"lies above 0.7071"),
        ("logistic", 10.0, 3.0, r"lies above 0.3536"),
        ("exponential_power", 10.0, 3.0, r"lies above 0.3536, and this pair's is 0.3000"),
        ("exponential_power", 1.0, 1e30, r"asks for a shape of the family exponential_power beyond what can be reckoned"),
        ("wald", 0.0, -1.0, r"mean_m is 0.0 m; allowed: above 0 m; sd_m is -1.0 m; allowed: above 0 m. Give both"),
        ("wald", math.nan, 1.0, r"mean_m is nan m; allowed: above 0 m"),
        ("cauchy", 1.0, 1.0, r"'cauchy' is not known; allowed: exponential"),
    ],
)  # fmt: skip
def test_a_pair_that_cannot_be_met_says_why_and_what_to_do(family, mean, sd, match):
    with pytest.raises(SettingsError, match=match):
        kernel_from_moments(family, mean, sd)


@pytest.mark.parametrize(("mean", "sd"), [(10.95, 20.34), (5.0, 2.0), (40.0, 40.0)])
def test_the_catch_curve_has_the_moments_that_were_measured(mean, sd):
    # the density per area along a line, scaled to one, integrated
    kernel = catch_curve_kernel(mean, sd)
    line = [
        integrate.quad(
            lambda u, n=n: math.exp((n + 1) * u) * float(kernel.location_density(math.exp(u))),
            -15, 12, epsabs=0, epsrel=1e-11, limit=400,
        )[0]
        for n in (0, 1, 2)
    ]  # fmt: skip
    found = line[1] / line[0]
    assert found == pytest.approx(mean, rel=1e-9)
    assert math.sqrt(line[2] / line[0] - found**2) == pytest.approx(sd, rel=1e-9)
    assert wald_of_catches(mean, sd) == (kernel.scale_m, kernel.shape)


@BY_FAMILY
def test_the_true_mean_is_the_catches_own_mean_square_over_their_mean(kernel):
    # for every family: E[r] = (m^2 + s^2) / m, as the derivation says, and m = 1 / E[1/r]
    line = [
        integrate.quad(
            lambda u, n=n: math.exp((n + 1) * u) * float(kernel.location_density(math.exp(u))),
            -90, 40, epsabs=0, epsrel=1e-10, limit=800,
        )[0]
        for n in (0, 1, 2)
    ]  # fmt: skip
    assert line[1] / line[0] == pytest.approx(1 / kernel.moment(-1), rel=1e-6)
    assert line[2] / line[1] == pytest.approx(kernel.mean_m(), rel=1e-6)


def test_the_catch_curve_refuses_what_is_no_length():
    with pytest.raises(SettingsError, match=r"kernel from a catch curve: mean_m is -1.0 m; .*sd_m is 0.0 m"):
        catch_curve_kernel(-1.0, 0.0)
