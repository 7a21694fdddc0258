"""Densities of single pairs: their sums are those of all sources at all points, screens and wind included."""

import numpy as np
import pytest
from small_worlds import rose_toward, screens_of, spread_of

from spreadmap.engine import Engine
from spreadmap.errors import InputError
from spreadmap.pressure import pressure_at_points
from spreadmap.pressure.pairs import near_pair_densities
from spreadmap.values.inventory import Receptors, Sources
from spreadmap.values.settings import PressureSettings

SCREEN, MANY = screens_of((30, -50, 30, 100, 0.5)), 10**7
EXACT = PressureSettings(method="exact")


def places(n=120, sick=30):
    rng = np.random.default_rng(1)
    receptors = Receptors(
        easting=rng.uniform(0, 60, n), northing=rng.uniform(0, 60, n), radius_m=rng.choice([0.25, 0.4, 0.9], n),
        plant=np.arange(n),
    )  # fmt: skip
    sources = Sources(
        easting=receptors.easting[:sick], northing=receptors.northing[:sick], strength=np.ones(sick),
        plant=np.arange(sick),
    )  # fmt: skip
    return receptors, sources


@pytest.mark.parametrize("spread", [spread_of(), spread_of(rose=rose_toward(90))], ids=["still", "east"])
def test_all_pairs_together_are_the_exact_sum_at_every_point(spread):
    receptors, sources = places()
    pairs = near_pair_densities(receptors, sources, spread, Engine(workers=1), screens=SCREEN, within_m=200.0,
                                most_pairs=MANY)  # fmt: skip
    summed = np.bincount(pairs.receptor, weights=pairs.density, minlength=len(receptors))
    exact = pressure_at_points(receptors, sources, spread, Engine(workers=1), screens=SCREEN, settings=EXACT).density
    assert summed == pytest.approx(exact, rel=3e-4)  # the bound of exact sums; here both use the same rules
    assert len(pairs.receptor) == 120 * 30 - 30


def test_pairs_are_those_within_the_distance_each_once_and_never_a_plant_with_itself():
    receptors, sources = places()
    pairs = near_pair_densities(receptors, sources, spread_of(), Engine(workers=1), screens=screens_of(), within_m=12.0,
                                most_pairs=MANY)  # fmt: skip
    away = np.hypot(receptors.easting - sources.easting[:, None], receptors.northing - sources.northing[:, None])
    expected = [(j, i) for j in range(30) for i in range(120) if i != j and away[j, i] <= 12.0]
    assert list(zip(pairs.source.tolist(), pairs.receptor.tolist(), strict=True)) == expected
    assert pairs.distance_m == pytest.approx([away[pair] for pair in expected])
    assert pairs.within_m == 12.0


def test_fewer_pairs_are_taken_nearer():
    receptors, sources = places()
    pairs = near_pair_densities(receptors, sources, spread_of(), Engine(workers=1), screens=screens_of(), within_m=50.0,
                                most_pairs=500)  # fmt: skip
    assert len(pairs.receptor) <= 500
    assert pairs.within_m < 50.0
    assert pairs.distance_m.max() <= pairs.within_m


def test_threads_do_not_change_a_bit():
    receptors, sources = places(sick=120)
    one, two = (
        near_pair_densities(receptors, sources, spread_of(rose=rose_toward(30)), Engine(workers=count), screens=SCREEN,
                            within_m=30.0, most_pairs=MANY).density
        for count in (1, 2)
    )  # fmt: skip
    assert one.tobytes() == two.tobytes()


def test_nobody_has_no_pairs_and_a_lost_position_is_refused():
    receptors, sources = places()
    nobody = sources.only(np.zeros(30, dtype=bool))
    ask = {"screens": screens_of(), "within_m": 30.0, "most_pairs": MANY}
    assert len(near_pair_densities(receptors, nobody, spread_of(), Engine(workers=1), **ask).receptor) == 0
    lost = Sources(easting=[np.nan], northing=[0.0], strength=[1.0], plant=[-1])
    with pytest.raises(InputError, match="source"):
        near_pair_densities(receptors, lost, spread_of(), Engine(workers=1), **ask)
