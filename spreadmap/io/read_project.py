"""A whole project folder as values: every file read, every fault collected, then told together."""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from spreadmap.errors import InputError, InventoryError, SettingsError
from spreadmap.io.faults import FaultBook, shown
from spreadmap.io.guard import check_local_file, shapefile_parts
from spreadmap.io.pest_systems import read_pest_systems
from spreadmap.io.project_file import PROJECT_FILE, ProjectFile, read_project_file, suggestion
from spreadmap.io.read_crs import WorkingCrs, check_scale, working_crs
from spreadmap.io.read_inventory import read_inventory
from spreadmap.io.read_settings import read_settings
from spreadmap.io.read_surroundings import read_reservoirs, read_screens, read_sites, read_temperature
from spreadmap.io.read_surveys import read_surveys, read_work_log
from spreadmap.io.read_wind_hours import read_wind_hours
from spreadmap.io.read_wind_raster import read_wind_raster
from spreadmap.values.inventory import Inventory
from spreadmap.values.pest_system import PestSystem
from spreadmap.values.project import Fault, InputFile, ProjectInputs
from spreadmap.values.settings import Settings

DAYS_TO_NEXT_SURVEY = 28
KINDS = (
    "inventory",
    "surveys",
    "work_log",
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
    found = _read(folder, as_of, book)
    book.raise_if_stopped()
    if found is None:
        msg = f"{folder} could not be read. Run `spreadmap check {folder}` and mend what it lists."
        raise InputError(msg)
    return found


def check_project(folder: Path) -> tuple[Fault, ...]:
    """Return every fault of a project, the most harmful first; raises nothing that a file's content causes."""
    book = FaultBook()
    with book.reading(PROJECT_FILE):
        _read(folder, None, book)
    order = {"stop": 0, "aside": 1, "assumed": 2}
    return tuple(sorted(book.faults, key=lambda fault: order[fault.weight]))


def _read(folder: Path, as_of: dt.date | None, book: FaultBook) -> tuple[ProjectInputs, Settings] | None:
    """Read all files in the order in which they need each other."""
    project = read_project_file(folder)
    settings = Settings()
    with book.reading(PROJECT_FILE):
        settings = read_settings(project.settings)
    systems = _systems(folder, project, book)
    working: WorkingCrs | None = None
    with book.reading(PROJECT_FILE):
        working = working_crs(project.project.crs)
    paths = {kind: _paths(folder, project, kind, book) for kind in KINDS}
    if working is None or any(None in found for found in paths.values()):
        return None
    ready: dict[str, list[Path]] = {kind: [path for path in found if path is not None] for kind, found in paths.items()}
    inputs = project.inputs
    inventory = read_inventory(inputs.inventory, ready["inventory"], working, settings, book)
    if inventory is None:
        return None
    lon, lat = float(np.median(inventory.longitude)), float(np.median(inventory.latitude))
    with book.reading(PROJECT_FILE):
        check_scale(working, lon, lat)
    until = as_of or project.project.as_of
    surveys = read_surveys(
        inputs.surveys, ready["surveys"], inventory, tuple(system.key for system in systems), settings, book, until
    )
    if until is None and len(surveys):
        until = surveys.inspected_on.max().astype("datetime64[D]").astype(dt.date)
    dates = _dates(project, until, book)
    middle = (np.array([np.median(inventory.easting)]), np.array([np.median(inventory.northing)]))
    convergence = float(working.convergence_deg(*middle)[0])
    values = ProjectInputs(
        name=project.project.name,
        crs=working.text,
        longitude_deg=lon,
        latitude_deg=lat,
        as_of=dates[0],
        next_survey_on=dates[1],
        horizon_on=dates[2],
        inventory=inventory,
        surveys=surveys,
        work_log=read_work_log(inputs.work_log, ready["work_log"], inventory, settings, book),
        pest_systems=systems,
        reservoirs=read_reservoirs(inputs.reservoirs, ready["reservoirs"], working, settings, book),
        sites=read_sites(inputs.sites, ready["sites"], working, settings, book),
        screens=read_screens(inputs.screens, ready["screens"], working, settings, book),
        wind_hours=read_wind_hours(inputs.wind_hours, ready["wind_hours"], convergence, settings, book),
        wind_raster=read_wind_raster(inputs.wind_raster, ready["wind_raster"], working, inventory, book),
        temperature=read_temperature(inputs.temperature, ready["temperature"], settings, book),
        contact=project.project.contact,
        holidays=tuple(project.project.holidays),
    )
    return _with_records(values, folder, ready, inventory, book), settings


def _with_records(
    values: ProjectInputs, folder: Path, ready: dict[str, list[Path]], inventory: Inventory, book: FaultBook
) -> ProjectInputs:
    """Return the inputs with their faults, rows put aside and hashes of files."""
    own = {name: getattr(values, name) for name in values.__dataclass_fields__}
    own["faults"], own["rejected"] = tuple(book.faults), tuple(book.rejected)
    own["files"] = tuple(
        _file(kind, path, folder, len(inventory) if kind == "inventory" else 0)
        for kind in KINDS
        for path in ready[kind]
    )
    return ProjectInputs(**own)


def _file(kind: str, path: Path, folder: Path, rows: int) -> InputFile:
    """Return one input file with its hash; a Shapefile's parts count together."""
    parts = [path]
    if path.suffix.lower() == ".shp":
        parts += [path.with_suffix(ending) for ending in sorted(shapefile_parts(path)) if ending != ".shp"]
    digest = hashlib.sha256()
    for part in parts:
        if part.exists():
            digest.update(part.read_bytes())
    root = folder.resolve()
    name = path.relative_to(root).as_posix() if path.is_relative_to(root) else path.name
    return InputFile(role=kind, path=name, sha256=digest.hexdigest(), rows=rows)


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
    wanted = project.project.pest_systems
    known = [system.key for system in systems]
    for name in wanted:
        if name not in known:
            book.stop(PROJECT_FILE, f"pest system {shown(name)}", f"{suggestion(name, known)}Correct the name.",
                      allowed=", ".join(known), error=SettingsError)  # fmt: skip
    return tuple(system for system in systems if not wanted or system.key in wanted)


def _dates(project: ProjectFile, as_of: dt.date | None, book: FaultBook) -> tuple[dt.date, dt.date, dt.date]:
    """Return as_of, next survey and horizon, in this order in time."""
    given = project.project
    if as_of is None:
        book.stop(PROJECT_FILE, "no date of the state: as_of is not given and there is no inspection",
                  "Give as_of, or a survey.", error=InventoryError)  # fmt: skip
        as_of = dt.date(1970, 1, 1)
    next_survey = given.next_survey_on
    if next_survey is None or next_survey <= as_of:
        if next_survey is not None:
            book.assume(PROJECT_FILE, f"next_survey_on {next_survey} does not lie after as_of {as_of}",
                        f"{DAYS_TO_NEXT_SURVEY} days after as_of were taken.", column="next_survey_on")  # fmt: skip
        next_survey = as_of + dt.timedelta(days=DAYS_TO_NEXT_SURVEY)
    horizon = given.horizon_on or dt.date(as_of.year, 12, 31)
    return as_of, next_survey, max(horizon, next_survey)
