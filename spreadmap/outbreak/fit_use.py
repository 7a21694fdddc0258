"""What others take from a fit: laws and rates by draw, mean rates, and whether it still stands for the records."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import math
from collections.abc import Iterable
from dataclasses import asdict, replace

import numpy as np

from spreadmap.dispersal.bearings import never_negative, rose_of_von_mises
from spreadmap.dispersal.spread import Spread
from spreadmap.outbreak.fit_world import with_shape
from spreadmap.values.arrays import even_steps
from spreadmap.values.fit import HistoryFit
from spreadmap.values.inventory import Inventory
from spreadmap.values.pest_system import PestSystem
from spreadmap.values.rates import Rates
from spreadmap.values.settings import Settings
from spreadmap.values.surveys import Surveys, WorkLog
from spreadmap.values.wind import WindClimate

GROUPS = ("kernel", "physics", "infection", "detection", "fit", "sources")
"""Groups of settings on which a fit rests."""


def posterior_draws(fit: HistoryFit, spread: Spread, most: int | None = None) -> list[tuple[Spread, Rates]]:
    """Return laws of arrivals and rates, one pair for each draw of the posterior.

    Parameters
    ----------
    fit : HistoryFit
    spread : Spread
        The law of the settings that the fit scaled; its direction counts where the data found none of their own.
    most : int, optional
        At most so many draws, evenly spaced among all.

    Returns
    -------
    list of (Spread, Rates)
    """
    count = len(fit.draws)
    taken = even_steps(count, count if most is None else most)
    return [(law_of(fit, spread, at), rates_of(fit, at)) for at in taken]


def rates_of(fit: HistoryFit, at: int) -> Rates:
    """Return the rates of one draw."""
    draws = fit.draws
    return Rates(
        per_day_m2=float(draws.rate_per_day_m2[at]),
        contact_per_day=float(draws.contact_per_day[at]),
        background_per_day=float(draws.background_per_day[at]),
    )


def mean_rates(fit: HistoryFit) -> Rates:
    """Return the rates at the posterior means of their logarithms, for one map that stands for all draws."""
    draws = fit.draws

    def middle(values: np.ndarray) -> float:
        return float(np.exp(np.mean(np.log(np.maximum(values, 1e-300)))))

    return Rates(
        per_day_m2=middle(draws.rate_per_day_m2), contact_per_day=middle(draws.contact_per_day),
        background_per_day=middle(draws.background_per_day),
    )  # fmt: skip


def mean_law(fit: HistoryFit, spread: Spread) -> Spread:
    """Return the law at the posterior means of the logarithms of the factors and of the wind's components."""
    draws = fit.draws
    return _law(
        fit, spread, float(np.exp(np.mean(np.log(draws.scale_factor)))),
        float(np.exp(np.mean(np.log(draws.shape_factor)))), float(draws.wind_east.mean()), float(draws.wind_north.mean()),
    )  # fmt: skip


def law_of(fit: HistoryFit, spread: Spread, at: int) -> Spread:
    """Return the law of one draw."""
    draws = fit.draws
    values = (draws.scale_factor, draws.shape_factor, draws.wind_east, draws.wind_north)
    return _law(fit, spread, *(float(column[at]) for column in values))


def _law(fit: HistoryFit, spread: Spread, factor: float, shape: float, east: float, north: float) -> Spread:
    """Return the law with lengths and shape multiplied, and the direction of the data where they found one."""
    if not fit.finds_wind:
        return _shaped(spread, shape).scaled(factor)
    kernel = with_shape(spread.kernel, math.log(shape)).scaled(factor)
    bearing, concentration = math.degrees(math.atan2(east, north)) % 360, math.hypot(east, north)
    rose = never_negative(rose_of_von_mises(np.array(bearing), np.array(concentration), spread.harmonics))
    climate = WindClimate(rose=rose, basis="fitted to the survey history", sector_share=np.zeros(16))
    return Spread(kernel=kernel, climate=climate, wind_influence=1.0, near_radius_m=spread.near_radius_m)


def _shaped(spread: Spread, shape: float) -> Spread:
    """Return the law with the shape of its kernel multiplied, of each strand alike."""
    if shape == 1.0:
        return spread
    strands = tuple((share, _shaped(one, shape)) for share, one in spread.strands)
    return replace(spread, kernel=with_shape(spread.kernel, math.log(shape)), strands=strands)


def settings_hash(settings: Settings) -> str:
    """Return the hash of the settings on which a fit rests."""
    groups = {name: asdict(getattr(settings, name)) for name in GROUPS}
    groups["touching_m"] = {"value": settings.inspection.touching_m}
    return hashlib.sha256(json.dumps(groups, sort_keys=True, default=str).encode()).hexdigest()


def records_hash(
    inventory: Inventory, surveys: Surveys, work_log: WorkLog, system: PestSystem, as_of: dt.date
) -> dict[str, str]:
    """Return hashes of the records up to a date that a fit of a pest system rests on, by kind; rows in any order.

    Of the pest system its hosts and its season of flight count, modelled or not.
    """
    day = np.datetime64(as_of)
    plants = (
        f"{key}|{east:.3f}|{north:.3f}|{host}|{size}|{weight}|{planted}"
        for key, east, north, host, size, weight, planted in zip(
            inventory.plant_id, inventory.easting, inventory.northing, inventory.host, inventory.size_class,
            inventory.susceptibility, inventory.planted_on, strict=True,
        )
    )  # fmt: skip
    counts = (surveys.inspected_on <= day) & np.isin(surveys.pest_system.astype(str), [system.key, ""])
    looks = (
        f"{surveys.plant_id[k]}|{surveys.inspected_on[k]}|{surveys.status[k]}|{surveys.evidence[k]}|{surveys.method[k]}|"
        f"{surveys.observer[k]}|{surveys.is_bed_count[k]}"
        for k in np.flatnonzero(counts)
    )
    work = (
        f"{work_log.plant_id[k]}|{work_log.done_on[k]}|{work_log.roots_complete[k]}"
        for k in np.flatnonzero(work_log.done & (work_log.done_on <= day))
    )
    flight = [f"{month}|{weight}" for month, weight in enumerate(system.flight_weight)]
    return {
        "inventory": _hash_of(plants), "surveys": _hash_of(looks), "work_log": _hash_of(work),
        "pest_system": _hash_of([*system.host_genera, *flight]),
    }  # fmt: skip


def _hash_of(lines: Iterable[str]) -> str:
    return hashlib.sha256("\n".join(sorted(lines)).encode()).hexdigest()


def inspections_since(
    fit: HistoryFit, inventory: Inventory, surveys: Surveys, system: PestSystem, as_of: dt.date
) -> int:
    """Return how many inspections of plants of the inventory for a pest system a fit does not know on a date.

    Chances of hidden infection rest on all of them: states of a fit cannot be told anew for those that came later.
    """
    known = set(inventory.plant_id.tolist())
    later = (surveys.inspected_on > np.datetime64(fit.as_of)) & (surveys.inspected_on <= np.datetime64(as_of))
    later &= np.isin(surveys.pest_system.astype(str), [system.key, ""])
    return sum(key in known for key in surveys.plant_id[later].tolist())


def newest_fit(
    fits: Iterable[HistoryFit], inventory: Inventory, surveys: Surveys, work_log: WorkLog, system: PestSystem,
    settings: Settings, as_of: dt.date,
) -> tuple[HistoryFit | None, tuple[str, ...]]:  # fmt: skip
    """Return the newest accepted fit that may be used on a date, and sentences about those that may not.

    Parameters
    ----------
    fits : HistoryFit each
        Of this system, oldest first.
    as_of : date
        A fit to surveys after it is never used: it would know what was not known then. Nor is one that does not know
        all inspections up to it.

    Returns
    -------
    HistoryFit or None, tuple of str
    """
    remarks = []
    for fit in reversed(list(fits)):
        if not fit.accepted or fit.as_of > as_of:
            continue
        name = f"The fit of {fit.as_of} for {system.common_name} is not used"
        if fit.settings_sha256 != settings_hash(settings):
            remarks.append(f"{name}: settings it rests on have changed. Fit again.")
        elif fit.inputs != records_hash(inventory, surveys, work_log, system, fit.as_of):
            remarks.append(f"{name}: records of its time have changed. Fit again.")
        elif later := inspections_since(fit, inventory, surveys, system, as_of):
            remarks.append(f"{name}: it does not know {later} inspections since, up to {as_of}. Fit again.")
        else:
            return fit, tuple(remarks)
    return None, tuple(remarks)
