"""The law of arrivals: mass one, mirrored and turned with the wind, isotropic without, the unit and the breaks."""

import numpy as np
import pytest
import slow_reference as slow
from scipy import integrate
from small_worlds import ONE_OF_EACH, WALD, rose_toward, spread_of

from spreadmap.dispersal.bearings import turned
from spreadmap.dispersal.kernels import Kernel
from spreadmap.dispersal.spread import Spread, breaks, spread_from_settings, unit_density
from spreadmap.errors import SettingsError
from spreadmap.values.settings import Settings
from spreadmap.values.wind import WindClimate

AT = np.zeros(1)


def of(law, east, north):
    return law.density(np.asarray(east, float), np.asarray(north, float), law.coefficients_at(AT, AT)[0])


def field_law(field, easting, northing):
    climate = WindClimate(
        rose=field.reshape(-1, field.shape[-1]).mean(axis=0), basis="made for a test", sector_share=np.zeros(16),
        field_easting=easting, field_northing=northing, field=field,
    )  # fmt: skip
    return Spread(kernel=WALD, climate=climate, wind_influence=1.0, near_radius_m=1.0)


@pytest.mark.parametrize("near", [0.0, 1.0, 20.0])
def test_mass_over_the_plane_stays_one(near):
    law = spread_of(rose=rose_toward(60.0), near_radius_m=near, wind_influence=1.0)
    bearings = np.arange(64) * 2 * np.pi / 64

    def ring(u):
        r = np.exp(u)
        return 2 * np.pi * r * r * of(law, r * np.sin(bearings), r * np.cos(bearings)).mean()

    mass, _ = integrate.quad(ring, np.log(0.01), np.log(3000.0), epsrel=1e-9, limit=400)
    assert mass == pytest.approx(1.0, abs=1e-7)


def test_density_is_the_printed_law():
    law = spread_of(rose=rose_toward(60.0), wind_influence=0.5, near_radius_m=2.0)
    for east, north in ((0.5, 0.1), (3.0, -4.0), (-20.0, 7.0)):
        expected = slow.density_at(("wald", 10.95, 3.17), 0.5 * rose_toward(60.0), 2.0, east, north)
        assert of(law, east, north) == pytest.approx(expected, rel=1e-12)


def test_no_wind_gives_equal_values_at_equal_distance():
    law = spread_of()
    bearings = np.linspace(0, 2 * np.pi, 17)
    values = of(law, 7 * np.sin(bearings), 7 * np.cos(bearings))
    assert values == pytest.approx(np.full(17, float(WALD.location_density(7.0))))


def test_wind_influence_zero_is_no_wind():
    law = spread_of(rose=rose_toward(60.0), wind_influence=0.0)
    assert of(law, [5.0, -5.0], [0.0, 0.0]) == pytest.approx([float(WALD.location_density(5.0))] * 2)


def test_reversed_wind_mirrors_the_law():
    rose = rose_toward(60.0)
    ahead, back = spread_of(rose=rose), spread_of(rose=turned(rose, 180.0))
    east, north = np.array([3.0, -8.0, 20.0, 0.2]), np.array([1.0, 5.0, -30.0, 0.1])
    assert of(back, -east, -north) == pytest.approx(of(ahead, east, north), rel=1e-12)


def test_more_goes_downwind_than_upwind_and_the_near_radius_hides_it():
    law = spread_of(rose=rose_toward(90.0), wind_influence=1.0, near_radius_m=1.0)
    down, up = of(law, [10.0, 0.1], [0.0, 0.0]), of(law, [-10.0, -0.1], [0.0, 0.0])
    assert down[0] > 10 * up[0]
    assert 1.0 < down[1] / up[1] < 1.05


def test_density_at_the_source_is_that_of_the_kernel():
    for near in (0.0, 1.0):
        law = spread_of(Kernel(family="gaussian", scale_m=10.0), rose_toward(60.0), 1.0, near)
        assert of(law, 0.0, 0.0) == pytest.approx(1 / (np.pi * 100))


def test_nothing_is_negative_even_where_all_weight_is_on_the_wind():
    law = spread_of(rose=rose_toward(10.0, 500.0), wind_influence=1.0, near_radius_m=0.0)
    bearings = np.linspace(0, 2 * np.pi, 3601)
    assert of(law, 20 * np.sin(bearings), 20 * np.cos(bearings)).min() >= 0


def test_scaling_keeps_wind_and_near_radius():
    law = spread_of(rose=rose_toward(60.0), near_radius_m=3.0).scaled(2.0)
    assert law.kernel == WALD.scaled(2.0)
    assert (law.near_radius_m, law.wind_influence) == (3.0, 0.5)


def test_between_raster_cells_roses_change_linearly_and_beyond_they_hold():
    corners = np.array([[rose_toward(0.0), rose_toward(90.0)], [rose_toward(180.0), rose_toward(45.0)]])
    law = field_law(corners, np.array([0.0, 100.0]), np.array([100.0, 0.0]))
    here = law.coefficients_at(np.array([0.0, 100.0, 0.0, 50.0, 25.0]), np.array([100.0, 100.0, 0.0, 50.0, 100.0]))
    assert here[:3] == pytest.approx(corners.reshape(4, -1)[:3])
    assert here[3] == pytest.approx(corners.mean(axis=(0, 1)))
    assert here[4] == pytest.approx(0.75 * corners[0, 0] + 0.25 * corners[0, 1])
    outside = law.coefficients_at(np.array([-1e4, 1e4]), np.array([1e4, -1e4]))
    assert outside == pytest.approx(np.array([corners[0, 0], corners[1, 1]]))


def test_a_raster_of_one_cell_is_the_same_everywhere():
    law = field_law(rose_toward(30.0)[None, None, :], np.array([0.0]), np.array([0.0]))
    assert law.coefficients_at(np.array([-50.0, 1e5]), np.array([3.0, 3.0])) == pytest.approx(
        np.repeat(rose_toward(30.0)[None, :], 2, axis=0)
    )


def test_settings_make_the_law():
    law = spread_from_settings(Settings(), spread_of(rose=rose_toward(60.0)).climate)
    assert law.kernel == WALD
    assert (law.wind_influence, law.near_radius_m) == (0.5, 1.0)
    assert law.harmonics == 8


def test_the_unit_is_a_medium_plant_ten_metres_away():
    # by the printed formula
    assert unit_density(WALD) == pytest.approx(slow.location_density("wald", 10.0, 10.95, 3.17), rel=1e-12)


@pytest.mark.parametrize("kernel", ONE_OF_EACH, ids=lambda kernel: kernel.family)
def test_breaks_are_the_kernel_at_four_distances_ascending(kernel):
    values = breaks(kernel)
    expected = [float(kernel.location_density(r) / kernel.location_density(10.0)) for r in (100.0, 30.0, 10.0, 1.0)]
    assert values == pytest.approx(expected)
    assert list(values) == sorted(values)
    assert values[2] == pytest.approx(1.0)


@pytest.mark.parametrize(
    "kernel",
    [Kernel(family="gaussian", scale_m=0.3), Kernel(family="wald", scale_m=0.3, shape=1e6)],
    ids=lambda k: k.family,
)
def test_a_kernel_that_brings_nothing_to_ten_metres_has_no_unit(kernel):
    # exp(-(10/0.3)^2) is less than any number; pressure over it would be infinite
    with pytest.raises(
        SettingsError, match=r"nothing arrives at 10 m, where one unit .* half of all arrivals end within"
    ):
        unit_density(kernel)
    with pytest.raises(SettingsError, match="Correct the lengths in settings.kernel"):
        breaks(kernel)
