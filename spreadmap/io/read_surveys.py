"""Inspections, and the work log."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

import numpy as np

from spreadmap.io.faults import FaultBook, shown
from spreadmap.io.project_file import FileBlock, SurveyBlock, suggestion
from spreadmap.io.read_rows import Rows, fold_key
from spreadmap.io.read_tables import read_table
from spreadmap.values.inventory import Inventory
from spreadmap.values.pest_system import PestSystem
from spreadmap.values.settings import Settings
from spreadmap.values.surveys import Surveys, WorkLog
from spreadmap.values.words import (
    ALLOWED_EVIDENCE,
    SURVEY_STATUSES,
    Evidence,
    Method,
    RootsComplete,
    Status,
    SurveyKind,
)

TEXTS = ("observer", "symptoms", "sample_id", "note")
COLUMNS = ("plant_id", "inspected_on", "observer", "method", "pest_system", "status", "evidence", "symptoms",
           "sample_id", "survey_kind", "note", "file", "row", "is_bed_count")  # fmt: skip
STATUS_WORDS = tuple(status.value for status in SURVEY_STATUSES)


def status_and_evidence(word: str, words: dict[str, str]) -> tuple[str, str] | None:
    """Return status and evidence of a cell, None if it is no status; "infected lab" is both."""
    parts = words.get(word.casefold(), word).casefold().split()
    if not parts or parts[0] not in STATUS_WORDS or len(parts) > 2:
        return None
    evidence = parts[1] if len(parts) == 2 else ""
    allowed = ALLOWED_EVIDENCE[Status(parts[0])]
    if evidence and evidence not in {each.value for each in allowed}:
        return None
    return parts[0], evidence


class _Told:
    """Inspections of all files so far."""

    def __init__(self) -> None:
        self.values: dict[str, list[Any]] = {name: [] for name in COLUMNS}
        self.later = self.by_default = self.blank = self.without_evidence = self.visual_tests = 0
        self.default_system = ""

    def add(self, **row: Any) -> None:
        """Add one inspection."""
        for name in COLUMNS:
            self.values[name].append(row[name])

    def surveys(self) -> Surveys:
        """Return them as a value."""
        kinds: dict[str, Any] = {"inspected_on": "datetime64[D]", "row": np.int64, "is_bed_count": np.bool_}
        columns: dict[str, Any] = {name: np.array(self.values[name], dtype=kinds.get(name, object)) for name in COLUMNS}
        return Surveys(**columns)


def read_surveys(
    blocks: list[SurveyBlock],
    paths: list[Path],
    inventory: Inventory,
    systems: tuple[PestSystem, ...],
    settings: Settings,
    book: FaultBook,
    as_of: dt.date | None,
) -> Surveys:
    """Return all inspections up to `as_of` of all files, in the order of the files; faults go to the book.

    A row without a pest system takes its block's, else the only one with a removal verdict, and that is told.
    """
    told = _Told()
    keys = PlantKeys(inventory)
    beds: dict[str, list[str]] = {}
    for plant, bed in zip(inventory.plant_id.tolist(), inventory.bed_id.tolist(), strict=True):
        if bed:
            beds.setdefault(bed, []).append(plant)
    known = tuple(system.key for system in systems)
    mapped = [system.key for system in systems if system.is_mapped]
    told.default_system = mapped[0] if len(mapped) == 1 else ""
    for block, path in zip(blocks, paths, strict=True):
        with book.reading(block.file):
            rows = Rows(read_table(path, block.file, block, book, shapes=False), block, book)
            if block.dates:
                _read_wide(rows, block, keys, known, told, as_of)
            else:
                _read_long(rows, block, keys, beds, known, told, as_of)
            _say_what_was_assumed(rows, keys, told, as_of)
            rows.finish(settings.inputs.most_rows_aside)
    surveys = told.surveys()
    _say_same_day(surveys, book)
    return surveys


def _say_same_day(surveys: Surveys, book: FaultBook) -> None:
    """Tell how many plants have two different statuses of one pest on one day."""
    said: dict[tuple[str, str, str], set[str]] = {}
    rows = zip(surveys.plant_id.tolist(), surveys.pest_system.tolist(), surveys.inspected_on.astype(str).tolist(),
               surveys.status.tolist(), strict=True)  # fmt: skip
    for plant, system, day, status in rows:
        said.setdefault((plant, system, day), set()).add(status)
    double = sum(len(statuses) > 1 for statuses in said.values())
    if double:
        book.assume("surveys", f"{double} plants have two different statuses on one day", "The graver one counts.",
                    column="status")  # fmt: skip


def _say_what_was_assumed(rows: Rows, keys: PlantKeys, told: _Told, as_of: dt.date | None) -> None:
    """Tell what was done with whole groups of rows of one file."""
    if told.later:
        rows.book.assume(rows.table.file, f"{told.later} inspections are later than as_of {as_of}",
                         "They were left out; without as_of in the project file the last survey counts.")  # fmt: skip
        told.later = 0
    if told.blank:
        rows.book.assume(rows.table.file, f"{told.blank} rows have no status",
                         "Their plants were not inspected, which is not the same as clean.")  # fmt: skip
        told.blank = 0
    if told.without_evidence:
        rows.book.assume(rows.table.file, f"{told.without_evidence} rows say infected and name no evidence",
                         "They were taken as typical symptoms, never as a test; give evidence.", column="evidence")  # fmt: skip
        told.without_evidence = 0
    if told.visual_tests:
        rows.book.assume(rows.table.file, f"{told.visual_tests} rows say evidence lab and method visual",
                         "The evidence was believed: they were taken as tests.")  # fmt: skip
        told.visual_tests = 0
    if told.by_default:
        rows.book.assume(rows.table.file, f"{told.by_default} rows name no pest system", "They were taken as "
                         f"{told.default_system}; give pest_system in the file's block to say it yourself.")  # fmt: skip
        told.by_default = 0
    if keys.loose:
        rows.book.assume(rows.table.file, f"{keys.loose} keys differ from the inventory in capitals or spaces only",
                         "They were taken as the same plants.")  # fmt: skip
        keys.loose = 0


class PlantKeys:
    """Finds plants by their key; one that differs in capitals or spaces only is the same, and is counted."""

    def __init__(self, inventory: Inventory) -> None:
        self._exact = set(inventory.plant_id.tolist())
        self._folded = {fold_key(key): key for key in inventory.plant_id.tolist()}
        self._bare = {fold_key(key).lstrip("0") for key in inventory.plant_id.tolist() if key.startswith("0")}
        self.loose = 0

    def find(self, rows: Rows, index: int, key: str) -> str:
        """Return the inventory's key; an unknown one puts the row aside."""
        if key in self._exact:
            return key
        if key and fold_key(key) in self._folded:
            self.loose += 1
            return str(self._folded[fold_key(key)])
        hint = "Leading zeros seem to be lost: keep the column as text. " if fold_key(key) in self._bare else ""
        rows.bad(index, "plant_id", shown(key), "a key of the inventory", f"{hint}Correct the key or add the plant.")
        return ""


def nested_order(count: int) -> list[int]:
    """Return 0 to count - 1 so that the first k of them lie evenly for every k.

    The places are sorted by their bit-reversed number (van der Corput): the infected plants of an earlier count are
    then among those of a later, higher one, and do not add up.
    """
    bits = max(1, (count - 1).bit_length())
    turned = (int(f"{number:0{bits}b}"[::-1], 2) for number in range(2**bits))
    return [number for number in turned if number < count]


def _system_of(rows: Rows, index: int, given: str, block: SurveyBlock, systems: tuple[str, ...], told: _Told) -> str:
    """Return the pest system of a row; an unknown one puts the row aside."""
    name = given or block.pest_system
    if not name and told.default_system:
        told.by_default += 1
        return told.default_system
    if name not in systems:
        rows.bad(index, "pest_system", shown(name), ", ".join(systems),
                 f"{suggestion(name, systems)}Correct the cell, or give pest_system in the file's block.")  # fmt: skip
    return name


def _check_day(rows: Rows, index: int, day: np.datetime64, as_of: dt.date | None, told: _Told) -> bool:
    """Return whether an inspection is to be told; one without a date puts its row aside, a later one waits."""
    if np.isnat(day):
        rows.bad(index, "inspected_on", "no date", "the day of the inspection", "Give the date.")
        return False
    waits = as_of is not None and bool(day > np.datetime64(as_of))
    told.later += waits
    return not waits


def _read_wide(
    rows: Rows,
    block: SurveyBlock,
    keys: PlantKeys,
    systems: tuple[str, ...],
    told: _Told,
    as_of: dt.date | None,
) -> None:
    """Read a table with one column of status words per date."""
    rows.need("plant_id")
    plant, texts = rows.text("plant_id"), {name: rows.text(name) for name in TEXTS}
    words = {key.strip().casefold(): value for key, value in block.words.items()}
    columns = {header: rows.text(header) for header in block.dates}
    for header in block.dates:
        rows.need(header)
    for index, key in enumerate(plant.tolist()):
        system = _system_of(rows, index, "", block, systems, told)
        found = keys.find(rows, index, key)
        told_cells = []
        for header, day in block.dates.items():
            cell = columns[header][index]
            if not cell:
                continue
            meaning = status_and_evidence(cell, words)
            if meaning is None:
                _bad_status(rows, index, header, cell)
            elif _check_day(rows, index, np.datetime64(day), as_of, told):
                told_cells.append((day, meaning))
        if rows.is_bad(index):
            continue
        for day, (status, evidence) in told_cells:
            _tell(told, rows, index, found, np.datetime64(day), system, status, evidence, "", "", texts)


def _bad_status(rows: Rows, index: int, column: str, cell: str) -> None:
    """Put a row with an unknown status word aside."""
    rows.bad(index, column, shown(cell), ", ".join(STATUS_WORDS),
             f"{suggestion(cell, STATUS_WORDS)}Correct the cell or map the word in the project file.")  # fmt: skip


def _tell(
    told: _Told, rows: Rows, index: int, plant: str, day: np.datetime64, system: str, status: str, evidence: str,
    method: str, kind: str, texts: dict[str, Any], *, is_bed_count: bool = False,
) -> None:  # fmt: skip
    """Add one inspection, with what is usual where nothing was given."""
    if not evidence and status == Status.INFECTED and not is_bed_count:
        told.without_evidence += method != Method.TEST
        evidence = Evidence.LAB.value if method == Method.TEST else ""
    evidence = evidence or ALLOWED_EVIDENCE[Status(status)][0].value
    if status == Status.INFECTED and evidence == Evidence.LAB and method == Method.VISUAL:
        told.visual_tests += 1
        method = Method.TEST.value
    told.add(
        plant_id=plant, inspected_on=day, pest_system=system, status=status, evidence=evidence,
        method=method or (Method.TEST.value if evidence == Evidence.LAB else Method.VISUAL.value),
        survey_kind=kind or SurveyKind.MONITORING.value, file=rows.table.file, row=rows.table.row[index],
        is_bed_count=is_bed_count, **{name: str(texts[name][index]) for name in TEXTS},
    )  # fmt: skip


def _read_long(
    rows: Rows,
    block: SurveyBlock,
    keys: PlantKeys,
    beds: dict[str, list[str]],
    systems: tuple[str, ...],
    told: _Told,
    as_of: dt.date | None,
) -> None:
    """Read a table with one row per inspection of a plant, or of a bed with counts."""
    rows.need("plant_id", "bed_id")
    rows.need("inspected_on")
    plant, bed = rows.text("plant_id"), rows.text("bed_id")
    texts = {name: rows.text(name) for name in TEXTS}
    words = {key.strip().casefold(): value for key, value in block.words.items()}
    day = rows.date("inspected_on")
    given, evidence = (
        [words.get(cell.casefold(), cell) for cell in rows.text(name).tolist()] for name in ("pest_system", "evidence")
    )
    method = rows.word("method", [each.value for each in Method])
    kind = rows.word("survey_kind", [each.value for each in SurveyKind])
    status = rows.text("status")
    looked = rows.whole_number("n_inspected", np.nan, 0, 1e6)
    found = rows.whole_number("n_infected", np.nan, 0, 1e6)
    for index in range(len(rows)):
        counts = np.isfinite(looked[index])
        if (
            not counts
            and not status[index]
            and not any((evidence[index], texts["symptoms"][index], texts["sample_id"][index]))
        ):
            told.blank += 1
            continue
        system = _system_of(rows, index, given[index], block, systems, told)
        meaning, key = None, ""
        if counts:
            _check_bed(rows, index, str(bed[index]), looked[index], found[index], beds)
        else:
            key = keys.find(rows, index, str(plant[index]))
            meaning = _meaning(rows, index, str(status[index]), evidence[index], words)
        if rows.is_bad(index) or not _check_day(rows, index, day[index], as_of, told):
            continue
        if counts:
            _tell_bed(told, rows, index, beds[str(bed[index])], day[index], system, int(looked[index]),
                      int(found[index]), str(kind[index]), texts)  # fmt: skip
        elif meaning:
            _tell(told, rows, index, key, day[index], system, *meaning, str(method[index]),
                  str(kind[index]), texts)  # fmt: skip


def _meaning(rows: Rows, index: int, status: str, evidence: str, words: dict[str, str]) -> tuple[str, str] | None:
    """Return status and evidence of a row; what is missing or does not fit together puts the row aside."""
    if not status:
        rows.bad(index, "status", "no status beside what was seen", ", ".join(STATUS_WORDS), "Fill in the cell.")
        return None
    meaning = status_and_evidence(status, words)
    if meaning is None:
        _bad_status(rows, index, "status", status)
        return None
    allowed = [each.value for each in ALLOWED_EVIDENCE[Status(meaning[0])]]
    given = evidence.casefold()
    if given and (given not in allowed or meaning[1] not in ("", given)):
        rows.bad(index, "evidence", shown(evidence), meaning[1] or ", ".join(allowed),
                 f"Correct the evidence of status '{meaning[0]}'.")  # fmt: skip
    return meaning[0], meaning[1] or given


def _check_bed(rows: Rows, index: int, bed: str, looked: float, found: float, beds: dict[str, list[str]]) -> None:
    """Put a bed's row aside where its counts cannot be."""
    if bed not in beds:
        rows.bad(index, "bed_id", shown(bed), "a bed of the inventory", "Correct the bed, or add it to the inventory.")
    elif looked > len(beds[bed]):
        rows.bad(index, "n_inspected", f"'{looked:g}' plants of bed {shown(bed)}", f"up to {len(beds[bed])}",
                 "Correct the count here or in the inventory.")  # fmt: skip
    elif not np.isfinite(found):
        rows.bad(index, "n_infected", "an empty count", "how many were infected, 0 if none", "Fill in the cell.")
    elif found > looked:
        rows.bad(index, "n_infected", f"'{found:g}' infected of {looked:g} inspected", "no more than were inspected",
                 "Correct the counts.")  # fmt: skip


def _tell_bed(
    told: _Told, rows: Rows, index: int, plants: list[str], day: np.datetime64, system: str, looked: int, found: int,
    kind: str, texts: dict[str, Any],
) -> None:  # fmt: skip
    """Spread a bed's counts over its plants, evenly; which plant it was is not known, and a sentence says so."""
    for rank, place in enumerate(nested_order(len(plants))[:looked]):
        plant, status = plants[place], Status.INFECTED if rank < found else Status.CLEAN
        evidence = Evidence.TYPICAL_SYMPTOMS if status is Status.INFECTED else Evidence.VISUAL
        _tell(told, rows, index, plant, day, system, status.value, evidence.value, "", kind, texts, is_bed_count=True)
    if found:
        rows.book.assume(
            rows.table.file, f"{found} infected of {looked} plants were counted in a bed as a whole",
            "They were spread evenly over the bed; which plants they are is not known.", row=rows.table.row[index],
        )  # fmt: skip


def read_work_log(
    blocks: list[FileBlock], paths: list[Path], inventory: Inventory, settings: Settings, book: FaultBook
) -> WorkLog:
    """Return what crews did, all files together; faults go to the book."""
    keys = PlantKeys(inventory)
    parts: list[tuple[Any, ...]] = []
    for block, path in zip(blocks, paths, strict=True):
        with book.reading(block.file):
            rows = Rows(read_table(path, block.file, block, book, shapes=False), block, book)
            rows.need("plant_id")
            rows.need("done_on")
            plant, day, sprout = rows.text("plant_id"), rows.date("done_on"), rows.date("regrowth_on")
            done = rows.flag("done", default=True)
            roots = rows.word("roots_complete", [each.value for each in RootsComplete])
            note = rows.text("note")
            for index, key in enumerate(plant.tolist()):
                plant[index] = keys.find(rows, index, key)
                if done[index] and np.isnat(day[index]):
                    rows.bad(index, "done_on", "no date", "the day on which it was done", "Give the date.")
                elif not np.isnat(sprout[index]) and not np.isnat(day[index]) and sprout[index] < day[index]:
                    rows.bad(index, "regrowth_on", shown(sprout[index]), f"a day after {day[index]}", "Correct one.")
            _say_what_was_assumed(rows, keys, _Told(), None)
            parts += [(plant[i], day[i], done[i], roots[i], sprout[i], note[i]) for i in np.flatnonzero(rows.kept())]
            rows.finish(settings.inputs.most_rows_aside)
    columns: list[Any] = list(zip(*parts, strict=True)) if parts else [[], [], [], [], [], []]
    return WorkLog(
        plant_id=np.array(columns[0], dtype=object),
        done_on=np.array(columns[1], dtype="datetime64[D]"),
        done=np.array(columns[2], dtype=np.bool_),
        roots_complete=np.array(columns[3], dtype=object),
        regrowth_on=np.array(columns[4], dtype="datetime64[D]"),
        note=np.array(columns[5], dtype=object),
    )
