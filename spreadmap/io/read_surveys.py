"""Inspections, and the work log."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
import pandas

from spreadmap.errors import InputError
from spreadmap.io.faults import FaultBook, shown
from spreadmap.io.project_file import FileBlock, SurveyBlock, suggestion
from spreadmap.io.read_rows import Rows, as_text, distinct, fold_key, fold_keys, is_filled
from spreadmap.io.read_tables import read_table
from spreadmap.io.write_tables import unquote_formula
from spreadmap.values.arrays import BoolArray, DateArray, IntArray, TextArray, empty_text
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
    """Inspections of all files so far, and what was assumed in the file at hand."""

    def __init__(self) -> None:
        self.parts: list[dict[str, np.ndarray]] = []
        self.later = self.by_default = self.blank = self.without_evidence = self.visual_tests = 0
        self.default_system = ""

    def add(self, parts: list[dict[str, np.ndarray]]) -> None:
        """Add the inspections of one file, in the order of its rows."""
        if not parts:
            return
        whole = {name: np.concatenate([part[name] for part in parts]) for name in COLUMNS}
        order = np.argsort(whole["row"], kind="stable")
        self.parts.append({name: column[order] for name, column in whole.items()})

    def surveys(self) -> Surveys:
        """Return them as a value."""
        kinds: dict[str, Any] = {"inspected_on": "datetime64[D]", "row": np.int64, "is_bed_count": np.bool_}
        empty = [{name: np.zeros(0, dtype=kinds.get(name, object)) for name in COLUMNS}]
        columns: dict[str, Any] = {
            name: np.concatenate([part[name] for part in self.parts or empty]) for name in COLUMNS
        }
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
    for row in np.flatnonzero(inventory.bed_id != "").tolist():
        beds.setdefault(inventory.bed_id[row], []).append(inventory.plant_id[row])
    known = tuple(system.key for system in systems)
    mapped = [system.key for system in systems if system.is_mapped]
    told.default_system = mapped[0] if len(mapped) == 1 else ""
    for block, path in zip(blocks, paths, strict=True):
        with book.reading(block.file):
            rows = Rows(read_table(path, block.file, block, book, shapes=False), block, book)
            if block.pest_system and block.pest_system not in known:
                msg = (
                    f"has an unknown pest_system {shown(block.pest_system)} in its block; allowed: {', '.join(known)}. "
                    f"{suggestion(block.pest_system, known)}Correct it"
                )
                raise InputError(msg)
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
    inspection, example = distinct(surveys.plant_id, surveys.pest_system, surveys.inspected_on)
    numbers, kinds = pandas.factorize(surveys.status)
    said = np.sort(inspection * max(len(kinds), 1) + numbers)
    # one of each status of an inspection, then those inspections that still come more than once
    said = said[np.diff(said, prepend=-1) > 0] // max(len(kinds), 1)
    double = set(said[1:][said[1:] == said[:-1]].tolist())
    if double:
        first = example[min(double)]
        book.assume("surveys", f"{len(double)} plants have two different statuses on one day, first "
                    f"{shown(surveys.plant_id[first])} on {surveys.inspected_on[first]}", "The graver one counts.",
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
        self._inventory = inventory
        self.loose = 0

    @cached_property
    def _keys(self) -> list[str]:
        keys: list[str] = self._inventory.plant_id.tolist()
        return keys

    @cached_property
    def _exact(self) -> set[str]:
        return set(self._keys)

    @cached_property
    def _folded(self) -> list[str]:
        return fold_keys(self._keys)

    def find(self, rows: Rows, keys: list[str], asked: BoolArray) -> TextArray:
        """Return the inventory's key of every row that is asked for; an unknown one puts its row aside, shape (rows,)."""
        found = as_text(keys)
        known = np.fromiter(map(self._exact.__contains__, keys), np.bool_, len(keys)) if keys else asked
        unknown = np.flatnonzero(asked & ~known).tolist()
        for index in unknown:
            # tables of ours, which come back filled in, guard a key that begins like a formula
            if (plain := unquote_formula(keys[index])) in self._exact:
                found[index] = plain
        unknown = [index for index in unknown if found[index] not in self._exact]
        folds = {index: [fold_key(key) for key in (keys[index], unquote_formula(keys[index]))] for index in unknown}
        alike, bare = self._near({folded for pair in folds.values() for folded in pair})
        for index in unknown:
            key, pair = keys[index], folds[index]
            folded = next((each for each in pair if each in alike or each in rows.book.lost_plants), pair[1])
            if key and folded in alike:
                self.loose += 1
                found[index] = alike[folded]
                continue
            lost = rows.book.lost_plants.get(folded) if key else None
            if lost is not None:
                rows.bad(index, "plant_id", f"{shown(key)}, whose {lost} was put aside", "a key of the inventory",
                         "Mend the row of the inventory.")  # fmt: skip
            elif key and rows.book.has_unread_plants:
                rows.wait(index)
            else:
                hint = "Leading zeros seem to be lost: keep the column as text. " if folded in bare else ""
                rows.bad(
                    index, "plant_id", shown(key), "a key of the inventory", f"{hint}Correct the key or add the plant."
                )
        return found

    def _near(self, wanted: set[str]) -> tuple[dict[str, str], set[str]]:
        """Return, of folded keys, which are keys of the inventory, and which are some that lost their leading zeros."""
        if not wanted:
            return {}, set()
        alike = {folded: key for folded, key in zip(self._folded, self._keys, strict=True) if folded in wanted}
        # a program that takes keys for numbers drops the zeros in front
        bare = {folded.lstrip("0") for folded in self._folded if folded.startswith("0")}
        return alike, bare & wanted


def nested_order(count: int) -> list[int]:
    """Return 0 to count - 1 so that the first k of them lie evenly for every k.

    The places are sorted by their bit-reversed number (van der Corput): the infected plants of an earlier count are
    then among those of a later, higher one, and do not add up.
    """
    bits = max(1, (count - 1).bit_length())
    turned = (int(f"{number:0{bits}b}"[::-1], 2) for number in range(2**bits))
    return [number for number in turned if number < count]


def _systems(rows: Rows, given: list[str], asked: BoolArray, block: SurveyBlock, systems: tuple[str, ...],
             told: _Told) -> TextArray:  # fmt: skip
    """Return the pest system of every row that is asked for; an unknown one puts its row aside, shape (rows,)."""
    names = {cell: cell or block.pest_system or told.default_system for cell in set(given)}
    if "" in names and not block.pest_system and told.default_system:
        told.by_default += int(np.sum(asked & ~is_filled(given)))
    wrong = {cell: name for cell, name in names.items() if name not in systems}
    if wrong:
        for index in np.flatnonzero(asked).tolist():
            if given[index] in wrong:
                name = wrong[given[index]]
                rows.bad(index, "pest_system", shown(name), ", ".join(systems),
                         f"{rows.hint(name, systems)}Correct the cell, or give pest_system in the file's block.")  # fmt: skip
    return as_text(list(map(names.__getitem__, given)))


def _status_remedy(rows: Rows, cell: str, words: dict[str, str]) -> str:
    """Return what to do about an unknown status word, or one that the project file's own words turn into one."""
    meant = words.get(cell.casefold())
    if meant is not None:
        return f"The project file takes it for {shown(meant)}. {rows.hint(meant, STATUS_WORDS)}Correct its words."
    return f"{rows.hint(cell, STATUS_WORDS)}Correct the cell or map the word in the project file."


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
    for header in block.dates:
        rows.need(header)
    words = {key.strip().casefold(): value for key, value in block.words.items()}
    every = np.ones(len(rows), dtype=np.bool_)
    system = _systems(rows, [""] * len(rows), every, block, systems, told)
    plant = keys.find(rows, rows.cells("plant_id"), every)
    found = []
    for header, day in block.dates.items():
        cells = rows.cells(header)
        meanings = {cell: status_and_evidence(cell, words) for cell in set(cells) - {""}}
        if None in meanings.values():
            for index, cell in enumerate(cells):
                if cell and meanings[cell] is None:
                    rows.bad(index, header, shown(cell), ", ".join(STATUS_WORDS), _status_remedy(rows, cell, words))
        told_at = np.flatnonzero([meanings.get(cell) is not None for cell in cells])
        if as_of is not None and day > as_of:
            told.later += len(told_at)
        else:
            found.append((told_at, np.datetime64(day), [meanings[cells[each]] for each in told_at.tolist()]))
    parts = []
    for told_at, moment, pairs in found:
        good = rows.kept()[told_at]
        kept = [pair for pair, is_good in zip(pairs, good.tolist(), strict=True) if is_good and pair]
        at = told_at[good]
        seen = _Seen(at=at, plant=plant[at], day=np.full(len(at), moment), system=system[at],
                     status=as_text([status for status, _ in kept]), evidence=as_text([each for _, each in kept]))  # fmt: skip
        parts.append(_part(rows, told, seen))
    told.add(parts)


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
    words = {key.strip().casefold(): value for key, value in block.words.items()}
    day = rows.date("inspected_on")
    given, evidence = (_mapped(rows.cells(name), words) for name in ("pest_system", "evidence"))
    method = rows.word("method", [each.value for each in Method])
    kind = rows.word("survey_kind", [each.value for each in SurveyKind])
    looked = rows.whole_number("n_inspected", np.nan, 0, 1e6)
    found = rows.whole_number("n_infected", np.nan, 0, 1e6)
    is_bed = np.isfinite(looked)
    columns = (rows.cells("status"), evidence, rows.cells("symptoms"), rows.cells("sample_id"))
    blank = ~is_bed & ~np.any([is_filled(column) for column in columns], axis=0)
    told.blank += int(blank.sum())
    system = _systems(rows, given, ~blank, block, systems, told)
    plant = keys.find(rows, rows.cells("plant_id"), ~blank & ~is_bed)
    bed = rows.cells("bed_id")
    for index in np.flatnonzero(is_bed).tolist():
        _check_bed(rows, index, bed[index], looked[index], found[index], beds)
    status, evidence_of = _meanings(rows, rows.text("status"), as_text(evidence), ~blank & ~is_bed, words)
    use = _dated(rows, day, ~blank & rows.kept(), as_of, told)
    at = np.flatnonzero(use & ~is_bed)
    seen = _Seen(at=at, plant=plant[at], day=day[at], system=system[at], method=method[at], kind=kind[at],
                 status=status[at], evidence=evidence_of[at])  # fmt: skip
    parts = [_part(rows, told, seen)]
    for index in np.flatnonzero(use & is_bed).tolist():
        spread = _spread_over_bed(rows, index, beds[bed[index]], int(looked[index]), int(found[index]))
        many = np.full(len(spread), index)
        seen = _Seen(at=many, plant=as_text([each for each, _ in spread]), day=day[many], system=system[many],
                     kind=kind[many], status=as_text([pair[0] for _, pair in spread]),
                     evidence=as_text([pair[1] for _, pair in spread]))  # fmt: skip
        parts.append(_part(rows, told, seen, is_bed_count=True))
    told.add(parts)


def _mapped(cells: list[str], words: dict[str, str]) -> list[str]:
    """Return cells with the project's own words put into ours."""
    ours = {cell: words.get(cell.casefold(), cell) for cell in set(cells)}
    return list(map(ours.__getitem__, cells))


def _dated(rows: Rows, day: DateArray, asked: BoolArray, as_of: dt.date | None, told: _Told) -> BoolArray:
    """Return which inspections are to be told; one without a date puts its row aside, a later one waits."""
    for index in np.flatnonzero(asked & np.isnat(day)).tolist():
        rows.bad(index, "inspected_on", "no date", "the day of the inspection", "Give the date.")
    asked = asked & ~np.isnat(day)
    if as_of is None:
        return asked
    waits = asked & (day > np.datetime64(as_of))
    told.later += int(waits.sum())
    return asked & ~waits


Meaning = tuple[str, str]
"""Status and evidence; the evidence may be empty."""


def _meanings(
    rows: Rows, status: TextArray, evidence: TextArray, asked: BoolArray, words: dict[str, str]
) -> tuple[TextArray, TextArray]:
    """Return status and evidence of every row; what is missing or does not fit together puts the row aside."""
    which, examples = distinct(status, evidence)
    meanings = [_meaning(rows, str(status[row]), str(evidence[row]), words) for row in examples]
    wrong = np.array([len(meaning) > 2 for meaning in meanings], dtype=np.bool_)
    if wrong.any():
        for index in np.flatnonzero(asked & wrong[which]).tolist():
            column, found, allowed, remedy = (*meanings[which[index]], "", "")[:4]
            rows.bad(index, column, found, allowed, remedy)
    first, second = (as_text([meaning[part] for meaning in meanings]) for part in (0, 1))
    return first[which], second[which]


def _meaning(rows: Rows, status: str, evidence: str, words: dict[str, str]) -> Meaning | tuple[str, str, str, str]:
    """Return status and evidence; or column, what was found, what is allowed and the remedy."""
    if not status:
        return "status", "no status beside what was seen", ", ".join(STATUS_WORDS), "Fill in the cell."
    meaning = status_and_evidence(status, words)
    if meaning is None:
        return "status", shown(status), ", ".join(STATUS_WORDS), _status_remedy(rows, status, words)
    allowed = [each.value for each in ALLOWED_EVIDENCE[Status(meaning[0])]]
    given = evidence.casefold()
    if given and (given not in allowed or meaning[1] not in ("", given)):
        remedy = f"Correct the evidence of status '{meaning[0]}'."
        return "evidence", shown(evidence), meaning[1] or ", ".join(allowed), remedy
    return meaning[0], meaning[1] or given


@dataclass(frozen=True, slots=True, kw_only=True)
class _Seen:
    """Inspections of one table, one item each: `at` is the row; status, evidence and method are as given."""

    at: IntArray
    plant: TextArray
    day: DateArray
    system: TextArray
    status: TextArray
    evidence: TextArray
    method: TextArray | None = None
    kind: TextArray | None = None


def _part(rows: Rows, told: _Told, seen: _Seen, *, is_bed_count: bool = False) -> dict[str, np.ndarray]:
    """Return inspections by column, with what is usual where nothing was given; that is counted."""
    count = len(seen.at)
    method = empty_text(count) if seen.method is None else seen.method
    which, examples = distinct(seen.status, seen.evidence, method)
    usual = [_usual(str(seen.status[row]), str(seen.evidence[row]), str(method[row])) for row in examples]
    times = np.bincount(which, minlength=len(usual)).tolist()
    for often, (_, without_evidence, visual_test) in zip(times, usual, strict=True):
        told.without_evidence += often * without_evidence * (not is_bed_count)
        told.visual_tests += often * visual_test
    words = [as_text([words[part] for words, _, _ in usual])[which] for part in range(3)]
    kind = empty_text(count) if seen.kind is None else seen.kind
    return {
        "plant_id": seen.plant,
        "inspected_on": seen.day,
        "pest_system": seen.system,
        "status": words[0],
        "evidence": words[1],
        "method": words[2],
        "survey_kind": np.where(kind == "", SurveyKind.MONITORING.value, kind).astype(object),
        "file": as_text([rows.table.file] * count),
        "row": np.asarray(rows.table.row, dtype=np.int64)[seen.at],
        "is_bed_count": np.full(count, is_bed_count),
        **{name: rows.text(name)[seen.at] for name in TEXTS},
    }


def _usual(status: str, evidence: str, method: str) -> tuple[tuple[str, str, str], bool, bool]:
    """Return status, evidence and method, whether evidence of an infection was missing, and whether a test was by eye."""
    without_evidence = visual_test = False
    if not evidence and status == Status.INFECTED:
        without_evidence = method != Method.TEST
        evidence = Evidence.LAB.value if method == Method.TEST else ""
    evidence = evidence or ALLOWED_EVIDENCE[Status(status)][0].value
    if status == Status.INFECTED and evidence == Evidence.LAB and method == Method.VISUAL:
        visual_test = True
        method = Method.TEST.value
    usual = Method.TEST.value if evidence == Evidence.LAB else Method.VISUAL.value
    return (status, evidence, method or usual), without_evidence, visual_test


def _check_bed(rows: Rows, index: int, bed: str, looked: float, found: float, beds: dict[str, list[str]]) -> None:
    """Put a bed's row aside where its counts cannot be."""
    if bed not in beds and bed and rows.book.has_unread_plants:
        rows.wait(index)
    elif bed not in beds:
        rows.bad(index, "bed_id", shown(bed), "a bed of the inventory", "Correct the bed, or add it to the inventory.")
    elif looked > len(beds[bed]):
        rows.bad(index, "n_inspected", f"'{looked:g}' plants of bed {shown(bed)}", f"up to {len(beds[bed])}",
                 "Correct the count here or in the inventory.")  # fmt: skip
    elif not np.isfinite(found):
        rows.bad(index, "n_infected", "an empty count", "how many were infected, 0 if none", "Fill in the cell.")
    elif found > looked:
        rows.bad(index, "n_infected", f"'{found:g}' infected of {looked:g} inspected", "no more than were inspected",
                 "Correct the counts.")  # fmt: skip


def _spread_over_bed(rows: Rows, index: int, plants: list[str], looked: int, found: int) -> list[tuple[str, Meaning]]:
    """Return a bed's counts evenly over its plants; which plant it was is not known, and a sentence says so."""
    infected = (Status.INFECTED.value, Evidence.TYPICAL_SYMPTOMS.value)
    clean = (Status.CLEAN.value, Evidence.VISUAL.value)
    if found:
        rows.book.assume(
            rows.table.file, f"{found} infected of {looked} plants were counted in a bed as a whole",
            "They were spread evenly over the bed; which plants they are is not known.", row=rows.table.row[index],
        )  # fmt: skip
    order = nested_order(len(plants))[:looked]
    return [(plants[place], infected if rank < found else clean) for rank, place in enumerate(order)]


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
            day, sprout, reopened = rows.date("done_on"), rows.date("regrowth_on"), rows.date("reopened_on")
            done = rows.flag("done", default=True)
            roots = rows.word("roots_complete", [each.value for each in RootsComplete])
            note = rows.text("note")
            plant = keys.find(rows, rows.cells("plant_id"), np.ones(len(rows), dtype=np.bool_))
            for index in range(len(rows)):
                if done[index] and np.isnat(day[index]):
                    rows.bad(index, "done_on", "no date", "the day on which it was done", "Give the date.")
                for name, later in (("regrowth_on", sprout), ("reopened_on", reopened)):
                    if not np.isnat(later[index]) and not np.isnat(day[index]) and later[index] < day[index]:
                        rows.bad(index, name, shown(later[index]), f"a day after {day[index]}", "Correct one.")
            _say_what_was_assumed(rows, keys, _Told(), None)
            values = (plant, day, done, roots, sprout, note, reopened)
            parts += [tuple(column[i] for column in values) for i in np.flatnonzero(rows.kept())]
            rows.finish(settings.inputs.most_rows_aside)
    columns: list[Any] = list(zip(*parts, strict=True)) if parts else [[] for _ in range(7)]
    return WorkLog(
        plant_id=np.array(columns[0], dtype=object),
        done_on=np.array(columns[1], dtype="datetime64[D]"),
        done=np.array(columns[2], dtype=np.bool_),
        roots_complete=np.array(columns[3], dtype=object),
        regrowth_on=np.array(columns[4], dtype="datetime64[D]"),
        note=np.array(columns[5], dtype=object),
        reopened_on=np.array(columns[6], dtype="datetime64[D]"),
    )
