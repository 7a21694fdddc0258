"""The fit of a project to its survey history: made and kept in the history, and found there by later runs."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from spreadmap.dispersal.climate import flight_climate
from spreadmap.dispersal.spread import spread_from_settings
from spreadmap.engine import Engine
from spreadmap.errors import InputError
from spreadmap.io.fit_file import write_pictures
from spreadmap.io.history import History, fits_on_record, open_history
from spreadmap.io.history_store import read_into_memory
from spreadmap.io.lock import ProjectLock
from spreadmap.io.read_project import read_project
from spreadmap.io.versions import software_version
from spreadmap.outbreak.fit import fit_survey_history
from spreadmap.outbreak.fit_use import newest_fit
from spreadmap.records.flight_season import flight_season
from spreadmap.records.sources import reservoir_sources
from spreadmap.records.state import is_inspected_for
from spreadmap.review.fit_picture import fit_png
from spreadmap.values.fit import HistoryFit
from spreadmap.values.pest_system import PestSystem
from spreadmap.values.project import ProjectInputs
from spreadmap.values.settings import Settings

__all__ = ["FitDelivery", "fit_project", "usable_fits"]


WILD_SQUARES_M = 10.0
"""Side of the squares into which wild stands are cut for a fit [m]: coarser than for maps, for every square is summed
again for every set of parameters. None: our choice, near the mean distance of the usual kernel."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FitDelivery:
    """The fits of a project, the picture of each by pest system, and what a person at a terminal wants to hear."""

    fits: tuple[HistoryFit, ...]
    pictures: dict[str, bytes]
    headlines: tuple[str, ...]


def utc_now() -> dt.datetime:
    """Return the wall clock, in UTC. Only the history is told."""
    return dt.datetime.now(dt.UTC)


def fit_project(
    folder: Path,
    *,
    as_of: dt.date | None = None,
    picture_to: Path | None = None,
    engine: Engine | None = None,
    progress: Callable[[str], None] | None = None,
    clock: Callable[[], dt.datetime] = utc_now,
) -> FitDelivery:
    """Fit every pest system with a removal verdict that was looked for, and keep the fits, accepted or not.

    Parameters
    ----------
    folder : Path
        The project's folder.
    as_of : date, optional
        Surveys after it are passed over; default the project file's, else the last inspection's.
    picture_to : Path, optional
        A folder into which the picture of every fit is written.
    engine : Engine, optional
    progress : callable, optional
        Called with every step in words.
    clock : callable, optional
        Tells the history the time.

    Returns
    -------
    FitDelivery

    Raises
    ------
    InputError, SettingsError
        If something that came in refuses the fit, or nothing can be learnt from it.
    LockedError
        If a run holds the project.
    OutputError
        If the history or a picture cannot be written.
    """
    folder = folder.resolve()
    inputs, settings = read_project(folder, as_of)
    crew, day = engine or Engine(), np.datetime64(inputs.as_of)
    systems = [one for one in inputs.pest_systems if one.is_mapped and is_inspected_for(inputs.surveys, one, day)]
    if not systems:
        msg = (
            f"no pest system with a removal verdict was looked for by {inputs.as_of}; allowed: at least one. Add survey "
            "tables to the project file, or check their column pest_system."
        )
        raise InputError(msg)
    with ProjectLock(folder, clock()):
        fits = tuple(fit_system(inputs, system, settings, crew, progress) for system in systems)
        with open_history(folder) as history:
            for fit in fits:
                history.add_fit(fit, clock().isoformat(timespec="seconds"), software_version())
    names = {one.key: one.common_name for one in systems}
    pictures = {fit.system_key: fit_png(fit, f"{inputs.name}: fit of {names[fit.system_key]}") for fit in fits}
    if picture_to is not None:
        write_pictures(picture_to, pictures)
    return FitDelivery(
        fits=fits, pictures=pictures, headlines=tuple(line for fit in fits for line in fit_lines(fit, names))
    )


def fit_system(
    inputs: ProjectInputs,
    system: PestSystem,
    settings: Settings,
    engine: Engine,
    progress: Callable[[str], None] | None,
) -> HistoryFit:
    """Return the fit of one pest system of a project."""
    flying, _ = flight_season(system, inputs.temperature, inputs.latitude_deg, settings)
    climate = flight_climate(
        inputs.wind_hours, inputs.wind_raster, flying.flight_weight, inputs.longitude_deg, inputs.latitude_deg,
        settings.wind,
    )  # fmt: skip
    return fit_survey_history(
        inputs.inventory, inputs.surveys, inputs.work_log, reservoir_sources(inputs.reservoirs, spacing_m=WILD_SQUARES_M),
        spread_from_settings(settings, climate), flying, settings, np.datetime64(inputs.as_of), engine, progress,
    )  # fmt: skip


def fit_lines(fit: HistoryFit, names: dict[str, str]) -> tuple[str, ...]:
    """Return a fit in lines: verdict, prior beside posterior, what the data say and what they do not."""
    name = names.get(fit.system_key, fit.system_key)
    word = "accepted" if fit.accepted else "refused: maps stay relative"
    lines = [
        f"{name}, surveys {fit.first_look} to {fit.last_look}, {fit.noticed} noticed plants, {fit.new_cases} of them after "
        f"the first survey: {word}."
    ]
    for one in fit.estimates:
        if one.is_fixed:
            continue
        low, middle, high = one.posterior
        before, usual, after = one.prior
        lines.append(
            f"{one.name} [{one.unit}]: {middle:.3g} ({low:.3g} to {high:.3g}); believed beforehand {usual:.3g} ({before:.3g} "
            f"to {after:.3g}); {one.effective_size:.0f} draws, R-hat {one.r_hat:.3f}."
        )
    return (*lines, *fit.says, *fit.remarks)


def usable_fits(
    folder: Path, inputs: ProjectInputs, settings: Settings
) -> tuple[dict[str, HistoryFit], tuple[str, ...]]:
    """Return by pest system the newest accepted fit that may be used on the project's date, and why others may not.

    A fit to surveys after that date is never used, nor one that does not know all inspections up to it, or whose settings
    or records have changed since. Nothing is written.

    Raises
    ------
    LockedError, OutputError
        If there is a history that cannot be read.
    """
    memory = read_into_memory(folder)
    if memory is None:
        return {}, ()
    with closing(memory):
        kept, remarks = fits_on_record(History(memory, folder))
    found: dict[str, HistoryFit] = {}
    for system in inputs.pest_systems:
        fits = kept.get(system.key, ())
        if not (fits and system.is_mapped):
            continue
        flying, _ = flight_season(system, inputs.temperature, inputs.latitude_deg, settings)
        fit, more = newest_fit(fits, inputs.inventory, inputs.surveys, inputs.work_log, flying, settings, inputs.as_of)
        remarks = (*remarks, *more)
        if fit is not None:
            found[system.key] = fit
    return found, remarks
