"""A row of sources in a wind that mostly comes from one side.

Thresh, J. M. (1966), Field experiments on the spread of blackcurrant reversion virus and its gall mite vector
(Phytoptus ribis Nal.), Annals of Applied Biology, doi 10.1111/j.1744-7348.1966.tb04381.x, abstract: from a source row,
spread predominantly along the prevailing wind; a curvilinear decrease with distance; most infection next to the source;
more downwind than upwind; steeper gradients upwind. The distances themselves stand in the paper, not in the abstract,
so that these are statements of direction only.
"""

import numpy as np
import pytest

from spreadmap.dispersal.climate import flight_climate
from spreadmap.dispersal.spread import spread_from_settings
from spreadmap.engine import Engine
from spreadmap.pressure import pressure_at_points
from spreadmap.values.inventory import Receptors, Sources
from spreadmap.values.settings import Settings
from spreadmap.values.wind import WindHours

DISTANCES = np.array([1.0, 2.0, 4.0, 8.0, 16.0, 32.0, 64.0])


@pytest.fixture(scope="module")
def gradients():
    """Return the pressure down and up the wind of a row 30 m long, by default settings and hours of steady wind."""
    n = 60
    hours = WindHours(
        time_utc=np.datetime64("2024-06-01T12:30", "m") + np.arange(n) * np.timedelta64(1440, "m"),
        wind_from_deg=270.0 + 15.0 * np.sin(np.arange(n)), speed_m_s=np.full(n, 3.0), gust_m_s=np.full(n, np.nan),
        temperature_c=np.full(n, 20.0), rain_mm=np.zeros(n), is_coarse=np.zeros(n, dtype=bool),
    )  # fmt: skip
    settings = Settings()
    climate = flight_climate(hours, None, [1.0] * 12, 0.3, 51.3, settings.wind)
    assert climate.hours_used == n
    row = np.arange(-15.0, 15.5, 1.0)
    sources = Sources(easting=np.zeros(len(row)), northing=row, strength=np.ones(len(row)), plant=np.full(len(row), -1))
    places = np.concatenate([DISTANCES, -DISTANCES])
    receptors = Receptors(
        easting=places,
        northing=np.zeros(len(places)),
        radius_m=np.full(len(places), 0.4),
        plant=np.full(len(places), -1),
    )
    density = pressure_at_points(receptors, sources, spread_from_settings(settings, climate), Engine(workers=1)).density
    return density[: len(DISTANCES)], density[len(DISTANCES) :]


def test_pressure_falls_steeply_with_distance(gradients):
    for side in gradients:
        assert (np.diff(side) < 0).all()
        # four fifths and more are gone within 16 m
        assert side[4] < 0.2 * side[0]


def test_the_decrease_is_curvilinear(gradients):
    # the fall per metre gets smaller all the way out
    for side in gradients:
        per_metre = -np.diff(side) / np.diff(DISTANCES)
        assert (np.diff(per_metre) < 0).all()


def test_more_goes_downwind_than_upwind(gradients):
    down, up = gradients
    assert (down > up).all()
    assert (down[3:] > 2 * up[3:]).all()


def test_the_gradient_is_steeper_upwind(gradients):
    down, up = gradients
    assert (up[1:] / up[0] < down[1:] / down[0]).all()
