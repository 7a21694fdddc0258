"""Costs of removal and of the next survey, by site and owner."""

from __future__ import annotations

import numpy as np

from spreadmap.decisions.places import work_places
from spreadmap.values.arrays import FloatArray, IntArray
from spreadmap.values.costs import CostRow, CostTable
from spreadmap.values.inventory import Inventory, Sites
from spreadmap.values.plan import Plan
from spreadmap.values.settings import Settings
from spreadmap.values.surveys import PlantState
from spreadmap.values.words import Status

NO_SITE = "no site given"


def work_costs(plan: Plan, inventory: Inventory, sites: Sites, state: PlantState, settings: Settings) -> CostTable:
    """Return what the removal list and the next survey cost, the dearest site first.

    Parameters
    ----------
    plan : Plan
        The whole removal list counts, beyond this week's hours too; of the inspections those within the hours.
    inventory, sites, state
        Owners are those of the plant, else of its site. Suspects within the survey's hours are tested.
    settings : Settings

    Returns
    -------
    CostTable
        Set-up and travel, and the way to a bed, are booked where they arise: on the first plant of a place.

    References
    ----------
    None: our choice of what is counted; rates are settings.
    """
    removal, look = plan.removal, plan.inspection
    reached = np.flatnonzero(look.within_hours)
    reached = reached[np.argsort(look.walk[reached], kind="stable")]
    looked = look.plant[reached]
    names, group = _groups(inventory, sites, np.concatenate([removal.plant, looked]))
    out, seen = group[: len(removal)], group[len(removal) :]

    def by_group(of: IntArray, values: FloatArray) -> FloatArray:
        return np.bincount(of, weights=values, minlength=len(names)).astype(np.float64)

    rates = settings.costs
    plants, looks = by_group(out, np.ones(len(out))), by_group(seen, np.ones(len(seen)))
    hours = by_group(out, removal.person_minutes + removal.set_up_minutes) / 60.0
    bags = by_group(out, np.array([rates.bags[size] for size in inventory.size_class[removal.plant].tolist()]))
    ways = _ways(inventory, looked, settings.survey.minutes_per_place)
    looking = by_group(seen, look.person_minutes[reached] + ways) / 60.0
    tests = by_group(seen, (state.status[looked] == Status.SUSPECT.value).astype(np.float64))
    rows = [
        CostRow(
            site=site,
            owner=owner,
            plants=int(plants[at]),
            person_hours=float(hours[at]),
            labour=float(hours[at]) * rates.labour_per_hour,
            disposal=float(bags[at]) * rates.disposal_per_bag,
            replacement=float(plants[at]) * rates.replacement_per_plant,
            looked_at=int(looks[at]),
            inspection_hours=float(looking[at]),
            inspection=float(looking[at]) * rates.labour_per_hour,
            tests=int(tests[at]),
            testing=float(tests[at]) * rates.test_per_sample,
        )
        for at, (site, owner) in enumerate(names)
    ]
    return CostTable(
        currency=rates.currency, rows=tuple(sorted(rows, key=lambda row: (-row.total, row.site, row.owner)))
    )


def _groups(inventory: Inventory, sites: Sites, plant: IntArray) -> tuple[list[tuple[str, str]], IntArray]:
    """Return the pairs of site and owner that some plants belong to, and the number of the pair of each plant."""
    names = dict(zip(sites.site_id.tolist(), sites.name.tolist(), strict=True))
    owners = dict(zip(sites.site_id.tolist(), sites.owner.tolist(), strict=True))
    number: dict[tuple[str, str], int] = {}
    group = np.zeros(len(plant), dtype=np.int64)
    for at, index in enumerate(plant.tolist()):
        site = str(inventory.site_id[index])
        owner = str(inventory.owner[index]) or str(owners.get(site, ""))
        group[at] = number.setdefault((str(names.get(site, "")) or site or NO_SITE, owner), len(number))
    return list(number), group


def _ways(inventory: Inventory, walked: IntArray, minutes: float) -> FloatArray:
    """Return the minutes for reaching places, booked on the first plant of each in the order of the walk."""
    place = work_places(inventory)[0][walked]
    ways = np.zeros(len(walked))
    ways[np.unique(place, return_index=True)[1]] = minutes
    return ways
