"""Costs of removal and of the next survey, by site and owner."""

from __future__ import annotations

import numpy as np

from spreadmap.values.costs import CostRow, CostTable
from spreadmap.values.inventory import Inventory, Sites
from spreadmap.values.plan import Plan
from spreadmap.values.settings import CostSettings
from spreadmap.values.surveys import PlantState
from spreadmap.values.words import Status

NO_SITE = "no site given"


def work_costs(plan: Plan, inventory: Inventory, sites: Sites, state: PlantState, settings: CostSettings) -> CostTable:
    """Return what the removal list and the next survey cost, the dearest site first.

    Parameters
    ----------
    plan : Plan
        The whole removal list counts, beyond this week's hours too; of the inspections those within the hours.
    inventory, sites, state
        Owners are those of the plant, else of its site. Suspects within the survey's hours are tested.
    settings : CostSettings

    Returns
    -------
    CostTable
        Set-up and travel are booked where they arise: on the first plant of a place.

    References
    ----------
    None: our choice of what is counted; rates are settings.
    """
    removal, inspection = plan.removal, plan.inspection
    names = dict(zip(sites.site_id.tolist(), sites.name.tolist(), strict=True))
    owners = dict(zip(sites.site_id.tolist(), sites.owner.tolist(), strict=True))
    groups: dict[tuple[str, str], list[int]] = {}
    for place, plant in enumerate(removal.plant.tolist()):
        site = str(inventory.site_id[plant])
        owner = str(inventory.owner[plant]) or str(owners.get(site, ""))
        groups.setdefault((str(names.get(site, "")) or site or NO_SITE, owner), []).append(place)
    rows = [_row(site, owner, np.array(places), plan, inventory, settings) for (site, owner), places in groups.items()]
    reached = inspection.within_hours
    hours = float(inspection.person_minutes[reached].sum()) / 60.0
    tests = int(np.sum(state.status[inspection.plant[reached]] == Status.SUSPECT.value))
    return CostTable(
        currency=settings.currency,
        rows=tuple(sorted(rows, key=lambda row: (-row.total, row.site, row.owner))),
        inspection_hours=hours,
        inspection=hours * settings.labour_per_hour,
        tests=tests,
        testing=tests * settings.test_per_sample,
    )


def _row(
    site: str, owner: str, places: np.ndarray, plan: Plan, inventory: Inventory, settings: CostSettings
) -> CostRow:
    """Return the costs of some plants of the removal list."""
    removal = plan.removal
    hours = float((removal.person_minutes[places] + removal.set_up_minutes[places]).sum()) / 60.0
    bags = sum(settings.bags[size] for size in inventory.size_class[removal.plant[places]].tolist())
    return CostRow(
        site=site,
        owner=owner,
        plants=len(places),
        person_hours=hours,
        labour=hours * settings.labour_per_hour,
        disposal=bags * settings.disposal_per_bag,
        replacement=len(places) * settings.replacement_per_plant,
    )
