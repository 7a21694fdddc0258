"""A GDAL of the machine's own, older and independent of the wheels, opens every layer and raster."""

import json
import os
import subprocess
from pathlib import Path

import pytest
from made_results import HOSTILE_TEXTS, made_result, without_findings

from spreadmap.io.short_names import LAYERS, Kind
from spreadmap.io.write_delivery import write_delivery

pytestmark = pytest.mark.gdal
OURS = ("GDAL_SKIP", "OGR_SKIP", "OGR_SQLITE_LOAD_EXTENSIONS", "CPL_VSIL_CURL_ALLOWED_EXTENSIONS", "SHAPE_RESTORE_SHX")
SYSTEM_LAYERS = ("removal_list", "inspection_list", "zones", "zone_ranges", "plants")


@pytest.fixture(scope="module", params=["found", "nothing found"])
def delivery(request, tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("delivery")
    made = made_result(HOSTILE_TEXTS, reason="é" * 200)
    write_delivery(folder, made if request.param == "found" else without_findings(made))
    return folder


def output_of(*command: object) -> str:
    # the programs read the same variables as our libraries, which restrict drivers for our own process only
    environment = {name: value for name, value in os.environ.items() if name not in OURS}
    done = subprocess.run([str(part) for part in command], capture_output=True, text=True, check=True, env=environment)
    assert not done.stderr, done.stderr
    return done.stdout


def rows_in_manifest(folder: Path) -> dict[str, int]:
    said = json.loads((folder / "manifest.json").read_text(encoding="utf-8"))
    return {product["path"]: product["rows"] for product in said["products"] if "rows" in product}


@pytest.mark.parametrize("name", SYSTEM_LAYERS)
def test_shapefiles_open_with_dates_and_counts(delivery, gdal_tools, name):
    said = output_of(gdal_tools["ogrinfo"], "-al", "-so", delivery / "rose_rosette" / f"{name}.shp")
    rows = rows_in_manifest(delivery)[f"rose_rosette/{name}.shp"]
    assert f"Feature Count: {rows}\n" in said
    assert f"Geometry: {'Polygon' if name.startswith('zone') else 'Point'}\n" in said
    assert 'ID["EPSG",25832]' in said
    for column in LAYERS[name]:
        kind = {Kind.DATE: "Date", Kind.WHOLE: "Integer", Kind.NUMBER: "Real"}.get(column.kind, "String")
        assert f"\n{column.short}: {kind} (" in said


def test_the_geopackage_opens_with_all_layers(delivery, gdal_tools):
    path = delivery / "rose_rosette" / "rose_rosette.gpkg"
    rows = rows_in_manifest(delivery)
    for name in SYSTEM_LAYERS:
        said = output_of(gdal_tools["ogrinfo"], "-so", path, name)
        count = rows[f"rose_rosette/{name}.shp"]
        assert f"Feature Count: {count}\n" in said
        for column in LAYERS[name]:
            assert f"\n{column.name}: {'Date' if column.kind is Kind.DATE else ''}" in said


def test_the_geopackage_holds_texts_in_full(delivery, gdal_tools):
    said = output_of(gdal_tools["ogrinfo"], "-al", delivery / "rose_rosette" / "rose_rosette.gpkg", "removal_list")
    if rows_in_manifest(delivery)["rose_rosette/removal_list.shp"]:
        assert "reason (String) = " + "é" * 200 + "\n" in said


@pytest.mark.parametrize("name", ["blocks.shp", "blocks.gpkg", "geojson/blocks.geojson"])
def test_public_blocks_open(delivery, gdal_tools, name):
    said = output_of(gdal_tools["ogrinfo"], "-so", delivery / "public" / name, "blocks")
    assert "Feature Count: 1\n" in said
    assert "Geometry: Polygon\n" in said


@pytest.mark.parametrize(
    ("name", "kind"), [("risk", "Float32"), ("risk_without_reservoirs", "Float32"), ("risk_class", "Byte")]
)
def test_rasters_open_as_cloud_optimised(delivery, gdal_tools, name, kind):
    said = json.loads(output_of(gdal_tools["gdalinfo"], "-json", delivery / "rose_rosette" / f"{name}.tif"))
    (band,) = said["bands"]
    assert band["type"] == kind
    assert said["size"] == [60, 50]
    assert said["metadata"]["IMAGE_STRUCTURE"]["LAYOUT"] == "COG"
    assert said["metadata"][""]["AS_OF"] == "2026-09-14"
    assert band["noDataValue"] == (255 if kind == "Byte" else "NaN")
    assert band["description"].startswith("Relative infection pressure")
    assert band["unit"] == ("class" if kind == "Byte" else "1 = one confirmed medium plant, still air, 10 m away")
    assert said["geoTransform"] == [564960.0, 2.0, 0.0, 5934060.0, 0.0, -2.0]
    if kind == "Byte":
        assert band["colorTable"]["entries"][5][:3] == [0, 34, 78]
