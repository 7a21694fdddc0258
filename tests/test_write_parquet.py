"""GeoParquet reads back as it was given, where the library of the extra is installed; without it the desk is told."""

import json
from importlib.util import find_spec

import numpy as np
import pytest
import shapely
from made_results import CRS, HOSTILE_TEXTS, made_result, without_findings
from pyproj import CRS as ProjCrs

from spreadmap.errors import OutputError
from spreadmap.io.layers import system_layers
from spreadmap.io.short_names import Kind
from spreadmap.io.write_parquet import geo_metadata, write_geoparquet

needs_pyarrow = pytest.mark.skipif(find_spec("pyarrow") is None, reason="pyarrow (extra parquet) is not installed")
NAMES = ("removal_list", "inspection_list", "zones", "zone_ranges", "plants")


def layers_of(result):
    return {layer.name: layer for layer in system_layers(result.systems[0], result.inputs, result.settings)}


@pytest.mark.parametrize("name", NAMES)
def test_the_metadata_say_encoding_kind_crs_and_extent(name):
    layer = layers_of(made_result())[name]
    said = json.loads(json.dumps(geo_metadata(layer)))
    assert (said["version"], said["primary_column"]) == ("1.0.0", "geometry")
    column = said["columns"]["geometry"]
    assert (column["encoding"], column["geometry_types"]) == ("WKB", [layer.geometry_type])
    assert ProjCrs.from_json_dict(column["crs"]).to_epsg() == int(CRS.removeprefix("EPSG:"))
    assert column["bbox"] == shapely.total_bounds(layer.geometry).tolist()


def test_a_layer_without_a_row_has_no_extent():
    layer = layers_of(without_findings(made_result()))["removal_list"]
    assert "bbox" not in geo_metadata(layer)["columns"]["geometry"]


def test_without_the_library_the_remedy_is_told(tmp_path, monkeypatch):
    def missing(name):
        raise ModuleNotFoundError(f"No module named '{name}'", name=name)

    monkeypatch.setattr("spreadmap.io.write_parquet.importlib.import_module", missing)
    with pytest.raises(OutputError, match=r"plants.parquet could not be written.*pip install 'spreadmap\[parquet\]'"):
        write_geoparquet(tmp_path / "plants.parquet", layers_of(made_result())["plants"])


@needs_pyarrow
@pytest.mark.parametrize("name", NAMES)
def test_a_layer_reads_back_as_it_was_given(tmp_path, name):
    import geopandas

    layer = layers_of(made_result(HOSTILE_TEXTS, reason="é" * 300))[name]
    frame = geopandas.read_parquet(write_geoparquet(tmp_path / "x.parquet", layer))
    assert frame.crs == CRS
    assert all(found.equals_exact(given, 0) for found, given in zip(frame.geometry, layer.geometry, strict=True))
    for column in layer.spec:
        found, given = frame[column.name], layer.columns[column.name]
        if column.kind is Kind.DATE:
            days = np.array(found, dtype="datetime64[D]")
            assert ((days == given) | (np.isnat(days) & np.isnat(given))).all()
        else:
            assert found.tolist() == given.tolist()


@needs_pyarrow
def test_more_rows_than_are_handed_over_at_once(tmp_path, monkeypatch):
    import geopandas

    # some columns are the same in all rows, and some only in a few that are handed over together
    layer = layers_of(made_result(HOSTILE_TEXTS))["plants"]
    whole = geopandas.read_parquet(write_geoparquet(tmp_path / "whole.parquet", layer))
    monkeypatch.setattr("spreadmap.io.write_parquet.ROWS_AT_ONCE", 7)
    assert whole.equals(geopandas.read_parquet(write_geoparquet(tmp_path / "parts.parquet", layer)))


@needs_pyarrow
def test_the_same_layer_gives_the_same_bytes(tmp_path):
    layer = layers_of(made_result())["plants"]
    one, two = (write_geoparquet(tmp_path / f"{name}.parquet", layer).read_bytes() for name in "ab")
    assert one == two
