"""The folder of a planned survey: sheets and list of the walk, there complete or not at all."""

from __future__ import annotations

import shutil
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from spreadmap.errors import OutputError
from spreadmap.io.desk import placed
from spreadmap.io.hand_held import in_walking_order
from spreadmap.io.layers import inspection_layer
from spreadmap.io.run_folder import PART, flush_folder, flush_tree
from spreadmap.io.summary import TOP, face_values, survey_values, write_json
from spreadmap.io.survey_tables import statement_rows, write_table
from spreadmap.io.write_tables import write_layer_csv
from spreadmap.values.results import PlannedSurvey, PlannedSystem

SURVEY_PLAN = "survey_plan"


def survey_plan_folder(project: Path, result: PlannedSurvey) -> Path:
    """Return where the plan of the next survey stands when nobody names a folder."""
    return project / SURVEY_PLAN / result.inputs.next_survey_on.isoformat()


def write_survey_plan(
    folder: Path, result: PlannedSurvey, sheets: Mapping[str, bytes], *, may_replace: bool = False
) -> dict[str, Any]:
    """Write field sheets, the list in walking order, what may be said, and a summary; return the summary.

    Everything is written into a hidden folder beside, which then gets its name.

    Parameters
    ----------
    folder : Path
        New or empty, unless `may_replace`: then an earlier plan there gives way.
    result : PlannedSurvey
    sheets : mapping
        Finished files by their path in the folder.
    may_replace : bool

    Raises
    ------
    OutputError
        If the folder is not empty, or cannot be written; nothing remains then, and an earlier plan stays.
    """
    if folder.exists() and not (may_replace and folder.is_dir()) and (not folder.is_dir() or any(folder.iterdir())):
        msg = f"{folder} is not an empty folder, and nothing in it is overwritten. Name a new folder."
        raise OutputError(msg)
    part, old = folder.parent / f".{folder.name}{PART}", folder.parent / f".{folder.name}.old{PART}"
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        for left in (part, old):
            if left.exists():
                shutil.rmtree(left)
        part.mkdir()
        summary = _fill(part, result, sheets)
        flush_tree(part)
        if folder.exists():
            folder.rename(old)
        part.rename(folder)
        flush_folder(folder.parent)
        shutil.rmtree(old, ignore_errors=True)
    except OSError as error:
        if old.exists() and not folder.exists():
            old.rename(folder)
        if isinstance(error, OutputError):
            raise
        msg = f"{folder} could not be written: {error}. Free the disk or name another folder."
        raise OutputError(msg) from error
    finally:
        shutil.rmtree(part, ignore_errors=True)
    return summary


def _fill(folder: Path, result: PlannedSurvey, sheets: Mapping[str, bytes]) -> dict[str, Any]:
    """Write all files into a folder and return the summary."""
    for name, content in sheets.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
    for system in result.systems:
        own = folder / system.triage.system.key
        own.mkdir(exist_ok=True)
        walk = in_walking_order(inspection_layer(system, result.inputs))
        write_layer_csv(own / "inspection_list.csv", placed(walk, result.settings.delivery))
        if system.survey is not None:
            rows = statement_rows(system.survey, system.triage.system.key, result.inputs.as_of)
            write_table(own, "survey_statement", rows)
    summary = plan_values(result)
    write_json(folder / "summary.json", summary)
    return summary


def plan_values(result: PlannedSurvey) -> dict[str, Any]:
    """Return the summary of a planned survey."""
    inputs = result.inputs
    return {
        "project": inputs.name,
        "as_of": inputs.as_of,
        "survey_on": inputs.next_survey_on,
        "hours": result.settings.inspection.hours_per_survey,
        "systems": [_system_values(system, result) for system in result.systems],
    }


def _system_values(system: PlannedSystem, result: PlannedSurvey) -> dict[str, Any]:
    """Return what the survey of one pest system looks at."""
    look, keys = system.plan.inspection, result.inputs.inventory.plant_id
    within = look.within_hours
    walked = look.plant[within][np.argsort(look.walk[within], kind="stable")]
    return {
        "system": system.triage.system.key,
        "face": face_values(system.face),
        "plants": int(within.sum()),
        "of": len(look),
        "drawn_at_random": int((look.is_random & within).sum()),
        "overdue": int((look.is_overdue & within).sum()),
        "overdue_not_reached": int((look.is_overdue & ~within).sum()),
        "person_hours": 0.0 if system.costs is None else system.costs.inspection_hours,
        "first": keys[walked[:TOP]].tolist(),
        "survey": survey_values(system.survey),
    }
