"""Directions and roses: from and toward, components, Fourier coefficients, never a negative density."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, stats

from spreadmap.dispersal.bearings import (
    bearing_density,
    blended,
    components_to_from_deg,
    concentration_of,
    from_deg_to_components,
    mean_direction,
    never_negative,
    parts_of_rose,
    rose_of_bearings,
    rose_of_histogram,
    rose_of_von_mises,
    sector_shares_of,
    sharpening_room,
    smoothed,
    toward_from,
    turned,
)

ALL_ROUND = np.arange(0.0, 360.0, 0.1)


def of_bearings(bearings, weights=None, calm=0.0, harmonics=8, spread=0.0):
    bearings = np.asarray(bearings, dtype=float)
    weights = np.ones(len(bearings)) if weights is None else np.asarray(weights, dtype=float)
    return rose_of_bearings(bearings, weights, calm, harmonics, spread)


def test_air_goes_where_it_does_not_come_from():
    assert toward_from(np.array([0.0, 90.0, 180.0, 270.0, 359.0, 360.0])).tolist() == [180, 270, 0, 90, 179, 180]


def test_components_and_directions_go_back_and_forth():
    wind_from = np.arange(0.0, 360.0, 7.0)
    u, v = from_deg_to_components(wind_from, 3.0)
    assert np.hypot(u, v) == pytest.approx(np.full(len(u), 3.0))
    assert components_to_from_deg(u, v) == pytest.approx(wind_from, abs=1e-9)


def test_calm_has_no_direction():
    assert np.isnan(components_to_from_deg(0.0, 0.0))
    assert np.isnan(components_to_from_deg(-0.0, 0.0))
    assert np.isnan(components_to_from_deg(np.nan, 1.0))


def test_a_hair_west_of_north_is_below_360():
    assert components_to_from_deg(1e-18, -1.0) < 360.0


def test_circular_mean_agrees_with_scipy():
    directions = np.random.default_rng(1).vonmises(1.0, 2.0, 500) * 180 / np.pi
    expected = stats.circmean(directions, high=360, low=0)
    assert mean_direction(directions) == pytest.approx(expected, abs=1e-9)


def test_circular_mean_weighs_and_knows_when_there_is_none():
    assert mean_direction(np.array([0.0, 90.0]), np.array([1.0, 0.0])) == pytest.approx(0.0, abs=1e-9)
    assert math.isnan(mean_direction(np.array([0.0, 180.0])))
    assert math.isnan(mean_direction(np.zeros(0)))


def test_a_rose_integrates_to_one():
    rose = of_bearings([10, 50, 50, 200], calm=1.0)
    assert bearing_density(rose, ALL_ROUND).mean() * 2 * np.pi == pytest.approx(1.0, abs=1e-12)


def test_coefficients_are_means_of_the_printed_exponential():
    bearings, weights = np.array([10.0, 120.0, 121.0, 300.0]), np.array([1.0, 2.0, 0.5, 3.0])
    # calm hours make the series positive, so that nothing is smoothed
    rose = of_bearings(bearings, weights, calm=100.0, harmonics=4)
    for order in range(1, 5):
        expected = sum(
            w * complex(math.cos(order * math.radians(b)), math.sin(order * math.radians(b)))
            for b, w in zip(bearings, weights, strict=True)
        )
        assert rose[order - 1] == pytest.approx(expected / 106.5)


@settings(max_examples=60, deadline=None, derandomize=True, database=None)
@given(
    bearings=st.lists(st.floats(0, 360), min_size=1, max_size=12),
    harmonics=st.integers(1, 32),
    calm=st.floats(0, 3),
)
def test_a_rose_is_never_negative(bearings, harmonics, calm):
    density = bearing_density(of_bearings(bearings, calm=calm, harmonics=harmonics), ALL_ROUND) * 2 * np.pi
    assert density.min() >= 0


def test_smoothing_goes_only_as_far_as_it_must():
    broad, steady = rose_of_von_mises(np.array([40.0, 40.0]), np.array([1.0, 300.0]), 8)
    assert never_negative(broad).tolist() == broad.tolist()
    orders = np.arange(1, 9)
    mended = never_negative(steady)
    assert bearing_density(steady, ALL_ROUND).min() < 0
    assert (np.abs(mended) <= np.abs(steady) + 1e-15).all()
    assert (np.abs(mended) >= np.abs(steady) * (1 - orders / 9) * 0.998 - 1e-15).all()


def test_many_roses_are_mended_as_one_by_one():
    field = rose_of_von_mises(np.linspace(0, 300, 12).reshape(3, 4), np.linspace(0, 90, 12).reshape(3, 4), 6)
    together = never_negative(field)
    assert together.shape == (3, 4, 6)
    for row in range(3):
        for col in range(4):
            assert together[row, col] == pytest.approx(never_negative(field[row, col]), abs=1e-14)


def test_calm_makes_a_rose_flatter_and_only_calm_is_round():
    windy, calmer = of_bearings([90.0, 100.0, 80.0]), of_bearings([90.0, 100.0, 80.0], calm=3.0)
    assert abs(calmer[0]) < abs(windy[0])
    assert of_bearings([], calm=2.0).tolist() == [0] * 8
    assert of_bearings([], calm=0.0).tolist() == [0] * 8


def test_spreading_whole_tens_is_the_mean_over_the_ten_degrees():
    fine = np.linspace(85, 95, 2001)[:-1] + 0.0025
    spread, by_hand = of_bearings([90.0], calm=9.0, spread=10.0), of_bearings(fine, np.full(2000, 1 / 2000), calm=9.0)
    assert spread == pytest.approx(by_hand, abs=1e-8)


def test_each_bearing_may_have_a_spread_of_its_own():
    mixed = of_bearings([90.0, 200.0], calm=40.0, spread=np.array([10.0, 0.0]))
    apart = of_bearings([90.0], calm=20.0, spread=10.0) + of_bearings([200.0], calm=20.0)
    assert mixed == pytest.approx(apart * 21 / 42)


def test_turning_turns_the_density():
    rose = of_bearings([10.0, 60.0, 200.0], calm=1.0)
    assert bearing_density(turned(rose, 35.0), ALL_ROUND + 35.0) == pytest.approx(bearing_density(rose, ALL_ROUND))
    assert turned(rose, np.zeros((2, 3))).shape == (2, 3, 8)


def test_turning_by_the_reverse_mirrors():
    rose = of_bearings([10.0, 60.0], calm=1.0)
    reversed_rose = of_bearings([190.0, 240.0], calm=1.0)
    assert turned(rose, 180.0) == pytest.approx(reversed_rose)


@pytest.mark.parametrize("concentration", [0.0, 0.5, 1.0, 3.0])
def test_von_mises_rose_agrees_with_scipy(concentration):
    rose = rose_of_von_mises(np.array(70.0), np.array(concentration), 32)
    expected = np.full(5, 1 / (2 * np.pi))
    bearings = np.array([70.0, 100.0, 160.0, 250.0, 340.0])
    if concentration > 0:
        expected = stats.vonmises.pdf(np.deg2rad(bearings), concentration, loc=np.deg2rad(70.0))
    assert bearing_density(rose, bearings) == pytest.approx(expected, rel=1e-9)


def test_concentration_inverts_the_resultant():
    k = np.array([0.0, 0.01, 0.3, 1.0, 2.0, 5.0, 50.0, 400.0])
    resultant = np.abs(rose_of_von_mises(np.zeros(len(k)), k, 1)[:, 0])
    assert concentration_of(resultant) == pytest.approx(k, rel=1e-6)


def test_an_impossible_resultant_is_held():
    assert np.isfinite(concentration_of(np.array([1.0, 1.5]))).all()
    assert concentration_of(np.array([-0.5]))[0] == 0.0


def test_sector_shares_are_integrals_of_the_density():
    rose = of_bearings([10.0, 60.0, 200.0], calm=1.0)
    shares = sector_shares_of(rose, 16)
    assert shares.sum() == pytest.approx(1.0)
    for sector in (0, 3, 9):
        low, high = np.deg2rad(22.5 * sector - 11.25), np.deg2rad(22.5 * sector + 11.25)
        expected, _ = integrate.quad(lambda angle: float(bearing_density(rose, np.rad2deg(angle))), low, high)
        assert shares[sector] == pytest.approx(expected, abs=1e-9)


def test_sharpening_stops_before_the_density_is_negative():
    rose = of_bearings([10.0, 60.0], calm=1.0)
    room = sharpening_room(rose, 100.0)
    assert 1.0 <= room < 100.0
    assert bearing_density(rose * room, ALL_ROUND).min() == pytest.approx(0.0, abs=1e-3)
    assert sharpening_room(rose * 0.01, 1.5) == 1.5
    assert sharpening_room(np.zeros(8, dtype=complex), 1.5) == 1.5


FEW = settings(max_examples=25, deadline=None, derandomize=True, database=None)
SOME_BEARINGS = st.lists(st.floats(0, 360), min_size=1, max_size=8)


@FEW
@given(bearings=SOME_BEARINGS, by=st.floats(-720, 720))
def test_turning_turns_whatever_the_rose(bearings, by):
    turned_first = of_bearings([bearing + by for bearing in bearings], calm=20.0)
    assert turned(of_bearings(bearings, calm=20.0), by) == pytest.approx(turned_first, abs=1e-9)


@FEW
@given(bearings=SOME_BEARINGS)
def test_reversing_twice_is_nothing_and_once_mirrors(bearings):
    rose = of_bearings(bearings, calm=2.0)
    assert bearing_density(turned(rose, 180.0), ALL_ROUND + 180) == pytest.approx(bearing_density(rose, ALL_ROUND))
    assert turned(turned(rose, 180.0), 180.0) == pytest.approx(rose, abs=1e-12)


@FEW
@given(one=SOME_BEARINGS, other=SOME_BEARINGS, weight=st.floats(0, 1))
def test_two_roses_blend_linearly(one, other, weight):
    roses = np.array([of_bearings(one), of_bearings(other)])
    mixed = blended(roses, np.array([weight, 1 - weight]))
    expected = weight * bearing_density(roses[0], ALL_ROUND) + (1 - weight) * bearing_density(roses[1], ALL_ROUND)
    assert bearing_density(mixed, ALL_ROUND) == pytest.approx(expected, abs=1e-12)


@FEW
@given(bearings=SOME_BEARINGS)
def test_the_mean_direction_is_scipys_and_turns_along(bearings):
    directions = np.array(bearings)
    resultant = abs(np.exp(1j * np.deg2rad(directions)).mean())
    if resultant < 1e-6:
        return
    mean = mean_direction(directions)
    assert (mean - stats.circmean(directions, high=360) + 180) % 360 - 180 == pytest.approx(0, abs=1e-6)
    assert (mean_direction(directions + 77.0) - mean - 77.0 + 180) % 360 - 180 == pytest.approx(0, abs=1e-6)


def test_blending_nothing_is_no_direction():
    assert blended(np.ones((2, 3), dtype=complex), np.zeros(2)).tolist() == [0, 0, 0]


def test_smoothing_is_the_running_mean():
    rose, width = of_bearings([10.0, 60.0, 200.0], calm=1.0), 40.0
    for bearing in (0.0, 55.0, 190.0):
        expected, _ = integrate.quad(lambda at: float(bearing_density(rose, at)), bearing - 20, bearing + 20)
        assert bearing_density(smoothed(rose, width), bearing) == pytest.approx(expected / width, rel=1e-9)
    assert smoothed(rose, 0.0).tolist() == rose.tolist()
    assert smoothed(rose, 360.0) == pytest.approx(np.zeros(8), abs=1e-15)
    assert smoothed(rose, np.zeros((2, 3))).shape == (2, 3, 8)
    # spreading hours while a rose is made, and smoothing it afterwards, are the same
    assert smoothed(of_bearings([90.0], calm=9.0), 10.0) == pytest.approx(of_bearings([90.0], calm=9.0, spread=10.0))


def test_a_histogram_is_its_hours_spread_over_their_sectors():
    weights = np.array([3.0, 1.0, 0.0, 2.0, 1.0, 1.0, 2.0, 2.0])
    rose = rose_of_histogram(weights, 4.0, 6)
    fine = np.concatenate([45 * sector + np.linspace(-22.5, 22.5, 2001)[:-1] + 0.01125 for sector in range(8)])
    by_hand = of_bearings(fine, np.repeat(weights / 2000, 2000), calm=4.0, harmonics=6)
    assert rose == pytest.approx(by_hand, abs=1e-7)
    assert rose_of_histogram(np.ones(16), 0.0, 8) == pytest.approx(np.zeros(8), abs=1e-15)
    # the sectors come back, but for what eight coefficients leave out of their steps
    back = rose_of_histogram(np.array([4.0, 3, 2, 1, 1, 1, 2, 3]), 3.0, 32)
    assert sector_shares_of(back, 8) == pytest.approx((np.array([4.0, 3, 2, 1, 1, 1, 2, 3]) + 3 / 8) / 20, abs=0.005)


@FEW
@given(
    records=st.lists(st.lists(st.floats(0, 360), min_size=1, max_size=6), min_size=1, max_size=4),
    weights=st.lists(st.floats(0.01, 1), min_size=4, max_size=4),
)
def test_parts_make_up_the_whole(records, weights):
    share = np.array(weights[: len(records)])
    share = share / share.sum()
    own = np.array([of_bearings(bearings) for bearings in records])
    each = [np.full(len(b), s / len(b)) for b, s in zip(records, share, strict=True)]
    whole = of_bearings(np.concatenate(records), np.concatenate(each))
    parts = parts_of_rose(own, share, whole)
    assert share @ parts == pytest.approx(whole, abs=1e-12)
    assert min(bearing_density(part, ALL_ROUND).min() for part in parts) >= 0


def test_parts_with_hours_enough_stay_as_they_are():
    own = rose_of_von_mises(np.array([60.0, 200.0]), np.array([0.8, 0.5]), 8)
    share = np.array([0.3, 0.7])
    assert parts_of_rose(own, share, share @ own) == pytest.approx(own, abs=1e-14)
