"""What taking out and replacing single plants costs."""

from __future__ import annotations

import numpy as np

from spreadmap.values.arrays import FloatArray, IntArray
from spreadmap.values.inventory import Inventory
from spreadmap.values.settings import CostSettings


def plant_costs(inventory: Inventory, plant: IntArray, minutes: FloatArray, settings: CostSettings) -> FloatArray:
    """Return labour, disposal and replacement of each plant, shape (n,) [currency of the settings].

    Parameters
    ----------
    inventory : Inventory
    plant : array, shape (n,)
        Positions in the inventory.
    minutes : array, shape (n,)
        Of each, with the set-up and travel that it adds. [person-minutes]
    settings : CostSettings

    References
    ----------
    None: our choice of what is counted; rates are settings.
    """
    bags = np.array([settings.bags[size] for size in inventory.size_class[plant].tolist()], dtype=np.float64)
    labour = np.asarray(minutes, dtype=np.float64) / 60.0 * settings.labour_per_hour
    return np.asarray(labour + bags * settings.disposal_per_bag + settings.replacement_per_plant)
