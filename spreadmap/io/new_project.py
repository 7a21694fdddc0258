"""A new project: commented project file, empty tables, and the papers it is given."""

from __future__ import annotations

from collections.abc import Mapping
from importlib import resources
from pathlib import Path

from spreadmap.errors import OutputError

TEMPLATES = ("spreadmap.toml", "inventory.csv", "survey.csv", "work_log.csv")


def write_new_project(folder: Path, papers: Mapping[str, bytes]) -> tuple[Path, ...]:
    """Make a project folder with the templates and finished `papers` by name, and return the files in it.

    Raises
    ------
    OutputError
        If the folder is not empty, or cannot be written.
    """
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        msg = f"{folder} is not an empty folder, and nothing in it is overwritten. Name a new folder."
        raise OutputError(msg)
    files = {name: (resources.files("spreadmap.io") / "templates" / name).read_bytes() for name in TEMPLATES}
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, content in (files | dict(papers)).items():
            (folder / name).write_bytes(content)
    except OSError as error:
        msg = f"{folder} could not be written: {error}. Name another folder."
        raise OutputError(msg) from error
    return tuple(folder / name for name in (*files, *papers))
