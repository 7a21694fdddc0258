"""Everything that goes out, written into one folder in named steps."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from spreadmap.decisions.cautions import removal_cautions
from spreadmap.errors import OutputError
from spreadmap.io.calendar_file import calendar_ics, calendar_rows, write_calendar_csv
from spreadmap.io.changes import INSERT, Change, DeliveredPlant, compare, delivered_plants, write_changes
from spreadmap.io.desk import placed, position_unit
from spreadmap.io.dictionary import write_dictionary
from spreadmap.io.disposal_tables import disposal_tables
from spreadmap.io.forecast_file import FORECAST, forecast_text
from spreadmap.io.gone_plants import GonePlant, Rows, gone_before, gone_now, write_gone
from spreadmap.io.layers import Layer, clean_text, system_layers
from spreadmap.io.metadata import NOT_A_DIAGNOSIS, write_metadata
from spreadmap.io.public import block_layer, write_public
from spreadmap.io.removal_tables import write_removal_tables
from spreadmap.io.scenario_table import write_scenarios
from spreadmap.io.score_file import score_values
from spreadmap.io.streamed import put_in_place
from spreadmap.io.styles import qml_of_raster, sld_of_raster
from spreadmap.io.summary import manifest_values, summary_values, write_json
from spreadmap.io.survey_tables import write_survey_tables
from spreadmap.io.write_layers import write_layers
from spreadmap.io.write_raster import (
    ALONE_SAYS,
    RISK,
    RISK_ALONE,
    RISK_CLASS,
    face_tags,
    write_class_raster,
    write_surface,
)
from spreadmap.io.write_tables import write_layer_csv, write_list_xlsx, write_rejected
from spreadmap.outbreak.forecast_record import forecast_of
from spreadmap.values.results import Face, SurveyResult, SystemResult
from spreadmap.values.words import Mode

PUBLIC = "public"
MANIFEST = "manifest.json"
KEY = re.compile(r"^[a-z][a-z0-9_]{0,40}$")
LISTS = ("removal_list", "inspection_list")


@dataclass(frozen=True, slots=True, kw_only=True)
class Product:
    """One file of a delivery: path relative to the run folder, rows if it is a layer, rows with a text cut."""

    path: str
    rows: int | None = None
    rows_cut: int = 0


class _Delivery:
    """The products written so far, and whoever wants to hear of the next."""

    def __init__(self, folder: Path, step: Callable[[str], None] | None) -> None:
        self.folder = folder
        self.products: list[Product] = []
        self._step = step

    def announce(self, name: str) -> None:
        """Say what is written next."""
        if self._step is not None:
            self._step(name)

    def under(self, folder: str) -> Callable[[str], None]:
        """Return what announces names inside a folder."""
        return lambda name: self.announce(f"{folder}/{name}")

    def add(self, *paths: Path, rows: int | None = None, rows_cut: int = 0) -> None:
        """Note files that were written."""
        self.products += [
            Product(path=path.relative_to(self.folder).as_posix(), rows=rows, rows_cut=rows_cut) for path in paths
        ]

    def text(self, path: Path, text: str) -> None:
        """Write and note a small text."""
        self.bytes(path, text.encode("utf-8"))

    def bytes(self, path: Path, content: bytes) -> None:
        """Write and note finished bytes."""
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(content)
        except OSError as error:
            msg = f"{path.name} could not be written: {error}. Free the disk or the folder, then run again."
            raise OutputError(msg) from error
        self.add(path)


def write_delivery(
    folder: Path,
    result: SurveyResult,
    *,
    pages: Mapping[str, bytes] | None = None,
    previous: Mapping[str, Mapping[str, DeliveredPlant]] | None = None,
    previous_folder: str = "",
    history: Rows | None = None,
    rasters: Mapping[str, Path] | None = None,
    step: Callable[[str], None] | None = None,
) -> tuple[Product, ...]:
    """Write every product of a run.

    Parameters
    ----------
    folder : Path
        Exists and is empty: the hidden folder of a `RunFolder`.
    result : SurveyResult
    pages : mapping
        Finished files by their path in the folder, such as `review.html` or `public/review.html`.
    previous, previous_folder
        What `history.last_delivery` gave: the plants of the last delivery, for `changes.csv`.
    history : Rows
        The open history, for `gone_plants.csv`.
    rasters : mapping
        Rasters that were written tile by tile, by their path in the folder such as `rose_rosette/risk.tif`.
    step : callable
        Called with the name of each product before it is written.

    Returns
    -------
    tuple of Product
        Every file but the manifest, which lists them with their hashes.

    Raises
    ------
    OutputError
        If a product cannot be written as it should be. The folder is then incomplete and must not be delivered.
    """
    pages, previous = pages or {}, previous or {}
    delivery = _Delivery(folder, step)
    changes: list[Change] = []
    rows_cut: dict[str, int] = {}
    for system in result.systems:
        layers = _write_system(delivery, system, result, rows_cut, rasters or {})
        key = system.triage.system.key
        changes += compare(key, delivered_plants(layers["plants"]), previous.get(key, {}))
    _write_disposals(delivery, result)
    _write_calendar(delivery, result)
    _write_public(delivery, result)
    for name, content in pages.items():
        delivery.announce(name)
        delivery.bytes(folder / _safe_name(name), content)
    _write_papers(delivery, result, changes, rows_cut)
    _write_gone(delivery, result, changes, history)
    delivery.announce(MANIFEST)
    known = {
        product.path: {} if product.rows is None else {"rows": product.rows, "rows_cut": product.rows_cut}
        for product in delivery.products
    }
    write_json(folder / MANIFEST, manifest_values(folder, known, result, previous_folder))
    return tuple(delivery.products)


def _write_system(
    delivery: _Delivery,
    system: SystemResult,
    result: SurveyResult,
    rows_cut: dict[str, int],
    rasters: Mapping[str, Path],
) -> dict[str, Layer]:
    """Write layers, lists, styles and rasters of one pest system into its own folder."""
    key = system.triage.system.key
    folder = delivery.folder / _safe_key(key)
    _make_folder(folder)
    layers = {layer.name: layer for layer in system_layers(system, result.inputs, result.settings)}
    desk, as_of = result.settings.delivery, result.inputs.as_of
    for written in write_layers(folder, tuple(layers.values()), key, desk, as_of, delivery.under(key)):
        delivery.add(*written.paths, rows=written.rows, rows_cut=written.rows_cut)
        if written.layer:
            rows_cut[written.layer] = rows_cut.get(written.layer, 0) + written.rows_cut
    lists = {name: placed(layers[name], desk) for name in LISTS}
    for name, layer in lists.items():
        delivery.announce(f"{key}/{name}.csv")
        delivery.add(write_layer_csv(folder / f"{name}.csv", layer), rows=len(layer))
    delivery.announce(f"{key}/scenarios.csv")
    told = len(system.ahead.scenarios) + len(system.ahead.comparisons)
    delivery.add(write_scenarios(folder, system.ahead, key), rows=told)
    delivery.announce(f"{key}/survey_statement.csv")
    for path, count in write_survey_tables(folder, system).items():
        delivery.add(path, rows=count)
    delivery.announce(f"{key}/removal_curve.csv")
    for path, count in write_removal_tables(folder, system, result.inputs).items():
        delivery.add(path, rows=count)
    delivery.announce(f"{key}/removal_list.xlsx")
    book = write_list_xlsx(
        folder / "removal_list.xlsx",
        lists["removal_list"],
        removal_cautions(result.settings.removal),
        about(system.lists_face, result.inputs.name),
        as_of,
    )
    delivery.add(book, rows=len(lists["removal_list"]))
    delivery.announce(f"{key}/{FORECAST}")
    delivery.text(folder / FORECAST, forecast_text(forecast_of(system, result)))
    _write_rasters(delivery, folder, system, result, rasters)
    return layers


def _write_rasters(
    delivery: _Delivery, folder: Path, system: SystemResult, result: SurveyResult, rasters: Mapping[str, Path]
) -> None:
    """Write the surface, the surface without wild stands, the classes, and their styles."""
    key, breaks, crs = system.triage.system.key, system.surface_breaks, result.inputs.crs
    tags, quantity, bits = face_tags(system.face, key, breaks), system.face.quantity, result.settings.grid.mantissa_bits
    alone, both = system.surface_without_reservoirs, system.surface
    writers: dict[str, Callable[[Path], Path]] = {
        RISK: lambda path: write_surface(path, both, crs, quantity, tags, bits),
        RISK_ALONE: lambda path: write_surface(
            path, alone, crs, f"{quantity}, without wild stands", tags | ALONE_SAYS, bits
        ),
        RISK_CLASS: lambda path: write_class_raster(path, both, breaks, crs, f"{quantity}, class", tags),
    }
    for name, write in writers.items():
        path, place = folder / f"{name}.tif", f"{key}/{name}.tif"
        delivery.announce(place)
        delivery.add(put_in_place(rasters[place], path) if place in rasters else write(path))
        delivery.text(path.with_suffix(".sld"), sld_of_raster(name, breaks, is_classed=name == RISK_CLASS))
        if name != RISK_CLASS:
            # the classes carry their colours in the file itself
            delivery.text(path.with_suffix(".qml"), qml_of_raster(breaks))


def _write_disposals(delivery: _Delivery, result: SurveyResult) -> None:
    """Write what is discarded or cut, one list for every system whose verdict asks for it and that was found."""
    for table in disposal_tables(result):
        folder = delivery.folder / _safe_key(table.system_key)
        _make_folder(folder)
        delivery.announce(f"{table.system_key}/{table.name}.csv")
        delivery.add(table.write(folder), rows=len(table.rows))


def _write_calendar(delivery: _Delivery, result: SurveyResult) -> None:
    """Write the windows of the season as a table and for a calendar program."""
    if result.season is None:
        return
    delivery.announce("calendar.csv")
    path = write_calendar_csv(delivery.folder / "calendar.csv", result.season)
    delivery.add(path, rows=sum(1 for _ in calendar_rows(result.season)))
    delivery.announce("calendar.ics")
    delivery.bytes(delivery.folder / "calendar.ics", calendar_ics(result.season, result.inputs))


def _write_public(delivery: _Delivery, result: SurveyResult) -> None:
    """Write the blocks for everyone."""
    delivery.announce(f"{PUBLIC}/blocks")
    folder = delivery.folder / PUBLIC
    _make_folder(folder)
    layer = block_layer(result.systems, result.inputs)
    delivery.add(*write_public(folder, layer, result.inputs.as_of, result.settings.delivery), rows=len(layer))


def _write_papers(
    delivery: _Delivery, result: SurveyResult, changes: Sequence[Change], rows_cut: Mapping[str, int]
) -> None:
    """Write what describes the delivery as a whole."""
    folder = delivery.folder
    delivery.announce("data_dictionary.csv")
    is_calibrated = any(system.ahead.mode is Mode.CALIBRATED for system in result.systems)
    desk, unit = result.settings.delivery, position_unit(result.settings.delivery.crs or result.inputs.crs)
    delivery.add(
        write_dictionary(folder / "data_dictionary.csv", rows_cut, is_calibrated=is_calibrated, desk=desk, unit=unit)
    )
    delivery.announce("metadata.xml")
    delivery.add(write_metadata(folder / "metadata.xml", result))
    delivery.announce("changes.csv")
    delivery.add(write_changes(folder / "changes.csv", changes), rows=len(changes))
    delivery.announce("rejected_rows.csv")
    rejected = result.inputs.rejected
    delivery.add(write_rejected(folder / "rejected_rows.csv", rejected), rows=len(rejected))
    delivery.announce("score.json")
    delivery.add(write_json(folder / "score.json", score_values(result)))
    delivery.announce("summary.json")
    delivery.add(write_json(folder / "summary.json", summary_values(result, changes)))


def _write_gone(delivery: _Delivery, result: SurveyResult, changes: Sequence[Change], history: Rows | None) -> None:
    """Write which plants are in the inventory no more, those of earlier deliveries first."""
    delivery.announce("gone_plants.csv")
    gone: tuple[GonePlant, ...] = ()
    if history is not None:
        back = {(change.system, change.plant_id) for change in changes if change.change == INSERT}
        gone = tuple(each for each in gone_before(history) if (each.system, each.plant_id) not in back)
        gone += gone_now(history, changes, result.inputs.as_of)
    delivery.add(write_gone(delivery.folder / "gone_plants.csv", gone), rows=len(gone))


def about(face: Face, project: str) -> tuple[tuple[str, str], ...]:
    """Return what a list says of itself, as pairs."""
    return (
        ("project", clean_text(project)),
        ("quantity", face.quantity),
        ("unit", face.unit),
        ("period", f"{face.period_from.isoformat()} to {face.period_to.isoformat()}"),
        ("condition", face.condition),
        ("mode", face.mode.value),
        ("state of", face.as_of.isoformat()),
        ("valid until", face.valid_until.isoformat()),
        ("caution", NOT_A_DIAGNOSIS),
    )


def _make_folder(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        msg = f"{folder} could not be made: {error}. Give this user the right to write there."
        raise OutputError(msg) from error


def _safe_key(key: str) -> str:
    """Return a pest system's key after checking that it can name a folder."""
    if not KEY.match(key) or key == PUBLIC:
        msg = f"pest system '{key}' cannot name a folder; allowed: small letters, digits and _. Rename it in its file."
        raise OutputError(msg)
    return key


def _safe_name(name: str) -> str:
    """Return the path of a page after checking that it stays in the folder."""
    path = PurePosixPath(name)
    if path.is_absolute() or ".." in path.parts or not path.name or "\\" in name or ":" in name:
        msg = f"'{name}' leads out of the run folder. Name pages relative to it."
        raise OutputError(msg)
    return name
