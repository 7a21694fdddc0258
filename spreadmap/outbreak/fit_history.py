"""From tables of a project to the survey history that the sampler takes, with every contradiction named by its row."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri

from spreadmap.biology.season import flight_days_of_a_year, flight_weight_on
from spreadmap.biology.season_clock import SeasonClock
from spreadmap.dispersal.spread import Spread
from spreadmap.errors import InventoryError
from spreadmap.outbreak.fit_problem import Beliefs, FitProblem, Incubation
from spreadmap.outbreak.looks import LOOKED, SEEN, looks_at, seen_on
from spreadmap.records.sources import canopy_radius, size_factor
from spreadmap.records.state import hosts_of, plant_state, weak_remains
from spreadmap.values.arrays import BoolArray, DateArray, FloatArray, IntArray, no_dates
from spreadmap.values.inventory import Inventory, Sources
from spreadmap.values.pest_system import PestSystem
from spreadmap.values.project import Fault
from spreadmap.values.settings import Settings
from spreadmap.values.surveys import PlantState, Surveys, WorkLog
from spreadmap.values.words import Method, Status

NOON = 0.5
"""Looks and removals happen at noon of their day; of one day the look comes first [d]."""
MARGIN_DAYS = 800
"""Days told beyond the last look, for plants that become infectious later [d]."""
NONE_AT_ALL = math.log(1e-12)
"""Logarithm of a rate that stands for none [1/day]."""
SHOWN = 5


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class HistoryColumns:
    """What was seen of every plant of the inventory, and when it came and went; no date where nothing is known."""

    found_on: DateArray
    first_removed: DateArray
    last_removed: DateArray
    gone_on: DateArray
    is_weak: BoolArray
    is_host: BoolArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class History:
    """The survey history of one pest system, which plant of the inventory each of its plants is, and remarks.

    `first_look`, `last_look` are days; `new_cases` were first noticed after the first survey.
    """

    problem: FitProblem
    plant: IntArray
    columns: HistoryColumns
    first_look: np.datetime64
    last_look: np.datetime64
    new_cases: int
    remarks: tuple[str, ...]


def survey_history(
    inventory: Inventory, surveys: Surveys, work_log: WorkLog, wild: Sources, spread: Spread, system: PestSystem,
    settings: Settings, as_of: np.datetime64,
) -> History:  # fmt: skip
    """Return the survey history of one pest system up to a date.

    Parameters
    ----------
    inventory, surveys, work_log
        Rows after `as_of` are passed over.
    wild : Sources
        Wild stands, which send all the time.
    spread : Spread
        The law whose lengths are scaled; its direction is fitted anew.
    system : PestSystem
    settings : Settings
    as_of : `datetime64[D]`

    Returns
    -------
    History

    Raises
    ------
    InventoryError
        If nobody looked, nothing was found, everything was infected from the start, or rows contradict each other.
    """
    state, _ = plant_state(inventory, surveys, work_log, system, as_of)
    rows = _rows_of_looks(inventory, surveys, system, as_of)
    columns = _columns(inventory, surveys, work_log, system, state, as_of)
    _refuse_contradictions(inventory, surveys, columns, rows)
    _refuse_the_useless(surveys, rows, columns, system, as_of)
    hosts = np.flatnonzero(columns.is_host)
    table, remarks = _looks(inventory, surveys, rows, columns, settings)
    days = surveys.inspected_on[rows]
    first_look, last_look = days.min(), days.max()
    day_zero = first_look - np.timedelta64(settings.fit.start_days, "D")
    place = np.full(len(inventory), -1)
    place[hosts] = np.arange(len(hosts))
    table = table[place[table[:, 0].astype(np.int64)] >= 0]
    table[:, 0] = place[table[:, 0].astype(np.int64)]
    table[:, 1] -= day_zero.astype(np.int64)
    problem = _problem(
        inventory, hosts, columns, table, wild, spread, system, settings, (day_zero, first_look, last_look)
    )
    new = columns.found_on[hosts] > first_survey_end(days, settings.fit.survey_gap_days)
    unsure = int(np.sum((state.status == Status.SUSPECT.value) & columns.is_host))
    if unsure:
        remarks += (f"{unsure} suspects were never settled; the looks that called them so say nothing to the fit.",)
    return History(
        problem=problem, plant=hosts, columns=columns, first_look=first_look, last_look=last_look,
        new_cases=int(new.sum()), remarks=remarks,
    )  # fmt: skip


def first_survey_end(days: DateArray, gap_days: int) -> np.datetime64:
    """Return the last day of the first survey: looks that lie closer than so many days are one survey."""
    known = np.unique(days)
    gaps = np.flatnonzero(np.diff(known).astype(np.int64) > gap_days)
    return np.datetime64(known[gaps[0]] if len(gaps) else known[-1], "D")


def _rows_of_looks(inventory: Inventory, surveys: Surveys, system: PestSystem, as_of: np.datetime64) -> IntArray:
    """Return the rows that looked at one known plant each, in the order of dates, those that saw nothing first."""
    known = set(inventory.plant_id.tolist())
    counts = (
        np.array([key in known for key in surveys.plant_id.tolist()], dtype=np.bool_)
        & (surveys.inspected_on <= as_of)
        & np.isin(surveys.pest_system.astype(str), [system.key, ""])
        & np.isin(surveys.status.astype(str), LOOKED)
        & ~surveys.is_bed_count
    )
    rows = np.flatnonzero(counts)
    seen = np.isin(surveys.status[rows].astype(str), SEEN)
    return rows[np.lexsort((seen, surveys.inspected_on[rows]))]


def _columns(
    inventory: Inventory, surveys: Surveys, work_log: WorkLog, system: PestSystem, state: PlantState,
    as_of: np.datetime64,
) -> HistoryColumns:  # fmt: skip
    """Return when every plant was found, taken out first and last, or was gone."""
    n = len(inventory)
    place = {key: index for index, key in enumerate(inventory.plant_id.tolist())}
    out = [
        (place[key], day)
        for key, day, done in zip(work_log.plant_id.tolist(), work_log.done_on, work_log.done, strict=True)
        if done and key in place and day <= as_of
    ]
    out += [
        (place[key], day)
        for key, day, status in zip(surveys.plant_id.tolist(), surveys.inspected_on, surveys.status, strict=True)
        if status == Status.REMOVED.value and key in place and day <= as_of
    ]
    first, last = no_dates(n), no_dates(n)
    for plant, day in sorted(out, key=lambda one: one[1]):
        first[plant] = day if np.isnat(first[plant]) else first[plant]
        last[plant] = day
    lost = (state.status == Status.NOT_FOUND.value) & np.isnat(first)
    return HistoryColumns(
        found_on=seen_on(looks_at(surveys, inventory, system.key, as_of), state),
        first_removed=first,
        last_removed=last,
        gone_on=np.where(lost, state.status_on, first),
        is_weak=weak_remains(state) | (last > first),
        is_host=hosts_of(inventory, system),
    )


def _refuse_contradictions(inventory: Inventory, surveys: Surveys, columns: HistoryColumns, rows: IntArray) -> None:
    """Refuse rows that no outbreak could have made, all together."""
    place = {key: index for index, key in enumerate(inventory.plant_id.tolist())}
    faults = []
    for row in rows.tolist():
        plant = place[surveys.plant_id[row]]
        if surveys.status[row] != Status.INFECTED.value or not columns.is_host[plant]:
            continue
        day, out, planted = surveys.inspected_on[row], columns.first_removed[plant], inventory.planted_on[plant]
        found = columns.found_on[plant]
        if day > out and not found <= out:
            faults.append(_fault(surveys, row, f"infected, found first on {day}, after its removal on {out}",
                                 "a finding before the removal, or a plant of its own",
                                 "Correct one of the dates, or give the plant that was put there a key of its own."))  # fmt: skip
        if day < planted:
            faults.append(_fault(surveys, row, f"infected on {day}, before it was planted on {planted}",
                                 "a finding on or after planted_on",
                                 "Correct planted_on in the inventory or the date of the inspection."))  # fmt: skip
    _raise(faults, "the survey history contradicts itself")


def _refuse_the_useless(
    surveys: Surveys, rows: IntArray, columns: HistoryColumns, system: PestSystem, as_of: np.datetime64
) -> None:
    """Refuse a history from which nothing can be learnt."""
    name = system.common_name
    if len(rows) == 0:
        msg = (
            f"fit of {name}: nobody inspected a plant of the inventory by {as_of}; allowed: at least two surveys of named "
            "plants. Add survey tables to the project file, or check the plant_id in them."
        )
        raise InventoryError(msg)
    found = columns.is_host & ~np.isnat(columns.found_on)
    if not found.any():
        msg = (
            f"fit of {name}: no plant was ever confirmed infected by {as_of}; allowed: at least one. There is nothing to fit; "
            "the run stays in relative mode."
        )
        raise InventoryError(msg)
    looked = np.unique(surveys.plant_id[rows])
    if found.sum() >= len(looked) and (columns.found_on[found] <= surveys.inspected_on[rows].min()).all():
        first = rows[0]
        fault = _fault(surveys, int(first), f"all {int(found.sum())} inspected plants were infected on the first day",
                       "a history in which some plants were clean",
                       "Add the inspections that found nothing: without them no rate can be told.")  # fmt: skip
        _raise([fault], f"fit of {name}")


def _fault(surveys: Surveys, row: int, found: str, allowed: str, remedy: str) -> Fault:
    return Fault(
        file=str(surveys.file[row]), row=int(surveys.row[row]), column="status",
        found=f"plant {surveys.plant_id[row]}: {found}", allowed=allowed, remedy=remedy, weight="stop",
    )  # fmt: skip


def _raise(faults: Iterable[Fault], what: str) -> None:
    """Raise one error for all faults, with the first few in words."""
    known = tuple(faults)
    if not known:
        return
    more = f" And {len(known) - SHOWN} more like these." if len(known) > SHOWN else ""
    msg = f"{what}: " + " ".join(fault.sentence() for fault in known[:SHOWN]) + more
    error = InventoryError(msg)
    error.faults = known
    raise error


def _looks(
    inventory: Inventory, surveys: Surveys, rows: IntArray, columns: HistoryColumns, settings: Settings
) -> tuple[FloatArray, tuple[str, ...]]:
    """Return plant, day, and the chances of what was said of a plant that shows and of one that does not yet, (k, 4).

    Up to the look that noticed a plant; a look that called a plant suspect which was cleared or never settled says
    nothing. A plant that was noticed by the count of its bed alone has one look, by eye.
    """
    place = {key: index for index, key in enumerate(inventory.plant_id.tolist())}
    detection, table, done = settings.detection, [], np.zeros(len(inventory), dtype=np.bool_)
    for row in rows.tolist():
        plant = place[surveys.plant_id[row]]
        day, found = surveys.inspected_on[row], columns.found_on[plant]
        if done[plant] or day > columns.gone_on[plant] or day < inventory.planted_on[plant]:
            continue
        if surveys.method[row] == Method.TEST.value:
            showing, silent = detection.test_symptomatic, detection.test_symptomless
        else:
            showing = detection.by_observer.get(str(surveys.observer[row]), detection.visual_symptomatic)
            silent = 0.0
        is_seen = surveys.status[row] in SEEN
        if is_seen and day == found:
            table.append((plant, day.astype(np.int64) + NOON, showing, silent))
            done[plant] = True
        elif not is_seen:
            table.append((plant, day.astype(np.int64) + NOON, 1.0 - showing, 1.0 - silent))
    alone = np.flatnonzero(columns.is_host & ~np.isnat(columns.found_on) & ~done)
    for plant in alone.tolist():
        day = columns.found_on[plant].astype(np.int64) + NOON
        table = [row for row in table if row[0] != plant or row[1] < day]
        table.append((plant, day, detection.visual_symptomatic, 0.0))
    remarks: tuple[str, ...] = ()
    if len(alone):
        remarks = (
            f"{len(alone)} plants are known as infected by the count of their bed alone; they count as looked at by eye.",
        )
    found_table = np.array(table, dtype=np.float64).reshape(-1, 4)
    return found_table[np.lexsort((np.arange(len(found_table)), found_table[:, 1], found_table[:, 0]))], remarks


def end_of_fit(table: FloatArray, season: FloatArray, incubation: Incubation) -> float:
    """Return the day after which no infection could have been seen by the last look [d]."""
    soonest = incubation.median_d
    if not incubation.is_fixed:
        soonest = (
            incubation.median_d * math.exp(incubation.sigma * float(ndtri(incubation.cut_share)))
            if incubation.cut_share
            else 0.0
        )
    last = float(table[:, 1].max())
    by_eye = float(np.interp(last, np.arange(len(season)), season)) - soonest
    after = int(np.searchsorted(season, by_eye, side="right")) - 1
    day = (
        0.0
        if after < 0
        else after + (by_eye - season[after]) / max(season[min(after + 1, len(season) - 1)] - season[after], 1e-9)
    )
    tells_all = ~np.isin(table[:, 3], (0.0, 1.0))
    return max(min(day, last), float(table[tells_all, 1].max()) if tells_all.any() else 0.0)


def _problem(
    inventory: Inventory, hosts: IntArray, columns: HistoryColumns, table: FloatArray, wild: Sources, spread: Spread,
    system: PestSystem, settings: Settings, dates: tuple[np.datetime64, np.datetime64, np.datetime64],
) -> FitProblem:  # fmt: skip
    """Return the survey history in the sampler's columns."""
    day_zero, first_look, last_look = dates
    zero = day_zero.astype(np.int64)
    all_days = np.arange(day_zero, last_look + np.timedelta64(MARGIN_DAYS, "D"))
    flight = flight_weight_on(all_days, system.flight_weight)
    clock = SeasonClock(begins=settings.infection.growing_from, ends=settings.infection.growing_to)
    season = clock.days_between(all_days, all_days + np.timedelta64(1, "D")).astype(np.float64)
    fit, infection = settings.fit, settings.infection
    incubation = Incubation(
        median_d=infection.latency_median_days, sigma=infection.latency_sigma, cut_share=fit.earliest_share,
        is_fixed=fit.incubation == "fixed",
    )  # fmt: skip

    def day_of(dates_of: DateArray, otherwise: float) -> FloatArray:
        days = dates_of[hosts].astype(np.int64) - zero + NOON
        return np.where(np.isnat(dates_of[hosts]), otherwise, days)

    size = size_factor(inventory, settings.sources)[hosts]
    found = ~np.isnat(columns.found_on[hosts])
    weak = columns.is_weak[hosts] & found
    again = columns.last_removed[hosts] > columns.first_removed[hosts]
    removed = day_of(columns.gone_on, np.inf)
    return FitProblem(
        day_zero=day_zero,
        easting=inventory.easting[hosts], northing=inventory.northing[hosts],
        receive=inventory.susceptibility[hosts] * size, send=size,
        enter_day=day_of(inventory.planted_on, -np.inf), leave_day=removed, removed_day=removed,
        rest=np.where(weak, settings.sources.partly_removed_strength, 0.0),
        gone_day=np.where(again, day_of(columns.last_removed, np.inf), np.where(weak, np.inf, removed)),
        noticed=found, look_plant=table[:, 0].astype(np.int64), look_day=table[:, 1],
        pass_showing=table[:, 2], pass_silent=table[:, 3],
        wild_easting=wild.easting, wild_northing=wild.northing, wild_send=wild.strength,
        flight=flight, season=season, first_day=0.0,
        latest_day=float(first_look.astype(np.int64) - zero) + NOON,
        end_day=end_of_fit(table, np.r_[0.0, np.cumsum(season)], incubation),
        infectious_after_d=infection.infectious_after_days, incubation=incubation,
        kernel=spread.kernel, near_radius_m=spread.near_radius_m,
        canopy_m=float(canopy_radius(inventory, settings.sources)[hosts].mean()),
        touching_m=settings.inspection.touching_m,
        beliefs=beliefs_from(settings, system, spread),
        candidates_least=fit.candidates_least, candidates_per_case=fit.candidates_per_case,
    )  # fmt: skip


def beliefs_from(settings: Settings, system: PestSystem, spread: Spread) -> Beliefs:
    """Return the priors that settings describe; the contact rate's median is that of the infection settings."""
    fit = settings.fit
    per_season = settings.infection.contact_per_season
    contact = math.log(per_season / flight_days_of_a_year(system.flight_weight)) if per_season > 0 else NONE_AT_ALL
    mean = (
        math.log(fit.rate_median_m2_per_day), math.log(fit.scale_factor_median), 0.0, 0.0,
        math.log(fit.background_median_per_day), contact, 0.0,
    )  # fmt: skip
    sd = (
        fit.rate_sd_log, fit.scale_sd_log, fit.wind_sd, fit.wind_sd, fit.background_sd_log, fit.contact_sd_log,
        fit.shape_sd_log,
    )  # fmt: skip
    has_shape = fit.fit_shape and spread.kernel.shape is not None
    return Beliefs(
        mean=mean, sd=sd, free=(True, True, True, True, True, per_season > 0, has_shape),
        introductions_mean=fit.introductions_mean,
    )  # fmt: skip
