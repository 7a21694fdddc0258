"""Costs: sums by hand, nothing booked twice, owners of plants before owners of sites."""

from dataclasses import replace

import numpy as np
import pytest
from made_results import made_result

from spreadmap.decisions.costs import NO_SITE, work_costs
from spreadmap.values.settings import CostSettings, Settings, SurveySettings

WHOLE = ("curve", "packing", "remarks")
"""Fields of the removal list that are no columns."""


def costs_of(result, settings=None):
    system = result.systems[0]
    inputs = result.inputs
    asked = Settings(costs=settings or CostSettings())
    return work_costs(system.plan, inputs.inventory, inputs.sites, system.state, asked)


def test_a_medium_rose_costs_what_the_hand_sum_says():
    # 30 min at 45 an hour, two bags at 8, replacement 60: 98.50, near the 93 US$ of one city's press figure
    result = made_result()
    system, inventory = result.systems[0], result.inputs.inventory
    removal = system.plan.removal
    one = {name: getattr(removal, name)[:1] for name in removal.__dataclass_fields__ if name not in WHOLE}
    one |= {"person_minutes": np.array([30.0]), "set_up_minutes": np.array([0.0])}
    medium = replace(inventory, size_class=np.full(len(inventory), "M", dtype=object))
    plan = replace(system.plan, removal=replace(removal, **one))
    table = work_costs(plan, medium, result.inputs.sites, system.state, Settings())
    assert table.removal == pytest.approx(98.5)
    assert table.rows[0].plants == 1


def test_sites_add_up_to_the_list_and_the_dearest_comes_first():
    result = made_result()
    table, removal = costs_of(result), result.systems[0].plan.removal
    assert sum(row.plants for row in table.rows) == len(removal)
    minutes = (removal.person_minutes + removal.set_up_minutes).sum()
    assert sum(row.person_hours for row in table.rows) == pytest.approx(minutes / 60)
    totals = [row.total for row in table.rows]
    assert totals == sorted(totals, reverse=True)
    assert table.total == pytest.approx(table.removal + table.inspection + table.testing)


def test_twice_the_wage_is_twice_the_labour_and_nothing_else():
    result = made_result()
    once, twice = costs_of(result), costs_of(result, CostSettings(labour_per_hour=90.0))
    assert sum(row.labour for row in twice.rows) == pytest.approx(2 * sum(row.labour for row in once.rows))
    assert [row.disposal + row.replacement for row in twice.rows] == [
        row.disposal + row.replacement for row in once.rows
    ]
    assert twice.inspection == pytest.approx(2 * once.inspection)


def test_suspects_within_the_hours_are_tested():
    result = made_result()
    system = result.systems[0]
    look = system.plan.inspection
    suspects = int(np.sum((system.state.status[look.plant] == "suspect") & look.within_hours))
    table = costs_of(result)
    assert table.tests == suspects
    assert table.testing == suspects * 60.0


def test_the_owner_of_the_plant_comes_before_that_of_the_site():
    result = made_result()
    inventory = result.inputs.inventory
    owned = replace(result.inputs, inventory=replace(inventory, owner=np.full(len(inventory), "Trust", dtype=object)))
    assert {row.owner for row in costs_of(replace(result, inputs=owned)).rows} == {"Trust"}
    bare = replace(
        inventory, owner=np.full(len(inventory), "", dtype=object), site_id=np.full(len(inventory), "", dtype=object)
    )
    (row,) = costs_of(replace(result, inputs=replace(result.inputs, inventory=bare))).rows
    assert (row.site, row.owner) == (NO_SITE, "")


def test_hours_of_looking_are_the_looks_and_the_way_to_every_bed():
    result = made_result()
    inventory, look = result.inputs.inventory, result.systems[0].plan.inspection
    table = costs_of(result)
    reached = look.plant[look.within_hours]
    beds = {(inventory.site_id[plant], inventory.bed_id[plant]) for plant in reached}
    # by hand: 1.5 minutes a plant and 5 a bed
    assert table.inspection_hours == pytest.approx((1.5 * len(reached) + 5 * len(beds)) / 60)
    assert sum(row.looked_at for row in table.rows) == len(reached)
    system, free = result.systems[0], Settings(survey=SurveySettings(minutes_per_place=0))
    bare = work_costs(system.plan, inventory, result.inputs.sites, system.state, free)
    assert bare.inspection_hours == pytest.approx(1.5 * len(reached) / 60)
    assert bare.removal == table.removal


def test_a_site_that_is_only_looked_at_has_a_row():
    result = made_result()
    system, inventory = result.systems[0], result.inputs.inventory
    removal = system.plan.removal
    first = {name: getattr(removal, name)[:1] for name in removal.__dataclass_fields__ if name not in WHOLE}
    plan = replace(system.plan, removal=replace(removal, **first))
    rows = work_costs(plan, inventory, result.inputs.sites, system.state, Settings()).rows
    assert sum(row.plants for row in rows) == 1
    only = [row for row in rows if row.plants == 0]
    assert only
    assert all(row.looked_at > 0 and row.total == row.inspection + row.testing for row in only)
