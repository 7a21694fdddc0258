"""A kernel with a far part: every function is the mixture of its parts, and the maps take it as it is."""

import math

import numpy as np
import pytest
import slow_reference as slow
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, optimize
from small_worlds import ONE_OF_EACH, WALD, receptors_at, rose_toward, sources_at, spread_of

from spreadmap.dispersal.areas import mass_in_rectangle, mean_over_disc
from spreadmap.dispersal.kernels import KERNELS, Kernel, kernel_from_settings, mixture_of
from spreadmap.engine import Engine
from spreadmap.errors import SettingsError
from spreadmap.pressure import pressure_at_points, pressure_on_grid
from spreadmap.pressure.sums import RELATIVE_ERROR_BOUND
from spreadmap.values.grid import Grid
from spreadmap.values.settings import KernelSettings

ONE = Engine(workers=1)
FAR = Kernel(family="exponential", scale_m=50.0)
R = np.array([1e-3, 0.4, 1.0, 5.0, 20.0, 100.0, 700.0])


def mixed(kernel, share=0.05, far=FAR):
    return Kernel(family=kernel.family, scale_m=kernel.scale_m, shape=kernel.shape, far_share=share, far=far)


MIXTURES = [mixed(kernel) for kernel in ONE_OF_EACH] + [mixed(WALD, 0.6), mixed(WALD, 1.0)]
BY_MIXTURE = pytest.mark.parametrize("kernel", MIXTURES, ids=lambda kernel: f"{kernel.family}-{kernel.far_share:g}")


@BY_MIXTURE
def test_densities_and_masses_are_those_of_the_parts_by_their_share(kernel):
    near, q = kernel.near, kernel.far_share
    for name in ("location_density", "distance_density", "mass_within", "mass_beyond"):
        own, far = getattr(near, name)(R), getattr(FAR, name)(R)
        assert getattr(kernel, name)(R) == pytest.approx((1 - q) * own + q * far, rel=1e-13)
    assert kernel.mean_m() == pytest.approx((1 - q) * near.mean_m() + q * FAR.mean_m())


@BY_MIXTURE
def test_mass_over_the_plane_is_one(kernel):
    mass, _ = integrate.quad(
        lambda u: math.exp(u) * float(kernel.distance_density(math.exp(u))), -30, 40, epsabs=0, epsrel=1e-10, limit=800
    )
    assert mass == pytest.approx(1, rel=1e-8)


@BY_MIXTURE
def test_quantile_inverts_mass(kernel):
    shares = np.array([[1e-9, 1e-3, 0.3], [0.5, 0.95, 1 - 1e-9]])
    r = kernel.quantile(shares)
    assert r.shape == shares.shape
    low = shares <= 0.5
    assert kernel.mass_within(r[low]) == pytest.approx(shares[low], rel=1e-10)
    assert kernel.mass_beyond(r[~low]) == pytest.approx(1 - shares[~low], rel=1e-10)
    assert kernel.quantile(np.array([0.0, 1.0])).tolist() == [0.0, math.inf]
    # an independent solver, number by number
    root = optimize.brentq(lambda x: float(kernel.mass_within(math.exp(x))) - 0.95, -20, 20, xtol=1e-13)
    assert float(kernel.quantile(0.95)) == pytest.approx(math.exp(root), rel=1e-9)


@settings(max_examples=60, deadline=None, derandomize=True, database=None)
@given(
    family=st.sampled_from(sorted(KERNELS)),
    shape=st.floats(0.3, 10.0),
    scale=st.floats(0.3, 1e4),
    far_mean=st.floats(0.3, 1e4),
    q=st.floats(1e-6, 1.0),
    share=st.floats(1e-6, 1 - 1e-6),
)
def test_any_mixture_has_a_quantile(family, shape, scale, far_mean, q, share):
    kernel = Kernel(
        family=family, scale_m=scale, shape=KERNELS[family].least_shape + shape, far_share=q,
        far=Kernel(family="exponential", scale_m=far_mean / 2),
    )  # fmt: skip
    r = kernel.quantile(share)
    assert min(kernel.mass_within(r), kernel.mass_beyond(r)) == pytest.approx(min(share, 1 - share), rel=1e-8)


@BY_MIXTURE
def test_standard_deviation_is_that_of_the_two_moments(kernel):
    if math.isinf(kernel.moment(2)):
        assert kernel.sd_m() == math.inf
    else:
        assert kernel.sd_m() == pytest.approx(math.sqrt(kernel.moment(2) - kernel.mean_m() ** 2), rel=1e-10)


@BY_MIXTURE
def test_distance_density_peaks_at_the_mode(kernel):
    tried = np.geomspace(1e-4, 1e4, 20_001)
    peak = kernel.distance_density(tried).max()
    assert float(kernel.distance_density(kernel.mode_m())) >= peak * (1 - 1e-12)
    around = kernel.distance_density(kernel.mode_m() * np.array([0.99, 1.0, 1.01]))
    assert around[1] > max(around[0], around[2])


def test_the_mode_of_a_density_without_bound_at_the_source_is_the_source():
    assert mixed(Kernel(family="weibull", scale_m=10.0, shape=0.7)).mode_m() == 0.0
    # nothing but the far part: its own mode, 50 m
    assert mixed(Kernel(family="gamma", scale_m=10.0, shape=0.7), 1.0).mode_m() == pytest.approx(50.0, rel=1e-6)


@BY_MIXTURE
def test_scaling_stretches_every_length_of_both_parts(kernel):
    wide = kernel.scaled(3.0)
    assert wide.location_density(3 * R) * 9 == pytest.approx(kernel.location_density(R), rel=1e-11)
    assert wide.mean_m() == pytest.approx(3 * kernel.mean_m())
    assert wide.quantile(0.99) == pytest.approx(3 * kernel.quantile(0.99), rel=1e-9)
    assert (wide.far_share, wide.far.scale_m) == (kernel.far_share, 150.0)


def test_the_heavier_tail_names_the_mixture():
    assert mixed(Kernel(family="gaussian", scale_m=5.0)).tail() == "exponential"
    assert mixed(Kernel(family="student_2d", scale_m=5.0, shape=2.0)).tail() == "power law"
    # of nothing but the far part only the far tail counts
    assert mixed(Kernel(family="student_2d", scale_m=5.0, shape=2.0), 1.0).tail() == "exponential"


def test_a_mixture_of_one_kernel_with_itself_is_that_kernel():
    same = mixed(WALD, 0.3, WALD)
    assert same.location_density(R) == pytest.approx(WALD.location_density(R), rel=1e-14)
    assert same.quantile(0.7) == pytest.approx(WALD.quantile(0.7), rel=1e-12)
    assert (same.mean_m(), same.sd_m(), same.mode_m()) == pytest.approx((WALD.mean_m(), WALD.sd_m(), WALD.mode_m()))


def test_no_far_share_is_the_plain_kernel():
    assert mixed(WALD, 0.0) == WALD
    assert WALD.parts() == ((1.0, WALD),)
    assert mixed(WALD).parts() == ((0.95, WALD), (0.05, FAR))


def test_words_name_both_parts():
    assert mixed(WALD).in_words() == (
        "wald, mean 10.95 m, shape 3.17 m; 5 % of all arrivals by exponential, scale 50 m"
    )
    heavy = mixed(Kernel(family="student_2d", scale_m=5.0, shape=1.2))
    assert "no mean distance: its tail is too heavy" in heavy.mean_in_words()


@pytest.mark.parametrize(
    ("kwargs", "match"),
    [
        ({"far_share": 1.5, "far": FAR}, r"far_share is 1.5; allowed: 0 to 1. Correct settings.kernel.far_share"),
        ({"far_share": math.nan, "far": FAR}, r"far_share is nan; allowed: 0 to 1"),
        ({"far_share": 0.1}, r"far_share is 0.1, but there is no far kernel. Give one"),
        ({"far_share": -1.0, "scale_m": 0.0}, r"mean_m is 0.0 m; .* far_share is -1.0; allowed: 0 to 1"),
    ],
)
def test_a_bad_far_part_is_told(kwargs, match):
    with pytest.raises(SettingsError, match=match):
        Kernel(**{"family": "wald", "scale_m": 10.0, "shape": 3.0, **kwargs})


def test_settings_mix_in_an_exponential_of_a_stated_mean():
    kernel = kernel_from_settings(KernelSettings(far_share=0.05, far_mean_m=100.0))
    assert kernel == mixed(WALD)
    assert kernel.far.mean_m() == pytest.approx(100.0)
    assert kernel_from_settings(KernelSettings(far_mean_m=-3.0)) == WALD
    with pytest.raises(SettingsError, match=r"settings.kernel.far_mean_m is -3.0 m; allowed: 0.3 to 10000 m"):
        kernel_from_settings(KernelSettings(far_share=0.1, far_mean_m=-3.0))


def plain_mean(mean, kernel, *where):
    """Return a mean over an area from the slow version, part by part."""
    return sum(
        share * mean((one.family, one.scale_m, *(() if one.shape is None else (one.shape,))), *where)
        for share, one in kernel.parts()
    )


@pytest.mark.parametrize(
    "kernel", [mixed(WALD), mixed(WALD, 0.6), mixed(Kernel(family="weibull", scale_m=2.0, shape=0.8))]
)
def test_maps_of_a_mixture_stay_within_their_bound(kernel):
    rose, at = rose_toward(60.0), np.array([0.31, -0.22])
    grid = Grid(west=-81.0, north=81.0, cell_m=2.0, n_rows=81, n_cols=81)
    result = pressure_on_grid(grid, sources_at(at), spread_of(kernel, rose, 0.5, 1.0), ONE)
    for off in (0, 1, 3, 9, 22, 40):
        for row, col in ((40 - off, 40), (40 + off, 40 - off), (40 + off // 2, 40 + off)):
            east, north = grid.easting[col] - at[0], grid.northing[row] - at[1]
            expected = plain_mean(slow.cell_mean, kernel, 0.5 * rose, 1.0, east, north, 2.0)
            assert result.values[row, col] == pytest.approx(expected, rel=result.error_bound, abs=0), (row, col)
    places = [(0.0, d) for d in (0.0, 0.3, 0.8, 1.2, 4.0, 30.0, 300.0)]
    result = pressure_at_points(
        receptors_at(*places, radius=0.9), sources_at((0, 0)), spread_of(kernel, rose, 0.5, 1.0), ONE
    )
    expected = [plain_mean(slow.disc_mean, kernel, 0.5 * rose, 1.0, 0.0, d, 0.9) for _, d in places]
    assert result.density == pytest.approx(expected, rel=result.error_bound, abs=0)


@pytest.mark.parametrize("share", [1e-3, 0.3, 0.7])
@pytest.mark.parametrize(
    "near",
    [
        Kernel(family="wald", scale_m=0.3, shape=30.0),
        Kernel(family="wald", scale_m=3.0, shape=100.0),
        Kernel(family="wald", scale_m=0.3, shape=1e-3),
        Kernel(family="gaussian", scale_m=0.3),
        Kernel(family="lognormal", scale_m=3.0, shape=0.1),
        Kernel(family="gamma", scale_m=0.05, shape=60.0),
    ],
    ids=lambda kernel: kernel.in_words(),
)
def test_a_narrow_near_part_is_followed_beside_a_wide_far_part(near, share):
    # how close the nodes of the tables stand is chosen from the quartiles of the whole; rings no sharper than a standard
    # deviation of a tenth of their mean. Inside a ring only the far part lands, a thousandth of a millionth of the most
    kernel = mixed(near, share, Kernel(family="exponential", scale_m=5e3))
    grid = Grid(west=-10.5, north=10.5, cell_m=1.0, n_rows=21, n_cols=21)
    values = pressure_on_grid(grid, sources_at((0.2, 0.3)), spread_of(kernel), ONE).values
    west, north = grid.easting[None, :] - 0.7, grid.northing[:, None] + 0.2
    expected = mass_in_rectangle(kernel, west, north - 1.0, west + 1.0, north)
    counts = expected > 1e-12 * expected.max()
    assert values[counts] == pytest.approx(expected[counts], rel=RELATIVE_ERROR_BOUND, abs=0)
    distance = np.array([0.0, 0.1, 0.29, 0.31, 0.8, 2.9, 3.1, 9.0, 900.0])
    places = [(0.0, d) for d in distance]
    found = pressure_at_points(receptors_at(*places, radius=0.4), sources_at((0, 0)), spread_of(kernel), ONE).density
    exact = mean_over_disc(kernel, distance, 0.4)
    counts = exact > 1e-12 * exact.max()
    assert found[counts] == pytest.approx(exact[counts], rel=RELATIVE_ERROR_BOUND, abs=0)


def test_a_mixture_of_several():
    parts = [
        (0.2, Kernel(family="gaussian", scale_m=3.0)),
        (0.5, Kernel(family="exponential", scale_m=10.0)),
        (0.3, Kernel(family="wald", scale_m=60.0, shape=20.0)),
    ]
    whole = mixture_of(parts)
    r = np.array([0.5, 5.0, 50.0, 500.0])
    for name in ("location_density", "mass_within"):
        apart = sum(share * getattr(kernel, name)(r) for share, kernel in parts)
        np.testing.assert_allclose(getattr(whole, name)(r), apart, rtol=1e-12)
    assert whole.mean_m() == pytest.approx(sum(share * kernel.mean_m() for share, kernel in parts), rel=1e-12)
    np.testing.assert_allclose(
        whole.mass_within(whole.quantile(np.array([0.01, 0.5, 0.99]))), [0.01, 0.5, 0.99], rtol=1e-9
    )
    assert whole.scaled(3.0).mean_m() == pytest.approx(3 * whole.mean_m(), rel=1e-12)
    assert np.isfinite(whole.mode_m())
