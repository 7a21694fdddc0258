"""A fit as bytes of the history: JSON in columns, packed, the same bytes for the same fit."""

from __future__ import annotations

import dataclasses
import datetime as dt
import json
import zlib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from spreadmap.errors import InputError, OutputError
from spreadmap.io.summary import plain
from spreadmap.values.arrays import DateArray
from spreadmap.values.fit import Check, Estimate, FitDraws, FitStates, HistoryFit

FORMAT = 2
MOST_BYTES = 500_000_000
PACKING = 6
DIGITS = 5
"""Significant digits of shares of iterations [-]."""
DATES = ("as_of", "first_look", "last_look", "ends_on")
CHECK_COLUMNS = ("seen", "low", "middle", "high")


def pack_fit(fit: HistoryFit) -> bytes:
    """Return a fit as the history keeps it."""
    names = [item.name for item in dataclasses.fields(fit) if item.name != "states"]
    said = {"format": FORMAT, **{name: plain(getattr(fit, name)) for name in names}, "states": _states_values(fit)}
    text = json.dumps(said, ensure_ascii=False, separators=(",", ":"), allow_nan=False, sort_keys=True)
    return zlib.compress(text.encode("utf-8"), PACKING)


def write_pictures(folder: Path, pictures: Mapping[str, bytes]) -> tuple[Path, ...]:
    """Write the picture of every fit as `fit_<system>.png`; raises OutputError if it cannot be written."""
    paths = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for system, content in sorted(pictures.items()):
            path = folder / f"fit_{system}.png"
            path.write_bytes(content)
            paths.append(path)
    except OSError as error:
        msg = f"{folder} cannot be written: {error}. Give another folder for the pictures."
        raise OutputError(msg) from error
    return tuple(paths)


def unpack_fit(content: bytes) -> HistoryFit:
    """Return the fit that the history keeps.

    Raises
    ------
    InputError
        If the bytes are damaged, hold no fit, or one of a newer format.
    """
    try:
        said = json.loads(zlib.decompressobj().decompress(content, MOST_BYTES).decode("utf-8"))
        if said["format"] != FORMAT:
            remedy = "Install the newer spreadmap that made it." if said["format"] > FORMAT else "Fit again."
            msg = f"it has format {said['format']}; allowed: {FORMAT}. {remedy}"
            raise InputError(msg)
        return _fit(said)
    except (zlib.error, ValueError, KeyError, TypeError, AttributeError) as error:
        if isinstance(error, InputError):
            raise
        msg = (
            f"it is no fit as the history keeps one ({type(error).__name__}: {error}). Put back a copy of the history, or "
            "fit again."
        )
        raise InputError(msg) from error


def _states_values(fit: HistoryFit) -> dict[str, Any]:
    """Return the states with days counted back from the end of the fit."""
    states, end = fit.states, np.datetime64(fit.ends_on)
    return {
        "plant_id": plain(states.plant_id),
        "first": plain(states.first),
        "plant": plain(states.plant),
        "days_before_end": plain((end - states.infected_on).astype(np.int64)),
        "share_plant": plain(states.share_plant),
        "share_days_before_end": plain((end - states.share_from).astype(np.int64)),
        "share": [float(f"{share:.{DIGITS}g}") for share in states.share.tolist()],
    }


def _states(said: Mapping[str, Any], ends_on: dt.date) -> FitStates:
    def day(name: str) -> DateArray:
        return np.datetime64(ends_on) - np.array(said[name], dtype=np.int64).astype("timedelta64[D]")

    return FitStates(
        plant_id=np.array([str(key) for key in said["plant_id"]], dtype=object), first=said["first"], plant=said["plant"],
        infected_on=day("days_before_end"), share_plant=said["share_plant"], share_from=day("share_days_before_end"),
        share=said["share"],
    )  # fmt: skip


def _fit(said: Mapping[str, Any]) -> HistoryFit:
    given = {item.name: said[item.name] for item in dataclasses.fields(HistoryFit)}
    given |= {name: dt.date.fromisoformat(said[name]) for name in DATES}
    given["draws"] = FitDraws(**said["draws"])
    given["states"] = _states(said["states"], given["ends_on"])
    for name in ("estimates", "without_background"):
        given[name] = tuple(_estimate(one) for one in said[name])
    given["checks"] = tuple(_check(one) for one in said["checks"])
    given["says"], given["remarks"] = tuple(said["says"]), tuple(said["remarks"])
    return HistoryFit(**given)


def _estimate(said: Mapping[str, Any]) -> Estimate:
    hat = said["r_hat"]
    return Estimate(**{
        **said, "prior": tuple(said["prior"]), "posterior": tuple(said["posterior"]), "r_hat": np.inf if hat is None else hat
    })  # fmt: skip


def _check(said: Mapping[str, Any]) -> Check:
    columns = {name: [np.nan if value is None else value for value in said[name]] for name in CHECK_COLUMNS}
    return Check(**{**said, **columns, "label": tuple(said["label"])})
