"""What a survey is known by: its inspections, day by day and file by file, whatever the files are called.

The same inspections given twice count once, and those of a survey that was withdrawn do not count.
"""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Callable, Iterable, Mapping
from dataclasses import fields
from pathlib import Path

import numpy as np

from spreadmap.io.faults import FaultBook
from spreadmap.io.project_file import SurveyBlock
from spreadmap.io.read_rows import distinct
from spreadmap.values.arrays import IntArray
from spreadmap.values.project import SurveyPart
from spreadmap.values.surveys import Surveys

NOT_COMPARED = {"file", "row", "inspected_on"}
"""Columns of an inspection that do not make it another one; the day is the part's own."""


def single_blocks(
    blocks: list[SurveyBlock], paths: list[Path], book: FaultBook
) -> tuple[list[SurveyBlock], list[Path]]:
    """Return survey files without those whose block stands in the project file twice; that is told."""
    kept: list[tuple[SurveyBlock, Path]] = []
    for block, path in zip(blocks, paths, strict=True):
        if any(block == other for other, _ in kept):
            book.assume(block.file, "the file is named twice", "It was read once; remove one of the two blocks.")
        else:
            kept.append((block, path))
    return [block for block, _ in kept], [path for _, path in kept]


def survey_sources(
    blocks: Iterable[SurveyBlock], paths: Iterable[Path], hash_of: Callable[[Path], str]
) -> dict[str, str]:
    """Return by the name of every survey file the hash of what it holds and of how it is read."""
    said: dict[str, list[str]] = {}
    for block, path in zip(blocks, paths, strict=True):
        how = block.model_dump_json(exclude={"file"}, exclude_defaults=True)
        said.setdefault(block.file, []).append(f"{hash_of(path)} {how}")
    return {file: hashlib.sha256("\n".join(lines).encode()).hexdigest() for file, lines in said.items()}


def parts_of(surveys: Surveys, sources: Mapping[str, str]) -> list[tuple[SurveyPart, IntArray]]:
    """Return the parts of all surveys with the rows of each, in the order of the files, then of the days."""
    if not len(surveys):
        return []
    compared = [getattr(surveys, field.name) for field in fields(surveys) if field.name not in NOT_COMPARED]
    columns = [(column if column.dtype == object else column.astype(str)).tolist() for column in compared]
    lines = np.array(list(map("\x1f".join, zip(*columns, strict=True))), dtype=object)
    which, examples = distinct(surveys.file, surveys.inspected_on)
    order = np.argsort(which, kind="stable")
    groups = np.split(order, np.cumsum(np.bincount(which))[:-1])
    files = list(dict.fromkeys(surveys.file.tolist()))
    parts = []
    for rows, example in zip(groups, examples, strict=True):
        file, day = str(surveys.file[example]), surveys.inspected_on[example].item()
        digest = hashlib.sha256("\x1e".join([str(day), *sorted(lines[rows].tolist())]).encode()).hexdigest()
        parts.append((
            SurveyPart(file=file, day=day, rows=len(rows), rows_sha256=digest, source_sha256=sources[file]), rows
        ))  # fmt: skip
    return sorted(parts, key=lambda part: (files.index(part[0].file), part[0].day))


def counted_surveys(
    surveys: Surveys, sources: Mapping[str, str], withdrawn: Iterable[SurveyPart], book: FaultBook
) -> tuple[Surveys, tuple[SurveyPart, ...]]:
    """Return the inspections that count, and their parts; what is left out is told.

    Parameters
    ----------
    surveys : Surveys
        As read from all files.
    sources : mapping
        By the name of each file, what `survey_sources` gave.
    withdrawn : iterable of SurveyPart
        What was withdrawn: the same inspections of that day in any file, and that day of the same file read alike.
    book : FaultBook
    """
    gone = list(withdrawn)
    out_by_rows, out_by_source = ({(part.day, getattr(part, name)) for part in gone}
                                  for name in ("rows_sha256", "source_sha256"))  # fmt: skip
    kept: list[SurveyPart] = []
    keep = np.ones(len(surveys), dtype=np.bool_)
    left_out: dict[str, list[SurveyPart]] = {}
    first: dict[tuple[dt.date, str], str] = {}
    repeated: dict[tuple[str, str], list[SurveyPart]] = {}
    for part, rows in parts_of(surveys, sources):
        name = (part.day, part.rows_sha256)
        if name in out_by_rows or (part.day, part.source_sha256) in out_by_source:
            left_out.setdefault(part.file, []).append(part)
        elif name in first:
            repeated.setdefault((part.file, first[name]), []).append(part)
        else:
            first[name] = part.file
            kept.append(part)
            continue
        keep[rows] = False
    for file, parts in left_out.items():
        book.assume(file, f"{_told(parts)} belong to a survey that was withdrawn", "They do not count; `spreadmap undo FOLDER "
                    "--restore` lets the survey count again.", column="inspected_on")  # fmt: skip
    for (file, other), parts in repeated.items():
        book.assume(file, f"{_told(parts)} are those of {other}, one by one", "They count once.", column="inspected_on")
    _say_what_changed(kept, gone, book)
    if keep.all():
        return surveys, tuple(kept)
    return Surveys(**{field.name: getattr(surveys, field.name)[keep] for field in fields(surveys)}), tuple(kept)


def days_of(parts: Iterable[SurveyPart]) -> str:
    """Return the days of some parts in words."""
    days = sorted({part.day for part in parts})
    return f"{days[0]}" if len(days) == 1 else f"{days[0]} to {days[-1]}"


def _told(parts: list[SurveyPart]) -> str:
    return f"{sum(part.rows for part in parts)} inspections of {days_of(parts)}"


def _say_what_changed(kept: list[SurveyPart], gone: list[SurveyPart], book: FaultBook) -> None:
    """Tell of inspections that count though others of that day and file were withdrawn: the file was corrected."""
    days = {(part.file, part.day) for part in gone}
    by_file: dict[str, list[SurveyPart]] = {}
    for part in kept:
        if (part.file, part.day) in days:
            by_file.setdefault(part.file, []).append(part)
    for file, parts in by_file.items():
        book.assume(file, f"{_told(parts)} differ from those of the same file that were withdrawn", "They count; "
                    "`spreadmap undo FOLDER` after a run withdraws them, too.", column="inspected_on")  # fmt: skip
