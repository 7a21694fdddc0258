"""`summary.json` for whoever runs many projects, `manifest.json` for whoever checks one."""

from __future__ import annotations

import dataclasses
import datetime as dt
import hashlib
import json
import math
from collections.abc import Mapping, Sequence
from enum import Enum
from pathlib import Path
from typing import Any

import numpy as np

from spreadmap.decisions.cautions import removal_cautions
from spreadmap.errors import OutputError
from spreadmap.io.calendar_file import season_values
from spreadmap.io.changes import DELETE, INSERT, UPDATE, Change
from spreadmap.io.layers import clean_text
from spreadmap.io.metadata import NOT_A_DIAGNOSIS, seed_sentence, wind_sentence
from spreadmap.io.versions import library_versions
from spreadmap.values.ahead import Ahead
from spreadmap.values.costs import COSTS_STANDING, CostTable
from spreadmap.values.plan import BEARINGS, RemovalList
from spreadmap.values.results import Face, SurveyResult, SystemResult, Triage
from spreadmap.values.settings import list_settings
from spreadmap.values.survey_answer import SurveyAnswer
from spreadmap.values.words import Status

TOP = 10


def plain(value: Any) -> Any:
    """Return a value as JSON knows it: dates as text, numbers that are none as null, no control characters."""
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {field.name: plain(getattr(value, field.name)) for field in dataclasses.fields(value)}
    if isinstance(value, Mapping):
        return {str(key): plain(part) for key, part in value.items()}
    if isinstance(value, Enum):
        return value.value
    if isinstance(value, np.generic):
        return None if isinstance(value, np.datetime64) and np.isnat(value) else plain(value.item())
    if isinstance(value, np.ndarray) and value.dtype.kind == "f" and value.ndim == 1:
        return [each if math.isfinite(each) else None for each in value.tolist()]
    if isinstance(value, np.ndarray) and value.dtype.kind in "iub":
        return value.tolist()
    if isinstance(value, list | tuple | np.ndarray):
        return [plain(part) for part in value]
    if isinstance(value, dt.date):
        return value.isoformat()
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    return clean_text(value) if isinstance(value, str) else value


def write_json(path: Path, value: Any) -> Path:
    """Write a value as JSON, keys in their order, the same bytes for the same value.

    Raises
    ------
    OutputError
        If the file cannot be written.
    """
    text = json.dumps(plain(value), ensure_ascii=False, indent=2, allow_nan=False) + "\n"
    try:
        path.write_text(text, encoding="utf-8", newline="\n")
    except OSError as error:
        msg = f"{path.name} could not be written: {error}. Free the disk or the folder, then run again."
        raise OutputError(msg) from error
    return path


def face_values(face: Face) -> dict[str, Any]:
    """Return the face, and itself in one sentence."""
    return {**plain(face), "sentence": face.sentence()}


def triage_values(triage: Triage) -> dict[str, Any]:
    """Return what the findings of one system amount to."""
    return {
        "system": triage.system.key,
        "common_name": triage.system.common_name,
        "verdict": triage.system.verdict,
        "is_mapped": triage.system.is_mapped,
        "infected": triage.infected,
        "suspect": triage.suspect,
        "clean": triage.clean,
        "not_inspected": triage.not_inspected,
        "hosts": triage.hosts,
        "says": triage.says,
        "season_says": triage.season_says,
        "identifications": [
            {
                "genus": group.genus,
                "symptoms": group.symptoms,
                "plants": len(group.plants),
                "fits": [fit.system.key for fit in group.fits],
                "misfit": group.misfit,
                "tell_apart": group.tell_apart,
            }
            for group in triage.identifications
        ],
    }


def _share_this_week(removal: RemovalList) -> dict[str, float] | None:
    """Return what this week's work avoids of all that the list would bring about, with its range."""
    curve, reach = removal.curve, int(removal.within_hours.sum())
    if curve is None or reach >= len(curve):
        return None
    return {"share": float(curve.share[reach]), "low": float(curve.low[reach]), "high": float(curve.high[reach])}


def system_values(system: SystemResult, result: SurveyResult) -> dict[str, Any]:
    """Return counts, tops of lists, rings and the spread ahead of one mapped system."""
    removal, inspection, keys = system.plan.removal, system.plan.inspection, result.inputs.inventory.plant_id
    told = system.state.is_host | (system.state.status != Status.NOT_INSPECTED.value)
    words, counts = np.unique(system.state.status[told].astype(str), return_counts=True)
    return {
        "system": system.triage.system.key,
        "face": face_values(system.face),
        "status_counts": dict(zip(words.tolist(), counts.tolist(), strict=True)),
        "removal": {
            "plants": len(removal),
            "within_hours": int(removal.within_hours.sum()),
            "crew_hours": removal.cumulative_hours[-1] if len(removal) else 0.0,
            "backlog_weeks": system.plan.backlog_weeks,
            "held_back": int(removal.is_held.sum()),
            "share_avoided_this_week": _share_this_week(removal),
            "first": [
                {"plant_id": keys[plant], "rank": place + 1, "rank_low": removal.rank_low[place],
                 "rank_high": removal.rank_high[place], "earliest_on": removal.earliest_on[place],
                 "planned_on": removal.planned_on[place], "cost": removal.cost[place],
                 "reason": removal.reason[place]}
                for place, plant in enumerate(removal.plant[:TOP])
            ],
        },
        "inspection": {
            "plants": len(inspection),
            "within_hours": int(inspection.within_hours.sum()),
            "drawn_at_random": int((inspection.is_random & inspection.within_hours).sum()),
            "overdue": int(inspection.is_overdue.sum()),
            "first": [
                {"plant_id": keys[plant], "rank": place + 1, "due_on": inspection.due_on[place],
                 "relative_pressure": inspection.pressure[place], "reason": inspection.reason[place]}
                for place, plant in enumerate(inspection.plant[:TOP])
            ],
        },
        "rings": [
            {"focus": ring.focus, "ring": ring.name, "share": ring.share, "area_m2": ring.area_m2,
             "area_low_m2": ring.area_low_m2, "area_high_m2": ring.area_high_m2, "plants_inside": ring.plants_inside,
             "inspect_every_days": ring.inspect_every_days, "host_share": ring.host_share,
             "infection_share": ring.infection_share, "parcels": ring.parcels_inside,
             "reach_by_bearing_m": dict(zip(BEARINGS, ring.reach_by_bearing_m, strict=True))}
            for ring in system.zones.rings
        ],
        "lines": [{"name": line.name, "distance_m": line.distance_m} for line in system.zones.lines],
        "release": system.zones.release,
        "lift_from": system.zones.lift_from,
        "survey": survey_values(system.survey),
        "costs": costs_values(system.costs),
        "ahead": ahead_values(system.ahead),
        "breaks": system.breaks,
        "surface_breaks": system.surface_breaks,
        "wind": wind_sentence(result, system),
        "remarks": system.plan.remarks,
    }  # fmt: skip


def ahead_values(ahead: Ahead) -> dict[str, Any]:
    """Return the spread ahead without its single plants; in relative mode nothing but shares, ratios and sentences."""

    def told(each: Any) -> dict[str, Any]:
        return {name: value for name, value in plain(each).items() if value is not None}

    return {
        "mode": ahead.mode,
        "next_survey_on": ahead.next_survey_on,
        "horizon_on": ahead.horizon_on,
        "draws": ahead.draws,
        "members": ahead.members,
        "seed": ahead.seed,
        "rests_on": ahead.rates_say,
        "scenarios": [told(each) for each in ahead.scenarios],
        "comparisons": [told(each) for each in ahead.comparisons],
        "places": [told(each) for each in ahead.places],
        "remarks": ahead.remarks,
    }


def survey_values(survey: SurveyAnswer | None) -> dict[str, Any] | None:
    """Return what the last survey allows to be said, what is drawn for the next one, and the curve of shared hours."""
    if survey is None:
        return None
    return {
        "first_on": survey.first_on,
        "last_on": survey.last_on,
        "statements": [{**plain(each), "excluded_prevalence_95": plain(each.excluded)} for each in survey.statements],
        "sample": {
            "plants": len(survey.sample),
            "lot": survey.sample.lot,
            "wanted": survey.sample.wanted,
            "says": survey.sample.sentence,
        },
        "hours": survey.hours,
        "remarks": survey.remarks,
    }


def costs_values(costs: CostTable | None) -> dict[str, Any] | None:
    """Return sums and hours by site and owner; an order of magnitude."""
    if costs is None:
        return None
    return {
        "currency": costs.currency,
        "standing": COSTS_STANDING,
        "removal_hours": costs.removal_hours,
        "inspection_hours": costs.inspection_hours,
        "removal": costs.removal,
        "inspection": costs.inspection,
        "testing": costs.testing,
        "total": costs.total,
        "rows": [{**plain(row), "total": row.total} for row in costs.rows],
    }


def summary_values(result: SurveyResult, changes: Sequence[Change]) -> dict[str, Any]:
    """Return the summary of a run."""
    inputs = result.inputs
    return {
        "project": inputs.name,
        "as_of": inputs.as_of,
        "next_survey_on": inputs.next_survey_on,
        "horizon_on": inputs.horizon_on,
        "crs": inputs.crs,
        "plants": len(inputs.inventory),
        "inspections": len(inputs.surveys),
        "triage": [triage_values(triage) for triage in result.triage],
        "systems": [system_values(system, result) for system in result.systems],
        "disposals": [
            {
                "system": each.system_key,
                "reason": each.reason,
                "discard": len(each.discard),
                "cut": len(each.parts),
                "remarks": each.remarks,
            }
            for each in result.disposals
        ],
        "season": season_values(result.season),
        "changes": {word: sum(c.change == word for c in changes) for word in (INSERT, UPDATE, DELETE)},
        "rejected_rows": len(inputs.rejected),
        "assumed": [fault.sentence() for fault in inputs.faults if fault.weight == "assumed"],
        "remarks": result.remarks,
        "says": NOT_A_DIAGNOSIS,
        "cautions": removal_cautions(result.settings.removal),
    }


def file_sha256(path: Path) -> str:
    """Return the SHA-256 of a file's bytes."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def manifest_values(
    folder: Path, products: Mapping[str, Mapping[str, Any]], result: SurveyResult, previous_folder: str
) -> dict[str, Any]:
    """Return the manifest: hash and counts of every product, hash of every input, surveys, versions, settings. No clock.

    Parameters
    ----------
    folder : Path
        Where the products lie.
    products : mapping
        Path relative to `folder`, with slashes, to what else is known of it (rows, rows cut).
    result : SurveyResult
    previous_folder : str
        The delivery with which `changes.csv` compares; empty for the first.
    """
    return {
        "as_of": result.inputs.as_of,
        "previous_delivery": previous_folder,
        "products": [
            {"path": name, "sha256": file_sha256(folder / name), "bytes": (folder / name).stat().st_size, **more}
            for name, more in sorted(products.items())
        ],
        "inputs": [
            {"role": file.role, "path": file.path, "sha256": file.sha256, "rows": file.rows}
            for file in result.inputs.files
        ],
        "surveys": plain(result.inputs.survey_parts),
        "versions": library_versions(),
        "seed": result.settings.ahead.seed,
        "seed_says": seed_sentence(result.settings),
        "settings": [
            {"name": note.name, "value": note.value, "unit": note.unit, "status": note.status, "source": note.source}
            for note in list_settings(result.settings)
        ],
    }
