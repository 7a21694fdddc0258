"""What many tests share: programs beside Python, and the runs of the demo, which are made once."""

from __future__ import annotations

import datetime as dt
import os
import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

import pytest
from browser import Browser

if TYPE_CHECKING:
    from spreadmap.pipeline import Delivery

BROWSERS = ("chromium", "chromium-browser", "google-chrome", "chrome")
GDAL_PROGRAMS = ("ogrinfo", "gdalinfo")


@dataclass(frozen=True)
class DemoRuns:
    """The demo project with two deliveries: as of its second survey, then as of its third; read it, do not change it."""

    project: Path
    early: Delivery
    late: Delivery
    steps: tuple[str, ...]


@pytest.fixture(scope="session")
def demo_runs(tmp_path_factory: pytest.TempPathFactory) -> DemoRuns:
    """Return the demo project after two runs, and the steps of the second."""
    # Loaded here: most files of tests need no run.
    from spreadmap.io.demo import copy_demo
    from spreadmap.pipeline import run_project

    project = copy_demo(tmp_path_factory.mktemp("demo") / "town")
    steps: list[str] = []
    early = run_project(project, as_of=dt.date(2026, 7, 13))
    late = run_project(project, progress=steps.append)
    return DemoRuns(project=project, early=early, late=late, steps=tuple(steps))


def program_missing(what: str) -> NoReturn:
    """Skip and say so; fail where the run promised that nothing is skipped."""
    message = f"{what} is not installed on this machine"
    if os.environ.get("SPREADMAP_NO_SKIPS"):
        pytest.fail(f"{message}, and SPREADMAP_NO_SKIPS is set")
    pytest.skip(message)


@pytest.fixture(scope="session")
def chromium() -> Path:
    """Path of a Chromium browser."""
    for name in BROWSERS:
        if found := shutil.which(name):
            return Path(found)
    program_missing("Chromium")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Where the pages of one module of tests are written."""
    return tmp_path_factory.mktemp("pages")


@pytest.fixture(scope="module")
def browser(chromium: Path, folder: Path) -> Iterator[Browser]:
    """A browser without a network, open on a module's folder."""
    with Browser(chromium, folder) as opened:
        yield opened


@pytest.fixture(scope="session")
def gdal_tools() -> dict[str, Path]:
    """Paths of `ogrinfo` and `gdalinfo`: a GDAL of the machine's own, independent of the wheels."""
    found = {name: shutil.which(name) for name in GDAL_PROGRAMS}
    if missing := [name for name, path in found.items() if path is None]:
        program_missing(f"gdal-bin ({', '.join(missing)})")
    return {name: Path(path) for name, path in found.items() if path}


@pytest.fixture(scope="session")
def pdftotext() -> Path:
    """Path of a program that reads the text of a PDF."""
    found = shutil.which("pdftotext")
    if found is None:
        program_missing("poppler-utils (pdftotext)")
    return Path(found)
