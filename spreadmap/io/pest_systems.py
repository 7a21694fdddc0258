"""Pest systems from TOML files: those that come with spreadmap, and a project's own."""

from __future__ import annotations

import datetime as dt
import tomllib
from importlib import resources
from pathlib import Path
from typing import Annotated, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, ValidationError

from spreadmap.errors import SettingsError
from spreadmap.io.guard import check_local_file
from spreadmap.values.pest_system import PestSystem, Window
from spreadmap.values.words import Verdict

OWN_FOLDER = "pest_systems"
MonthDay = Annotated[str, AfterValidator(lambda text: f"{dt.date.fromisoformat('2001-' + text):%m-%d}")]
Standing = Literal["read", "computed", "assumed", "trade"]
"""How well a figure is known: the words of `values.settings.STATUSES`."""


class _Block(BaseModel):
    """Keys are checked: an unknown one is a fault."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class WindowBlock(_Block):
    """One window of the season; days are written MM-DD."""

    name: str
    begins: MonthDay
    ends: MonthDay
    advice: str
    status: Standing
    source: str


class FlightBlock(_Block):
    """Relative numbers of mites in the air, January to December."""

    weight: Annotated[list[Annotated[float, Field(ge=0, allow_inf_nan=False)]], Field(min_length=12, max_length=12)]
    status: Standing
    source: str


class SystemBlock(_Block):
    """One file."""

    common_name: str
    scientific_name: str
    eppo_code: str = ""
    pathogen: str = ""
    vector: str = ""
    host_genera: Annotated[list[str], Field(min_length=1)]
    symptom_words: list[str] = Field(default_factory=list)
    verdict: Verdict
    verdict_reason: str
    look_alikes: list[str] = Field(default_factory=list)
    caution: str = ""
    sources: Annotated[list[str], Field(min_length=1)]
    flight: FlightBlock
    windows: list[WindowBlock] = Field(default_factory=list)


def month_day(text: str) -> tuple[int, int]:
    """Return month and day of a text MM-DD."""
    month, day = text.split("-")
    return int(month), int(day)


def parse_pest_system(key: str, file: str, text: str) -> PestSystem:
    """Return the pest system that a TOML text describes.

    Raises
    ------
    SettingsError
        If the text is no TOML, or a key is unknown, missing or out of range: file, key, value, remedy.
    """
    try:
        block = SystemBlock.model_validate(tomllib.loads(text))
    except tomllib.TOMLDecodeError as error:
        msg = f"{file}: this is not TOML ({error}). Correct that line."
        raise SettingsError(msg) from None
    except ValidationError as error:
        lines = [
            f"{file}, key '{'.'.join(str(part) for part in detail['loc'])}': {str(detail['input'])[:60]!r} is not "
            f"allowed ({detail['msg']}). Correct or remove the key."
            for detail in error.errors()
        ]
        raise SettingsError("\n".join(lines)) from None
    return PestSystem(
        key=key,
        common_name=block.common_name,
        scientific_name=block.scientific_name,
        eppo_code=block.eppo_code,
        pathogen=block.pathogen,
        vector=block.vector,
        host_genera=tuple(block.host_genera),
        symptom_words=tuple(block.symptom_words),
        verdict=block.verdict,
        verdict_reason=block.verdict_reason,
        flight_weight=tuple(block.flight.weight),
        flight_weight_status=block.flight.status,
        flight_weight_source=block.flight.source,
        windows=tuple(
            Window(
                name=window.name,
                begins=month_day(window.begins),
                ends=month_day(window.ends),
                advice=window.advice,
                status=window.status,
                source=window.source,
            )
            for window in block.windows
        ),
        look_alikes=tuple(block.look_alikes),
        caution=block.caution,
        sources=tuple(block.sources),
    )


def read_pest_systems(project_folder: Path | None = None) -> tuple[PestSystem, ...]:
    """Return all pest systems, sorted by key; a file of the project's own replaces one of the same name."""
    texts = {
        entry.name.removesuffix(".toml"): (entry.name, entry.read_text(encoding="utf-8"))
        for entry in resources.files("spreadmap.pest_systems").iterdir()
        if entry.name.endswith(".toml")
    }
    own = project_folder / OWN_FOLDER if project_folder is not None else None
    if own is not None and own.is_dir():
        for path in sorted(own.glob("*.toml")):
            name = f"{OWN_FOLDER}/{path.name}"
            try:
                texts[path.stem] = (
                    name,
                    check_local_file(name, project_folder or path.parent).read_text(encoding="utf-8"),
                )
            except UnicodeDecodeError as error:
                msg = f"{name}: this is not UTF-8 text (byte {error.start}). Save it as UTF-8."
                raise SettingsError(msg) from None
    return tuple(parse_pest_system(key, *texts[key]) for key in sorted(texts))
