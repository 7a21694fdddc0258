"""A whole project folder as values: every file read, every fault collected, then told together."""

from __future__ import annotations

import datetime as dt
import gc
import hashlib
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import shapely

from spreadmap.errors import InputError, InventoryError, SettingsError
from spreadmap.io.desk import check_reaches
from spreadmap.io.faults import FaultBook, shown
from spreadmap.io.guard import check_local_file
from spreadmap.io.history_surveys import withdrawn_surveys
from spreadmap.io.pest_systems import read_pest_systems
from spreadmap.io.project_file import FIRST_DAY, LAST_DAY, PROJECT_FILE, ProjectFile, read_project_file, suggestion
from spreadmap.io.read_crs import WorkingCrs, check_scale, working_crs
from spreadmap.io.read_decisions import read_decisions
from spreadmap.io.read_inventory import read_inventory
from spreadmap.io.read_settings import read_settings
from spreadmap.io.read_surroundings import read_reservoirs, read_screens, read_sites, read_temperature
from spreadmap.io.read_surveys import read_surveys, read_work_log
from spreadmap.io.read_wind_hours import read_wind_hours
from spreadmap.io.read_wind_raster import read_wind_raster
from spreadmap.io.survey_parts import counted_surveys, single_blocks, survey_sources
from spreadmap.io.wind_agreement import winds_differ
from spreadmap.values.inventory import Inventory, Sites
from spreadmap.values.pest_system import PestSystem
from spreadmap.values.project import Fault, InputFile, ProjectInputs
from spreadmap.values.settings import Settings
from spreadmap.values.surveys import Surveys, WorkLog
from spreadmap.values.words import Status

MOST_DAYS_BETWEEN_SURVEYS = 1096
"""Three years; our choice. The last inspection makes the date of the state, and a slip of the pen would move it."""
OLD_RECORD_DAYS = 400
UNKNOWN_DAY = dt.date(1970, 1, 1)
"""Stands for the date of the state where a fault leaves none, so that reading goes on."""
DAYS_TO_NEXT_SURVEY = 28
KINDS = (
    "inventory",
    "surveys",
    "work_log",
    "decisions",
    "reservoirs",
    "sites",
    "screens",
    "wind_hours",
    "wind_raster",
    "temperature",
)


def read_project(folder: Path, as_of: dt.date | None = None) -> tuple[ProjectInputs, Settings]:
    """Return everything a run needs.

    Parameters
    ----------
    folder : Path
        The project's folder, with `spreadmap.toml` in it.
    as_of : date, optional
        Date of the state; default the project file's, else the last inspection's.

    Returns
    -------
    ProjectInputs, Settings

    Raises
    ------
    InputError
        If anything refuses the run: the subclass that fits, all faults in `.faults`. Nothing is ever written.
    """
    book = FaultBook()
    with _cycles_left_alone():
        found = _read(folder, as_of, book)
    book.raise_if_stopped()
    if found is None:
        msg = f"{folder} could not be read. Run `spreadmap check {folder}` and mend what it lists."
        raise InputError(msg)
    return found


def check_project(folder: Path) -> tuple[Fault, ...]:
    """Return every fault of a project, the most harmful first; raises nothing that a file's content causes."""
    book = FaultBook()
    with _cycles_left_alone(), book.reading(PROJECT_FILE):
        _read(folder, None, book)
    order = {"stop": 0, "aside": 1, "assumed": 2}
    return tuple(sorted(book.faults, key=lambda fault: order[fault.weight]))


@contextmanager
def _cycles_left_alone() -> Iterator[None]:
    """Let the interpreter's search for cycles rest: it would walk through the cells of all tables again and again."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


@dataclass(frozen=True, slots=True, kw_only=True)
class _Opened:
    """What is known before any table is read: the project file, and the files that may be read, by kind."""

    folder: Path
    project: ProjectFile
    settings: Settings
    systems: tuple[PestSystem, ...]
    blocks: dict[str, list[Any]]
    paths: dict[str, list[Path]]


def _read(folder: Path, as_of: dt.date | None, book: FaultBook) -> tuple[ProjectInputs, Settings] | None:
    """Read all files in the order in which they need each other; None where plants or their place are missing."""
    opened = _open(folder, book)
    project = opened.project.project
    working: WorkingCrs | None = None
    if project.crs.strip():  # an empty one is told already
        with book.reading(PROJECT_FILE):
            working = working_crs(project.crs)
    inventory: Inventory | None = None
    if working is not None:
        inventory = read_inventory(*_files(opened, "inventory"), working, opened.settings, book)
        book.has_unread_plants |= len(opened.blocks["inventory"]) < len(opened.project.inputs.inventory)
    if working is None or inventory is None:
        _read_what_can_be(opened, working, book)
        return None
    # the middle in metres: the median of longitudes on both sides of 180 degrees lies on the other side of the world
    middle = (np.array([np.median(inventory.easting)]), np.array([np.median(inventory.northing)]))
    lon, lat = (float(each[0]) for each in working.lon_lat(*middle))
    with book.reading(PROJECT_FILE):
        check_scale(working, lon, lat)
    with book.reading(PROJECT_FILE):
        check_reaches(opened.settings.delivery, lon, lat)
    until = as_of or project.as_of
    blocks, paths = single_blocks(*_files(opened, "surveys"), book)
    surveys = read_surveys(blocks, paths, inventory, opened.systems, opened.settings, book, until)
    surveys, parts = counted_surveys(
        surveys, survey_sources(blocks, paths, content_sha256), withdrawn_surveys(folder), book
    )
    if until is None and len(surveys):
        until = _last_inspection(surveys, book)
    dates = _dates(opened.project, until, book)
    convergence = float(working.convergence_deg(*middle)[0])
    around = _read_around(opened, working, convergence, book)
    inventory = _with_sites(inventory, around["sites"], book)
    _say_strange_findings(inventory, surveys, opened.systems, book)
    work_log = read_work_log(*_files(opened, "work_log"), inventory, opened.settings, book)
    if dates[0] != UNKNOWN_DAY:
        _say_future_planting(inventory, dates[0], book)
        _say_future_work(work_log, dates[0], book)
        _say_old_record(surveys, dates[0], book)
    wind_raster = read_wind_raster(*_files(opened, "wind_raster"), working, inventory, book, opened.settings)
    if wind_raster is not None and around["wind_hours"] is not None:
        differ = winds_differ(around["wind_hours"], wind_raster)
        if differ:
            book.assume(opened.blocks["wind_raster"][0].file, differ, "Both were taken as they are; correct components, "
                        "band_order or north in its block if they are wrong.")  # fmt: skip
    values = ProjectInputs(
        name=project.name,
        crs=working.text,
        longitude_deg=lon,
        latitude_deg=lat,
        as_of=dates[0],
        next_survey_on=dates[1],
        horizon_on=dates[2],
        inventory=inventory,
        surveys=surveys,
        survey_parts=parts,
        work_log=work_log,
        decisions=read_decisions(*_files(opened, "decisions"), inventory, opened.settings, book),
        pest_systems=opened.systems,
        wind_raster=wind_raster,
        contact=project.contact,
        holidays=tuple(project.holidays),
        **around,
    )
    return replace(
        values, faults=tuple(book.faults), rejected=tuple(book.rejected), files=_file_list(opened, book)
    ), opened.settings


def _open(folder: Path, book: FaultBook) -> _Opened:
    """Read the project file, its settings and the pest systems, and look which files may be read."""
    project = read_project_file(folder, book)
    settings = Settings()
    with book.reading(PROJECT_FILE):
        settings = read_settings(project.settings)
    systems = _systems(folder, project, book)
    blocks: dict[str, list[Any]] = {}
    paths: dict[str, list[Path]] = {}
    for kind in KINDS:
        found = _paths(folder, project, kind, book)
        named: Sequence[Any] = getattr(project.inputs, kind)
        blocks[kind] = [block for block, path in zip(named, found, strict=True) if path is not None]
        paths[kind] = [path for path in found if path is not None]
    return _Opened(folder=folder, project=project, settings=settings, systems=systems, blocks=blocks, paths=paths)


def _files(opened: _Opened, kind: str) -> tuple[list[Any], list[Path]]:
    """Return the blocks of a kind and their paths."""
    return opened.blocks[kind], opened.paths[kind]


def _read_around(opened: _Opened, working: WorkingCrs, convergence_deg: float, book: FaultBook) -> dict[str, Any]:
    """Return what is read without knowing the plants, by name."""
    settings = opened.settings
    return {
        "reservoirs": read_reservoirs(*_files(opened, "reservoirs"), working, settings, book),
        "sites": read_sites(*_files(opened, "sites"), working, settings, book),
        "screens": read_screens(*_files(opened, "screens"), working, settings, book),
        "wind_hours": read_wind_hours(*_files(opened, "wind_hours"), convergence_deg, settings, book),
        "temperature": read_temperature(*_files(opened, "temperature"), settings, book),
    }


def _read_what_can_be(opened: _Opened, working: WorkingCrs | None, book: FaultBook) -> None:
    """Read the other files for their faults alone, so that all of them are told together."""
    if working is not None:
        _read_around(opened, working, 0.0, book)
        return
    read_wind_hours(*_files(opened, "wind_hours"), 0.0, opened.settings, book)
    read_temperature(*_files(opened, "temperature"), opened.settings, book)


def _last_inspection(surveys: Surveys, book: FaultBook) -> dt.date:
    """Return the day of the last inspection; one that lies years after the one before is refused as a typing slip."""
    days = np.unique(surveys.inspected_on)
    last: dt.date = days[-1].item()
    gap = int((days[-1] - days[-2]).astype(np.int64)) if len(days) > 1 else 0
    if gap > MOST_DAYS_BETWEEN_SURVEYS:
        row = int(np.flatnonzero(surveys.inspected_on == days[-1])[0])
        book.stop(
            str(surveys.file[row]), f"'{last}' lies {gap} days after the inspection before it",
            "Correct the date, or give as_of in the project file.", column="inspected_on", row=int(surveys.row[row]),
            allowed=f"at most {MOST_DAYS_BETWEEN_SURVEYS} days, where as_of is not given",
        )  # fmt: skip
    return last


def _with_sites(inventory: Inventory, sites: Sites, book: FaultBook) -> Inventory:
    """Return the inventory with the site of every plant that names none and stands inside a site's polygon."""
    site_id = inventory.site_id.copy()
    without = site_id == ""
    for row, shape in enumerate(sites.geometry):
        shapely.prepare(shape)
        inside = without & shapely.intersects_xy(shape, inventory.easting, inventory.northing)
        site_id[inside] = sites.site_id[row]
        without &= ~inside
    found = int(np.sum(site_id != inventory.site_id))
    if not found:
        return inventory
    book.assume("inventory", f"{found} plants name no site and stand inside one", "They were taken as standing on it.",
                column="site_id")  # fmt: skip
    return replace(inventory, site_id=site_id)


def _say_strange_findings(
    inventory: Inventory, surveys: Surveys, systems: tuple[PestSystem, ...], book: FaultBook
) -> None:
    """Tell of findings on plants that are no host of the pest they are said to have."""
    genus = {host: (host.split() or [""])[0].casefold() for host in set(inventory.host.tolist())}
    has_finding = (surveys.status == Status.INFECTED.value) | (surveys.status == Status.SUSPECT.value)
    with_finding = set(surveys.plant_id[has_finding].tolist())
    plants = zip(inventory.plant_id.tolist(), inventory.host.tolist(), strict=True) if with_finding else ()
    genus_of = {key: genus[host] for key, host in plants if key in with_finding}
    for system in systems:
        hosts = {name.casefold() for name in system.host_genera}
        found = set(surveys.plant_id[(surveys.pest_system == system.key) & has_finding].tolist())
        strange = [key for key in found if genus_of[key] not in hosts]
        if strange:
            book.assume("surveys", f"{len(strange)} plants with findings of {system.common_name} are no known host of it "
                        f"({', '.join(system.host_genera)})", "They stay on record; check column and word of the host.",
                        column="host")  # fmt: skip


def _say_old_record(surveys: Surveys, as_of: dt.date, book: FaultBook) -> None:
    """Tell where nothing, or nothing of late, is on record up to the date of the state."""
    if not len(surveys) and book.has_stopped:  # they may stand in what could not be read
        return
    if not len(surveys):
        book.assume(PROJECT_FILE, f"no inspection is on record up to as_of {as_of}",
                    "The map knows of no finding, which is not the same as clean.", column="as_of")  # fmt: skip
        return
    days = int((np.datetime64(as_of) - surveys.inspected_on.max()).astype(np.int64))
    if days > OLD_RECORD_DAYS:
        book.assume(PROJECT_FILE, f"the last inspection lies {days} days before as_of {as_of}",
                    "What happened since is not known.", column="as_of")  # fmt: skip


def _say_future_planting(inventory: Inventory, as_of: dt.date, book: FaultBook) -> None:
    """Tell how many plants were planted after the date of the state."""
    later = int(np.sum(inventory.planted_on > np.datetime64(as_of)))
    if later:
        book.assume("inventory", f"{later} plants have planted_on after as_of {as_of}", "They were taken as standing.",
                    column="planted_on")  # fmt: skip


def _say_future_work(work_log: WorkLog, as_of: dt.date, book: FaultBook) -> None:
    """Tell how many rows of the work log lie after the date of the state."""
    later = int(np.sum(work_log.done & (work_log.done_on > np.datetime64(as_of))))
    if later:
        book.assume("work_log", f"{later} rows have done_on after as_of {as_of}", "They do not count yet.",
                    column="done_on")  # fmt: skip


def _file_list(opened: _Opened, book: FaultBook) -> tuple[InputFile, ...]:
    """Return every input file, the project file first."""
    first = _file("project", opened.folder / PROJECT_FILE, opened.folder, 0)
    return (first, *(
        _file(kind, path, opened.folder, book.rows.get(block.file, 0))
        for kind in KINDS
        for block, path in zip(*_files(opened, kind), strict=True)
    ))  # fmt: skip


def _file(kind: str, path: Path, folder: Path, rows: int) -> InputFile:
    """Return one input file with its hash."""
    root, full = folder.resolve(), path.resolve()
    name = full.relative_to(root).as_posix() if full.is_relative_to(root) else full.name
    return InputFile(role=kind, path=name, sha256=content_sha256(path), rows=rows)


def content_sha256(path: Path) -> str:
    """Return the hash of an input file; a Shapefile's parts count together."""
    parts = [path]
    if path.suffix.lower() == ".shp":
        alike = (each for each in path.parent.iterdir() if each.stem.casefold() == path.stem.casefold())
        parts = sorted(each for each in alike if each.is_file())
    digest = hashlib.sha256()
    for part in parts:
        with part.open("rb") as file:
            while block := file.read(2**20):
                digest.update(block)
    return digest.hexdigest()


def _paths(folder: Path, project: ProjectFile, kind: str, book: FaultBook) -> list[Path | None]:
    """Return the checked path of every file of a kind, None where it may not be read."""
    outside = [(folder / name).resolve() for name in project.project.outside_folders]
    found: list[Path | None] = []
    blocks: Sequence[Any] = getattr(project.inputs, kind)
    for block in blocks:
        path: Path | None = None
        with book.reading(block.file):
            path = check_local_file(block.file, folder, outside)
        found.append(path)
    return found


def _systems(folder: Path, project: ProjectFile, book: FaultBook) -> tuple[PestSystem, ...]:
    """Return the pest systems the project asks for, all of them where it asks for none."""
    systems: tuple[PestSystem, ...] = ()
    with book.reading("pest_systems"):
        systems = read_pest_systems(folder)
    if not systems:
        # the run is refused; with those that come along, surveys can still be checked for their own faults
        return read_pest_systems()
    wanted = project.project.pest_systems
    known = [system.key for system in systems]
    for name in wanted:
        if name not in known:
            book.stop(PROJECT_FILE, f"pest system {shown(name)}", f"{suggestion(name, known)}Correct the name.",
                      allowed=", ".join(known), error=SettingsError)  # fmt: skip
    return tuple(system for system in systems if not wanted or system.key in wanted or not set(wanted) <= set(known))


def _dates(project: ProjectFile, as_of: dt.date | None, book: FaultBook) -> tuple[dt.date, dt.date, dt.date]:
    """Return as_of, next survey and horizon, in this order in time."""
    given = project.project
    if as_of is None and book.has_stopped:
        as_of = UNKNOWN_DAY
    if as_of is None:
        book.stop(PROJECT_FILE, "no date of the state: as_of is not given and there is no inspection",
                  "Give as_of, or a survey.", error=InventoryError)  # fmt: skip
        as_of = UNKNOWN_DAY
    if not FIRST_DAY <= as_of <= LAST_DAY:
        book.stop(PROJECT_FILE, f"as_of '{as_of}'", "Correct the date.", allowed=f"{FIRST_DAY} to {LAST_DAY}",
                  error=SettingsError)  # fmt: skip
        as_of = UNKNOWN_DAY
    next_survey = given.next_survey_on
    if next_survey is None or next_survey <= as_of:
        if next_survey is not None:
            book.assume(PROJECT_FILE, f"next_survey_on {next_survey} does not lie after as_of {as_of}",
                        f"{DAYS_TO_NEXT_SURVEY} days after as_of were taken.", column="next_survey_on")  # fmt: skip
        next_survey = as_of + dt.timedelta(days=DAYS_TO_NEXT_SURVEY)
    horizon = given.horizon_on or dt.date(as_of.year, 12, 31)
    if horizon < next_survey and given.horizon_on is not None:
        book.assume(PROJECT_FILE, f"horizon_on {horizon} lies before the next survey {next_survey}",
                    "The day of that survey was taken.", column="horizon_on")  # fmt: skip
    return as_of, next_survey, max(horizon, next_survey)
