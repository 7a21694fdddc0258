"""The past of every plant on one line of time: from when to when it stood, who looked, what is left in the ground."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from spreadmap.biology.latency import Latency, day_of_share
from spreadmap.biology.season import flight_days
from spreadmap.biology.season_clock import SeasonClock
from spreadmap.outbreak.looks import Looks, looks_at, seen_on
from spreadmap.records.state import confirmed
from spreadmap.values.arrays import BoolArray, DateArray, FloatArray, IntArray
from spreadmap.values.epidemic_settings import DetectionSettings, InfectionSettings
from spreadmap.values.inventory import Inventory
from spreadmap.values.pest_system import PestSystem
from spreadmap.values.settings import Settings
from spreadmap.values.surveys import PlantState, Surveys, WorkLog
from spreadmap.values.words import RootsComplete, Status

STEP_DAYS = 7
MOST_STEPS = 156
"""Three years of weeks; a longer history is told in steps of two weeks or more, so that memory stays bounded."""
LOOK_BACK_SHARE = 0.975
LEAST_BACK_DAYS, MOST_BACK_DAYS = 365.0, 730.0
"""Time begins so long before the first record that this share of latencies is over by then [-]; at least a whole year
before, so that every season of flight counts, at most the two years of the longest report (Shires et al. 2019, APS Plant
Health 2019, abstract ab669) [d]: our choice."""
DAY = np.timedelta64(1, "D")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Steps:
    """Steps of equal length that end on the date of the state.

    `edge` (steps + 1,) are their borders, `days` the length of one [d], `flight` (steps,) the days of full flight in
    each [d]. `season` holds the days of the growing season passed by each half day since the first border, so that
    `season[2 t]` belongs to day t.
    """

    edge: DateArray
    days: int
    flight: FloatArray
    season: FloatArray

    def __len__(self) -> int:
        """Return the number of steps."""
        return len(self.flight)

    @property
    def end(self) -> float:
        """Return the day of the state, counted from the first border [d]."""
        return float(len(self) * self.days)

    def day_of(self, date: DateArray) -> FloatArray:
        """Return days since the first border; NaN where there is no date [d]."""
        days = (date - self.edge[0]) / DAY
        return np.where(np.isnat(date), np.nan, days)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Evidence:
    """Inspections that count, plant after plant and by their days: those of plant i are `first[i]` to `first[i + 1]` - 1.

    `day` is counted from the first border [d]. `if_showing`, `if_symptomless`, `if_healthy` are the chances of what was
    seen, given that the plant was infected and showed symptoms, was infected without, or was healthy [-].
    """

    first: IntArray
    day: FloatArray
    if_showing: FloatArray
    if_symptomless: FloatArray
    if_healthy: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Past:
    """What the records say of the past of n plants; days are counted from the first border [d].

    A plant stands from `stood_from` to `stood_to`, infinite where it still stands. `is_found` marks plants that were
    confirmed at any time. `remains` are (plant, from, to) rows: roots or regrowth that send weakly.
    """

    steps: Steps
    stood_from: FloatArray
    stood_to: FloatArray
    is_host: BoolArray
    is_found: BoolArray
    evidence: Evidence
    remains: FloatArray
    remarks: tuple[str, ...]


def growing_season(settings: InfectionSettings) -> SeasonClock:
    """Return the clock of the growing season."""
    return SeasonClock(begins=settings.growing_from, ends=settings.growing_to)


def latency_of(settings: InfectionSettings) -> Latency:
    """Return the latency that the settings describe."""
    return Latency(family="lognormal", median_d=settings.latency_median_days, spread=settings.latency_sigma)


def steps_until(first: np.datetime64, as_of: np.datetime64, system: PestSystem, settings: InfectionSettings) -> Steps:
    """Return steps that end on a date and begin long enough before the first record.

    Parameters
    ----------
    first, as_of : `datetime64[D]`
        First record, and date of the state.
    system : PestSystem
        For the days of flight.
    settings : InfectionSettings
        For latency and growing season.

    Returns
    -------
    Steps
        Of 7 days; of a multiple of it where there would be more than 156.
    """
    clock = growing_season(settings)
    back = float(day_of_share(latency_of(settings), LOOK_BACK_SHARE))
    yearly = int(
        clock.days_between(np.array("2023-01-01", dtype="datetime64[D]"), np.array("2024-01-01", dtype="datetime64[D]"))
    )
    span = float((as_of - min(first, as_of)) / DAY) + min(max(back * 365.0 / yearly, LEAST_BACK_DAYS), MOST_BACK_DAYS)
    days = STEP_DAYS * max(int(np.ceil(span / (STEP_DAYS * MOST_STEPS))), 1)
    count = int(np.ceil(span / days))
    edge = as_of - days * DAY * np.arange(count, -1, -1)
    every = edge[0] + DAY * np.arange(count * days + 2)
    passed = clock.days_between(edge[0], every).astype(np.float64)
    halves = np.empty(2 * len(passed) - 1)
    halves[::2], halves[1::2] = passed, (passed[1:] + passed[:-1]) / 2
    flight = [flight_days(low, high, system.flight_weight) for low, high in pairwise(edge)]
    return Steps(edge=edge, days=days, flight=np.array(flight), season=halves)


def past_of(
    inventory: Inventory,
    state: PlantState,
    surveys: Surveys,
    work_log: WorkLog,
    system: PestSystem,
    settings: Settings,
) -> Past:
    """Return the past of every plant for one pest system.

    Parameters
    ----------
    inventory, state : n plants and what is known of them
    surveys, work_log : all records; those after the date of the state are passed over
    system, settings
        For flight, latency, growing season and sensitivities.

    Returns
    -------
    Past
        `remarks` say what contradicts itself, or what was assumed.

    Notes
    -----
    - Records are put in the order of their dates; their order in the files does not matter.
    - A planting date that lies after an inspection, a finding or a removal of the plant is passed over, and told.
    - Inspections of a plant after it was taken out or confirmed do not count; the state tells of such contradictions.
    - Of a plant confirmed in two steps (suspect, then test) the first of them counts as the day symptoms were seen.
    """
    as_of = state.as_of
    looks = looks_at(surveys, inventory, system.key, as_of)
    out, sprout = _taken_out(inventory, surveys, work_log, system, as_of)
    found = ~np.isnat(state.first_found_on)
    ours = (surveys.inspected_on <= as_of) & np.isin(surveys.pest_system.astype(str), [system.key, ""])
    days = [*surveys.inspected_on[ours], *state.first_found_on[found], *(day for _, day, _ in out)]
    steps = steps_until(min(days, default=as_of), as_of, system, settings.infection)
    n = len(inventory)
    gone = np.full(n, np.inf)
    for plant, day, _ in reversed(out):  # the first removal of a plant is told last, and stays
        gone[plant] = (day - steps.edge[0]) / DAY
    lost = state.status == Status.NOT_FOUND.value
    gone[lost] = np.minimum(gone[lost], steps.day_of(state.status_on[lost]))
    evidence, unnamed = _evidence(inventory, state, surveys, looks, gone, steps, settings)
    planted, remark = _planting(inventory, looks, gone, steps)
    return Past(
        steps=steps,
        stood_from=planted,
        stood_to=gone,
        is_host=np.asarray(state.is_host, dtype=np.bool_),
        is_found=found,
        evidence=evidence,
        remains=_remains(out, sprout, found, steps),
        remarks=(*remark, *unnamed),
    )


def _taken_out(
    inventory: Inventory, surveys: Surveys, work_log: WorkLog, system: PestSystem, as_of: np.datetime64
) -> tuple[list[tuple[int, np.datetime64, str]], list[tuple[int, np.datetime64]]]:
    """Return (plant, day, roots) of every removal by date, and (plant, day) of every sprout that was seen."""
    place = {key: index for index, key in enumerate(inventory.plant_id.tolist())}
    ours = (surveys.inspected_on <= as_of) & np.isin(surveys.pest_system.astype(str), [system.key, ""])
    told = np.flatnonzero(ours & (surveys.status == Status.REMOVED.value))
    done = np.flatnonzero(work_log.done & (work_log.done_on <= as_of))
    rows = [(surveys.plant_id[row], surveys.inspected_on[row], "") for row in told]
    rows += [(work_log.plant_id[row], work_log.done_on[row], work_log.roots_complete[row]) for row in done]
    out = sorted(((place[key], day, str(roots)) for key, day, roots in rows if key in place), key=lambda row: row[1])
    seen = np.flatnonzero(ours & np.isin(surveys.status.astype(str), [Status.INFECTED.value, Status.SUSPECT.value]))
    grown = np.flatnonzero(work_log.regrowth_on <= as_of)
    sprouts = [(surveys.plant_id[row], surveys.inspected_on[row]) for row in seen]
    sprouts += [(work_log.plant_id[row], work_log.regrowth_on[row]) for row in grown]
    return out, sorted(((place[key], day) for key, day in sprouts if key in place), key=lambda row: row[1])


def _remains(
    out: list[tuple[int, np.datetime64, str]],
    sprouts: list[tuple[int, np.datetime64]],
    found: BoolArray,
    steps: Steps,
) -> FloatArray:
    """Return (plant, from, to) of roots and regrowth that send weakly, shape (rows, 3) [d]."""
    left = (RootsComplete.PARTLY.value, RootsComplete.NO.value)
    days: dict[int, list[tuple[float, bool]]] = {}
    for plant, day, roots in out:
        days.setdefault(plant, []).append((float((day - steps.edge[0]) / DAY), roots in left and bool(found[plant])))
    grown: dict[int, list[float]] = {}
    for plant, day in sprouts:
        if plant in days:
            grown.setdefault(plant, []).append(float((day - steps.edge[0]) / DAY))
    rows = []
    for plant, removals in days.items():
        for number, (taken, stays) in enumerate(removals):
            until = removals[number + 1][0] if number + 1 < len(removals) else steps.end
            seen = [sprout for sprout in grown.get(plant, ()) if taken < sprout < until]
            begins = taken if stays else min(seen, default=until)
            if begins < until:
                rows.append((plant, begins, until))
    return np.array(rows, dtype=np.float64).reshape(-1, 3)


def _planting(inventory: Inventory, looks: Looks, gone: FloatArray, steps: Steps) -> tuple[FloatArray, tuple[str, ...]]:
    """Return since when each plant stands, zero where nobody knows [d], and a sentence about dates that cannot be."""
    planted = steps.day_of(inventory.planted_on)
    first = np.where(np.isfinite(gone), gone, np.inf)
    np.minimum.at(first, looks.plant, steps.day_of(looks.on))
    wrong = np.flatnonzero(planted > np.minimum(first, steps.end))
    planted[wrong] = 0.0
    remark: tuple[str, ...] = ()
    if len(wrong):
        names = ", ".join(inventory.plant_id[wrong[:3]].tolist())
        remark = (
            f"{len(wrong)} planting dates lie after an inspection, a removal or the date of the state (plants {names}"
            f"{' and others' if len(wrong) > 3 else ''}): they are passed over. Correct planted_on in the inventory, or "
            "give the new plant a key of its own.",
        )
    return np.nan_to_num(np.maximum(planted, 0.0)), remark


def _evidence(
    inventory: Inventory,
    state: PlantState,
    surveys: Surveys,
    looks: Looks,
    gone: FloatArray,
    steps: Steps,
    settings: Settings,
) -> tuple[Evidence, tuple[str, ...]]:
    """Return the inspections that count, and what was assumed of them."""
    found = ~np.isnat(state.first_found_on)
    seen = seen_on(looks, state)
    day = steps.day_of(looks.on)
    # Of a plant that was confirmed all that was clean before symptoms were seen counts, and that one positive look.
    before = np.where(found[looks.plant], looks.on < seen[looks.plant], True)
    clean = ~looks.is_seen & before & (day <= gone[looks.plant])
    first = found[looks.plant] & looks.is_seen & (looks.on == seen[looks.plant])
    _, once = np.unique(np.where(first, looks.plant, -1 - np.arange(len(first))), return_index=True)
    positive = first & np.isin(np.arange(len(first)), once)
    eyes, remarks = _eyes(surveys, looks, clean & ~looks.is_test, settings.detection)
    growing = np.diff(steps.season[::2], append=np.nan)
    index = np.clip(day, 0, len(growing) - 2).astype(np.int64)
    eyes = np.where(growing[index] > 0, eyes, 0.0)
    tests = settings.detection
    showing = np.where(looks.is_test, 1 - tests.test_symptomatic, 1 - eyes)
    symptomless = np.where(looks.is_test, 1 - tests.test_symptomless, 1.0)
    showing[positive] = np.where(looks.is_by_test, tests.test_symptomatic, 1.0)[positive]
    symptomless[positive] = np.where(looks.is_by_test, tests.test_symptomless, 0.0)[positive]
    plant, more = _clean_beds(inventory, surveys, state, gone, seen, found, steps, settings.detection)
    keep = clean | positive
    who = np.concatenate([looks.plant[keep], plant])
    table = np.concatenate(
        [np.column_stack([day, showing, symptomless, np.where(positive, 0.0, 1.0)])[keep], more]
    )  # fmt: skip
    order = np.lexsort((table[:, 0], who))
    table = np.ascontiguousarray(table[order].T)
    return Evidence(
        first=np.searchsorted(who[order], np.arange(len(inventory) + 1)).astype(np.int64),
        day=table[0].copy(),
        if_showing=table[1].copy(),
        if_symptomless=table[2].copy(),
        if_healthy=table[3].copy(),
    ), remarks


def _eyes(
    surveys: Surveys, looks: Looks, counts: BoolArray, settings: DetectionSettings
) -> tuple[FloatArray, tuple[str, ...]]:
    """Return the chance per look on a symptomatic plant, by observer [-], and a sentence about unknown ones."""
    named = {name.strip().casefold(): value for name, value in settings.by_observer.items()}
    words = surveys.observer[looks.row].astype(str)
    known = {word: named.get(word.strip().casefold(), np.nan) for word in set(words.tolist())}
    chance = np.array([known[word] for word in words.tolist()], dtype=np.float64)
    unknown = np.isnan(chance) & counts
    remarks: tuple[str, ...] = ()
    if named and unknown.any():
        who = sorted(set(words[unknown].tolist()))
        rows = looks.row[np.flatnonzero(unknown)[0]]
        remarks = (
            f"{int(unknown.sum())} looks, the first in {surveys.file[rows]}, row {surveys.row[rows]}, are by observers "
            f"without a sensitivity of their own ({', '.join(word or 'no name' for word in who[:5])}): "
            f"{settings.visual_symptomatic:g} counts for them. Name them in settings.detection.by_observer.",
        )
    told = {word.strip().casefold() for word in surveys.observer.astype(str).tolist()}
    stray = sorted(name for name in settings.by_observer if name.strip().casefold() not in told)
    if stray:
        remarks += (
            f"settings.detection.by_observer names {', '.join(stray)}, found in no survey table. Correct the name.",
        )
    return np.where(np.isnan(chance), settings.visual_symptomatic, chance), remarks


def _clean_beds(
    inventory: Inventory,
    surveys: Surveys,
    state: PlantState,
    gone: FloatArray,
    seen: DateArray,
    found: BoolArray,
    steps: Steps,
    settings: DetectionSettings,
) -> tuple[IntArray, FloatArray]:
    """Return plant and evidence (rows, 4) of beds that were inspected whole and found clean.

    Of a bed with a finding, or looked at in part, no single plant is known to be clean: its counts say nothing here.
    """
    ours = np.isin(surveys.pest_system.astype(str), [state.system_key, ""]) & (surveys.inspected_on <= state.as_of)
    rows = np.flatnonzero(surveys.is_bed_count & ours)
    if not len(rows):
        return np.zeros(0, dtype=np.int64), np.zeros((0, 4))
    place = {key: index for index, key in enumerate(inventory.plant_id.tolist())}
    size: dict[str, int] = {}
    for bed in inventory.bed_id.tolist():
        size[bed] = size.get(bed, 0) + 1
    groups: dict[tuple[str, int], list[int]] = {}
    for row in rows.tolist():
        groups.setdefault((surveys.file[row], int(surveys.row[row])), []).append(row)
    named = {name.strip().casefold(): value for name, value in settings.by_observer.items()}
    plants, table = [], []
    for members in groups.values():
        where = [place[key] for key in surveys.plant_id[members].tolist() if key in place]
        clean = all(surveys.status[row] == Status.CLEAN.value for row in members)
        if not clean or not where or len(where) < size[inventory.bed_id[where[0]]]:
            continue
        day = float(steps.day_of(surveys.inspected_on[members[:1]])[0])
        eyes = named.get(str(surveys.observer[members[0]]).strip().casefold(), settings.visual_symptomatic)
        eyes *= float(steps.season[2 * int(day) + 2] > steps.season[2 * int(day)])
        for plant in where:
            early = not found[plant] or surveys.inspected_on[members[0]] < seen[plant]
            if day <= gone[plant] and early:
                plants.append(plant)
                table.append((day, 1 - eyes, 1.0, 1.0))
    return np.array(plants, dtype=np.int64), np.array(table, dtype=np.float64).reshape(-1, 4)


def suspects(state: PlantState) -> BoolArray:
    """Return which standing hosts are suspect, shape (n,)."""
    return np.asarray(
        (state.status == Status.SUSPECT.value) & state.is_standing & state.is_host & ~confirmed(state), dtype=np.bool_
    )
