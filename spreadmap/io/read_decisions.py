"""What managers decided about plants of the removal list."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from spreadmap.io.faults import FaultBook, shown
from spreadmap.io.project_file import FileBlock
from spreadmap.io.read_rows import Rows
from spreadmap.io.read_surveys import PlantKeys
from spreadmap.io.read_tables import read_table
from spreadmap.io.write_tables import unquote_formula
from spreadmap.values.inventory import Inventory
from spreadmap.values.settings import Settings
from spreadmap.values.surveys import Decisions
from spreadmap.values.words import Decision

WORDS = [each.value for each in (Decision.ACCEPT, Decision.PUT_OFF, Decision.REFUSE)]


def read_decisions(
    blocks: list[FileBlock], paths: list[Path], inventory: Inventory, settings: Settings, book: FaultBook
) -> Decisions:
    """Return what managers decided, all files together; faults go to the book.

    A row without a decision is passed over: nothing was decided. One that puts off or refuses needs a reason, because the
    plant goes on sending.
    """
    keys = PlantKeys(inventory)
    parts: list[tuple[Any, ...]] = []
    for block, path in zip(blocks, paths, strict=True):
        with book.reading(block.file):
            rows = Rows(read_table(path, block.file, block, book, shapes=False), block, book)
            for name in ("plant_id", "decided_on", "decision"):
                rows.need(name)
            word, day, until = rows.word("decision", WORDS), rows.date("decided_on"), rows.date("until")
            reason = rows.cells("reason")
            if rows.table.is_text and not rows.is_ours:
                # the page that saves decisions guards its texts against spreadsheets, as all our tables do
                reason = list(map(unquote_formula, reason))
            plant = keys.find(rows, rows.cells("plant_id"), word != "")
            for index in np.flatnonzero(word != "").tolist():
                if np.isnat(day[index]):
                    rows.bad(index, "decided_on", "no date", "the day of the decision", "Give the date.")
                elif not np.isnat(until[index]) and until[index] <= day[index]:
                    rows.bad(index, "until", shown(until[index]), f"a day after {day[index]}", "Correct one.")
                elif word[index] != Decision.ACCEPT.value and not reason[index]:
                    rows.bad(
                        index, "reason", "no reason", f"why the answer is {word[index]}", "Write it in a few words."
                    )
            if keys.loose:
                book.assume(block.file, f"{keys.loose} keys differ from the inventory in capitals or spaces only",
                            "They were taken as the same plants.")  # fmt: skip
                keys.loose = 0
            parts += [
                (plant[i], day[i], word[i], until[i], reason[i]) for i in np.flatnonzero(rows.kept() & (word != ""))
            ]
            rows.finish(settings.inputs.most_rows_aside)
    columns: list[Any] = list(zip(*parts, strict=True)) if parts else [[] for _ in range(5)]
    return Decisions(
        plant_id=np.array(columns[0], dtype=object),
        decided_on=np.array(columns[1], dtype="datetime64[D]"),
        decision=np.array(columns[2], dtype=object),
        until=np.array(columns[3], dtype="datetime64[D]"),
        reason=np.array(columns[4], dtype=object),
    )
