"""Sums that are kept: the same values, made once for the same things, made anew for whatever differs."""

from dataclasses import replace

import numpy as np
import pytest
from small_worlds import receptors_at, rose_toward, screens_of, sources_at, spread_of

from spreadmap.engine import Engine
from spreadmap.pressure import kept_density, kept_sums, pressure_at_points
from spreadmap.pressure.kept import KEPT
from spreadmap.values.settings import PressureSettings

ENGINE, PLAIN = Engine(workers=1), PressureSettings()
AT = receptors_at((0, 0), (4, 3), (20, -5), radius=0.4)
FROM = sources_at((1, 1), (30, 2), strength=[1.0, 3.0])
NONE = screens_of()
LAW = spread_of(rose=rose_toward(70))


@pytest.fixture
def calls(monkeypatch):
    """The sums that are really made, from nothing kept."""
    KEPT.clear()
    made = []
    real = kept_sums.pressure_at_points
    monkeypatch.setattr(kept_sums, "pressure_at_points", lambda *a, **k: made.append(1) or real(*a, **k))
    return made


def test_kept_sums_are_the_sums_and_are_made_once(calls):
    expected = pressure_at_points(AT, FROM, LAW, ENGINE, screens=NONE, settings=PLAIN).density
    for _ in range(3):
        found = kept_density(AT, FROM, LAW, Engine(workers=2), screens=NONE, settings=PLAIN)
        assert np.array_equal(found, expected)
    assert len(calls) == 1
    with pytest.raises(ValueError, match="read-only"):
        found[0] = 1.0


def test_whatever_differs_is_summed_anew(calls):
    given = {"receptors": AT, "sources": FROM, "spread": LAW, "screens": NONE, "settings": PLAIN}
    others = (
        {"receptors": replace(AT, radius_m=[0.5, 0.4, 0.4])},
        {"receptors": replace(AT, plant=[1, -1, -1])},
        {"sources": replace(FROM, strength=[1.0, 2.0])},
        {"sources": replace(FROM, easting=[1.5, 30.0])},
        {"spread": LAW.scaled(2.0)},
        {"spread": spread_of(rose=rose_toward(80))},
        {"spread": replace(LAW, near_radius_m=2.0)},
        {"screens": screens_of((2, -50, 2, 50, 0.5))},
        {"settings": PressureSettings(rtol=5e-4)},
    )
    seen = []
    for other in ({}, *others):
        asked = given | other
        places, sources, law = (asked.pop(name) for name in ("receptors", "sources", "spread"))
        seen.append(kept_density(places, sources, law, ENGINE, **asked))
    assert len(calls) == len(seen)


def test_no_sources_send_nothing(calls):
    nobody = FROM.only(np.zeros(2, dtype=bool))
    assert kept_density(AT, nobody, LAW, ENGINE, screens=NONE, settings=PLAIN).tolist() == [0.0, 0.0, 0.0]
