"""How far arrivals go toward a bearing: integrals of the law, quantiles that invert them, lines of one density."""

import math

import numpy as np
import pytest
from scipy import integrate
from small_worlds import ONE_OF_EACH, WALD, rose_toward, spread_of

from spreadmap.dispersal.bearings import turned
from spreadmap.dispersal.kernels import Kernel
from spreadmap.dispersal.spread import Spread
from spreadmap.dispersal.toward import near_share, quantile_toward, quantile_words, reach_toward, share_toward
from spreadmap.errors import SettingsError
from spreadmap.values.wind import WindClimate


def law_of(kernel=WALD, near=1.0, influence=1.0, bearing=60.0):
    return spread_of(kernel, rose_toward(bearing), influence, near)


def landed(law, bearing, inner, outer):
    """Integrate the printed density along one bearing, in the logarithm of the distance."""
    angle, coefficients = math.radians(bearing), law.wind_influence * law.climate.rose

    def ring(u):
        r = math.exp(u)
        at = law.density(np.array(r * math.sin(angle)), np.array(r * math.cos(angle)), coefficients)
        return r * r * float(at)

    return integrate.quad(ring, math.log(inner), math.log(outer), epsabs=1e-13, epsrel=1e-10, limit=400)[0]


@pytest.mark.parametrize("near", [0.0, 1.0, 20.0])
@pytest.mark.parametrize("bearing", [60.0, 150.0, 240.0])
def test_shares_are_integrals_of_the_law(near, bearing):
    law = law_of(near=near)
    whole = landed(law, bearing, 1e-3, 1e5)
    for distance in (0.5, 8.0, 74.0):
        assert share_toward(law, bearing, distance) == pytest.approx(
            landed(law, bearing, 1e-3, distance) / whole, abs=1e-8
        )


@pytest.mark.parametrize("kernel", ONE_OF_EACH, ids=lambda kernel: kernel.family)
def test_the_near_share_is_its_integral(kernel):
    for near, distance in ((1.0, 3.0), (20.0, 7.0), (5.0, 1e6)):
        expected, _ = integrate.quad(
            lambda u, near=near: (
                math.exp(u) * float(kernel.distance_density(math.exp(u))) * math.exp(-((math.exp(u) / near) ** 2))
            ),
            math.log(1e-7), math.log(min(distance, 40 * near)), epsabs=1e-13, limit=400,
        )  # fmt: skip
        assert near_share(kernel, near, distance) == pytest.approx(expected, abs=1e-8)
    assert near_share(kernel, 0.0, 5.0) == 0.0
    assert near_share(kernel, 5.0, 0.0) == 0.0


@pytest.mark.parametrize("kernel", ONE_OF_EACH, ids=lambda kernel: kernel.family)
@pytest.mark.parametrize("share", [0.01, 0.5, 0.95, 0.999])
def test_quantiles_invert_shares_and_lie_farther_downwind(kernel, share):
    law = law_of(kernel, near=2.0)
    reach = [quantile_toward(law, bearing, share) for bearing in (60.0, 150.0, 240.0)]
    for bearing, distance in zip((60.0, 150.0, 240.0), reach, strict=True):
        assert share_toward(law, bearing, distance) == pytest.approx(share, abs=1e-9)
    assert reach[0] > reach[1] > reach[2]


@pytest.mark.parametrize("kernel", ONE_OF_EACH, ids=lambda kernel: kernel.family)
def test_without_wind_or_near_radius_they_are_the_kernels_own(kernel):
    expected = float(kernel.quantile(0.95))
    for law in (law_of(kernel, influence=0.0), law_of(kernel, near=0.0)):
        for bearing in (0.0, 123.0):
            assert quantile_toward(law, bearing, 0.95) == pytest.approx(expected, rel=1e-8)


def test_reversing_and_turning_do_the_same_to_quantiles():
    law = law_of(near=5.0)
    rose = law.climate.rose
    back, around = (spread_of(WALD, turned(rose, by), 1.0, 5.0) for by in (180.0, 37.0))
    for bearing in (0.0, 60.0, 200.0):
        here = quantile_toward(law, bearing, 0.9)
        assert quantile_toward(back, bearing + 180, 0.9) == pytest.approx(here, rel=1e-8)
        assert quantile_toward(around, bearing + 37, 0.9) == pytest.approx(here, rel=1e-8)
        assert quantile_toward(law, bearing + 360, 0.9) == pytest.approx(here, rel=1e-8)


def test_lengths_scale_with_the_law():
    law = law_of(near=0.0)
    assert quantile_toward(law.scaled(3.0), 60.0, 0.9) == pytest.approx(3 * quantile_toward(law, 60.0, 0.9), rel=1e-8)


def test_coefficients_of_a_place_count_before_the_climates():
    law = law_of(near=10.0, bearing=60.0)
    other = rose_toward(240.0)
    assert quantile_toward(law, 240.0, 0.9, other) == pytest.approx(quantile_toward(law, 60.0, 0.9), rel=1e-8)


def one_way(near):
    """Return a law whose rose lets nothing through toward the south: 1 + cos of the bearing."""
    climate = WindClimate(rose=np.array([0.5]), basis="made for a test", sector_share=np.zeros(16))
    return Spread(
        kernel=Kernel(family="exponential", scale_m=10.0), climate=climate, wind_influence=1.0, near_radius_m=near
    )


def test_where_nothing_lands_there_is_no_distance():
    assert math.isnan(quantile_toward(one_way(0.0), 180.0, 0.5))
    assert math.isnan(share_toward(one_way(0.0), 180.0, 5.0))
    # inside the near radius direction has no hold, and all that lands there lies within a few of them
    assert 0.1 < quantile_toward(one_way(1.0), 180.0, 0.99) < 4.0
    assert quantile_words(180.0, 0.5, math.nan) == "Nothing lands toward 180 degrees."


def test_a_tail_without_end_is_infinite_and_said():
    heavy = law_of(Kernel(family="student_2d", scale_m=5.0, shape=1.01))
    far = quantile_toward(heavy, 60.0, 0.999)
    assert math.isinf(far)
    assert "no distance that means anything" in quantile_words(60.0, 0.999, far)


@pytest.mark.parametrize("share", [0.0, 1.0, -0.1, 1.5, math.nan])
def test_a_share_outside_its_range_is_refused(share):
    with pytest.raises(SettingsError, match=r"share is .*; allowed: above 0 and below 1"):
        quantile_toward(law_of(), 60.0, share)


def test_the_line_of_one_density_is_where_the_density_is():
    law = law_of(near=1.0)
    for bearing in (60.0, 150.0, 240.0):
        reach = reach_toward(law, bearing, 1e-5)
        angle = math.radians(bearing)
        at = law.density(np.array(reach * math.sin(angle)), np.array(reach * math.cos(angle)), law.climate.rose)
        assert float(at) == pytest.approx(1e-5, rel=1e-7)
    assert reach_toward(law, 60.0, 1e-5) > reach_toward(law, 150.0, 1e-5) > reach_toward(law, 240.0, 1e-5)
    assert reach_toward(law, 60.0, 1e9) == 0.0
    with pytest.raises(SettingsError, match=r"density is 0.0 per square metre; allowed: above 0"):
        reach_toward(law, 60.0, 0.0)


def test_words_say_share_bearing_and_distance():
    assert quantile_words(60.0, 0.95, 74.2) == "95 % of landings toward 60 degrees lie within 74 m."
    assert quantile_words(420.0, 0.999, 3.14) == "99.9 % of landings toward 60 degrees lie within 3.1 m."
