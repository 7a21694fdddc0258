"""The layers of a folder in every format that the desk asks for, each in its own step."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from spreadmap.errors import OutputError
from spreadmap.io.desk import coded, named, placed
from spreadmap.io.hand_held import WAYPOINT_LAYERS, write_gpx, write_kml
from spreadmap.io.layers import Layer
from spreadmap.io.styles import qml_of_layer, sld_of_layer
from spreadmap.io.write_parquet import write_geoparquet
from spreadmap.io.write_tables import write_layer_csv
from spreadmap.io.write_vector import write_geopackage, write_shapefile
from spreadmap.values.delivery_settings import DeliverySettings


@dataclass(frozen=True, slots=True, kw_only=True)
class Written:
    """Files of one step, how many rows they hold if they are a layer, and how many rows lost letters."""

    paths: tuple[Path, ...]
    layer: str = ""
    rows: int | None = None
    rows_cut: int = 0


def write_layers(
    folder: Path,
    layers: Sequence[Layer],
    package: str,
    settings: DeliverySettings,
    as_of: dt.date,
    announce: Callable[[str], None],
) -> Iterator[Written]:
    """Write layers in the formats of the desk's profile, with their styles; the files are there as they are yielded.

    Parameters
    ----------
    folder : Path
        Exists.
    layers : sequence of Layer
        In the working CRS, with our own words.
    package : str
        Name of the GeoPackage, without ending.
    settings : DeliverySettings
    as_of : date
    announce : callable
        Called with the name of each file before it is written.

    Raises
    ------
    OutputError
        If a layer cannot be written as it should be.
    """
    ready = [named(placed(layer, settings), settings) for layer in layers]
    in_codes = [coded(layer, settings) for layer in ready]
    for layer, code in zip(ready, in_codes, strict=True):
        yield from _write_one(folder, layer, code, settings, as_of, announce)
    if "geopackage" in settings.formats:
        path = folder / f"{package}.gpkg"
        announce(path.name)
        styles = {
            layer.name: (qml_of_layer(layer.name, desk=settings), sld_of_layer(layer.name, short=False, desk=settings))
            for layer in layers
        }
        write_geopackage(path, in_codes, styles, as_of)
        yield Written(paths=(path,), rows=sum(len(layer) for layer in layers))


def _write_one(
    folder: Path,
    layer: Layer,
    code: Layer,
    settings: DeliverySettings,
    as_of: dt.date,
    announce: Callable[[str], None],
) -> Iterator[Written]:
    """Write one layer in each format that takes a file of its own, and its styles; `code` has the desk's codes."""
    asked, name, rows = settings.formats, layer.file_name, len(layer)
    has_short_names = "shapefile" in asked
    if has_short_names:
        announce(f"{name}.shp")
        parts, cut = write_shapefile(folder, code, as_of, settings.encoding)
        yield Written(paths=parts, layer=layer.name, rows=rows, rows_cut=cut)
    sld, qml = folder / f"{name}.sld", folder / f"{name}.qml"
    _write_text(sld, sld_of_layer(layer.name, short=has_short_names, desk=settings))
    _write_text(qml, qml_of_layer(layer.name, short=has_short_names, desk=settings))
    yield Written(paths=(sld, qml))
    if "csv" in asked:
        path = own_folder(folder, "csv", f"{name}.csv", announce)
        yield Written(paths=(write_layer_csv(path, layer),), rows=rows)
    if "geoparquet" in asked:
        path = own_folder(folder, "geoparquet", f"{name}.parquet", announce)
        yield Written(paths=(write_geoparquet(path, code),), rows=rows)
    if "kml" in asked:
        path = own_folder(folder, "kml", f"{name}.kml", announce)
        yield Written(paths=(write_kml(path, layer),), rows=rows)
    if "gpx" in asked and layer.name in WAYPOINT_LAYERS:
        path = own_folder(folder, "gpx", f"{name}.gpx", announce)
        yield Written(paths=(path,), rows=write_gpx(path, layer))


def own_folder(folder: Path, form: str, name: str, announce: Callable[[str], None] | None = None) -> Path:
    """Return the path of a file in the folder of its format, apart from the style of the Shapefile of that name.

    A desktop program takes a style that has the name of a file, and this one asks for short fields.
    """
    if announce is not None:
        announce(f"{form}/{name}")
    try:
        (folder / form).mkdir(exist_ok=True)
    except OSError as error:
        msg = f"{form} could not be made: {error}. Free the disk or the folder, then run again."
        raise OutputError(msg) from error
    return folder / form / name


def _write_text(path: Path, text: str) -> None:
    """Write a small text."""
    try:
        path.write_text(text, encoding="utf-8", newline="\n")
    except OSError as error:
        msg = f"{path.name} could not be written: {error}. Free the disk or the folder, then run again."
        raise OutputError(msg) from error
