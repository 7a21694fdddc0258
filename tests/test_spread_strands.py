"""Laws made of strands: one kernel and one rose for each class of wind speed."""

from dataclasses import replace

import numpy as np
import pytest
from small_worlds import WALD, rose_toward, spread_of

from spreadmap.dispersal.climate import bent_field, climate_of_class
from spreadmap.dispersal.kernels import Kernel
from spreadmap.dispersal.spread import Spread, spread_from_settings
from spreadmap.dispersal.toward import quantile_toward, reach_sentences, share_toward
from spreadmap.engine import Engine
from spreadmap.errors import SettingsError
from spreadmap.pressure import pressure_at_points
from spreadmap.values.inventory import Receptors, Sources
from spreadmap.values.settings import KernelSettings, PhysicalKernelSettings, Settings
from spreadmap.values.wind import SpeedClass

SLOW, FAST = rose_toward(200.0), rose_toward(60.0)


def climate_with_classes():
    classes = (
        SpeedClass(lower_m_s=0, upper_m_s=2, share=0.25, mean_speed_m_s=1.0, rose=SLOW),
        SpeedClass(lower_m_s=2, upper_m_s=np.inf, share=0.75, mean_speed_m_s=5.0, rose=FAST),
    )
    return replace(spread_of(rose=0.25 * SLOW + 0.75 * FAST).climate, speed_classes=classes)


def physics(**kernel):
    settings = Settings(physics=PhysicalKernelSettings(use_physics=True), kernel=KernelSettings(**kernel))
    return spread_from_settings(settings, climate_with_classes())


def test_each_class_is_a_strand_with_its_share_and_windier_hours_carry_farther():
    law = physics()
    (slow_share, slow), (fast_share, fast) = law.each_strand()
    assert (slow_share, fast_share) == (0.25, 0.75)
    assert fast.kernel.mean_m() == pytest.approx(5 * slow.kernel.mean_m(), rel=1e-12)
    np.testing.assert_array_equal(slow.climate.rose, SLOW)
    r = np.array([0.5, 3.0, 20.0, 150.0])
    whole = 0.25 * slow.kernel.location_density(r) + 0.75 * fast.kernel.location_density(r)
    np.testing.assert_allclose(law.kernel.location_density(r), whole, rtol=1e-12)
    assert law.kernel.mean_m() == pytest.approx(0.25 * slow.kernel.mean_m() + 0.75 * fast.kernel.mean_m(), rel=1e-12)


def test_a_law_without_strands_is_its_own_only_strand():
    law = spread_of()
    assert law.each_strand() == ((1.0, law),)


def test_a_far_share_is_mixed_into_every_strand_and_into_the_whole():
    law = physics(far_share=0.1, far_mean_m=100.0)
    plain = physics()
    assert law.kernel.mean_m() == pytest.approx(0.9 * plain.kernel.mean_m() + 10.0, rel=1e-12)
    for (_, mixed), (_, bare) in zip(law.strands, plain.strands, strict=True):
        assert mixed.kernel.mean_m() == pytest.approx(0.9 * bare.kernel.mean_m() + 10.0, rel=1e-12)


def test_scaling_stretches_every_strand():
    law = physics().scaled(2.0)
    assert law.kernel.mean_m() == pytest.approx(2 * physics().kernel.mean_m(), rel=1e-12)
    for (_, longer), (_, strand) in zip(law.strands, physics().strands, strict=True):
        assert longer.kernel.mean_m() == pytest.approx(2 * strand.kernel.mean_m(), rel=1e-12)


def test_the_density_is_the_sum_over_strands_and_has_mass_one():
    law = physics()
    place = np.zeros(1)
    radius = np.geomspace(1e-3, 3e4, 4001)
    turn = 2 * np.pi * (np.arange(64) + 0.5) / 64
    east, north = np.outer(radius, np.sin(turn)), np.outer(radius, np.cos(turn))
    density = law.density_from(place, place, east.reshape(1, -1), north.reshape(1, -1)).reshape(east.shape)
    apart = sum(
        share * strand.density(east, north, strand.wind_influence * strand.climate.rose)
        for share, strand in law.strands
    )
    np.testing.assert_allclose(density, apart, rtol=1e-12)
    ring = density.mean(axis=1) * 2 * np.pi * radius**2
    # by log distance, trapezoids; the tail beyond 30 km is below 1e-9
    assert np.trapezoid(ring, np.log(radius)) == pytest.approx(1.0, abs=2e-4)
    with pytest.raises(ValueError, match="use density_from"):
        law.density(east, north, SLOW)


def test_pressure_is_the_sum_of_the_pressures_of_the_strands():
    law = physics()
    rng = np.random.default_rng(3)
    receptors = Receptors(
        easting=rng.uniform(0, 300, 40),
        northing=rng.uniform(0, 300, 40),
        radius_m=np.full(40, 0.4),
        plant=np.full(40, -1),
    )
    sources = Sources(
        easting=rng.uniform(0, 300, 9),
        northing=rng.uniform(0, 300, 9),
        strength=rng.uniform(0.5, 2, 9),
        plant=np.full(9, -2),
    )
    engine = Engine(workers=1)
    apart = sum(share * pressure_at_points(receptors, sources, one, engine).density for share, one in law.strands)
    np.testing.assert_allclose(pressure_at_points(receptors, sources, law, engine).density, apart, rtol=2e-3)


def test_windier_hours_reach_farther_toward_where_they_blow():
    law = physics()
    toward, against = quantile_toward(law, 60.0, 0.95), quantile_toward(law, 200.0, 0.95)
    assert toward > 1.2 * against
    assert share_toward(law, 60.0, toward) == pytest.approx(0.95, abs=1e-9)
    sentences = reach_sentences(law, 0.95)
    assert len(sentences) == 3
    assert all("95 % of landings toward" in sentence for sentence in sentences)
    assert reach_sentences(spread_of(), 0.95) == ()
    with pytest.raises(ValueError, match="each of which has its own"):
        quantile_toward(law, 60.0, 0.95, SLOW)


def test_a_class_bends_with_the_valley_like_all_hours():
    turn, sharpness = np.array([[0.0, 30.0]]), np.array([[1.0, 0.5]])
    climate = replace(
        climate_with_classes(), field_easting=np.array([0.0, 1.0]), field_northing=np.array([0.0]),
        field=bent_field(FAST, turn, sharpness), field_turn_deg=turn, field_sharpness=sharpness,
    )  # fmt: skip
    one = climate_of_class(climate, climate.speed_classes[0])
    np.testing.assert_allclose(one.field[0, 0], SLOW, rtol=1e-12)
    np.testing.assert_allclose(np.abs(one.field[0, 1]), 0.5 * np.abs(SLOW), rtol=1e-12)
    assert np.rad2deg(np.angle(one.field[0, 1, 0] / SLOW[0])) == pytest.approx(30.0)


def test_physics_without_an_hourly_record_are_refused():
    settings = Settings(physics=PhysicalKernelSettings(use_physics=True))
    with pytest.raises(SettingsError, match=r"no hourly wind record.*inputs\.wind_hours, or set use_physics to false"):
        spread_from_settings(settings, spread_of().climate)


def test_without_physics_classes_change_nothing():
    law = spread_from_settings(Settings(), climate_with_classes())
    assert isinstance(law, Spread)
    assert law.strands == ()
    assert isinstance(law.kernel, Kernel)
    assert law.kernel.mean_m() == WALD.mean_m()
