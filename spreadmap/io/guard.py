"""What may be opened at all: imported before anything that opens files, so that the drivers are restricted in time.

GDAL picks a driver by what a file holds, not by its name, and several drivers open other files or the network. So:
the drivers are skipped by environment before the library loads (afterwards it has no effect), every path must be a
regular local file, its first bytes must fit its name, and the driver that answers is compared with a list.
"""

from __future__ import annotations

import os
import stat
import zipfile
import zlib
from collections.abc import Sequence
from pathlib import Path, PurePosixPath

from spreadmap.errors import InputError
from spreadmap.io.faults import shown

SKIPPED_DRIVERS = (
    "OGR_VRT,ADBC,AmigoCloud,Carto,CSW,EEDA,Elasticsearch,GDALG,GML,GPSBabel,GTFS,HTTP,LVBAG,MapML,NGW,OAPIF,OGCAPI,"
    "PDF,PLSCENES,WFS"
)
SETTINGS = {
    "OGR_SKIP": SKIPPED_DRIVERS,
    "CPL_VSIL_CURL_ALLOWED_EXTENSIONS": ".none",
    "SHAPE_RESTORE_SHX": "NO",
    "PROJ_NETWORK": "OFF",
}

TABLES = {
    ".csv": "", ".tsv": "", ".txt": "", ".xlsx": "", ".gpkg": "GPKG", ".shp": "ESRI Shapefile",
    ".zip": "ESRI Shapefile", ".geojson": "GeoJSON", ".json": "GeoJSON", ".parquet": "",
}  # fmt: skip
"""Endings of tables, with the one driver that may open each; none where we read it without GDAL."""
TEXTS = (".csv", ".tsv", ".txt")
"""Endings of tables that are delimited text."""
RASTERS = {".tif": "GTiff", ".tiff": "GTiff"}
NETCDF = (".nc",)

FIRST_BYTES: dict[str, tuple[bytes, ...]] = {
    ".xlsx": (b"PK\x03\x04",),
    ".gpkg": (b"SQLite format 3\x00",),
    ".shp": (b"\x00\x00\x27\x0a",),
    ".zip": (b"PK\x03\x04",),
    ".parquet": (b"PAR1",),
    ".tif": (b"II*\x00", b"MM\x00*", b"II+\x00", b"MM\x00+"),
    ".tiff": (b"II*\x00", b"MM\x00*", b"II+\x00", b"MM\x00+"),
    ".nc": (b"CDF\x01", b"CDF\x02", b"CDF\x05", b"\x89HDF\r\n\x1a\n"),
}
MOST_BYTES = 4 * 2**30
MOST_UNPACKED_BYTES = 2 * 2**30
MOST_RATIO = 100.0
MOST_ENTRIES = 5_000
SMALL_UNPACKED_BYTES = 10 * 2**20
"""Up to this size no ratio is asked: a small table of equal rows packs very well."""

SHAPEFILE_NEEDS = (".shx", ".dbf")


def restrict_drivers() -> None:
    """Set what GDAL reads when it loads; an own value of the desk's is never widened."""
    for name, value in SETTINGS.items():
        if name == "OGR_SKIP" and os.environ.get(name):
            mine = os.environ[name].split(",")
            os.environ[name] = ",".join([*mine, *(d for d in SKIPPED_DRIVERS.split(",") if d not in mine)])
        else:
            os.environ[name] = value


restrict_drivers()


def check_local_file(path: str | Path, project_folder: Path, outside: Sequence[Path] = ()) -> Path:
    """Return the resolved path of a regular local file that a project may read.

    Parameters
    ----------
    path : str or Path
        As it stands in the project file; relative to `project_folder`.
    project_folder : Path
    outside : sequence of Path
        Further folders that the project file names outright.

    Returns
    -------
    Path
        Absolute, without links.

    Raises
    ------
    InputError
        If it is an address, a path of GDAL's virtual file systems, not a regular file, or lies in no named folder.
    """
    text = str(path)
    if not text.strip() or "\x00" in text:
        msg = f"{shown(text)} is no file name. Give the path of a file, relative to the project file"
        raise InputError(msg)
    # two strokes in front name another computer where the system is a Windows
    if "://" in text or text.replace("\\", "/").lower().startswith(("/vsi", "vsi", "//", "http:", "https:", "ftp:")):
        msg = f"'{text}' is an address or a virtual path. Only local files are read: save it in the project folder"
        raise InputError(msg)
    full = (project_folder / text).resolve()
    allowed = [project_folder.resolve(), *(folder.resolve() for folder in outside)]
    if not any(full.is_relative_to(folder) for folder in allowed):
        msg = (
            f"'{text}' lies outside the project folder. Move it inside, or name its folder under outside_folders in "
            "[project]"
        )
        raise InputError(msg)
    if not full.exists():
        near = _near_names(full)
        msg = f"'{text}' does not exist. Correct the name in the project file{near}"
        raise InputError(msg)
    if not stat.S_ISREG(full.stat().st_mode):
        msg = f"'{text}' is not a regular file. Give the path of one file"
        raise InputError(msg)
    if full.stat().st_size > MOST_BYTES:
        msg = f"'{text}' has {full.stat().st_size / 2**30:.1f} GB, more than {MOST_BYTES / 2**30:.0f} GB. Split it"
        raise InputError(msg)
    return full


def _near_names(full: Path) -> str:
    """Return a hint at files whose name differs by capitals or ending only."""
    if not full.parent.is_dir():
        return ""
    near = sorted(each.name for each in full.parent.iterdir() if each.stem.casefold() == full.stem.casefold())
    return f" (there is {', '.join(near[:3])})" if near else ""


def check_kind(path: Path, allowed: Sequence[str]) -> str:
    """Return the ending of a file, lower case, after comparing it with `allowed` and with the file's first bytes.

    Raises
    ------
    InputError
        If the ending is not allowed here, or the file holds something else than its name says.
    """
    ending = path.suffix.lower()
    if ending not in allowed:
        msg = (
            f"'{ending or path.name}' is not allowed here; allowed: {', '.join(allowed)}. Save the file as one of these"
        )
        raise InputError(msg)
    with path.open("rb") as file:
        first = file.read(64)
    if ending in FIRST_BYTES:
        fits = first.startswith(FIRST_BYTES[ending])
    else:
        start = first.removeprefix(b"\xef\xbb\xbf").lstrip()
        fits = (
            start.startswith(b"{") if ending in (".geojson", ".json") else not start.startswith((b"<", b"PK\x03\x04"))
        )
    if not fits:
        msg = f"holds something else than its ending {ending} says. Export it again as {ending}"
        raise InputError(msg)
    return ending


def check_zip(path: Path) -> list[zipfile.ZipInfo]:
    """Return the entries of a zip that is safe to unpack.

    Raises
    ------
    InputError
        If it cannot be read, is locked, would unpack to far more than its own size, or holds paths that leave it.
    """
    try:
        with zipfile.ZipFile(path) as archive:
            entries = archive.infolist()
    # zipfile raises NotImplementedError for a packing method it does not know
    except (zipfile.BadZipFile, OSError, ValueError, NotImplementedError) as error:
        msg = f"cannot be opened as a zip ({error}). Make the zip again"
        raise InputError(msg) from error
    if len(entries) > MOST_ENTRIES:
        msg = f"holds {len(entries):,} files; allowed: {MOST_ENTRIES:,}. Zip the files alone"
        raise InputError(msg)
    unpacked = sum(entry.file_size for entry in entries)
    ratio = unpacked / max(path.stat().st_size, 1)
    if unpacked > MOST_UNPACKED_BYTES or (unpacked > SMALL_UNPACKED_BYTES and ratio > MOST_RATIO):
        msg = (
            f"would unpack to {unpacked / 2**20:.0f} MB, {ratio:.0f} times its size; allowed: {MOST_RATIO:.0f} times and "
            f"{MOST_UNPACKED_BYTES / 2**20:.0f} MB. Unpack it yourself if you trust it, and give the file inside"
        )
        raise InputError(msg)
    for entry in entries:
        inner = PurePosixPath(entry.filename.replace("\\", "/"))
        is_link = stat.S_ISLNK(entry.external_attr >> 16)
        if inner.is_absolute() or ".." in inner.parts or ":" in entry.filename or is_link:
            msg = f"holds the path '{entry.filename}', which leads out of it. Zip the files alone"
            raise InputError(msg)
        if entry.flag_bits & 1:
            msg = "is locked with a password. Make the zip again without one"
            raise InputError(msg)
    return entries


def find_zipped_shapefile(path: Path, layer: str) -> tuple[str, list[str]]:
    """Return the path of the one Shapefile inside a zip, and what lies beside it (endings, lower case).

    Raises
    ------
    InputError
        If there is none, or several and `layer` does not name one, or a part is missing.
    """
    names = [entry.filename for entry in check_zip(path) if not entry.is_dir()]
    names = [n for n in names if not n.startswith("__MACOSX/") and not PurePosixPath(n).name.startswith("._")]
    shapes = sorted(n for n in names if n.lower().endswith(".shp"))
    if not shapes:
        msg = "holds no Shapefile (.shp). Zip the .shp, .shx, .dbf and .prj together"
        raise InputError(msg)
    if layer:
        shapes = [n for n in shapes if layer in (PurePosixPath(n).stem, PurePosixPath(n).name, n)]
    if len(shapes) != 1:
        every = ", ".join(sorted(PurePosixPath(n).stem for n in names if n.lower().endswith(".shp")))
        msg = f'holds the Shapefiles {every}. Say which one: layer = "name" in the project file'
        raise InputError(msg)
    stem = shapes[0][:-4].casefold()
    beside = [PurePosixPath(n).suffix.lower() for n in names if n[: -len(PurePosixPath(n).suffix)].casefold() == stem]
    check_parts(beside)
    try:
        with zipfile.ZipFile(path) as archive, archive.open(shapes[0]) as file:
            first = file.read(4)
    except (zipfile.BadZipFile, zlib.error, EOFError, OSError, NotImplementedError) as error:
        msg = f"'{shapes[0]}' in it cannot be unpacked ({error}). Make the zip again"
        raise InputError(msg) from error
    if first != FIRST_BYTES[".shp"][0]:
        msg = f"'{shapes[0]}' in it is not a Shapefile. Export it again"
        raise InputError(msg)
    return shapes[0], beside


def check_beside(path: Path) -> None:
    """Refuse a file beside which GDAL would open a pipe, or a link that leads elsewhere (InputError).

    A Shapefile is several files, and a raster or a database may have others beside it that are opened unasked.
    """
    for each in path.parent.iterdir():
        if each == path or not (each.stem.casefold() == path.stem.casefold() or each.name.startswith(path.name)):
            continue
        is_away = each.is_symlink() and each.resolve().parent != path.parent
        if is_away or not (each.is_file() or each.is_dir()):
            msg = (
                f"has beside it {shown(each.name)}, which is no file of its own. Copy the file there instead of a link"
            )
            raise InputError(msg)


def shapefile_parts(path: Path) -> list[str]:
    """Return the endings (lower case) of the files beside a .shp, after checking that it is whole."""
    stem = path.stem.casefold()
    beside = [each.suffix.lower() for each in path.parent.iterdir() if each.stem.casefold() == stem]
    check_parts(beside)
    return beside


def check_parts(beside: Sequence[str]) -> None:
    """Refuse half a Shapefile; a missing .prj is for whoever asks for the CRS."""
    missing = [part for part in SHAPEFILE_NEEDS if part not in beside]
    if missing:
        msg = f"is half a Shapefile: {' and '.join(missing)} missing. Copy all its parts (.shp, .shx, .dbf, .prj)"
        raise InputError(msg)


def check_driver(found: str, allowed: str) -> None:
    """Refuse a file that another driver than the one for its ending answered for."""
    if found != allowed:
        msg = f"holds {found}; allowed: {allowed}. Save it again in the format its ending says"
        raise InputError(msg)
