"""Sums at points: against plain double loops, and the laws a sum over sources must keep."""

import math

import numpy as np
import pytest
import slow_reference as slow
from scipy.special import erf
from small_worlds import ONE_OF_EACH, WALD, receptors_at, rose_toward, screens_of, sources_at, spread_of

from spreadmap.dispersal.bearings import turned
from spreadmap.dispersal.kernels import Kernel
from spreadmap.engine import Engine
from spreadmap.errors import InputError
from spreadmap.pressure import pressure_at_points
from spreadmap.pressure.rules import RADON_POINTS, RADON_WEIGHTS

ONE = Engine(workers=1)
BY_FAMILY = pytest.mark.parametrize("kernel", ONE_OF_EACH, ids=lambda kernel: kernel.family)


def plain(kernel):
    return (kernel.family, kernel.scale_m) if kernel.shape is None else (kernel.family, kernel.scale_m, kernel.shape)


def at(places, sources, law, radius=0.0, **more):
    return pressure_at_points(receptors_at(*places, radius=radius), sources, law, ONE, **more).density


@BY_FAMILY
@pytest.mark.parametrize("near", [0.0, 1.0])
def test_a_disc_has_the_mean_that_adaptive_quadrature_finds(kernel, near):
    # at the source, inside, just inside and outside the rim, and where each rule hands over to the next
    radius, rose = 0.9, rose_toward(60.0)
    distance = radius * np.array([0.0, 0.3, 0.99, 1.0001, 1.3, 1.9, 2.1, 5.0, 10.0, 40.0, 150.0])
    places = np.stack([distance * math.sin(1.0), distance * math.cos(1.0)], axis=1)
    result = pressure_at_points(
        receptors_at(*places, radius=radius), sources_at((0, 0)), spread_of(kernel, rose, 1.0, near), ONE
    )
    expected = np.array([slow.disc_mean(plain(kernel), rose, near, e, n, radius) for e, n in places])
    counts = expected > 1e-12 * expected.max()
    assert result.density[counts] == pytest.approx(expected[counts], rel=result.error_bound, abs=0)


@pytest.mark.parametrize("scale", [0.1, 0.5])
def test_a_kernel_much_narrower_than_the_disc_is_followed(scale):
    kernel, radius = Kernel(family="exponential", scale_m=scale), 3.0
    places = [(0.0, east) for east in (0.0, 2.0, 2.9, 2.999, 3.001, 3.3, 5.0)]
    expected = [slow.disc_mean(plain(kernel), [], 0.0, e, n, radius) for e, n in places]
    assert at(places, sources_at((0, 0)), spread_of(kernel), radius) == pytest.approx(expected, rel=1e-4, abs=1e-14)


def test_the_disc_about_a_gaussian_source_is_known_in_closed_form():
    kernel = Kernel(family="gaussian", scale_m=10.0)
    for radius in (0.4, 5.0, 20.0):
        expected = (1 - math.exp(-((radius / 10) ** 2))) / (math.pi * radius**2)
        assert at([(0, 0)], sources_at((0, 0)), spread_of(kernel), radius)[0] == pytest.approx(expected, rel=1e-7)


@BY_FAMILY
def test_points_are_the_double_loop(kernel):
    rng = np.random.default_rng(4)
    places, origins = rng.uniform(0, 60, (12, 2)), rng.uniform(0, 60, (5, 2))
    strength, radii = rng.uniform(0.5, 4, 5), np.array([0.0, 0.25, 0.9] * 4)
    plants = np.array([0, 1, 2, -1, -1, -1, 7, 8, 9, 10, 11, 12])
    origins[0] = places[0] + 1e-3
    law = spread_of(kernel, rose_toward(60.0), 0.5, 1.0)
    sources = sources_at(*origins, strength=strength, plant=np.array([0, 1, -1, 30, 31]))
    pieces = [((10.0, 0.0, 10.0, 60.0), 0.5), ((0.0, 30.0, 60.0, 33.0), 0.25)]
    expected = slow.at_points(
        [(*place, radius, plant) for place, radius, plant in zip(places, radii, plants, strict=True)],
        [(*o, s, p) for o, s, p in zip(origins, strength, (0, 1, -1, 30, 31), strict=True)],
        plain(kernel), [0.5 * rose_toward(60.0)] * 5, 1.0, pieces,
    )  # fmt: skip
    result = pressure_at_points(
        receptors_at(*places, radius=radii, plant=plants), sources, law, ONE,
        screens=screens_of(*[(*ends, factor) for ends, factor in pieces]),
    )  # fmt: skip
    assert result.density == pytest.approx(expected, rel=result.error_bound, abs=0)


def test_the_sum_far_away_has_many_digits():
    # beyond every rule for discs, out to 5 km, where the default kernel has fallen by more than 30 orders of magnitude
    places = [(r * 0.6, r * 0.8) for r in np.geomspace(20, 5000, 40)]
    law = spread_of(WALD, rose_toward(60.0))
    expected = [slow.density_at(plain(WALD), 0.5 * rose_toward(60.0), 1.0, *place) for place in places]
    assert at(places, sources_at((0, 0)), law) == pytest.approx(expected, rel=1e-5, abs=0)


def test_seven_points_are_exact_to_the_fifth_degree():
    x, y = RADON_POINTS.T
    # means over the unit disc, worked by hand: 1/4 for x^2, 1/8 for x^4, 1/24 for x^2 y^2
    for value, mean in ((x, 0), (x * y, 0), (x**2, 1 / 4), (x**3 * y, 0), (x**4, 1 / 8), (x**2 * y**2, 1 / 24)):
        assert value @ RADON_WEIGHTS == pytest.approx(mean, abs=1e-15)
    assert RADON_WEIGHTS.sum() == pytest.approx(1.0)


def test_a_plant_never_counts_for_itself_but_strangers_at_one_place_do():
    law, place = spread_of(), [(5.0, 5.0)]
    mine = receptors_at(*place, radius=0.4, plant=[3])
    assert pressure_at_points(mine, sources_at(*place, plant=[3]), law, ONE).density[0] == 0.0
    assert pressure_at_points(mine, sources_at(*place, plant=[4]), law, ONE).density[0] > 0.0
    nobody = receptors_at(*place, radius=0.4)
    assert pressure_at_points(nobody, sources_at(*place), law, ONE).density[0] > 0.0


def test_pressure_of_two_sources_is_the_sum_of_each():
    law, places = spread_of(rose=rose_toward(60.0)), [(0, 0), (3, 4), (50, -20)]
    one, two = sources_at((1, 1), strength=[2.0]), sources_at((10, 0), strength=[0.5])
    both = sources_at((1, 1), (10, 0), strength=[2.0, 0.5])
    assert at(places, both, law, 0.4) == pytest.approx(at(places, one, law, 0.4) + at(places, two, law, 0.4), rel=1e-12)


def test_twice_the_strength_is_twice_the_pressure():
    law, places = spread_of(rose=rose_toward(60.0)), [(0, 0), (3, 4)]
    single, double = (at(places, sources_at((1, 1), strength=[s]), law, 0.4) for s in (1.0, 2.0))
    assert double == pytest.approx(2 * single, rel=1e-14)


def test_moving_everything_moves_the_map():
    rng = np.random.default_rng(5)
    places, origins = rng.uniform(0, 100, (20, 2)), rng.uniform(0, 100, (4, 2))
    law, moved = spread_of(rose=rose_toward(60.0)), np.array([500_000.0, 4_300_000.0])
    here = at(places, sources_at(*origins), law, 0.4)
    assert at(places + moved, sources_at(*(origins + moved)), law, 0.4) == pytest.approx(here, rel=1e-5)


def test_rotating_everything_rotates_the_map():
    rng = np.random.default_rng(6)
    places, origins = rng.uniform(-50, 50, (20, 2)), rng.uniform(-50, 50, (4, 2))
    rose, angle = rose_toward(60.0), math.radians(37.0)
    # clockwise by 37 degrees, as bearings turn
    spin = np.array([[math.cos(angle), -math.sin(angle)], [math.sin(angle), math.cos(angle)]])
    before = at(places, sources_at(*origins), spread_of(rose=rose), 0.4)
    after = at(places @ spin, sources_at(*(origins @ spin)), spread_of(rose=turned(rose, 37.0)), 0.4)
    assert after == pytest.approx(before, rel=3e-4)


def test_reversed_wind_mirrors_the_pressure():
    rose, places = rose_toward(60.0), np.array([(3.0, 1.0), (-8.0, 5.0), (0.3, 0.1), (200.0, -90.0)])
    ahead = at(places, sources_at((0, 0)), spread_of(rose=rose), 0.4)
    back = at(-places, sources_at((0, 0)), spread_of(rose=turned(rose, 180.0)), 0.4)
    assert back == pytest.approx(ahead, rel=1e-9)


def test_wind_from_the_west_puts_more_on_the_east():
    east, west = at([(10, 0), (-10, 0)], sources_at((0, 0)), spread_of(rose=rose_toward(90.0)), 0.4)
    assert east > 2 * west


def test_no_wind_gives_equal_pressure_at_equal_distance():
    turn = np.linspace(0, 2 * np.pi, 9)
    for distance in (0.5, 3.0, 30.0, 300.0):
        places = np.stack([distance * np.sin(turn), distance * np.cos(turn)], axis=1)
        values = at(places, sources_at((0, 0)), spread_of(), 0.4)
        assert values == pytest.approx(np.full(9, values[0]), rel=1e-4)


@BY_FAMILY
def test_farther_is_never_more_beyond_the_peak(kernel):
    distance = np.geomspace(max(kernel.mode_m(), 1.5), 400, 300)
    values = at([(0, r) for r in distance], sources_at((0, 0)), spread_of(kernel), 0.4)
    assert (np.diff(values) <= 1e-4 * values[:-1]).all()
    assert (np.diff(values[::10]) <= 0).all()


def test_what_sources_send_is_what_receptors_get():
    rng = np.random.default_rng(7)
    places, weight = rng.uniform(0, 80, (600, 2)), rng.uniform(0, 2, 600)
    sources = sources_at(*rng.uniform(0, 80, (7, 2)), strength=rng.uniform(0, 3, 7))
    result = pressure_at_points(
        receptors_at(*places, radius=0.4), sources, spread_of(rose=rose_toward(60.0)), ONE, receptor_weight=weight
    )
    assert result.sent.sum() == pytest.approx(result.density @ weight, rel=1e-12)
    alone = pressure_at_points(
        receptors_at(*places, radius=0.4), sources.only(np.arange(7) == 2), spread_of(rose=rose_toward(60.0)), ONE
    )
    assert result.sent[2] == pytest.approx(alone.density @ weight, rel=1e-4)


def test_one_worker_and_two_give_the_same_bits():
    rng = np.random.default_rng(8)
    receptors = receptors_at(*rng.uniform(0, 300, (2000, 2)), radius=0.4)
    sources = sources_at(*rng.uniform(0, 300, (30, 2)))
    law, weight = spread_of(rose=rose_toward(60.0)), rng.uniform(0, 1, 2000)
    one, two = (pressure_at_points(receptors, sources, law, Engine(workers=n), receptor_weight=weight) for n in (1, 2))
    assert one.density.tobytes() == two.density.tobytes()
    assert one.sent.tobytes() == two.sent.tobytes()


def test_the_wind_at_the_source_governs():
    # the west has wind to the east, the east wind to the west; both sources send inward
    field = np.array([[rose_toward(90.0), rose_toward(270.0)]])
    uniform = spread_of(rose=rose_toward(90.0), wind_influence=1.0)
    climate = type(uniform.climate)(
        rose=field.mean(axis=(0, 1)), basis="made for a test", sector_share=np.zeros(16),
        field_easting=np.array([0.0, 1000.0]), field_northing=np.array([0.0]), field=field,
    )  # fmt: skip
    law = type(uniform)(kernel=WALD, climate=climate, wind_influence=1.0, near_radius_m=1.0)
    places = [(-20, 0), (20, 0), (980, 0), (1020, 0)]
    west, east = (at(places, sources_at(place), law) for place in ((0, 0), (1000, 0)))
    assert west[1] > 2 * west[0]
    assert east[2] > 2 * east[3]
    assert west[:2] == pytest.approx(at(places, sources_at((0, 0)), uniform)[:2], rel=1e-6)


def test_screens_stand_between_and_nowhere_else():
    law, sources = spread_of(), sources_at((0, 0))
    places = [(20, 0), (-20, 0), (20, 30), (9, 0), (0, 20)]
    bare = at(places, sources, law, 0.4)
    hedge = at(places, sources, law, 0.4, screens=screens_of((10, -5, 10, 5, 0.5)))
    assert hedge / bare == pytest.approx([0.5, 1, 1, 1, 1])
    two = at(places, sources, law, 0.4, screens=screens_of((10, -5, 10, 5, 0.5), (15, -5, 14, 5, 0.2)))
    assert two / bare == pytest.approx([0.1, 1, 1, 1, 1])
    none = at(places, sources, law, 0.4, screens=screens_of())
    assert none.tolist() == bare.tolist()


def test_an_erf_oracle_for_a_line_of_sources():
    # A dense line of gaussian sources: the sum at its middle is n times erf(L/2a)/(L a sqrt(pi)).
    offsets = (np.arange(400) + 0.5) / 400 * 20 - 10
    value = at([(0, 0)], sources_at(*[(0, y) for y in offsets]), spread_of(Kernel(family="gaussian", scale_m=10.0)))
    assert value[0] == pytest.approx(400 * erf(1.0) / (20 * 10 * math.sqrt(math.pi)), rel=1e-5)


def test_no_sources_give_zero_and_no_receptors_nothing():
    result = pressure_at_points(receptors_at((0, 0)), sources_at(), spread_of(), ONE, receptor_weight=np.ones(1))
    assert result.density.tolist() == [0.0]
    assert result.sent.tolist() == []
    result = pressure_at_points(receptors_at(), sources_at((0, 0)), spread_of(), ONE, receptor_weight=np.zeros(0))
    assert len(result.density) == 0
    assert result.sent.tolist() == [0.0]
    assert pressure_at_points(receptors_at(), sources_at(), spread_of(), ONE).sent is None


def test_a_source_on_a_point_receptor_is_finite_for_every_family():
    for kernel in ONE_OF_EACH:
        assert np.isfinite(at([(0, 0), (1e-9, 0)], sources_at((0, 0)), spread_of(kernel, rose_toward(60.0)))).all()


@pytest.mark.parametrize(
    ("change", "match"),
    [
        ({"place": (math.nan, 0.0)}, r"receptor 1 of 2 lies at \(nan, 0.0\), and 1 in all are not finite; allowed"),
        ({"origin": (0.0, math.inf)}, r"source 0 of 1 lies at \(0.0, inf\)"),
        ({"radius": -1.0}, r"canopy radii are 2 numbers, 2 of them unusable such as -1.0; allowed: 2 finite .* 0 on"),
        ({"radius": math.nan}, "canopy radii are 2 numbers, 2 of them unusable such as nan"),
        ({"weight": [1.0, math.nan]}, "receptor weights are 2 numbers, 1 of them unusable such as nan; allowed: 2"),
        ({"weight": [1.0]}, "receptor weights are 1 numbers; allowed: 2 finite numbers, one per receptor"),
    ],
)
def test_bad_input_is_told_with_figures(change, match):
    receptors = receptors_at((0, 0), change.get("place", (1, 1)), radius=change.get("radius", 0.4))
    weight = change.get("weight")
    with pytest.raises(InputError, match=match):
        pressure_at_points(
            receptors, sources_at(change.get("origin", (5, 5))), spread_of(), ONE,
            receptor_weight=None if weight is None else np.array(weight),
        )  # fmt: skip


def test_inputs_are_not_changed():
    receptors, sources = receptors_at((0, 0), (9, 9), radius=0.4), sources_at((1, 1))
    weight = np.ones(2)
    before = receptors.easting.tobytes(), sources.strength.tobytes(), weight.tobytes()
    pressure_at_points(receptors, sources, spread_of(), ONE, receptor_weight=weight)
    assert (receptors.easting.tobytes(), sources.strength.tobytes(), weight.tobytes()) == before


@pytest.mark.parametrize("strength", [math.nan, -1.0, math.inf])
def test_a_strength_that_cannot_be_is_told(strength):
    with pytest.raises(InputError, match=r"1 of 2 source strengths are unusable, such as .*; allowed: .* not negative"):
        sources_at((0, 0), (1, 1), strength=[1.0, strength])
