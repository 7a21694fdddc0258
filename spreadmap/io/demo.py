"""The demo project, wherever spreadmap was installed from."""

from __future__ import annotations

import shutil
from pathlib import Path

import spreadmap.io
from spreadmap.errors import OutputError


def demo_source() -> Path:
    """Return the demo project's folder: inside an installed package, or in the repository."""
    package = Path(spreadmap.io.__file__).resolve().parents[1]
    for folder in (package / "_demo" / "project", package.parent / "data_demo" / "project"):
        if (folder / "spreadmap.toml").is_file():
            return folder
    msg = "the demo project was not installed. Install spreadmap again, or run it from a clone of its repository."
    raise OutputError(msg)


def copy_demo(folder: Path) -> Path:
    """Copy the demo project to a folder, over an earlier copy of it; runs and history there stay.

    Raises
    ------
    OutputError
        If the folder holds something else, or cannot be written.
    """
    source = demo_source()
    if folder.exists() and any(folder.iterdir()) and not (folder / "spreadmap.toml").is_file():
        msg = f"{folder} is not empty and holds no project. Name another folder for the demo."
        raise OutputError(msg)
    own = folder / "spreadmap.toml"
    if own.is_file() and own.read_bytes() != (source / "spreadmap.toml").read_bytes():
        msg = f"{folder} holds another project. Name another folder for the demo."
        raise OutputError(msg)
    try:
        shutil.copytree(source, folder, dirs_exist_ok=True)
    except OSError as error:
        msg = f"{folder} could not be written: {error}. Name another folder for the demo."
        raise OutputError(msg) from error
    return folder
