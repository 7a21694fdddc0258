"""What may be opened: regular local files that hold what their name says, and zips that are what they seem."""

import os
import subprocess
import sys
import zipfile

import pyogrio
import pytest
import rasterio
from small_projects import EAST, NORTH, PROJECT, make_project, plants_frame

from spreadmap.errors import InputError
from spreadmap.io import guard
from spreadmap.io.read_project import check_project

VECTOR_VRT = (
    '<OGRVRTDataSource><OGRVRTLayer name="secret"><SrcDataSource>{path}</SrcDataSource>'
    "</OGRVRTLayer></OGRVRTDataSource>"
)
RASTER_VRT = (
    '<VRTDataset rasterXSize="2" rasterYSize="2"><VRTRasterBand dataType="Float32" band="1"><SimpleSource>'
    "<SourceFilename>{path}</SourceFilename></SimpleSource></VRTRasterBand></VRTDataset>"
)


@pytest.mark.parametrize(
    "path",
    [
        "/vsicurl/http://example.org/a.csv",
        "/vsizip/a.zip/a.shp",
        "\\vsicurl\\a",
        "http://example.org/a.csv",
        "zip+http://example.org/a.zip",
        "file:///etc/passwd",
        "ftp:a",
    ],
)
def test_addresses_and_virtual_paths_are_refused(tmp_path, path):
    with pytest.raises(InputError, match="is an address or a virtual path"):
        guard.check_local_file(path, tmp_path)


def test_a_file_outside_is_refused_unless_its_folder_is_named(tmp_path):
    project, other = tmp_path / "project", tmp_path / "other"
    project.mkdir()
    other.mkdir()
    (other / "a.csv").write_text("a\n", encoding="utf-8")
    with pytest.raises(InputError, match="lies outside the project folder"):
        guard.check_local_file("../other/a.csv", project)
    assert guard.check_local_file("../other/a.csv", project, [other]) == (other / "a.csv").resolve()


def test_a_link_that_leads_outside_is_refused(tmp_path):
    project = tmp_path / "project"
    project.mkdir()
    (tmp_path / "secret.csv").write_text("a\n", encoding="utf-8")
    (project / "inside.csv").symlink_to(tmp_path / "secret.csv")
    with pytest.raises(InputError, match="lies outside the project folder"):
        guard.check_local_file("inside.csv", project)


def test_folders_pipes_empty_names_and_missing_files_are_refused(tmp_path):
    (tmp_path / "folder.csv").mkdir()
    os.mkfifo(tmp_path / "pipe.csv")
    (tmp_path / "Inventory.CSV").write_text("a\n", encoding="utf-8")
    for name in ("folder.csv", "pipe.csv"):
        with pytest.raises(InputError, match="is not a regular file"):
            guard.check_local_file(name, tmp_path)
    with pytest.raises(InputError, match="is no file name"):
        guard.check_local_file(" ", tmp_path)
    with pytest.raises(InputError, match=r"does not exist.*there is Inventory.CSV"):
        guard.check_local_file("inventory.csv", tmp_path)


@pytest.mark.parametrize("ending", [".csv", ".geojson", ".gpkg", ".shp", ".zip", ".xlsx", ".json"])
def test_a_virtual_dataset_under_another_name_is_refused(tmp_path, ending):
    path = tmp_path / f"plants{ending}"
    path.write_text(VECTOR_VRT.format(path=tmp_path / "secret.csv"), encoding="utf-8")
    with pytest.raises(InputError, match="holds something else than its ending"):
        guard.check_kind(path, tuple(guard.TABLES))


def test_a_virtual_raster_named_tif_is_refused(tmp_path):
    path = tmp_path / "wind.tif"
    path.write_text(RASTER_VRT.format(path=tmp_path / "secret.tif"), encoding="utf-8")
    with pytest.raises(InputError, match=r"holds something else than its ending \.tif"):
        guard.check_kind(path, tuple(guard.RASTERS))
    with pytest.raises(rasterio.errors.RasterioIOError, match="not recognized"):
        rasterio.open(path, driver="GTiff")


def test_an_unknown_ending_is_refused_with_those_that_are_allowed(tmp_path):
    path = tmp_path / "plants.kmz"
    path.write_bytes(b"PK\x03\x04")
    with pytest.raises(InputError, match=r"'.kmz' is not allowed here; allowed: .*\.gpkg"):
        guard.check_kind(path, tuple(guard.TABLES))


def test_the_virtual_driver_is_gone_where_reading_comes_first(tmp_path):
    secret = tmp_path / "secret.csv"
    secret.write_text("a,b\n1,2\n", encoding="utf-8")
    vrt = tmp_path / "plants.vrt"
    vrt.write_text(VECTOR_VRT.format(path=secret), encoding="utf-8")
    code = (
        "import spreadmap.io, pyogrio\n"
        f"assert 'OGR_VRT' not in pyogrio.list_drivers()\n"
        f"try: pyogrio.read_info({str(vrt)!r})\n"
        "except pyogrio.errors.DataSourceError: print('refused')\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "refused"


def test_an_own_list_of_skipped_drivers_is_kept(monkeypatch):
    monkeypatch.setenv("OGR_SKIP", "OGR_MINE,PDF")
    for name in guard.SETTINGS:
        if name != "OGR_SKIP":
            monkeypatch.setenv(name, guard.SETTINGS[name])
    guard.restrict_drivers()
    skipped = os.environ["OGR_SKIP"].split(",")
    assert skipped[:2] == ["OGR_MINE", "PDF"]
    assert set(guard.SKIPPED_DRIVERS.split(",")) <= set(skipped)
    assert len(skipped) == len(set(skipped))


def test_another_driver_than_the_endings_is_refused():
    with pytest.raises(InputError, match="holds TopoJSON; allowed: GeoJSON"):
        guard.check_driver("TopoJSON", "GeoJSON")


def test_topojson_named_geojson_is_refused_by_its_content(tmp_path):
    topo = '{"type": "Topology", "objects": {"a": {"type": "Point", "coordinates": [0, 0]}}, "arcs": []}'
    toml = PROJECT.replace("inventory.csv", "plants.geojson")
    faults = check_project(make_project(tmp_path, toml, plants__geojson=topo))
    assert any("plants.geojson" in fault.file and fault.weight == "stop" for fault in faults)


def test_a_zip_bomb_is_refused_before_it_is_unpacked(tmp_path):
    path = tmp_path / "bomb.zip"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("a.shp", b"\x00" * (30 * 2**20))
    assert path.stat().st_size < 2**20
    with pytest.raises(InputError, match="would unpack to 30 MB"):
        guard.check_zip(path)


@pytest.mark.parametrize("name", ["../a.shp", "/tmp/a.shp", "b/../../a.shp", "C:/a.shp"])
def test_paths_that_leave_a_zip_are_refused(tmp_path, name):
    path = tmp_path / "a.zip"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr(name, b"x")
    with pytest.raises(InputError, match="leads out of it"):
        guard.check_zip(path)


def test_a_broken_zip_and_one_without_a_shapefile_are_refused(tmp_path):
    broken = tmp_path / "broken.zip"
    broken.write_bytes(b"PK\x03\x04" + b"\x00" * 50)
    with pytest.raises(InputError, match="cannot be opened as a zip"):
        guard.check_zip(broken)
    empty = tmp_path / "empty.zip"
    with zipfile.ZipFile(empty, "w") as archive:
        archive.writestr("readme.txt", "x")
    with pytest.raises(InputError, match="holds no Shapefile"):
        guard.find_zipped_shapefile(empty, "")


def zip_shapefiles(path, names, folder="", leave_out=()):
    frame = plants_frame()
    parts = path.parent / "parts"
    parts.mkdir()
    for name in names:
        pyogrio.write_dataframe(frame, parts / f"{name}.shp")
    with zipfile.ZipFile(path, "w") as archive:
        for part in sorted(parts.iterdir()):
            if part.suffix not in leave_out:
                archive.write(part, f"{folder}{part.name}")
        archive.writestr(f"__MACOSX/{folder}._a.shp", b"junk")
    return path


def test_a_shapefile_is_found_in_a_folder_of_the_zip(tmp_path):
    path = zip_shapefiles(tmp_path / "a.zip", ["sites"], folder="city/layers/")
    inner, beside = guard.find_zipped_shapefile(path, "")
    assert inner == "city/layers/sites.shp"
    assert {".shp", ".shx", ".dbf", ".prj"} <= set(beside)


def test_several_shapefiles_in_a_zip_are_asked_about(tmp_path):
    path = zip_shapefiles(tmp_path / "a.zip", ["beds", "sites"])
    with pytest.raises(InputError, match=r"holds the Shapefiles beds, sites. Say which one: layer"):
        guard.find_zipped_shapefile(path, "")
    assert guard.find_zipped_shapefile(path, "beds")[0] == "beds.shp"


@pytest.mark.parametrize("missing", [".shx", ".dbf"])
def test_half_a_shapefile_is_refused_zipped_and_plain(tmp_path, missing):
    path = zip_shapefiles(tmp_path / "a.zip", ["sites"], leave_out=(missing,))
    with pytest.raises(InputError, match=f"half a Shapefile: {missing} missing"):
        guard.find_zipped_shapefile(path, "")
    (tmp_path / "parts" / f"sites{missing}").unlink()
    with pytest.raises(InputError, match=f"half a Shapefile: {missing} missing"):
        guard.shapefile_parts(tmp_path / "parts" / "sites.shp")


def test_what_lies_beside_a_file_is_opened_unasked_and_must_be_a_file(tmp_path):
    path = tmp_path / "plants.shp"
    for name in ("plants.shp", "plants.dbf", "plants.shp.xml", "other.csv"):
        (tmp_path / name).write_bytes(b"x")
    (tmp_path / "plants").mkdir()
    guard.check_beside(path)
    (tmp_path / "PLANTS.dbf").symlink_to("plants.dbf")
    guard.check_beside(path)
    (tmp_path / "plants.qix").symlink_to("/etc/passwd")
    with pytest.raises(InputError, match=r"has beside it 'plants.qix', which is no file of its own. Copy the file"):
        guard.check_beside(path)
    (tmp_path / "plants.qix").unlink()
    os.mkfifo(tmp_path / "plants.shp.aux.xml")
    with pytest.raises(InputError, match=r"has beside it 'plants.shp.aux.xml'"):
        guard.check_beside(path)


def test_nothing_hostile_reaches_a_run(tmp_path):
    secret = tmp_path / "secret.csv"
    secret.write_text(f"plant_id,host,easting,northing\nP01,Rosa,{EAST},{NORTH}\n", encoding="utf-8")
    for number, file in enumerate(["/vsicurl/http://example.org/a.csv", "../secret.csv", "plants.gpkg"]):
        toml = PROJECT.replace('"inventory.csv"', f'"{file}"')
        folder = make_project(tmp_path / f"project{number}", toml, plants__gpkg=VECTOR_VRT.format(path=secret))
        stops = [fault for fault in check_project(folder) if fault.weight == "stop"]
        assert next(fault.file for fault in stops if "survey" not in fault.file) == file
