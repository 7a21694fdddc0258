"""Sums with kept geometry against the exact ones, with other kernels and other wind influence each time."""

from dataclasses import replace

import numpy as np
import pytest
from made_fields import EXACT, law_in, worst
from small_worlds import ONE_OF_EACH, WALD, receptors_at, rose_toward, sources_at, spread_of

from spreadmap.engine import Engine
from spreadmap.errors import InputError
from spreadmap.pressure import KeptGeometry, pressure_at_points
from spreadmap.pressure.kept_geometry import RELATIVE_ERROR_BOUND
from spreadmap.values.settings import PressureSettings

ONE, TWO = Engine(workers=1), Engine(workers=2)


def town(radius=0.4, count=300, senders=40, seed=4):
    rng = np.random.default_rng(seed)
    places = rng.uniform(0, 400, (count, 2))
    places[: count // 2] = 100 + rng.uniform(0, 25, (count // 2, 2))
    radii = np.where(np.arange(count) % 2, radius, 1.5 * radius)
    receptors = receptors_at(*places, radius=radii, plant=np.arange(count))
    return receptors, sources_at(*places[:senders], strength=np.linspace(0.5, 2, senders), plant=np.arange(senders))


@pytest.mark.parametrize("wind", ["still", "one", "bent"])
@pytest.mark.parametrize("radius", [0.0, 0.4])
def test_other_scales_and_wind_influences_are_the_exact_sums(wind, radius):
    receptors, sources = town(radius)
    law = law_in(wind, WALD, 400.0)
    kept = KeptGeometry(receptors, sources, law, ONE)
    for scale, influence in ((0.5, 0.0), (1.0, 0.5), (4.0, 1.0)):
        other = replace(law, kernel=WALD.scaled(scale), wind_influence=influence)
        exact = pressure_at_points(receptors, sources, other, ONE, settings=EXACT).density
        assert worst(kept.density(other), exact) <= (1e-5 if radius == 0 else RELATIVE_ERROR_BOUND)


@pytest.mark.parametrize("kernel", ONE_OF_EACH, ids=lambda kernel: kernel.family)
def test_any_kernel_may_come(kernel):
    receptors, sources = town(0.4)
    law = spread_of(WALD, rose_toward(60.0))
    kept = KeptGeometry(receptors, sources, law, ONE)
    other = replace(law, kernel=kernel)
    exact = pressure_at_points(receptors, sources, other, ONE, settings=EXACT).density
    assert worst(kept.density(other), exact) <= 1e-3


def test_other_strengths_and_a_rate_are_factors():
    receptors, sources = town()
    law = spread_of(WALD, rose_toward(60.0))
    kept = KeptGeometry(receptors, sources, law, ONE)
    strength = np.linspace(3.0, 0.0, len(sources))
    again = sources_at(
        *np.column_stack([sources.easting, sources.northing]), strength=strength, plant=sources.plant
    )  # fmt: skip
    exact = pressure_at_points(receptors, again, law, ONE, settings=EXACT).density
    assert worst(kept.density(law, strength), exact) <= RELATIVE_ERROR_BOUND
    assert kept.density(law, 7.0 * strength) == pytest.approx(7.0 * kept.density(law, strength), rel=1e-6)


def test_one_worker_and_two_give_the_same_bits():
    receptors, sources = town()
    law = spread_of(WALD, rose_toward(60.0))
    one, two = (KeptGeometry(receptors, sources, law, engine).density(law) for engine in (ONE, TWO))
    assert one.tobytes() == two.tobytes()


def test_another_wind_is_refused():
    receptors, sources = town()
    kept = KeptGeometry(receptors, sources, spread_of(WALD, rose_toward(60.0)), ONE)
    with pytest.raises(InputError, match="another wind or near radius than the kept geometry; allowed: another kernel"):
        kept.density(spread_of(WALD, rose_toward(61.0)))


def test_more_memory_than_allowed_is_refused_with_the_figure():
    receptors, sources = town(count=300, senders=300)
    with pytest.raises(InputError, match=r"keeping 300 x 300 pairs would take about 0.00072 GB; allowed: 0.0001 GB"):
        KeptGeometry(receptors, sources, spread_of(), ONE, PressureSettings(most_memory_gb=1e-4))


def test_nobody_gives_and_nobody_gets():
    # a law made anew has the same wind all the same
    receptors = town()[0]
    assert KeptGeometry(receptors, sources_at(), spread_of(), ONE).density(spread_of()).tolist() == [0.0] * 300
