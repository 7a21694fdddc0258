"""The order of hidden infection without fitted rates: who comes first, what is said, and what is not."""

from dataclasses import fields

import numpy as np
from hidden_worlds import (
    ALWAYS,
    NOWHERE,
    hidden_in,
    inventory_at,
    rates_of,
    settings_with,
    still_air,
    surveys_of,
    work_of,
)  # fmt: skip

from spreadmap.engine import Engine
from spreadmap.io.hidden_columns import HIDDEN_RANKS, hidden_values
from spreadmap.outbreak.hidden_order import hidden_or_order
from spreadmap.pressure.sums import NO_SCREENS
from spreadmap.records.state import plant_state
from spreadmap.values.hidden import HiddenOrder

PLACES = [(0, 0), (3, 0), (-3, 0), (0, 3), (40, 0), (90, 0)]
ROWS = [("p0", "2025-10-01", "infected", "lab"), ("p1", "2025-11-09", "clean", "visual")]


def run(chances, settings=None):
    plants, records, log = inventory_at(*PLACES), surveys_of(*ROWS), work_of()
    state, _ = plant_state(plants, records, log, ALWAYS, np.datetime64("2025-11-10"))
    return hidden_or_order(chances, plants, state, records, log, NOWHERE, still_air(), NO_SCREENS, ALWAYS,
                           settings or settings_with(), Engine(workers=1))  # fmt: skip


def order():
    return run(None)[0]


def mean_field(rates):
    return hidden_in(inventory_at(*PLACES), ROWS, "2025-11-10", rates_of(*rates), settings_with())


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


def test_chances_of_a_fit_pass_unchanged_and_nothing_is_assumed_beside_them():
    given = mean_field((0.1, 0.0, 1e-5))
    found, starts = run(given)
    assert found is given
    assert starts == {}
    values = hidden_values(found, np.arange(6))
    sums = values["hidden_not_yet"] + values["hidden_infectious"] + values["hidden_healthy"]
    assert np.allclose(sums[1:], 1.0, atol=1e-9)
    assert values["hidden_healthy"][0] == -9999


def test_starts_are_one_for_every_assumed_rate_and_rise_with_it():
    found, starts = run(None)
    assert isinstance(found, HiddenOrder)
    infection = settings_with().infection
    assert set(starts) == {infection.assumed_onward, *infection.assumed_onward_range}
    sums = [starts[onward].expected_infected for onward in sorted(starts)]
    assert sums == sorted(sums)
    assert sums[0] < sums[-1]


def test_a_rate_that_was_solved_after_another_ends_where_it_ends_alone():
    together = run(None)[1]
    infection = settings_with().infection
    alone = settings_with(assumed_onward=infection.assumed_onward_range[1],
                          assumed_onward_range=(infection.assumed_onward_range[1],) * 2)  # fmt: skip
    other = run(None, alone)[1][infection.assumed_onward_range[1]]
    assert np.allclose(together[infection.assumed_onward_range[1]].infected, other.infected, atol=2e-3, equal_nan=True)
