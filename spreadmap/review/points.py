"""Which plants the map draws, how, and what a click on one shows."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from spreadmap.review.hidden_words import drawn_words
from spreadmap.review.language import Words
from spreadmap.review.plants_layer import NO_CLASS, PlantPoints
from spreadmap.review.tables import rank_range, site_names
from spreadmap.review.words import default_class_labels, name_of, status_word
from spreadmap.values.arrays import BoolArray, TextArray
from spreadmap.values.hidden import Hidden
from spreadmap.values.results import SurveyResult, SystemResult
from spreadmap.values.surveys import PlantState
from spreadmap.values.web import WebClass, WebRaster
from spreadmap.values.words import Status

WORST_FIRST = (Status.INFECTED, Status.SUSPECT, Status.REMOVED, Status.NOT_FOUND, Status.CLEAN, Status.NOT_INSPECTED)
FOUND = {Status.INFECTED.value, Status.SUSPECT.value}


def worst_mark(states: Sequence[PlantState], count: int) -> TextArray:
    """Return the mark of every plant: its worst status over some states; `no_host` where it is a host of none."""
    drawn = np.full(count, "no_host", dtype=object)
    for word in reversed(WORST_FIRST):
        for state in states:
            drawn[(state.status == word.value) & state.is_host] = word.value
    for state in states:
        drawn[(drawn == Status.REMOVED.value) & state.has_regrowth] = "regrowth"
    return drawn


def drawn_status(result: SurveyResult) -> TextArray:
    """Return the mark of every plant: its worst status over the mapped systems.

    A plant that only carries a pest without a removal verdict is `cosmetic`, so that it never looks like one to dig
    out; a plant that is no host of any mapped pest and carries nothing is `no_host`.
    """
    drawn = worst_mark([system.state for system in result.systems], len(result.inputs.inventory))
    other = np.isin(result.status_words.astype(str), sorted(FOUND)) & ~np.isin(drawn.astype(str), sorted(FOUND))
    drawn[other & ~np.isin(drawn.astype(str), (Status.REMOVED.value, "regrowth"))] = "cosmetic"
    return drawn


def drawn_before(result: SurveyResult) -> TextArray | None:
    """Return the mark of every plant at the survey before; None where no mapped system had one.

    Only mapped systems are told again: a plant that is no host of them and carries another pest now keeps that mark.
    """
    if all(system.before is None for system in result.systems):
        return None
    states = [system.before or system.state for system in result.systems]
    then = worst_mark(states, len(result.inputs.inventory))
    then[(then == "no_host") & (drawn_status(result) == "cosmetic")] = "cosmetic"
    return then


def class_label(say: Words, entry: WebClass) -> str:
    """Return the words of a class with its limits, which never move between surveys."""
    return say("class.limited", label=say.phrase(entry.label), limits=class_limits(say, entry))


def class_limits(say: Words, entry: WebClass, *, is_chance: bool = False) -> str:
    """Return the limits of a class in the raster's unit, chances in per cent."""
    low, high = say.figures(entry.low), say.figures(entry.high)
    if is_chance:
        low, high = (say("share.whole", n=say.figures(100 * value)) for value in (entry.low, entry.high))
    if not np.isfinite(entry.high):
        return say("class.above", low=low)
    if entry.low <= 0 or not np.isfinite(entry.low):
        return say("class.under", high=high)
    return say("class.between", low=low, high=high)


def classes_of(say: Words, system: SystemResult, raster: WebRaster | None) -> tuple[tuple[str, ...], tuple[float, ...]]:
    """Return the words of the classes of pressure, lowest first, and the breaks between them."""
    if raster is not None and raster.classes and not system.chance_breaks:
        return tuple(class_label(say, entry) for entry in raster.classes), tuple(
            entry.low for entry in raster.classes[1:]
        )
    return default_class_labels(say, system.breaks), system.breaks


def other_findings(say: Words, result: SurveyResult, wanted: BoolArray) -> dict[int, str]:
    """Return for the wanted plants what was last found on them by surveys of systems without a map."""
    mapped = {system.triage.system.key for system in result.systems}
    names = {item.system.key: name_of(say, item) for item in result.triage}
    inventory, surveys = result.inputs.inventory, result.inputs.surveys
    row_of = {str(inventory.plant_id[row]): int(row) for row in np.flatnonzero(wanted)}
    latest: dict[int, str] = {}
    for index in np.argsort(surveys.inspected_on, kind="stable").tolist():
        key, row = str(surveys.pest_system[index]), row_of.get(str(surveys.plant_id[index]))
        if row is None or key in mapped or surveys.inspected_on[index] > np.datetime64(result.inputs.as_of):
            continue
        word = status_word(say, surveys.status[index], surveys.evidence[index])
        found_on = say.day(surveys.inspected_on[index])
        latest[row] = say("card.other_found", pest=names.get(key, key), status=word, day=found_on)
    return latest


def plant_points(say: Words, result: SurveyResult, raster: WebRaster | None) -> PlantPoints:
    """Return the columns of the canvas layer; statuses and pressure are those of the first mapped system."""
    inventory, count = result.inputs.inventory, len(result.inputs.inventory)
    drawn = drawn_status(result)
    names = site_names(result)
    repeated = {
        say("card.bed"): inventory.bed_id,
        say("card.site"): np.array([names.get(str(key), str(key)) for key in inventory.site_id], dtype=object),
        say("card.host"): inventory.host,
    }
    ranks: dict[int, str] = {}
    level, labels = np.full(count, NO_CLASS), default_class_labels(say, ())
    rank: dict[int, int] = {}
    for index, system in enumerate(result.systems):
        repeated |= state_columns(say, system, is_alone=len(result.systems) == 1)
        if index == 0:
            labels, breaks = classes_of(say, system, raster)
            pressure = system.exposure.pressure
            counts = np.isfinite(system.hidden.relative_exposure) & np.isfinite(pressure)
            if not system.chance_breaks:
                level = np.where(counts, np.searchsorted(np.asarray(breaks), pressure, side="right"), NO_CLASS)
        removal = system.plan.removal
        rank |= {int(plant): place + 1 for place, plant in enumerate(removal.plant)}
        ranks |= {
            int(plant): rank_range(int(low), int(high))
            for plant, low, high in zip(removal.plant, removal.rank_low, removal.rank_high, strict=True)
        }
    noted = np.isin(drawn.astype(str), sorted(FOUND))
    sparse = {
        say("lists.rank_range"): ranks,
        say("card.other"): other_findings(say, result, drawn == "cosmetic"),
        say("card.note"): {int(row): str(inventory.note[row]) for row in np.flatnonzero(noted) if inventory.note[row]},
    }
    return PlantPoints(
        longitude=inventory.longitude,
        latitude=inventory.latitude,
        status=drawn,
        is_synthetic=inventory.is_synthetic,
        pressure_class=level,
        class_labels=labels,
        key=inventory.plant_id,
        repeated=repeated,
        sparse=sparse,
        rank=rank,
        before=drawn_before(result),
        before_on=", ".join(
            dict.fromkeys(say.day(each.before.as_of) for each in result.systems if each.before is not None)
        ),
    )


def state_columns(say: Words, system: SystemResult, *, is_alone: bool) -> dict[str, TextArray]:
    """Return what one system says of every plant: status, since when, and in calibrated mode how surely it is infected."""
    state, pest = system.state, name_of(say, system.triage)
    pairs = list(zip(state.status.tolist(), state.evidence.tolist(), strict=True))
    said = {pair: status_word(say, *pair) for pair in set(pairs)}
    no_host = say("status.no_host")
    words = [said[pair] if host else no_host for pair, host in zip(pairs, state.is_host.tolist(), strict=True)]
    dates = np.datetime_as_string(state.status_on, unit="D")
    made = {
        say("card.status") if is_alone else pest: np.array(words, dtype=object),
        say("card.since") if is_alone else say("card.pest_since", pest=pest): np.where(
            np.isnat(state.status_on), "", dates
        ).astype(object),
    }
    unseen = system.unseen
    if isinstance(unseen, Hidden):
        among = np.isfinite(unseen.infected)
        said_of = drawn_words(say, unseen)
        chances = [said_of(plant) if among[plant] else "" for plant in range(len(unseen))]
        now = say("calibrated.infected_now")
        made[now if is_alone else f"{pest}, {now}"] = np.array(chances, dtype=object)
        if system.ahead.plants is not None:
            later, by = system.ahead.plants.infected_by_survey, system.ahead.next_survey_on
            name = say("calibrated.by_survey", day=say.day(by))
            told = [say.chance(float(chance)) if np.isfinite(chance) else "" for chance in later]
            made[name if is_alone else f"{pest}, {name}"] = np.array(told, dtype=object)
    return made
