"""Programs that some tests need beside Python."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import NoReturn

import pytest
from browser import Browser

BROWSERS = ("chromium", "chromium-browser", "google-chrome", "chrome")
GDAL_PROGRAMS = ("ogrinfo", "gdalinfo")


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
