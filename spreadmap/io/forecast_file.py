"""A forecast as a file of the run folder and as bytes of the history, so that a later survey can score it."""

from __future__ import annotations

import datetime as dt
import json
import zlib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import shapely

from spreadmap.errors import InputError
from spreadmap.io.summary import plain
from spreadmap.values.arrays import FloatArray
from spreadmap.values.score import Course, Forecast, ForecastRing, Sensitivity
from spreadmap.values.words import Mode

FORECAST = "forecast.json"
FORMAT = 1
DIGITS = 6
"""Significant digits of pressures and chances; orders keep theirs, because the plants stand in order."""
MOST_BYTES = 2_000_000_000
PACKING = 6


def forecast_text(forecast: Forecast) -> str:
    """Return a forecast as JSON, columns side by side, the same text for the same forecast."""
    return (
        json.dumps(plain(forecast_values(forecast)), ensure_ascii=False, separators=(",", ":"), allow_nan=False) + "\n"
    )


def forecast_values(forecast: Forecast) -> dict[str, Any]:
    """Return a forecast as plain values."""
    return {
        "format": FORMAT,
        "system": forecast.system_key,
        "mode": forecast.mode,
        "as_of": forecast.as_of,
        "valid_until": forecast.valid_until,
        "condition": forecast.condition,
        "crs": forecast.crs,
        "within_hours": forecast.within,
        "plants": {
            "plant_id": forecast.plant_id,
            "relative_pressure": rounded(forecast.pressure),
            "distance_m": [round(value, 2) if np.isfinite(value) else None for value in forecast.distance_m.tolist()],
            "found_in_place": rounded(forecast.same_place),
            "is_suspect": np.flatnonzero(forecast.is_suspect),
        },
        "removal": forecast.removal,
        "rings": [
            {"focus": ring.focus, "ring": ring.name, "share": ring.share,
             "polygon": shapely.to_wkt(ring.polygon, rounding_precision=2)}
            for ring in forecast.rings
        ],
        "courses": [course_values(course) for course in forecast.courses],
    }  # fmt: skip


def course_values(course: Course) -> dict[str, Any]:
    """Return one course of action of a calibrated forecast as plain values."""
    return {
        "condition": course.condition,
        "taken_out": course.taken_out,
        "on": [str(day) for day in course.on],
        "infected": [rounded(row) for row in course.infected],
        "showing": [rounded(row) for row in course.showing],
        "members_showing": course.members_showing,
        "sensitivity": course.sensitivity,
    }


def rounded(values: FloatArray) -> list[float]:
    """Return numbers to the digits that are kept."""
    return [float(f"{value:.{DIGITS}g}") for value in values.tolist()]


def parse_forecast(text: str) -> Forecast:
    """Return the forecast that a text holds.

    Raises
    ------
    InputError
        If it holds none, or one of a newer format.
    """
    try:
        said = json.loads(text)
        if said["format"] != FORMAT:
            msg = f"it has format {said['format']}; allowed: {FORMAT}. Install the newer spreadmap that made it."
            raise InputError(msg)
        return _forecast(said)
    except (ValueError, KeyError, TypeError, IndexError, AttributeError, shapely.errors.ShapelyError) as error:
        if isinstance(error, InputError):
            raise
        msg = f"it is no forecast as a run writes one ({type(error).__name__}: {error}). Put back the file of the run."
        raise InputError(msg) from error


def _forecast(said: Mapping[str, Any]) -> Forecast:
    plants = said["plants"]
    suspect = np.zeros(len(plants["plant_id"]), dtype=np.bool_)
    suspect[plants["is_suspect"]] = True
    return Forecast(
        system_key=str(said["system"]),
        mode=Mode(said["mode"]),
        as_of=dt.date.fromisoformat(said["as_of"]),
        valid_until=dt.date.fromisoformat(said["valid_until"]),
        condition=str(said["condition"]),
        crs=str(said["crs"]),
        plant_id=np.array([str(key) for key in plants["plant_id"]], dtype=object),
        pressure=plants["relative_pressure"],
        distance_m=[np.inf if value is None else value for value in plants["distance_m"]],  # type: ignore[arg-type]
        same_place=plants["found_in_place"],
        is_suspect=suspect,
        within=int(said["within_hours"]),
        removal=tuple(str(key) for key in said["removal"]),
        rings=tuple(
            ForecastRing(
                focus=int(ring["focus"]),
                name=str(ring["ring"]),
                share=float(ring["share"]),
                polygon=shapely.make_valid(shapely.from_wkt(ring["polygon"])),
            )
            for ring in said["rings"]
        ),
        courses=tuple(_course(course) for course in said["courses"]),
    )


def _course(said: Mapping[str, Any]) -> Course:
    return Course(
        condition=str(said["condition"]),
        taken_out=tuple(str(key) for key in said["taken_out"]),
        on=said["on"],
        infected=said["infected"],
        showing=said["showing"],
        members_showing=said["members_showing"],
        sensitivity=Sensitivity(**said["sensitivity"]),
    )


def pack_forecast(text: str) -> bytes:
    """Return the text of a forecast as the history keeps it."""
    return zlib.compress(text.encode("utf-8"), PACKING)


def unpack_forecast(content: bytes) -> Forecast:
    """Return the forecast that the history keeps.

    Raises
    ------
    InputError
        If the bytes are damaged or hold none.
    """
    try:
        opened = zlib.decompressobj()
        text = opened.decompress(content, MOST_BYTES).decode("utf-8")
    except (zlib.error, UnicodeDecodeError) as error:
        msg = f"its bytes are damaged ({error}). Put back a copy of the history."
        raise InputError(msg) from error
    return parse_forecast(text)


def kept_forecasts(folder: Path) -> list[tuple[str, str, str, str, bytes]]:
    """Return the forecasts of a run folder as the history enters them; files that hold none are passed over."""
    kept = []
    for path in sorted(folder.glob(f"*/{FORECAST}")):
        text = path.read_text(encoding="utf-8", errors="replace")
        try:
            said = parse_forecast(text)
        except InputError:
            continue
        row = (said.system_key, said.as_of.isoformat(), said.valid_until.isoformat(), said.mode.value)
        if said.system_key == path.parent.name:
            kept.append((*row, pack_forecast(text)))
    return kept
