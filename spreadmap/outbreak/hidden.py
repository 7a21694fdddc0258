"""Which green plants stood under most pressure. First form: an order, no chance."""

from __future__ import annotations

import numpy as np
from scipy.spatial import cKDTree

from spreadmap.outbreak.exposure import candidates
from spreadmap.records.state import due_for_removal
from spreadmap.values.inventory import Inventory
from spreadmap.values.results import Exposure, HiddenFirstForm
from spreadmap.values.settings import Settings
from spreadmap.values.surveys import PlantState


def hidden_infection(
    inventory: Inventory, state: PlantState, exposure: Exposure, settings: Settings
) -> HiddenFirstForm:
    """Return the candidates for hidden infection with their exposure and their distance to a confirmed plant.

    Parameters
    ----------
    inventory, state : n plants and what is known of them
    exposure : Exposure
    settings : Settings

    Returns
    -------
    HiddenFirstForm
        Distances are to the nearest confirmed plant, regrowth of one included; infinite where there is none. [m]

    Notes
    -----
    Touching plants are marked apart, because contact is not part of the relative pressure.

    References
    ----------
    ASHS 2019, abstract Paper30621: in one field 73 % of the nearest neighbours of a positive plant were infected.
    """
    among, sick = candidates(state), due_for_removal(state)
    distance = np.full(len(inventory), np.inf)
    if sick.any():
        tree = cKDTree(np.c_[inventory.easting[sick], inventory.northing[sick]])
        distance, _ = tree.query(np.c_[inventory.easting, inventory.northing])
    return HiddenFirstForm(
        relative_exposure=np.where(among, exposure.pressure, np.nan),
        is_touching=among & (distance <= settings.inspection.touching_m),
        distance_to_confirmed_m=distance,
    )
