"""The project file `spreadmap.toml`: which files come in, in which columns and words, and which settings differ.

The format, by example and with every key, is `templates/spreadmap.toml`, the file that `spreadmap new` writes.

| table | holds |
|---|---|
| `[project]` | name, working CRS, dates, contact, holidays, pest systems, folders outside that may be read |
| `[[inputs.<kind>]]` | one file: path, sheet or layer, CRS of its coordinate columns, formats |
| `[inputs.<kind>.columns]` | our column name = the file's own; a column that has our name needs no line |
| `[inputs.<kind>.words]` | the file's own word = our word, for fixed words; "infected lab" is status and evidence |
| `[inputs.surveys.dates]` | wide table: name of the column with status words = the date it stands for |
| `[settings.<group>]` | any setting of `values/settings.py` |

Kinds: inventory, surveys, work_log, decisions, reservoirs, sites, screens, wind_hours, wind_raster, temperature. A
block may be written once as `[inputs.<kind>]` or several times as `[[inputs.<kind>]]`.
"""

from __future__ import annotations

import copy
import datetime as dt
import difflib
from contextlib import suppress
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationError

from spreadmap.errors import SettingsError
from spreadmap.io.faults import FaultBook, shown
from spreadmap.io.toml_text import parse_toml

PROJECT_FILE = "spreadmap.toml"
MOST_BYTES = 4 * 2**20
LONGEST_WORD = 60
LONGEST_PATH = 300

COLUMNS: dict[str, tuple[str, ...]] = {
    "inventory": (
        "plant_id", "host", "easting", "northing", "longitude", "latitude", "susceptibility", "size_class", "height_m",
        "spread_m", "bed_id", "site_id", "owner", "planted_on", "source_batch", "position_precision_m", "is_synthetic", "count",
        "note",
    ),
    "surveys": (
        "plant_id", "bed_id", "n_inspected", "n_infected", "inspected_on", "observer", "method", "pest_system",
        "status", "evidence", "symptoms", "sample_id", "photo", "survey_kind", "note",
    ),
    "work_log": ("plant_id", "done_on", "done", "roots_complete", "regrowth_on", "reopened_on", "note"),
    "decisions": ("plant_id", "decided_on", "decision", "until", "reason"),
    "reservoirs": (
        "reservoir_id", "host", "easting", "northing", "longitude", "latitude", "count", "plants_per_100_m2",
        "chance_infected", "note",
    ),
    "sites": ("site_id", "name", "owner", "access", "set_up", "is_private", "notice_days"),
    "screens": ("screen_id", "height_m", "planted_on", "factor", "note"),
    "wind_hours": (
        "time", "wind_from_deg", "speed", "gust", "temperature_c", "rain_mm", "wind_group", "wind_u", "wind_v",
    ),
    "wind_raster": (),
    "temperature": ("day", "minimum_c", "maximum_c"),
}  # fmt: skip
"""Our column names of every kind of table."""


FIRST_DAY, LAST_DAY = dt.date(1900, 1, 1), dt.date(2100, 12, 31)
"""Days outside are typing slips; our choice."""
Day = Annotated[dt.date, Field(ge=FIRST_DAY, le=LAST_DAY)]


def _as_list(value: Any) -> Any:
    """Return a single block as a list of one."""
    return [value] if isinstance(value, dict) else value


class _Block(BaseModel):
    """Keys are checked: an unknown one is a fault, text is never taken for a number."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)


class FileBlock(_Block):
    """One input file."""

    file: str
    sheet: str = ""
    layer: str = ""
    crs: str = ""
    date_format: str = ""
    separator: Literal["", ",", ";", "\t", "|"] = ""
    columns: dict[str, str] = Field(default_factory=dict)
    words: dict[str, str] = Field(default_factory=dict)


class InventoryBlock(FileBlock):
    """One inventory table; `host` is for rows without a host of their own."""

    host: str = ""


class SurveyBlock(FileBlock):
    """One survey table; `dates` maps columns of a wide table to dates."""

    pest_system: str = ""
    dates: dict[str, Day] = Field(default_factory=dict)


SpeedUnit = Literal["m/s", "km/h", "mph", "knots"]


class WindHoursBlock(FileBlock):
    """One hourly wind record."""

    time_zone: str
    speed_unit: SpeedUnit
    north: Literal["true", "grid"] = "true"
    missing_codes: list[str] = Field(default_factory=list)


class WindRasterBlock(_Block):
    """One raster of mean wind; `variables` maps components to the names of variables in a NetCDF file."""

    file: str
    variables: dict[Literal["u", "v", "speed", "direction"], str] = Field(default_factory=dict)
    months: list[Annotated[int, Field(ge=1, le=12)]] = Field(default_factory=list)
    components: list[Literal["u", "v", "speed", "direction"]] = ["u", "v"]
    band_order: Literal["by_month", "by_component"] = "by_month"
    speed_unit: SpeedUnit
    north: Literal["true", "grid"] = "true"
    crs: str = ""


class TemperatureBlock(FileBlock):
    """One table of daily temperatures."""

    temperature_unit: Literal["C", "F"] = "C"


class InputBlocks(_Block):
    """All files of a project."""

    inventory: Annotated[list[InventoryBlock], BeforeValidator(_as_list)]
    surveys: Annotated[list[SurveyBlock], BeforeValidator(_as_list)] = Field(default_factory=list)
    work_log: Annotated[list[FileBlock], BeforeValidator(_as_list)] = Field(default_factory=list)
    decisions: Annotated[list[FileBlock], BeforeValidator(_as_list)] = Field(default_factory=list)
    reservoirs: Annotated[list[FileBlock], BeforeValidator(_as_list)] = Field(default_factory=list)
    sites: Annotated[list[FileBlock], BeforeValidator(_as_list)] = Field(default_factory=list)
    screens: Annotated[list[FileBlock], BeforeValidator(_as_list)] = Field(default_factory=list)
    wind_hours: Annotated[list[WindHoursBlock], BeforeValidator(_as_list)] = Field(default_factory=list)
    wind_raster: Annotated[list[WindRasterBlock], BeforeValidator(_as_list)] = Field(default_factory=list)
    temperature: Annotated[list[TemperatureBlock], BeforeValidator(_as_list)] = Field(default_factory=list)


class ProjectBlock(_Block):
    """Name, place and dates."""

    name: str
    crs: str
    as_of: Day | None = None
    next_survey_on: Day | None = None
    horizon_on: Day | None = None
    contact: str = ""
    holidays: list[Day] = Field(default_factory=list)
    pest_systems: list[str] = Field(default_factory=list)
    outside_folders: list[str] = Field(default_factory=list)


class ProjectFile(_Block):
    """A project file, checked for its keys and types; `settings` is still a plain mapping."""

    project: ProjectBlock
    inputs: InputBlocks
    settings: dict[str, Any] = Field(default_factory=dict)


def read_project_file(folder: Path, book: FaultBook | None = None) -> ProjectFile:
    """Return the project file of a folder.

    Parameters
    ----------
    folder : Path
    book : FaultBook, optional
        Takes the faults of keys, if what is left of the file without them can be read: then the files it names can be
        looked at too, and all faults be told together. A file in whose block a value is faulty is left out.

    Returns
    -------
    ProjectFile

    Raises
    ------
    SettingsError
        If there is none, it is no TOML, or keys are misspelt, missing or of a wrong type. All faults together.
    """
    path = project_file_of(folder)
    if path.stat().st_size > MOST_BYTES:
        msg = f"is larger than {MOST_BYTES // 2**20} MB. It holds names and settings only: put tables into files of their own."
        raise SettingsError(msg)
    try:
        mapping = parse_toml(path.read_text(encoding="utf-8-sig"))
    except UnicodeDecodeError as error:
        msg = f"is not UTF-8 text (byte {error.start}). Save it as UTF-8."
        raise SettingsError(msg) from error
    except ValueError as error:
        msg = f"is not TOML: {error}. Correct that line; text stands in quotes."
        raise SettingsError(msg) from error
    return parse_project_file(mapping, book)


def project_file_of(folder: Path) -> Path:
    """Return the path of a folder's project file; raises SettingsError if there is none."""
    path = folder / PROJECT_FILE
    if not path.is_file():
        where = (
            f"there is no {PROJECT_FILE} in folder {shown(folder, LONGEST_PATH)}"
            if folder.is_dir()
            else (f"there is no folder {shown(folder, LONGEST_PATH)}")
        )
        msg = f"{where}. Make a project with `spreadmap new FOLDER`, or give the folder of one."
        raise SettingsError(msg)
    return path


def parse_project_file(mapping: dict[str, Any], book: FaultBook | None = None) -> ProjectFile:
    """Return a checked project file; raises SettingsError with all faults together, or hands them to the book."""
    own = FaultBook()
    parsed = None
    faulty: set[tuple[str, int]] = set()
    try:
        parsed = ProjectFile.model_validate(mapping)
    except ValidationError as error:
        details = [dict(detail) for detail in error.errors(include_url=False, include_context=False)]
        for detail in details:
            _note(own, detail)
        faulty = _blocks_with_faulty_values(details)
        if book is not None:
            with suppress(ValidationError):
                parsed = ProjectFile.model_validate(_without_faults(mapping, details))
    if parsed is not None:
        faulty |= _check_columns(own, parsed)
    if parsed is None or book is None:
        own.raise_if_stopped()
    if parsed is None:  # a ValidationError has at least one detail
        msg = f"{PROJECT_FILE}: cannot be used. Compare it with a new one made by `spreadmap new`."
        raise SettingsError(msg)
    if book is not None:
        for fault in own.faults:
            book.add(fault, SettingsError)
        book.has_unread_plants |= any(kind == "inventory" for kind, _ in faulty)
    return _without_blocks(parsed, faulty)


def _blocks_with_faulty_values(details: list[dict[str, Any]]) -> set[tuple[str, int]]:
    """Return kind and place of every block of a file in which pydantic found a faulty value, not only a faulty key."""
    return {
        (detail["loc"][1], detail["loc"][2])
        for detail in details
        if detail["type"] not in ("extra_forbidden", "missing")
        and detail["loc"][0] == "inputs"
        and len(detail["loc"]) > 2
    }


def _without_blocks(parsed: ProjectFile, faulty: set[tuple[str, int]]) -> ProjectFile:
    """Return a project file without some files: read without a value of theirs, they would tell of faults they lack."""
    kept = {
        kind: [block for place, block in enumerate(getattr(parsed.inputs, kind)) if (kind, place) not in faulty]
        for kind in COLUMNS
    }
    return parsed.model_copy(update={"inputs": parsed.inputs.model_copy(update=kept)})


def _without_faults(mapping: dict[str, Any], details: list[dict[str, Any]]) -> dict[str, Any]:
    """Return a project file without the keys that pydantic found faulty; a misspelt one counts as the nearest."""
    rest = copy.deepcopy(mapping)
    for detail in details:
        at: Any = rest
        table, key = rest, ""
        for part in detail["loc"]:
            if isinstance(at, dict) and isinstance(part, str):
                table, key = at, part
                at = at.get(part)
            elif isinstance(at, list) and isinstance(part, int):
                at = at[part]
        value = table.pop(key, None)
        if detail["type"] == "extra_forbidden":
            meant = nearest(key, tuple(_model_at(_names_of(detail)[:-1]).model_fields))
            if meant:
                table.setdefault(meant, value)
    return rest


def _names_of(detail: dict[str, Any]) -> list[Any]:
    """Return the way to a fault, key by key; pydantic marks a faulty key of a table itself."""
    return [part for part in detail["loc"] if part != "[key]"]


def nearest(word: str, known: list[str] | tuple[str, ...]) -> str:
    """Return the known word that is spelt most like this one, nothing if none is near; long texts are no words."""
    if len(word) > LONGEST_WORD:
        return ""
    lower = {each.casefold(): each for each in known}
    near = difflib.get_close_matches(word.casefold(), list(lower), n=1, cutoff=0.6)
    return lower[near[0]] if near else ""


def suggestion(word: str, known: list[str] | tuple[str, ...]) -> str:
    """Return "Did you mean" with the nearest known word, or nothing."""
    found = nearest(word, known)
    return f"Did you mean '{found}'? " if found else ""


def _note(book: FaultBook, detail: dict[str, Any]) -> None:
    """Turn one detail of pydantic's into a fault in our words."""
    loc = _names_of(detail)
    name = ".".join(str(part + 1) if isinstance(part, int) else str(part) for part in loc)
    if detail["type"] == "extra_forbidden":
        known = list(_model_at(loc[:-1]).model_fields)
        hint = suggestion(str(loc[-1]), known)
        book.stop(PROJECT_FILE, f"'{name}'", f"{hint}Correct or remove the key.",
                  allowed=", ".join(known), error=SettingsError)  # fmt: skip
    elif detail["type"] == "missing":
        book.stop(PROJECT_FILE, f"'{name}' is missing", "Add it.", error=SettingsError)
    else:
        said = detail["msg"].removeprefix("Input should be ")
        book.stop(PROJECT_FILE, f"'{name}' = {shown(detail['input'])}", "Correct the value.", allowed=said,
                  error=SettingsError)  # fmt: skip


def _model_at(loc: list[Any]) -> type[BaseModel]:
    """Return the block in which a key stands."""
    kinds: dict[str, type[BaseModel]] = {
        "surveys": SurveyBlock,
        "wind_hours": WindHoursBlock,
        "wind_raster": WindRasterBlock,
        "temperature": TemperatureBlock,
    }
    names = [part for part in loc if isinstance(part, str)]
    if not names:
        return ProjectFile
    if names[0] == "project":
        return ProjectBlock
    return InputBlocks if len(names) == 1 else kinds.get(names[1], FileBlock)


def _check_columns(book: FaultBook, parsed: ProjectFile) -> set[tuple[str, int]]:
    """Note misspelt column names, empty CRS, and settings of a wind raster that do not fit together.

    Kind and place of the blocks with such settings are returned.
    """
    faulty = set()
    if not parsed.project.crs.strip():
        book.stop(PROJECT_FILE, "'project.crs' is empty", 'Give the working CRS, for example crs = "EPSG:32614"; it is '
                  "never guessed.", error=SettingsError)  # fmt: skip
    for kind, known in COLUMNS.items():
        for number, block in enumerate(getattr(parsed.inputs, kind), start=1):
            for name in getattr(block, "columns", {}):
                if name not in known:
                    hint = suggestion(name, known)
                    book.stop(PROJECT_FILE, f"'inputs.{kind}.{number}.columns.{name}'",
                              f"{hint}Our name stands left, the file's own right.",
                              allowed=", ".join(known), error=SettingsError)  # fmt: skip
    for place, raster in enumerate(parsed.inputs.wind_raster):
        parts = sorted(set(raster.components))
        if parts not in (["u", "v"], ["speed", "u", "v"], ["direction", "speed"]) or len(parts) != len(
            raster.components
        ):
            faulty.add(("wind_raster", place))
            book.stop(PROJECT_FILE, f"'inputs.wind_raster.{place + 1}.components' = {shown(raster.components)}",
                      "Name the bands of one period in their order.",
                      allowed="u and v, u and v and speed, direction and speed", error=SettingsError)  # fmt: skip
    return faulty
