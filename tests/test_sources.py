"""How strongly plants and wild stands send, how strongly plants receive, and which screens count."""

import numpy as np
import pytest
import shapely
from small_records import AS_OF, inventory_at, reservoirs_of, screens_at, state_with

from spreadmap.records.sources import (
    join_sources,
    plant_sources,
    receiving_weight,
    receptors_of,
    reservoir_sources,
    screen_segments,
)
from spreadmap.values.settings import Settings, SourceSettings

SETTINGS = SourceSettings()


def test_strength_is_size_times_what_is_known():
    plants = inventory_at(*[(i, 2 * i) for i in range(5)], size=["S", "XL", "L", "M", "L"])
    sources = plant_sources(plants, state_with(plants, infected=[0, 1], suspect=[2], sprouting=[4]), SETTINGS)
    assert sources.plant.tolist() == [0, 1, 2, 4]
    size, suspect, rest = SETTINGS.size_factor, SETTINGS.suspect_chance, SETTINGS.partly_removed_strength
    assert sources.strength.tolist() == [size["S"], size["XL"], size["L"] * suspect, size["L"] * rest]
    assert sources.northing.tolist() == [0, 2, 4, 8]


def test_a_suspect_that_is_no_host_sends_nothing_but_a_confirmed_one_does():
    plants = inventory_at((0, 0), (1, 0))
    state = state_with(plants, infected=[0], suspect=[1], is_host=False)
    assert plant_sources(plants, state, SETTINGS).plant.tolist() == [0]


def test_clean_plants_send_nothing():
    plants = inventory_at((0, 0))
    assert len(plant_sources(plants, state_with(plants), SETTINGS)) == 0


def test_the_receiving_weight_counts_only_what_may_still_be_healthy():
    plants = inventory_at(*[(i, 0) for i in range(5)], size="L", susceptibility=[1, 2, 1, 1, 1])
    state = state_with(plants, infected=[2], suspect=[3], sprouting=[4])
    large = SETTINGS.size_factor["L"]
    weight = receiving_weight(plants, state, SETTINGS)
    assert weight == pytest.approx([large, 2 * large, 0, large * (1 - SETTINGS.suspect_chance), 0])
    assert not receiving_weight(plants, state_with(plants, is_host=False), SETTINGS).any()


def test_receptors_carry_their_canopy_and_their_plant():
    plants = inventory_at((0, 0), (1, 0), (2, 0), size=["S", "M", "XL"])
    kept = receptors_of(plants, np.array([True, False, True]), SETTINGS)
    assert kept.plant.tolist() == [0, 2]
    assert kept.radius_m.tolist() == [SETTINGS.canopy_radius_m["S"], SETTINGS.canopy_radius_m["XL"]]


STANDS = {
    "point": shapely.Point(3, 4),
    "points": shapely.MultiPoint([(0, 0), (10, 0)]),
    "square": shapely.box(0, 0, 50, 50),
    "thin slanting strip": shapely.LineString([(0, 0), (300, 200)]).buffer(0.4),
    "two parts": shapely.union(shapely.box(0, 0, 20, 20), shapely.box(500, 0, 520, 40)),
    "with a hole": shapely.box(0, 0, 60, 60) - shapely.box(20, 20, 40, 40),
    "smaller than a square": shapely.box(0, 0, 0.5, 0.5),
}


@pytest.mark.parametrize("shape", STANDS.values(), ids=STANDS.keys())
@pytest.mark.parametrize("spacing", [2.0, 25.0])
def test_a_stand_sends_plants_times_chance_from_its_own_middle(shape, spacing):
    sources = reservoir_sources(reservoirs_of((shape, 80, 0.3)), spacing)
    assert sources.strength.sum() == pytest.approx(80 * 0.3)
    assert (sources.plant == -1).all()
    middle = np.average(np.c_[sources.easting, sources.northing], axis=0, weights=sources.strength)
    assert middle == pytest.approx(np.array(shape.centroid.coords[0]), abs=1e-6)
    assert len(sources) < 4000


def test_a_thin_strip_keeps_its_places_along_its_whole_length():
    strip = STANDS["thin slanting strip"]
    sources = reservoir_sources(reservoirs_of((strip, 80, 0.3)), 10.0)
    assert shapely.distance(strip, shapely.points(sources.easting, sources.northing)).max() < 1e-6
    assert sources.easting.min() < 10
    assert sources.easting.max() > 290


def test_stands_without_infection_plants_or_shape_send_nothing():
    stands = reservoirs_of(
        (shapely.box(0, 0, 9, 9), 5, 0.0), (shapely.Point(0, 0), 0, 1.0), (shapely.Polygon(), 5, 1.0)
    )
    assert len(reservoir_sources(stands, 2.0)) == 0
    assert len(reservoir_sources(reservoirs_of(), 2.0)) == 0


def test_joined_sources_keep_their_order():
    plants = inventory_at((0, 0))
    own = plant_sources(plants, state_with(plants, infected=[0]), SETTINGS)
    both = join_sources(own, reservoir_sources(reservoirs_of((shapely.Point(5, 5), 2, 0.5)), 2.0))
    assert both.plant.tolist() == [0, -1]
    assert both.easting.tolist() == [0, 5]


LINE = shapely.LineString([(0, -50), (0, 50)])


def segments(screens, infected=(), places=((-10, 0), (10, 0))):
    plants = inventory_at(*places)
    return screen_segments(screens, plants, state_with(plants, infected=infected), Settings(), AS_OF)


def test_a_tall_screen_counts_with_all_its_pieces():
    bent = shapely.MultiLineString([[(0, 0), (0, 5), (3, 5)], [(9, 9), (9, 12)]])
    pieces, remarks = segments(screens_at((bent, 1.8, "2025-03-01")))
    assert pieces.ends.tolist() == [[0, 0, 0, 5], [0, 5, 3, 5], [9, 9, 9, 12]]
    assert pieces.factor.tolist() == [0.5, 0.5, 0.5]
    assert remarks == ()


@pytest.mark.parametrize(
    ("height", "planted", "why"),
    [
        (1.7, "2025-03-01", "its height is not 1.8 m or more"),
        (np.nan, "2025-03-01", "its height is not 1.8 m or more"),
        (2.0, "2026-09-22", "it was not planted yet"),
    ],
)
def test_low_or_later_screens_do_not_count(height, planted, why):
    pieces, remarks = segments(screens_at((LINE, height, planted)))
    assert len(pieces) == 0
    assert why in remarks[0]


def test_a_screen_planted_at_an_unknown_time_counts():
    assert len(segments(screens_at((LINE, 2.0, "NaT")))[0]) == 1


@pytest.mark.parametrize(
    ("places", "counts"),
    [
        (((-10, 0), (10, 0)), False),
        (((-10, 0), (-5, 0)), True),
        (((-10, 0), (31, 0)), True),
        (((-10, 0), (29, 0)), False),
    ],
)
def test_a_screen_counts_for_a_first_invasion_only(places, counts):
    pieces, remarks = segments(screens_at((LINE, 2.0, "2025-03-01")), infected=[0, 1], places=places)
    assert len(pieces) == counts
    assert any("both sides" in text for text in remarks) != counts


def test_no_screens_are_no_pieces():
    pieces, remarks = segments(screens_at())
    assert len(pieces) == 0
    assert remarks == ()
