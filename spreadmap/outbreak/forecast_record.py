"""What a run keeps of its forecast, so that the next survey can be held against it."""

from __future__ import annotations

import numpy as np

from spreadmap.values.arrays import FloatArray
from spreadmap.values.inventory import Inventory
from spreadmap.values.results import SurveyResult, SystemResult
from spreadmap.values.score import Forecast, ForecastRing
from spreadmap.values.surveys import PlantState
from spreadmap.values.words import Status


def forecast_of(system: SystemResult, result: SurveyResult) -> Forecast:
    """Return the record of a forecast: the inspection list with what each plain rule would say of its plants."""
    look, keys = system.plan.inspection, result.inputs.inventory.plant_id
    return Forecast(
        system_key=system.triage.system.key,
        mode=system.face.mode,
        as_of=system.face.as_of,
        valid_until=system.face.valid_until,
        condition=system.face.condition,
        crs=result.inputs.crs,
        plant_id=keys[look.plant],
        pressure=look.pressure,
        distance_m=look.distance_m,
        same_place=found_in_place(result.inputs.inventory, system.state)[look.plant],
        is_suspect=system.state.status[look.plant] == Status.SUSPECT.value,
        within=int(look.within_hours.sum()),
        removal=tuple(keys[system.plan.removal.plant].tolist()),
        rings=tuple(
            ForecastRing(focus=ring.focus, name=ring.name, share=ring.share, polygon=ring.polygon)
            for ring in system.zones.rings
        ),
        courses=tuple(course.only(look.plant) for course in system.courses),
    )


def found_in_place(inventory: Inventory, state: PlantState) -> FloatArray:
    """Return for every plant the share of the hosts of its bed that were ever confirmed, shape (n,) [-].

    The bed counts, or the site where a plant has none; zero for plants with neither. Plants taken out count as well.
    """
    places = [
        f"bed {site} {bed}" if bed else f"site {site}" if site else ""
        for bed, site in zip(inventory.bed_id.tolist(), inventory.site_id.tolist(), strict=True)
    ]
    names, place = np.unique(np.array(places, dtype=str), return_inverse=True)
    hosts = np.bincount(place[state.is_host], minlength=len(names)).astype(np.float64)
    known = state.is_host & ~np.isnat(state.first_found_on)
    found = np.bincount(place[known], minlength=len(names))
    shares = np.divide(found, hosts, out=np.zeros(len(names)), where=hosts > 0)
    shares[names == ""] = 0.0
    return np.asarray(shares[place], dtype=np.float64)
