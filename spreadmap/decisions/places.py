"""What a crew sets up once: a bed, a site, or loose plants near each other."""

from __future__ import annotations

import numpy as np

from spreadmap.errors import SettingsError
from spreadmap.values.arrays import FloatArray, IntArray
from spreadmap.values.inventory import Inventory, Sites
from spreadmap.values.settings import RemovalSettings
from spreadmap.values.words import SetUp

SAME_PLACE_M = 20.0
"""Plants without bed and site in one square of this side are set up for once [m]; our choice."""


def work_places(inventory: Inventory) -> tuple[IntArray, list[str]]:
    """Return the place of every plant, shape (n,), and the places in words.

    A place is what is set up once: a bed of a site, else the site, else the plants without either in one square of
    `SAME_PLACE_M`, named after the first of them.
    """
    number: dict[tuple[str, str, str], int] = {}
    words: list[str] = []
    place = np.empty(len(inventory), dtype=np.int64)
    square = np.floor(np.c_[inventory.easting, inventory.northing] / SAME_PLACE_M).astype(np.int64).tolist()
    for index, (bed, site, plant) in enumerate(
        zip(inventory.bed_id, inventory.site_id, inventory.plant_id, strict=True)
    ):
        key = (site, bed, "" if bed or site else f"{square[index]}")
        if key not in number:
            number[key] = len(words)
            words.append(f"bed {bed}" if bed else f"site {site}" if site else f"the plants round {plant}")
        place[index] = number[key]
    return place, words


def person_minutes(inventory: Inventory, plant: IntArray, settings: RemovalSettings) -> FloatArray:
    """Return the person-minutes of taking each plant out, shape of `plant`.

    Raises
    ------
    SettingsError
        If a size class has no minutes.
    """
    sizes = inventory.size_class[plant].tolist()
    missing = sorted(set(sizes) - set(settings.person_minutes))
    if missing:
        msg = (
            f"no person-minutes for size class '{missing[0]}' of {sizes.count(missing[0])} plants; allowed: minutes for "
            "every size class that stands on the list. Add them to settings.removal.person_minutes."
        )
        raise SettingsError(msg)
    return np.array([settings.person_minutes[size] for size in sizes], dtype=np.float64)


def set_up_minutes(inventory: Inventory, sites: Sites, plant: IntArray, settings: RemovalSettings) -> FloatArray:
    """Return the person-minutes to travel to and set up at each plant's place, shape of `plant`."""
    traffic = {key for key, kind in zip(sites.site_id, sites.set_up, strict=True) if kind == SetUp.TRAFFIC.value}
    minutes = [
        settings.set_up_minutes_traffic if site in traffic else settings.set_up_minutes_bed
        for site in inventory.site_id[plant].tolist()
    ]
    return np.array(minutes, dtype=np.float64) + settings.travel_minutes
