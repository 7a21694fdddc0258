"""Fast sums at points, and what sources send, against the exact ones."""

import numpy as np
import pytest
from made_fields import EXACT, FAST, law_in, worst
from small_worlds import ONE_OF_EACH, WALD, receptors_at, rose_toward, sources_at, spread_of

from spreadmap.engine import Engine
from spreadmap.pressure import pressure_at_points
from spreadmap.values.settings import PressureSettings

ONE, TWO = Engine(workers=1), Engine(workers=2)
BY_FAMILY = pytest.mark.parametrize("kernel", ONE_OF_EACH, ids=lambda kernel: kernel.family)
WINDS = pytest.mark.parametrize("wind", ["still", "one", "bent"])


def plants(count, side, seed=2):
    """Return places in beds and single ones, and weights."""
    rng = np.random.default_rng(seed)
    beds = rng.uniform(0, side, (5, 2))[rng.integers(0, 5, count)] + rng.uniform(0, side / 20, (count, 2))
    return np.where(rng.uniform(size=(count, 1)) < 0.7, beds, rng.uniform(0, side, (count, 2))), rng.uniform(
        0, 1, count
    )


def both(law, radius, side=600.0, count=400, senders=60, engine=ONE, shared=True):
    places, weight = plants(count, side)
    plant = np.arange(count) if shared else None
    receptors = receptors_at(*places, radius=radius, plant=plant)
    sources = sources_at(
        *(places[:senders] if shared else places[:senders] + 0.5), strength=np.linspace(0.5, 2, senders),
        plant=None if plant is None else plant[:senders],
    )  # fmt: skip
    return [
        pressure_at_points(receptors, sources, law, engine, receptor_weight=weight, settings=how)
        for how in (FAST, EXACT)
    ]


@BY_FAMILY
@WINDS
def test_every_family_in_every_wind_is_the_exact_sum(kernel, wind):
    fast, exact = both(law_in(wind, kernel, 600.0), radius=0.4)
    assert fast.error_bound <= 1e-3
    assert worst(fast.density, exact.density) <= 1e-3
    assert worst(fast.sent, exact.sent) <= 1e-3


@WINDS
@pytest.mark.parametrize("radius", [0.0, 0.9])
def test_plants_of_any_size_are_the_exact_sum(wind, radius):
    fast, exact = both(law_in(wind, WALD, 600.0), radius=radius, shared=False)
    assert fast.method == "fast", fast.why
    assert worst(fast.density, exact.density) <= 1e-3
    assert worst(fast.sent, exact.sent) <= 1e-3


@WINDS
def test_a_lonely_plant_gets_nothing_of_its_own(wind):
    # its own far part on the mesh is many times what reaches it from the others, 700 m away
    law = law_in(wind, WALD, 2000.0)
    places = [(10.0, 10.0), (14.0, 10.0), (500.0, 500.0)]
    receptors = receptors_at(*places, radius=0.4, plant=[0, 1, 2])
    sources = sources_at(*places, plant=[0, 1, 2])
    fast, exact = (
        pressure_at_points(receptors, sources, law, ONE, receptor_weight=np.ones(3), settings=how)
        for how in (FAST, EXACT)
    )
    assert fast.method == "fast"
    assert 1e-11 < exact.density[2] / exact.density[0] < 1e-6
    assert fast.density == pytest.approx(exact.density, rel=1e-3, abs=0)
    assert fast.sent == pytest.approx(exact.sent, rel=1e-3, abs=0)


@WINDS
def test_one_worker_and_two_give_the_same_bits(wind):
    one, two = (both(law_in(wind, WALD, 600.0), radius=0.4, engine=engine)[0] for engine in (ONE, TWO))
    assert one.density.tobytes() == two.density.tobytes()
    assert one.sent.tobytes() == two.sent.tobytes()


def test_what_is_sent_is_what_is_received():
    # with the weights as strengths of receivers, both sums are the same double sum
    places, weight = plants(400, 600.0)
    receptors, sources = receptors_at(*places, radius=0.4), sources_at(*(places[:50] + 0.7))
    law = spread_of(rose=rose_toward(60.0))
    found = pressure_at_points(receptors, sources, law, ONE, receptor_weight=weight, settings=FAST)
    assert found.sent.sum() == pytest.approx(weight @ found.density, rel=1e-6)


def test_the_choice_is_made_by_counted_work():
    places, _ = plants(5000, 3000.0)
    law = spread_of(rose=rose_toward(60.0))
    receptors = receptors_at(*places, radius=0.4)
    assert pressure_at_points(receptors, sources_at(*places[:5]), law, TWO).method == "exact"
    many = pressure_at_points(receptors, sources_at(*places), law, TWO)
    assert many.method == "fast"
    assert "mesh of" in many.why


def test_a_check_tells_the_error_at_probes():
    places, _ = plants(400, 600.0)
    asked = PressureSettings(method="fast", check=True, probes=30)
    found = pressure_at_points(receptors_at(*places), sources_at(*places[:50] + 0.3), spread_of(), ONE, settings=asked)
    assert 0 < found.checked <= found.error_bound


def test_two_places_at_once_are_no_division_by_nothing():
    law = spread_of(rose=rose_toward(60.0))
    found = pressure_at_points(receptors_at((5, 5)), sources_at((5, 5), (6, 6)), law, ONE, settings=FAST)
    exact = pressure_at_points(receptors_at((5, 5)), sources_at((5, 5), (6, 6)), law, ONE, settings=EXACT)
    assert found.density == pytest.approx(exact.density, rel=1e-3)
