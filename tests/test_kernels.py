"""Laws of every kernel family: mass one, consistent functions, lengths that scale, edges that hold."""

import math

import numpy as np
import pytest
import slow_reference as slow
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, stats
from small_worlds import ONE_OF_EACH, WALD

from spreadmap.dispersal.kernels import KERNELS, Kernel, kernel_from_settings
from spreadmap.errors import SettingsError
from spreadmap.values.settings import KernelSettings

BY_FAMILY = pytest.mark.parametrize("kernel", ONE_OF_EACH, ids=lambda kernel: kernel.family)
DISTANCES = np.array([1e-3, 0.1, 0.63, 1.0, 3.0, 10.0, 20.0, 100.0, 500.0])


def test_every_family_is_tested_here():
    assert {kernel.family for kernel in ONE_OF_EACH} == set(KERNELS)


@BY_FAMILY
def test_kernel_integrates_to_one(kernel):
    # over the logarithm of distance, where every family is smooth
    low, high = np.log(kernel.quantile(1e-12)), np.log(kernel.quantile(1 - 1e-10))
    mass, _ = integrate.quad(
        lambda u: math.exp(u) * float(kernel.distance_density(math.exp(u))),
        low,
        high,
        epsabs=0,
        epsrel=1e-11,
        limit=400,
    )
    assert mass == pytest.approx(1, rel=1e-8)


@BY_FAMILY
def test_density_is_the_printed_formula(kernel):
    given_shape = () if kernel.shape is None else (kernel.shape,)
    expected = [slow.location_density(kernel.family, r, kernel.scale_m, *given_shape) for r in DISTANCES]
    assert kernel.location_density(DISTANCES) == pytest.approx(expected, rel=1e-12, abs=1e-300)


@BY_FAMILY
def test_mass_is_the_integral_of_the_density(kernel):
    for r in (0.5, 5.0, 50.0):
        mass, _ = integrate.quad(kernel.distance_density, 0, r, epsabs=0, epsrel=1e-11, limit=400)
        assert float(kernel.mass_within(r)) == pytest.approx(mass, rel=1e-9)


@BY_FAMILY
def test_quantile_inverts_mass(kernel):
    shares = np.array([1e-6, 0.01, 0.5, 0.95, 0.999])
    assert kernel.mass_within(kernel.quantile(shares)) == pytest.approx(shares, rel=1e-9)


@BY_FAMILY
def test_mean_is_the_mean_of_the_distance(kernel):
    # mean = integral of 1 - F, over the logarithm of distance
    mean, _ = integrate.quad(
        lambda u: math.exp(u) * float(1 - kernel.mass_within(math.exp(u))), -20, 23, epsabs=0, epsrel=1e-9, limit=800
    )
    assert mean == pytest.approx(kernel.mean_m(), rel=1e-4)


@BY_FAMILY
def test_distance_density_peaks_at_the_mode(kernel):
    mode = kernel.mode_m()
    around = kernel.distance_density(np.array([0.99, 1.0, 1.01]) * mode)
    assert around[1] > around[0]
    assert around[1] > around[2]


@BY_FAMILY
def test_farther_is_never_more_beyond_the_peak(kernel):
    r = np.geomspace(max(kernel.mode_m(), 0.05), 1e4, 400)
    assert (np.diff(kernel.location_density(r)) <= 0).all()


@BY_FAMILY
@pytest.mark.parametrize("factor", [0.5, 2.0, 5.0])
def test_scaling_stretches_every_length(kernel, factor):
    wide = kernel.scaled(factor)
    assert wide.location_density(DISTANCES * factor) * factor**2 == pytest.approx(
        kernel.location_density(DISTANCES), rel=1e-11, abs=1e-300
    )
    assert wide.quantile(0.9) == pytest.approx(kernel.quantile(0.9) * factor, rel=1e-9)
    assert wide.mean_m() == pytest.approx(kernel.mean_m() * factor)
    assert wide.mode_m() == pytest.approx(kernel.mode_m() * factor)


def test_only_wald_has_a_shape_that_is_a_length():
    assert [k.scaled(2.0).shape for k in ONE_OF_EACH] == [6.34, 1.222, 2.1, 0.6, None, None]


@BY_FAMILY
def test_scalar_equals_array_item_by_item(kernel):
    for function in (kernel.location_density, kernel.distance_density, kernel.mass_within):
        assert [float(function(r)) for r in DISTANCES] == function(DISTANCES).tolist()


@BY_FAMILY
def test_the_source_and_the_end_of_the_world_are_defined(kernel):
    ends = np.array([0.0, 1e-300, 1e100, np.inf])
    density, mass = kernel.location_density(ends), kernel.mass_within(ends)
    assert np.isfinite(density).all()
    assert mass == pytest.approx([0, 0, 1, 1])
    assert density[2:] == pytest.approx([0.0, 0.0], abs=1e-100)
    assert kernel.quantile(0.0) == 0.0


def test_wald_with_a_shape_far_above_its_mean_is_a_normal_ring():
    # with shape b >> mean a the distance is normal with variance a^3/b; exp(2b/a) alone would overflow
    kernel = Kernel(family="wald", scale_m=10.0, shape=1e6)
    spread = math.sqrt(10.0**3 / 1e6)
    r = 10 + spread * np.array([-2.0, 0.0, 2.0])
    assert kernel.mass_within(r) == pytest.approx(stats.norm.cdf([-2, 0, 2]), abs=2e-3)
    assert kernel.mode_m() == pytest.approx(10.0, rel=1e-4)


def test_a_tail_without_a_mean_says_infinite():
    assert Kernel(family="student_2d", scale_m=10.0, shape=1.5).mean_m() == math.inf
    assert Kernel(family="student_2d", scale_m=10.0, shape=1.6).mean_m() < math.inf
    assert Kernel(family="lognormal", scale_m=10.0, shape=50.0).mean_m() == math.inf


def test_identities_between_families():
    r = DISTANCES
    one = Kernel(family="exponential_power", scale_m=7.0, shape=1.0)
    two = Kernel(family="exponential_power", scale_m=7.0, shape=2.0)
    assert one.location_density(r) == pytest.approx(
        Kernel(family="exponential", scale_m=7.0).location_density(r), rel=1e-12
    )
    assert two.location_density(r) == pytest.approx(
        Kernel(family="gaussian", scale_m=7.0).location_density(r), rel=1e-12, abs=1e-300
    )


def test_a_family_without_a_shape_forgets_one():
    assert Kernel(family="gaussian", scale_m=3.0, shape=9.0) == Kernel(family="gaussian", scale_m=3.0)


@settings(max_examples=60, deadline=None, derandomize=True, database=None)
@given(
    family=st.sampled_from(sorted(KERNELS)),
    scale=st.floats(0.3, 1e4),
    shape=st.floats(1.05, 100.0),
    r=st.one_of(st.just(0.0), st.floats(1e-9, 1e6)),
)
def test_no_allowed_parameter_breaks_a_family(family, scale, shape, r):
    kernel = Kernel(family=family, scale_m=scale, shape=shape)
    assert np.isfinite(kernel.location_density(r))
    assert kernel.location_density(r) >= 0
    assert -1e-12 <= float(kernel.mass_within(r)) <= 1 + 1e-9
    assert kernel.mean_m() > 0


@pytest.mark.parametrize(
    ("kwargs", "match"),
    [
        (
            {"family": "cauchy", "scale_m": 1.0},
            "'cauchy' is not known; allowed: exponential, exponential_power, gaussian",
        ),
        (
            {"family": "gaussian", "scale_m": 0.0},
            r"scale_m is 0.0 m; allowed: above 0 m. Correct settings.kernel.scale_m",
        ),
        ({"family": "wald", "scale_m": math.nan, "shape": 1.0}, "mean_m is nan m"),
        ({"family": "wald", "scale_m": 10.0, "shape": -1.0}, "shape_m is -1.0 m; allowed: above 0 m"),
        ({"family": "student_2d", "scale_m": 10.0, "shape": 1.0}, "shape is 1.0; allowed: above 1. Correct settings"),
        ({"family": "lognormal", "scale_m": 10.0}, "shape is None; allowed: above 0"),
    ],
)
def test_a_bad_kernel_says_what_is_allowed(kwargs, match):
    with pytest.raises(SettingsError, match=match):
        Kernel(**kwargs)


def test_settings_make_the_kernel_they_name():
    assert kernel_from_settings(KernelSettings()) == WALD
    made = kernel_from_settings(KernelSettings(family="student_2d", scale_m=8.0, shape=2.5))
    assert made == Kernel(family="student_2d", scale_m=8.0, shape=2.5)


def test_settings_out_of_range_are_told_all_at_once():
    with pytest.raises(
        SettingsError, match=r"kernel.mean_m is 0.0 m; allowed: 0.3 to 10000 m; .*shape_m is -1 m; allowed"
    ):
        kernel_from_settings(KernelSettings(mean_m=0.0, shape_m=-1))
    with pytest.raises(SettingsError, match=r"'walld' is not known; allowed: .*wald"):
        kernel_from_settings(KernelSettings(family="walld"))


def test_settings_that_the_family_does_not_use_do_not_matter():
    assert kernel_from_settings(KernelSettings(family="gaussian", mean_m=-1, shape=-1)).scale_m == 10.0


def test_words_name_lengths_with_their_unit():
    assert WALD.in_words() == "wald, mean 10.95 m, shape 3.17 m"
    assert Kernel(family="lognormal", scale_m=5.0, shape=1.2).in_words() == "lognormal, scale 5 m, shape 1.2"
    assert Kernel(family="gaussian", scale_m=5.0).in_words() == "gaussian, scale 5 m"
