"""GeoParquet comes in as any other layer does; what it says of itself is looked at before it is believed."""

import json
import sys
from importlib.util import find_spec

import geopandas
import numpy as np
import pytest
import shapely
from pyproj import CRS as AnyCrs
from small_projects import CRS, EAST, NORTH, PROJECT, make_project, plants_frame

from spreadmap.errors import InputError
from spreadmap.io import read_parquet
from spreadmap.io.read_project import check_project, read_project

BLOCK = 'file = "inventory.csv"\ncrs = "EPSG:32614"\n'
IN_PARQUET = PROJECT.replace(BLOCK, 'file = "plants.parquet"\n')
needs_pyarrow = pytest.mark.skipif(find_spec("pyarrow") is None, reason="pyarrow (extra parquet) is not installed")


def project_of(folder, frame, more=""):
    make_project(folder, PROJECT.replace(BLOCK, f'file = "plants.parquet"\n{more}'), survey__csv=SURVEY)
    frame.to_parquet(folder / "plants.parquet")
    return folder


SURVEY = "plant_id,inspected_on,status\n001,2026-05-18,clean\n002,2026-05-18,infected\n"


def rewritten(folder, change):
    """Write the table of a project anew after `change` was made to what it says of its geometry."""
    import pyarrow.parquet

    path = folder / "plants.parquet"
    table = pyarrow.parquet.read_table(path)
    said = json.loads(table.schema.metadata[b"geo"])
    said = change(said) or said
    text = said if isinstance(said, bytes) else json.dumps(said).encode()
    pyarrow.parquet.write_table(table.replace_schema_metadata({b"geo": text}), path)
    return folder


def stops(folder):
    return [fault.sentence() for fault in check_project(folder) if fault.weight == "stop"]


def test_without_its_library_it_is_refused_with_the_way_to_get_it(tmp_path, monkeypatch):
    make_project(tmp_path, IN_PARQUET)
    (tmp_path / "plants.parquet").write_bytes(b"PAR1 and more")

    for name in ("pyarrow", "pyarrow.parquet"):
        monkeypatch.setitem(sys.modules, name, None)
    with pytest.raises(InputError, match=r"pyarrow is not installed. .*pip install 'spreadmap\[parquet\]'"):
        read_project(tmp_path)


@needs_pyarrow
def test_plants_come_in_with_their_places_and_words(tmp_path):
    frame = plants_frame(3).assign(
        size_class=["S", None, "XL"], planted_on=np.array(["2019-04-08", "NaT", "2020-01-02"], dtype="datetime64[s]")
    )
    values, _ = read_project(project_of(tmp_path, frame))
    plants = values.inventory
    assert plants.plant_id.tolist() == ["001", "002", "003"]
    assert plants.size_class.tolist() == ["S", "M", "XL"]
    assert plants.planted_on.astype(str).tolist() == ["2019-04-08", "NaT", "2020-01-02"]
    assert plants.easting.tolist() == [EAST, EAST + 5, EAST + 10]
    assert set(plants.northing.tolist()) == {NORTH}


@needs_pyarrow
def test_degrees_without_a_word_of_the_crs_are_longitude_and_latitude(tmp_path):
    def without(said):
        del said["columns"]["geometry"]["crs"]

    folder = rewritten(project_of(tmp_path, plants_frame(3).to_crs("OGC:CRS84")), without)
    values, _ = read_project(folder)
    np.testing.assert_allclose(values.inventory.easting, EAST + 5 * np.arange(3), atol=0.01)


@needs_pyarrow
def test_a_plain_table_with_coordinates_is_a_table(tmp_path):
    frame = plants_frame(3)
    plain = frame.drop(columns="geometry").assign(easting=frame.geometry.x, northing=frame.geometry.y)
    values, _ = read_project(project_of(tmp_path, plain, f'crs = "{CRS}"\n'))
    assert values.inventory.easting.tolist() == [EAST, EAST + 5, EAST + 10]
    assert "it is never guessed" in stops(project_of(tmp_path, plain))[0]


def null_crs(said):
    said["columns"]["geometry"]["crs"] = None


def text_for_crs(said):
    said["columns"]["geometry"]["crs"] = "http://127.0.0.1:9/crs"


def crs_with_a_file(said):
    bound = AnyCrs.from_proj4("+proj=longlat +ellps=GRS80 +nadgrids=/tmp/shift.gsb +no_defs")
    said["columns"]["geometry"]["crs"] = bound.to_json_dict()


def other_encoding(said):
    said["columns"]["geometry"]["encoding"] = "point"


def other_column(said):
    said["primary_column"] = "place"


def lost_column(said):
    said["primary_column"] = "place"
    said["columns"]["place"] = {"encoding": "WKB"}


HOSTILE = {
    null_crs: "has no CRS; it is never guessed",
    text_for_crs: "carries a CRS that cannot be understood",
    crs_with_a_file: "asks for a file of grid shifts",
    other_encoding: "has shapes in the encoding 'point'; allowed: WKB",
    other_column: "says nothing that can be understood of its geometry",
    lost_column: "names the geometry column 'place', which it does not have",
    lambda said: b"{": "says nothing that can be understood of its geometry",
    lambda said: b"[" * 100_000: "says nothing that can be understood of its geometry",
}


@needs_pyarrow
@pytest.mark.parametrize("change", HOSTILE)
def test_what_it_says_of_its_geometry_is_not_believed_blindly(tmp_path, change):
    told = stops(rewritten(project_of(tmp_path, plants_frame(3)), change))
    assert len(told) == 1
    assert HOSTILE[change] in told[0]


@needs_pyarrow
def test_a_crs_that_contradicts_the_block_is_refused(tmp_path):
    assert "but its block declares EPSG:4326" in stops(project_of(tmp_path, plants_frame(3), 'crs = "EPSG:4326"\n'))[0]


@needs_pyarrow
def test_shapes_that_are_none_put_their_row_aside(tmp_path):
    frame = plants_frame(40)
    frame.loc[4, "geometry"] = None
    faults = check_project(project_of(tmp_path, frame))
    assert [(fault.row, fault.found) for fault in faults if fault.weight == "aside"] == [(5, "no position")]


@needs_pyarrow
def test_a_file_cut_short_is_refused(tmp_path):
    folder = project_of(tmp_path, plants_frame(3))
    whole = (folder / "plants.parquet").read_bytes()
    for length in (8, 40, len(whole) // 2, len(whole) - 9):
        (folder / "plants.parquet").write_bytes(whole[:length])
        assert "cannot be read" in stops(folder)[0]


@needs_pyarrow
def test_a_few_bytes_that_stand_for_a_host_of_rows_are_refused(tmp_path, monkeypatch):
    import pyarrow as pa
    import pyarrow.parquet

    folder = make_project(tmp_path, IN_PARQUET)
    many = pa.table({"plant_id": pa.array(["P"] * 300_000).dictionary_encode(), "host": ["Rosa"] * 300_000})
    pyarrow.parquet.write_table(many, folder / "plants.parquet")
    assert (folder / "plants.parquet").stat().st_size < 5_000
    monkeypatch.setattr(read_parquet, "MOST_CELLS", 599_999)
    assert "would unpack to 300,000 rows" in stops(folder)[0]


@needs_pyarrow
def test_what_goes_out_comes_in_again(tmp_path):
    from made_results import made_result

    from spreadmap.io.layers import system_layers
    from spreadmap.io.write_parquet import write_geoparquet

    result = made_result()
    layers = {each.name: each for each in system_layers(result.systems[0], result.inputs, result.settings)}
    layer = layers["plants"]
    project = IN_PARQUET.replace(f'crs = "{CRS}"', f'crs = "{layer.crs}"')
    folder = make_project(tmp_path, project, survey__csv=SURVEY)
    write_geoparquet(folder / "plants.parquet", layer)
    inventory = read_project(folder)[0].inventory
    assert inventory.plant_id.tolist() == layer.columns["plant_id"].tolist()
    assert inventory.easting.tolist() == shapely.get_x(layer.geometry).tolist()
    assert geopandas.read_parquet(folder / "plants.parquet").crs == layer.crs
