"""Laws of every kernel family: mass one, consistent functions, lengths that scale, edges that hold."""

import math

import mpmath
import numpy as np
import pytest
import slow_reference as slow
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, stats
from small_worlds import ONE_OF_EACH, WALD

from spreadmap.dispersal.families import TAILS
from spreadmap.dispersal.kernels import KERNELS, Kernel, kernel_from_settings
from spreadmap.errors import InputError, SettingsError
from spreadmap.io.read_settings import read_settings
from spreadmap.review.language import Words
from spreadmap.review.words import kernel_sentence
from spreadmap.values.settings import KernelSettings, Settings

EN = Words("en", "metric")

BY_FAMILY = pytest.mark.parametrize("kernel", ONE_OF_EACH, ids=lambda kernel: kernel.family)
DISTANCES = np.array([1e-3, 0.1, 0.63, 1.0, 3.0, 10.0, 20.0, 100.0, 500.0])


def printed(kernel, r):
    """Return k(r) from the printed formula, for mpmath's numbers."""
    a, b, pi = mpmath.mpf(kernel.scale_m), mpmath.mpf(kernel.shape or 0), mpmath.pi
    x, gamma, exp = r / a, mpmath.gamma, mpmath.exp
    if r == 0:
        return mpmath.mpf(0)
    formulas = {
        "gaussian": lambda: exp(-(x**2)) / (pi * a**2),
        "exponential": lambda: exp(-x) / (2 * pi * a**2),
        "exponential_power": lambda: b * exp(-(x**b)) / (2 * pi * a**2 * gamma(2 / b)),
        "student_2d": lambda: (b - 1) / (pi * a**2) * (1 + x**2) ** -b,
        "inverse_power": lambda: (b - 1) * (b - 2) / (2 * pi * a**2) * (1 + x) ** -b,
        "logistic": lambda: b / (2 * pi * a**2 * gamma(2 / b) * gamma(1 - 2 / b)) / (1 + x**b),
        "lognormal": lambda: exp(-(mpmath.log(x) ** 2) / (2 * b**2)) / ((2 * pi) ** 1.5 * b * r**2),
        "weibull": lambda: b / (2 * pi * a**b) * r ** (b - 2) * exp(-(x**b)),
        "gamma": lambda: x ** (b - 2) * exp(-x) / (2 * pi * a**2 * gamma(b)),
        "wald": lambda: mpmath.sqrt(b / (8 * pi**3 * r**5)) * exp(-b * (r - a) ** 2 / (2 * a**2 * r)),
    }
    return formulas[kernel.family]()


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
    shares = np.array([1e-10, 1e-6, 0.01, 0.5, 0.95, 0.999])
    assert kernel.mass_within(kernel.quantile(shares)) == pytest.approx(shares, rel=1e-9)
    assert kernel.mass_beyond(kernel.quantile(1 - 1e-6)) == pytest.approx(1e-6, rel=1e-9)


@BY_FAMILY
def test_mean_is_the_mean_of_the_distance(kernel):
    # mean = integral of 1 - F, over the logarithm of distance; student_2d of shape 2.1 is the last to have ended
    mean, _ = integrate.quad(
        lambda u: math.exp(u) * float(kernel.mass_beyond(math.exp(u))), -20, 40, epsabs=0, epsrel=1e-9, limit=800
    )
    assert mean == pytest.approx(kernel.mean_m(), rel=1e-7)


@BY_FAMILY
def test_density_and_mass_keep_ten_digits_at_high_precision(kernel):
    # 2 pi r k, integrated with 30 digits from the printed formula
    for r in (0.5, 20.0, 300.0):
        with mpmath.workdps(30):
            inside = mpmath.quad(lambda s: 2 * mpmath.pi * s * printed(kernel, s), [0, r / 100, r / 10, r / 3, r])
            beyond = mpmath.quad(
                lambda s: 2 * mpmath.pi * s * printed(kernel, s),
                [r, 1.05 * r, 1.2 * r, 1.5 * r, 3 * r, 10 * r, 100 * r, 1e4 * r, mpmath.inf],
            )
            density = printed(kernel, mpmath.mpf(r))
        assert float(inside + beyond) == pytest.approx(1, rel=1e-10)
        assert float(kernel.mass_within(r)) == pytest.approx(float(inside), rel=1e-10)
        assert float(kernel.mass_beyond(r)) == pytest.approx(float(beyond), rel=1e-10, abs=1e-60)
        assert float(kernel.location_density(r)) == pytest.approx(float(density), rel=1e-11, abs=1e-250)


@BY_FAMILY
def test_what_is_within_and_what_is_beyond_is_all(kernel):
    r = np.geomspace(1e-3, 1e5, 60)
    assert kernel.mass_within(r) + kernel.mass_beyond(r) == pytest.approx(np.ones(60), rel=1e-14)
    assert (np.diff(kernel.mass_within(r)) >= 0).all()
    assert (np.diff(kernel.mass_beyond(r)) <= 0).all()


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
    assert {k.family: k.scaled(2.0).shape for k in ONE_OF_EACH} == {
        k.family: 6.34 if k.family == "wald" else k.shape for k in ONE_OF_EACH
    }


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
    assert kernel.sd_m() == pytest.approx(spread)


@pytest.mark.parametrize(("mean", "shape"), [(0.3, 1e6), (1.0, 1e12), (1e4, 1e-3), (1e4, 1e6), (0.3, 1e-3), (1e4, 3.0)])
def test_wald_keeps_its_digits_whatever_its_shape(mean, shape):
    kernel = Kernel(family="wald", scale_m=mean, shape=shape)
    for share in (1e-10, 1e-3, 0.3, 0.5, 0.9, 1 - 1e-6):
        r = float(kernel.quantile(share))
        with mpmath.workdps(60):
            a, b, at = mpmath.mpf(mean), mpmath.mpf(shape), mpmath.mpf(r)
            root = mpmath.sqrt(b / at)
            second = mpmath.exp(2 * b / a) * mpmath.erfc(root * (at / a + 1) / mpmath.sqrt(2)) / 2
            first = mpmath.erfc(-root * (at / a - 1) / mpmath.sqrt(2)) / 2
            exact = first + second
            left = 1 - exact
        # a rounding of r itself moves F by this much; nothing in a sharp ring can be nearer
        slack = 1e-12 + 4e-16 * math.sqrt(shape / mean)
        assert float(kernel.mass_within(r)) == pytest.approx(float(exact), rel=1e-11 + 100 * slack)
        assert min(float(exact), float(left)) == pytest.approx(min(share, 1 - share), rel=1e-9 + 100 * slack)
        assert float(kernel.mass_beyond(r)) == pytest.approx(float(left), rel=1e-9 + 100 * slack)


@pytest.mark.parametrize("scale", [0.3, 10.0, 1e4])
@BY_FAMILY
def test_scales_from_a_foot_to_ten_kilometres_keep_their_laws(kernel, scale):
    wide = kernel.scaled(scale / kernel.scale_m)
    shares = np.array([1e-9, 1e-3, 0.5, 0.99])
    r = wide.quantile(shares)
    assert wide.mass_within(r) == pytest.approx(shares, rel=1e-9)
    assert wide.mean_m() / scale == pytest.approx(kernel.mean_m() / kernel.scale_m, rel=1e-12)
    assert np.isfinite(wide.location_density(np.array([0.0, 1e-9, 1.0, 1e7]))).all()


@pytest.mark.parametrize("family", ["weibull", "gamma"])
@pytest.mark.parametrize("shape", [0.05, 0.7, 1.0, 1.9])
def test_an_infinite_density_at_the_source_is_held_and_its_mass_kept(family, shape):
    kernel = Kernel(family=family, scale_m=10.0, shape=shape)
    at_source = float(kernel.location_density(0.0))
    assert at_source == pytest.approx(1e200)
    assert kernel.distance_density(0.0) == 0.0
    assert kernel.mass_within(0.0) == 0.0
    # what is held back in the circle where the true density would be higher is nothing beside the mass of a canopy
    assert float(kernel.mass_within(1e-100)) == pytest.approx(float(kernel.mass_within(1e-90)) * 1e-10**shape, rel=1e-4)
    # the mode of the distance is the source itself where its density there has no bound
    assert kernel.mode_m() == (0.0 if shape <= 1 else pytest.approx(kernel.mode_m()))
    assert (kernel.mode_m() > 0) == (shape > 1)


@pytest.mark.parametrize("family", ["exponential_power", "logistic"])
def test_a_table_of_even_density_keeps_the_mass_at_its_middle(family):
    # a shape of 100 is nearly a disc of even density; (r/a)^100 is less than any number there
    kernel = Kernel(family=family, scale_m=1e4, shape=100.0)
    for r in (1e-3, 0.4, 1.0):
        expected = math.pi * r**2 * slow.location_density(family, 0.0, 1e4, 100.0)
        assert float(kernel.mass_within(r)) == pytest.approx(expected, rel=1e-12)
        assert float(kernel.quantile(expected)) == pytest.approx(r, rel=1e-12)


def test_a_tail_without_a_mean_says_infinite():
    assert Kernel(family="student_2d", scale_m=10.0, shape=1.5).mean_m() == math.inf
    assert Kernel(family="student_2d", scale_m=10.0, shape=1.6).mean_m() < math.inf
    assert Kernel(family="lognormal", scale_m=10.0, shape=50.0).mean_m() == math.inf
    assert Kernel(family="inverse_power", scale_m=10.0, shape=3.0).mean_m() == math.inf
    assert Kernel(family="logistic", scale_m=10.0, shape=3.0).mean_m() == math.inf


def test_a_product_never_reads_infinite():
    heavy = Kernel(family="student_2d", scale_m=10.0, shape=1.5)
    # median of the Cauchy type: 1 - (1 + x^2)^(-1/2) = 1/2 gives x = sqrt(3)
    assert heavy.mean_in_words() == (
        "no mean distance: its tail is too heavy (half of all arrivals end within 17.32 m)"
    )
    assert WALD.mean_in_words() == "mean distance 10.95 m"


def test_tails_by_name():
    tails = {k.family: k.tail() for k in ONE_OF_EACH}
    assert set(tails.values()) <= set(TAILS)
    assert tails["wald"] == "power law with an exponential cut-off"
    assert tails["lognormal"] == "fat"
    assert {tails[name] for name in ("student_2d", "inverse_power", "logistic")} == {"power law"}
    assert {tails[name] for name in ("exponential", "gamma")} == {"exponential"}
    assert tails["gaussian"] == "thin"
    for family in ("weibull", "exponential_power"):
        found = [Kernel(family=family, scale_m=1.0, shape=b).tail() for b in (0.9, 1.0, 1.1)]
        assert found == ["fat", "exponential", "thin"]


def test_a_tail_word_says_how_the_share_beyond_falls():
    # d ln(1-F) / dr far out: rising without end, steady, dying away; d ln(1-F) / d ln r steady for a power law
    for kernel in ONE_OF_EACH:
        r = kernel.scale_m * np.array([40.0, 80.0, 160.0]) / (16 if kernel.tail() == "thin" else 1)
        per_metre = -np.diff(np.log(kernel.mass_beyond(r))) / np.diff(r)
        per_log = -np.diff(np.log(kernel.mass_beyond(r))) / math.log(2)
        change, change_log = per_metre[1] / per_metre[0], per_log[1] / per_log[0]
        steady = {"power law": change_log, "exponential": change, "power law with an exponential cut-off": change}
        if kernel.tail() in steady:
            assert steady[kernel.tail()] == pytest.approx(1, abs=0.1), kernel.family
        elif kernel.tail() == "thin":
            assert change > 1.2
        else:
            assert change < 0.85
            assert change_log > 1.06


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
    assert Kernel(family="weibull", scale_m=7.0, shape=2.0).location_density(r) == pytest.approx(
        Kernel(family="gaussian", scale_m=7.0).location_density(r), rel=1e-12, abs=1e-300
    )
    assert Kernel(family="gamma", scale_m=7.0, shape=2.0).location_density(r) == pytest.approx(
        Kernel(family="exponential", scale_m=7.0).location_density(r), rel=1e-12
    )
    # a source right here: both have a density at it
    for family, same in (("weibull", "gaussian"), ("gamma", "exponential")):
        at_source = Kernel(family=family, scale_m=7.0, shape=2.0).location_density(0.0)
        assert at_source == pytest.approx(float(Kernel(family=same, scale_m=7.0).location_density(0.0)))
    # the Cauchy type: k = a / (2 pi (a^2 + r^2)^(3/2))
    cauchy = Kernel(family="student_2d", scale_m=7.0, shape=1.5)
    assert cauchy.location_density(r) == pytest.approx(7 / (2 * np.pi * (49 + r**2) ** 1.5), rel=1e-12)


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
    kernel = Kernel(family=family, scale_m=scale, shape=KERNELS[family].least_shape + shape)
    assert np.isfinite(kernel.location_density(r))
    assert kernel.location_density(r) >= 0
    assert -1e-12 <= float(kernel.mass_within(r)) <= 1 + 1e-9
    assert kernel.mean_m() > 0
    assert kernel.sd_m() > 0


@settings(max_examples=60, deadline=None, derandomize=True, database=None)
@given(
    family=st.sampled_from(sorted(KERNELS)),
    scale=st.floats(0.3, 1e4),
    shape=st.floats(0.2, 20.0),
    share=st.floats(1e-6, 1 - 1e-6),
    factor=st.floats(0.1, 10.0),
)
def test_mass_grows_to_one_quantile_inverts_it_and_lengths_scale(family, scale, shape, share, factor):
    kernel = Kernel(family=family, scale_m=scale, shape=KERNELS[family].least_shape + shape)
    r = float(kernel.quantile(share))
    assert 0 < r < math.inf
    assert min(float(kernel.mass_within(r)), float(kernel.mass_beyond(r))) == pytest.approx(
        min(share, 1 - share), rel=1e-7
    )
    mass = kernel.mass_within(r * np.array([0.0, 0.5, 1.0, 2.0, np.inf]))
    assert mass[0] == 0
    assert mass[-1] == 1
    assert (np.diff(mass) >= 0).all()
    assert float(kernel.scaled(factor).mass_within(r * factor)) == pytest.approx(float(kernel.mass_within(r)), rel=1e-9)


@pytest.mark.parametrize(
    ("kwargs", "match"),
    [
        (
            {"family": "cauchy", "scale_m": 1.0},
            "'cauchy' is not known; allowed: exponential, exponential_power, gamma, gaussian, inverse_power, logistic",
        ),
        (
            {"family": "gaussian", "scale_m": 0.0},
            r"scale_m is 0.0 m; allowed: above 0 m. Correct settings.kernel.scale_m",
        ),
        ({"family": "wald", "scale_m": math.nan, "shape": 1.0}, "mean_m is nan m"),
        ({"family": "wald", "scale_m": 10.0, "shape": -1.0}, "shape_m is -1.0 m; allowed: above 0 m"),
        ({"family": "student_2d", "scale_m": 10.0, "shape": 1.0}, "shape is 1.0; allowed: above 1. Correct settings"),
        ({"family": "lognormal", "scale_m": 10.0}, "shape is None; allowed: above 0"),
        ({"family": "logistic", "scale_m": 10.0, "shape": 2.0}, "shape is 2.0; allowed: above 2. Correct settings"),
        (
            {"family": "inverse_power", "scale_m": -1.0, "shape": 2.0},
            r"scale_m is -1.0 m; .* shape is 2.0; allowed: above 2",
        ),
    ],
)
def test_a_bad_kernel_says_what_is_allowed(kwargs, match):
    with pytest.raises(SettingsError, match=match):
        Kernel(**kwargs)


@pytest.mark.parametrize("share", [-0.1, 95.0, math.nan])
def test_a_share_that_is_none_is_told(share):
    with pytest.raises(InputError, match=r"1 of 2 shares are unusable; allowed: 0 to 1 .*not a percentage"):
        WALD.quantile(np.array([0.5, share]))


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


def test_settings_that_do_not_fit_together_are_told_all_at_once():
    with pytest.raises(SettingsError, match=r"kernel.shape is 2.0; allowed: above 2 for logistic. Give a larger shape"):
        kernel_from_settings(KernelSettings(family="logistic"))
    wrong = KernelSettings(family="inverse_power", shape=1.5, scale_m=0.0, reading="catch_curve", far_share=1.5)
    with pytest.raises(SettingsError) as caught:
        kernel_from_settings(wrong)
    for part in (
        "kernel.scale_m is 0.0 m; allowed: 0.1 to 10000 m",
        "kernel.far_share is 1.5 -; allowed: 0 to 1 -",
        "kernel.shape is 1.5; allowed: above 2 for inverse_power",
        "kernel.reading is catch_curve; allowed: distance for inverse_power",
        "Correct the project file.",
    ):
        assert part in str(caught.value)
    with pytest.raises(SettingsError, match="reading is 'median'; allowed: distance, catch_curve"):
        kernel_from_settings(KernelSettings(reading="median"))


def test_the_project_file_tells_what_does_not_fit_together():
    with pytest.raises(SettingsError, match=r"'settings.kernel.shape' = '2.0'; allowed: above 2 for logistic"):
        read_settings({"kernel": {"family": "logistic"}})
    with pytest.raises(SettingsError, match=r"'settings.kernel.reading' = 'catch_curve'; .*distance for gamma"):
        read_settings({"kernel": {"family": "gamma", "reading": "catch_curve"}})
    with pytest.raises(SettingsError, match=r"'settings.kernel.reading' = 'median'; .*distance, catch_curve"):
        read_settings({"kernel": {"reading": "median"}})
    assert kernel_from_settings(read_settings({"kernel": {"family": "logistic", "shape": 3.0}}).kernel).shape == 3.0


def test_the_page_states_the_law_that_was_used():
    said = [
        kernel_sentence(EN, Settings(kernel=KernelSettings(**kwargs)))
        for kwargs in (
            {},
            {"reading": "catch_curve"},
            {"far_share": 0.05},
            {"family": "student_2d", "shape": 1.4, "scale_m": 8.0},
        )
    ]
    assert "wald, mean 10.95 m, shape 3.17 m. " in said[0]
    assert "the true mean is nearer 49 m" in said[0]
    # (m^2 + s^2) / m = 48.7322 and m (1 + m^2/s^2) = 14.1235, of 10.95 and 20.34
    assert "wald, mean 48.7322 m, shape 14.1235 m. " in said[1]
    assert "if they follow the distance, the true mean is nearer 11 m" in said[1]
    assert "5 % of all arrivals by exponential, scale 50 m (mean distance 15.4 m)" in said[2]
    assert "student_2d, scale 8 m, shape 1.4 (no mean distance: its tail is too heavy" in said[3]
    assert not any("inf" in sentence.replace("information", "") for sentence in said)


def test_settings_that_the_family_does_not_use_do_not_matter():
    assert kernel_from_settings(KernelSettings(family="gaussian", mean_m=-1, shape=-1)).scale_m == 10.0


def test_words_name_lengths_with_their_unit():
    assert WALD.in_words() == "wald, mean 10.95 m, shape 3.17 m"
    assert Kernel(family="lognormal", scale_m=5.0, shape=1.2).in_words() == "lognormal, scale 5 m, shape 1.2"
    assert Kernel(family="gaussian", scale_m=5.0).in_words() == "gaussian, scale 5 m"
