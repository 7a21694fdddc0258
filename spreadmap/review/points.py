"""Which plants the map draws, how, and what a click on one shows."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from spreadmap.review.plants_layer import NO_CLASS, PlantPoints
from spreadmap.review.tables import rank_range, site_names
from spreadmap.review.words import day, default_class_labels, status_word
from spreadmap.values.arrays import BoolArray, TextArray
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


def class_label(entry: WebClass) -> str:
    """Return the words of a class with its limits, which never move between surveys."""
    limits = class_limits(entry)
    return f"{entry.label} ({limits})" if limits else entry.label


def class_limits(entry: WebClass) -> str:
    """Return the limits of a class in the raster's unit."""
    if not np.isfinite(entry.high):
        return f"{entry.low:.2g} and more"
    return (
        f"under {entry.high:.2g}"
        if entry.low <= 0 or not np.isfinite(entry.low)
        else f"{entry.low:.2g} to {entry.high:.2g}"
    )


def classes_of(system: SystemResult, raster: WebRaster | None) -> tuple[tuple[str, ...], tuple[float, ...]]:
    """Return the words of the classes of pressure, lowest first, and the breaks between them."""
    if raster is not None and raster.classes:
        return tuple(class_label(entry) for entry in raster.classes), tuple(entry.low for entry in raster.classes[1:])
    return default_class_labels(system.breaks), system.breaks


def other_findings(result: SurveyResult, wanted: BoolArray) -> dict[int, str]:
    """Return for the wanted plants what was last found on them by surveys of systems without a map."""
    mapped = {system.triage.system.key for system in result.systems}
    names = {item.system.key: item.system.common_name for item in result.triage}
    inventory, surveys = result.inputs.inventory, result.inputs.surveys
    row_of = {str(inventory.plant_id[row]): int(row) for row in np.flatnonzero(wanted)}
    latest: dict[int, str] = {}
    for index in np.argsort(surveys.inspected_on, kind="stable").tolist():
        key, row = str(surveys.pest_system[index]), row_of.get(str(surveys.plant_id[index]))
        if row is None or key in mapped or surveys.inspected_on[index] > np.datetime64(result.inputs.as_of):
            continue
        word = status_word(surveys.status[index], surveys.evidence[index])
        latest[row] = f"{names.get(key, key)}: {word}, {day(surveys.inspected_on[index])}; no plant is removed for it"
    return latest


def plant_points(result: SurveyResult, raster: WebRaster | None) -> PlantPoints:
    """Return the columns of the canvas layer; statuses and pressure are those of the first mapped system."""
    inventory, count = result.inputs.inventory, len(result.inputs.inventory)
    drawn = drawn_status(result)
    names = site_names(result)
    repeated = {
        "Bed": inventory.bed_id,
        "Site": np.array([names.get(str(key), str(key)) for key in inventory.site_id], dtype=object),
        "Host": inventory.host,
    }
    sparse: dict[str, dict[int, str]] = {}
    level, labels = np.full(count, NO_CLASS), default_class_labels(())
    rank: dict[int, int] = {}
    for index, system in enumerate(result.systems):
        name = "Status" if len(result.systems) == 1 else system.triage.system.common_name
        state = system.state
        said = {key: status_word(*key) for key in set(zip(state.status.tolist(), state.evidence.tolist(), strict=True))}
        words = [said[key] for key in zip(state.status.tolist(), state.evidence.tolist(), strict=True)]
        repeated[name] = np.array(
            [word if host else "no host of this pest" for word, host in zip(words, state.is_host, strict=True)],
            dtype=object,
        )
        dates = np.datetime_as_string(state.status_on, unit="D")
        repeated["Since" if len(result.systems) == 1 else f"{name}, since"] = np.where(
            np.isnat(state.status_on), "", dates
        ).astype(object)
        if index == 0:
            labels, breaks = classes_of(system, raster)
            pressure = system.exposure.pressure
            counts = np.isfinite(system.hidden.relative_exposure) & np.isfinite(pressure)
            level = np.where(counts, np.searchsorted(np.asarray(breaks), pressure, side="right"), NO_CLASS)
        removal = system.plan.removal
        rank |= {int(plant): place + 1 for place, plant in enumerate(removal.plant)}
        sparse.setdefault("Rank range", {}).update(
            {
                int(plant): rank_range(int(low), int(high))
                for plant, low, high in zip(removal.plant, removal.rank_low, removal.rank_high, strict=True)
            }
        )
    sparse["Other finding"] = other_findings(result, drawn == "cosmetic")
    noted = np.isin(drawn.astype(str), sorted(FOUND))
    sparse["Note"] = {int(row): str(inventory.note[row]) for row in np.flatnonzero(noted) if inventory.note[row]}
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
            dict.fromkeys(day(each.before.as_of) for each in result.systems if each.before is not None)
        ),
    )
