"""Layers as GeoParquet 1.0.0 (geoparquet.org/releases/v1.0.0, from memory), with the library of the extra `parquet`."""

from __future__ import annotations

import importlib
import json
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import shapely
from pyproj import CRS

from spreadmap.errors import OutputError
from spreadmap.io.layers import Layer, is_one_value
from spreadmap.io.short_names import Kind

GEOMETRY_COLUMN = "geometry"
ROWS_AT_ONCE = 100_000


def write_geoparquet(path: Path, layer: Layer) -> Path:
    """Write one layer as GeoParquet with its long names; texts of any length, days as days.

    Raises
    ------
    OutputError
        If the library is missing or the file cannot be written.
    """
    try:
        arrow, parquet = importlib.import_module("pyarrow"), importlib.import_module("pyarrow.parquet")
    except ImportError as error:
        msg = f"{path.name} could not be written: {error}. Install the extra for it: pip install 'spreadmap[parquet]'."
        raise OutputError(msg) from error
    kinds = {
        Kind.TEXT: arrow.string(), Kind.FLAG: arrow.string(), Kind.DATE: arrow.date32(), Kind.WHOLE: arrow.int64(),
        Kind.NUMBER: arrow.float64(),
    }  # fmt: skip
    fields = [(column.name, kinds[column.kind]) for column in layer.spec] + [(GEOMETRY_COLUMN, arrow.binary())]
    schema = arrow.schema(fields, metadata={"geo": json.dumps(geo_metadata(layer), sort_keys=True)})
    try:
        with parquet.ParquetWriter(path, schema, compression="zstd") as file:
            # some rows at a time, so that a million of them take little memory
            for first in range(0, max(len(layer), 1), ROWS_AT_ONCE):
                rows = slice(first, first + ROWS_AT_ONCE)
                values = [layer.columns[column.name][rows] for column in layer.spec]
                cells = [*values, shapely.to_wkb(layer.geometry[rows])]
                arrays = [_array(arrow, each, kind) for each, (_, kind) in zip(cells, fields, strict=True)]
                file.write_table(arrow.Table.from_arrays(arrays, schema=schema))
    except OSError as error:
        msg = f"{path.name} could not be written: {error}. Free the disk or the folder, then run again."
        raise OutputError(msg) from error
    return path


def _array(arrow: Any, values: npt.NDArray[Any], kind: Any) -> Any:
    """Return a column as the library holds it; what is the same in all rows is turned once."""
    if is_one_value(values):
        return arrow.repeat(arrow.array(values[:1], type=kind)[0], len(values))
    return arrow.array(values, type=kind)


def geo_metadata(layer: Layer) -> dict[str, Any]:
    """Return what the format wants to be said of the geometry: encoding, types, CRS and extent."""
    said: dict[str, Any] = {
        "encoding": "WKB",
        "geometry_types": [layer.geometry_type],
        "crs": CRS.from_user_input(layer.crs).to_json_dict(),
    }
    if len(layer):
        said["bbox"] = np.asarray(shapely.total_bounds(layer.geometry), dtype=np.float64).tolist()
    return {"version": "1.0.0", "primary_column": GEOMETRY_COLUMN, "columns": {GEOMETRY_COLUMN: said}}
