"""The data dictionary: what every field of every layer and every band means, and how many texts were cut."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from spreadmap.io.desk import allowed_words, field_name
from spreadmap.io.hidden_columns import HIDDEN_CHANCES, HIDDEN_RANKS
from spreadmap.io.short_names import GEOMETRY, LAYERS, PLANTS_AHEAD, POSITION, SCENARIO_NUMBERS, TABLES, Kind
from spreadmap.io.styles import USUAL
from spreadmap.io.write_tables import WKT, quote_formula, write_csv
from spreadmap.values.delivery_settings import DeliverySettings
from spreadmap.values.results import CHANCE, PRESSURE

HEAD = (
    "layer",
    "geometry",
    "long_name",
    "short_name",
    "type",
    "unit",
    "meaning",
    "when_missing",
    "allowed",
    "rows_cut",
    "file_name",
)
RISK_SAYS = {
    PRESSURE: "Relative infection pressure on an ordinary medium plant in the cell; all sources",
    CHANCE: "Chance that an ordinary medium plant, healthy in the cell on the date of the state, is infected by the next "
    "survey if nothing is done, at the mean of the fit; all sources, hidden ones by their chance; touching not counted",
}
"""What risk.tif holds, by its quantity."""

CALIBRATED = (
    ("plants", HIDDEN_CHANCES), ("inspection_list", HIDDEN_CHANCES), ("plants", PLANTS_AHEAD),
    ("scenarios", SCENARIO_NUMBERS),
)  # fmt: skip
"""Columns that calibrated mode adds to a layer and a table."""
RELATIVE = (("plants", HIDDEN_RANKS), ("inspection_list", HIDDEN_RANKS))
"""Columns that relative mode adds to two layers."""


def rasters(*, is_calibrated: bool) -> tuple[tuple[str, str, str, str, str], ...]:
    """Return name, kind, unit, meaning of every raster, and what it holds where there is no value."""
    told = CHANCE if is_calibrated else PRESSURE
    return (
        ("risk.tif", "float32", told[1], RISK_SAYS[told], "NaN"),
        ("risk_without_reservoirs.tif", "float32", told[1], "The same without wild stands", "NaN"),
        ("risk_class.tif", "uint8", "class",
         "Class of risk.tif by the fixed breaks, 1 lowest; the breaks stand in the tags and never move", "255"),
    )  # fmt: skip


def write_dictionary(
    path: Path,
    rows_cut: Mapping[str, int],
    *,
    is_calibrated: bool = False,
    desk: DeliverySettings = USUAL,
    unit: str = "m",
) -> Path:
    """Write `data_dictionary.csv`.

    Parameters
    ----------
    path : Path
    rows_cut : mapping
        Layer to the number of rows of its Shapefile with a text that was cut, or lost letters that its encoding lacks.
    is_calibrated : bool
        Whether columns of calibrated mode were delivered.
    desk : DeliverySettings
        The desk's own names and codes.
    unit : str
        Of eastings and northings in tables.
    """
    rows: list[tuple[object, ...]] = [
        (
            name,
            GEOMETRY.get(name, "table"),
            column.name,
            field_name(column, desk) if name in GEOMETRY else column.short,
            column.kind.value,
            column.unit,
            column.meaning,
            column.missing,
            # the desk's codes are the only words here that are not our own
            quote_formula(allowed_words(column, desk)) if name in GEOMETRY else "|".join(column.allowed),
            rows_cut.get(name, 0) if column.kind is Kind.TEXT else "",
            desk.file_names.get(name, name),
        )
        for name, columns in [*(LAYERS | TABLES).items(), *(CALIBRATED if is_calibrated else RELATIVE)]
        for column in columns
    ]
    rows += [
        ("tables of points" if column in POSITION else "tables of areas", "table", column.name, column.short,
         column.kind.value, unit if column.unit == "m" else column.unit, column.meaning, column.missing, "", "", "")
        for column in (*POSITION, WKT)
    ]  # fmt: skip
    rows += [(name, "raster", "band 1", "band 1", kind, unit_, meaning, missing, "", "", name)
             for name, kind, unit_, meaning, missing in rasters(is_calibrated=is_calibrated)]  # fmt: skip
    return write_csv(path, HEAD, rows, guard=False)
