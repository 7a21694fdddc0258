"""Windows in degree-days as the cited pages print them.

Rutgers nursery IPM, hemlock rust mite, sites.rutgers.edu/nursery-ipm/hemlock-rust-mite: 7-450, mites emerge at 7-22,
base 50 F [read]. Rutgers, early season pest scouting 2021, plant-pest-advisory.rutgers.edu/gdd_0_25_range_2021: conifer
rust mites, overwintering eggs hatch at 7-22, base 50 F [read]. University of Massachusetts, maple gall mites,
ag.umass.edu: 58-148 and 98-155, base 50 F, from 1 March, credited there to Cornell [read]; which of the two belongs to
which gall is our reading.
"""

import pytest

from spreadmap.io.pest_systems import read_pest_systems

SYSTEMS = {system.key: system for system in read_pest_systems()}


@pytest.mark.parametrize(
    ("key", "name", "first", "last"),
    [
        ("hemlock_rust_mite", "mites appear", 7, 450),
        ("hemlock_rust_mite", "first activity", 7, 22),
        ("spruce_rust_mite", "spring: eggs hatch", 7, 22),
        ("white_pine_sheath_mite", "spring: eggs hatch", 7, 22),
        ("maple_bladder_gall", "mites find new leaves", 58, 148),
        ("maple_spindle_gall", "mites find new leaves", 98, 155),
    ],
)
def test_the_window_is_the_printed_one(key, name, first, last):
    (window,) = [window for window in SYSTEMS[key].windows if window.name.startswith(name)]
    heat = window.degree_days
    assert (heat.first, heat.last, heat.base, heat.unit, heat.counted_from) == (first, last, 50, "F", (3, 1))
    assert heat.status == "read"


def test_no_other_window_claims_degree_days():
    assert sum(window.degree_days is not None for system in SYSTEMS.values() for window in system.windows) == 6
