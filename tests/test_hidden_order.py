"""The order of hidden infection without fitted rates: who comes first, what is said, and what is not."""

from dataclasses import fields

import numpy as np
from hidden_worlds import ALWAYS, NOWHERE, inventory_at, settings_with, still_air, surveys_of, work_of
from made_fits import fit_with, states_of

from spreadmap.engine import Engine
from spreadmap.io.hidden_columns import HIDDEN_RANKS, hidden_values
from spreadmap.outbreak.hidden_order import hidden_or_order
from spreadmap.outbreak.scene import Scene
from spreadmap.pressure.sums import NO_SCREENS
from spreadmap.records.state import plant_state
from spreadmap.values.hidden import HiddenOrder

PLACES = [(0, 0), (3, 0), (-3, 0), (0, 3), (40, 0), (90, 0)]
ROWS = [("p0", "2025-10-01", "infected", "lab"), ("p1", "2025-11-09", "clean", "visual")]


def run(fit=None, settings=None):
    plants, records, log = inventory_at(*PLACES), surveys_of(*ROWS), work_of()
    state, _ = plant_state(plants, records, log, ALWAYS, np.datetime64("2025-11-10"))
    scene = Scene(
        inventory=plants, state=state, surveys=records, work_log=log, wild=NOWHERE, spread=still_air(),
        screens=NO_SCREENS, system=ALWAYS, settings=settings or settings_with(), engine=Engine(workers=1),
    )  # fmt: skip
    return hidden_or_order(scene, fit)


def order():
    return run().hidden


def test_a_plant_looked_at_yesterday_ranks_below_its_equals_that_were_not():
    found = order()
    assert isinstance(found, HiddenOrder)
    assert found.rank.tolist() == [0, 3, 2, 1, 4, 5]  # all three 3 m from p0; p1 may hide something, nearer p3 than p2
    assert (np.diff(found.weight[[3, 2, 1, 4, 5]]) < 0).all()
    assert np.nanmax(found.weight) == 100.0
    assert np.isnan(found.weight[0])


def test_ranks_over_the_range_hold_their_middle():
    found = order()
    among = found.rank > 0
    assert (found.rank_low <= found.rank)[among].all()
    assert (found.rank <= found.rank_high)[among].all()
    assert found.rank_holds.tolist() == [False, *(found.rank_low == found.rank_high)[1:].tolist()]  # five tenths apart


def test_no_chance_leaves_in_relative_mode():
    found = order()
    assert not {"infectious", "healthy", "not_yet_infectious", "infected_in"} & {item.name for item in fields(found)}
    words = " ".join(column.meaning + column.name for column in HIDDEN_RANKS).casefold()
    assert not any(word in words for word in ("chance", "probab", "likel"))
    values = hidden_values(found, np.arange(6))
    assert values["hidden_rank"].tolist() == [-9999, 3, 2, 1, 4, 5]
    assert values["hidden_rank_holds"][0] == "U"


def test_a_fit_gives_chances_and_nothing_is_assumed_beside_them():
    fit = fit_with(states_of({"p0": "2025-08-01"}, {"p0": "2025-08-01"}), "2025-10-20", "2025-11-09")
    found = run(fit)
    assert found.chances is found.hidden
    assert found.assumed == {}
    assert len(found.laws) == len(found.begin.starts) == 2
    values = hidden_values(found.hidden, np.arange(6))
    sums = values["hidden_not_yet"] + values["hidden_infectious"] + values["hidden_healthy"]
    assert np.allclose(sums[1:], 1.0, atol=1e-9)
    assert values["hidden_healthy"][0] == -9999


def test_starts_are_one_for_every_assumed_rate_and_rise_with_it():
    found = run()
    assert isinstance(found.hidden, HiddenOrder)
    assert (found.chances, found.begin, found.laws) == (None, None, ())
    starts = found.assumed
    infection = settings_with().infection
    assert set(starts) == {infection.assumed_onward, *infection.assumed_onward_range}
    sums = [starts[onward].expected_infected for onward in sorted(starts)]
    assert sums == sorted(sums)
    assert sums[0] < sums[-1]


def test_a_rate_that_was_solved_after_another_ends_where_it_ends_alone():
    together = run().assumed
    infection = settings_with().infection
    alone = settings_with(assumed_onward=infection.assumed_onward_range[1],
                          assumed_onward_range=(infection.assumed_onward_range[1],) * 2)  # fmt: skip
    other = run(settings=alone).assumed[infection.assumed_onward_range[1]]
    assert np.allclose(together[infection.assumed_onward_range[1]].infected, other.infected, atol=2e-3, equal_nan=True)
