"""A desktop GIS opens every layer, counts its rows, reads its style and draws it; another program reads the metadata.

Runs with -m long, or by `make gis-check`, where QGIS and its Python are installed (apt-get install qgis python3-qgis).
"""

import json
import os
import shutil
import subprocess
from pathlib import Path

import pytest
from browser import Browser
from conftest import program_missing

from spreadmap.io.demo import copy_demo
from spreadmap.io.short_names import GEOMETRY, LAYERS, Kind
from spreadmap.io.styles import CLASS_COLOURS, SIGNS
from spreadmap.pipeline import run_project

pytestmark = [pytest.mark.long, pytest.mark.gdal]
HERE = Path(__file__).parent
OURS = ("GDAL_SKIP", "OGR_SKIP", "OGR_SQLITE_LOAD_EXTENSIONS", "CPL_VSIL_CURL_ALLOWED_EXTENSIONS", "SHAPE_RESTORE_SHX",
        "PROJ_NETWORK")  # fmt: skip
SYSTEM = "rose_rosette"
SYMBOL_OF = {"Point": 0, "MultiPolygon": 2, "Polygon": 2}
"""Numbers of marker and fill among the program's kinds of symbols; the same numbers stand for kinds of geometry."""
PROFILE = """
[settings.delivery]
formats = ["shapefile", "geopackage", "csv", "kml", "gpx"]
"""
METADATA = """
import json, sys
from owslib.etree import etree
from owslib.iso import MD_Metadata
read = MD_Metadata(etree.parse(sys.argv[1]).getroot())
data = read.identification
data = data[0] if isinstance(data, list) else data
print(json.dumps({
    "identifier": read.identifier, "stamp": read.datestamp, "language": read.languagecode or read.language,
    "title": data.title, "abstract": data.abstract, "topic": data.topiccategory,
    "box": [data.bbox.minx, data.bbox.miny, data.bbox.maxx, data.bbox.maxy],
    "limits": data.uselimitation, "crs": read.referencesystem.code,
    "contacts": [each.organization for each in read.contact],
    "lineage": read.dataquality.lineage, "from": data.temporalextent_start, "to": data.temporalextent_end,
}))
"""


def clean_environment() -> dict[str, str]:
    """The machine's own, without what restricts GDAL in our process."""
    return {name: value for name, value in os.environ.items() if name not in OURS} | {"QT_QPA_PLATFORM": "offscreen"}


@pytest.fixture(scope="module")
def qgis_python() -> str:
    """A Python that can import QGIS."""
    named = (os.environ.get("QGIS_PYTHON", ""), "/usr/bin/python3", "python3")
    ask = ("-c", "import qgis.core")
    for program in filter(shutil.which, filter(None, named)):
        tried = subprocess.run([program, *ask], capture_output=True, env=clean_environment(), check=False)
        if tried.returncode == 0:
            return program
    return program_missing("QGIS with its Python (apt-get install qgis python3-qgis)")


@pytest.fixture(scope="module")
def delivered(tmp_path_factory) -> Path:
    """The demo's delivery, in every format that needs no further library."""
    project = copy_demo(tmp_path_factory.mktemp("gis") / "town")
    with (project / "spreadmap.toml").open("a", encoding="utf-8") as file:
        file.write(PROFILE)
    return run_project(project).folder


@pytest.fixture(scope="module")
def pictures(tmp_path_factory) -> Path:
    """Where pictures go: a folder that is named in SPREADMAP_PICTURES, or a temporary one."""
    named = os.environ.get("SPREADMAP_PICTURES")
    folder = Path(named) if named else tmp_path_factory.mktemp("pictures")
    folder.mkdir(parents=True, exist_ok=True)
    return folder


@pytest.fixture(scope="module")
def seen(qgis_python, delivered, pictures) -> dict:
    """What QGIS sees of the delivery."""
    done = subprocess.run(
        [qgis_python, HERE / "qgis_open.py", delivered, SYSTEM, pictures / "desktop.png"],
        capture_output=True, text=True, env=clean_environment(), check=False, timeout=300,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr[-2000:]
    return json.loads(done.stdout.strip().splitlines()[-1])


def manifest(delivered: Path) -> dict[str, dict]:
    said = json.loads((delivered / "manifest.json").read_text(encoding="utf-8"))
    return {each["path"]: each for each in said["products"]}


def layer_of(name: str) -> str:
    """The layer that a path, or a table of a GeoPackage, holds."""
    return name.partition("|")[2] or Path(name).stem


def test_every_layer_opens_with_all_its_rows_and_fields(seen, delivered):
    rows = {name: each.get("rows") for name, each in manifest(delivered).items()}
    opened = {name for name, each in seen["vectors"].items() if each["valid"]}
    assert opened == seen["vectors"].keys()
    layers = [name for name in LAYERS if name != "blocks"]
    wanted = {f"{SYSTEM}/{name}.shp" for name in layers} | {f"{SYSTEM}/kml/{name}.kml" for name in layers}
    wanted |= {f"{SYSTEM}/{SYSTEM}.gpkg|{name}" for name in layers} | {
        f"{SYSTEM}/gpx/{name}.gpx" for name in layers[:2]
    }
    wanted |= {
        "public/blocks.shp",
        "public/geojson/blocks.geojson",
        "public/kml/blocks.kml",
        "public/blocks.gpkg|blocks",
    }
    assert wanted == opened
    for name in wanted:
        each, layer = seen["vectors"][name], layer_of(name)
        count = rows[f"{SYSTEM}/{layer}.shp" if "|" in name and layer != "blocks" else name.partition("|")[0]]
        assert each["rows"] == each["with_geometry"] == count, name
        assert each["geometry"] == SYMBOL_OF[GEOMETRY[layer]], name
        if name.endswith(".shp"):
            assert {column.short for column in LAYERS[layer]} <= set(each["fields"])
        if "|" in name:
            assert {column.name for column in LAYERS[layer]} <= set(each["fields"])
    print(
        f"\nQGIS {seen['version']}: {len(wanted)} layers opened, {sum(seen['vectors'][n]['rows'] for n in wanted)} rows"
    )


@pytest.mark.parametrize("layer", sorted(SIGNS))
def test_every_layer_comes_with_its_style(seen, layer):
    folder = "public" if layer == "blocks" else SYSTEM
    package = "blocks" if layer == "blocks" else SYSTEM
    column, signs = SIGNS[layer]
    short = next(each.short for each in LAYERS[layer] if each.name == column)
    for name, field in ((f"{folder}/{layer}.shp", short), (f"{folder}/{package}.gpkg|{layer}", column)):
        each = seen["vectors"][name]
        assert (each["renderer"], each["field"]) == ("categorizedSymbol", field)
        assert [[value, label] for value, label, _, _ in each["signs"]] == [[sign.value, sign.label] for sign in signs]
        for (_, _, colour, kind), sign in zip(each["signs"], signs, strict=True):
            assert kind == SYMBOL_OF[GEOMETRY[layer]]
            if sign.fill:
                assert colour == sign.fill, (name, sign.value)


def test_no_style_asks_for_a_field_that_its_layer_lacks(seen):
    # such a layer opens without a complaint and draws nothing
    for name, each in seen["vectors"].items():
        assert "field" not in each or each["field"] in each["fields"], name


@pytest.mark.parametrize("layer", sorted(SIGNS))
def test_every_sld_is_read_with_a_rule_for_each_sign(seen, layer):
    each = seen["slds"][f"{'public' if layer == 'blocks' else SYSTEM}/{layer}.shp"]
    assert each["loaded"], each["words"]
    column, signs = SIGNS[layer]
    spec = next(each for each in LAYERS[layer] if each.name == column)
    quote = "" if spec.kind is Kind.WHOLE else "'"
    kind = SYMBOL_OF[GEOMETRY[layer]]
    wanted = [[sign.label, f"{spec.short} = {quote}{sign.value}{quote}", kind] for sign in signs]
    assert each["rules"] == wanted


def test_rasters_open_with_the_pages_breaks_and_colours(seen, delivered):
    said = json.loads((delivered / "summary.json").read_text(encoding="utf-8"))
    (breaks,) = [each["breaks"] for each in said["systems"] if each["system"] == SYSTEM]
    for name in ("risk", "risk_without_reservoirs"):
        each = seen["rasters"][f"{SYSTEM}/{name}.tif"]
        assert (each["valid"], each["renderer"]) == (True, "singlebandpseudocolor"), name
        assert [colour for _, colour in each["classes"]] == list(CLASS_COLOURS)
        assert [value for value, _ in each["classes"]][:-1] == pytest.approx(breaks)
    each = seen["rasters"][f"{SYSTEM}/risk_class.tif"]
    assert each["renderer"] == "paletted"
    assert [colour for value, colour in each["classes"] if 1 <= value <= 5] == list(CLASS_COLOURS)


def test_the_picture_shows_the_layers_in_their_colours(seen, pictures, delivered, chromium):
    infected = next(sign for sign in SIGNS["plants"][1] if sign.value == "infected")
    assert seen["colours"].get(infected.fill, 0) > 20
    assert seen["colours"].get(CLASS_COLOURS[0], 0) > 1000
    with Browser(chromium, pictures, width=1200, height=900) as browser:
        browser.open(delivered / "review.html")
        page = browser.picture("page.png")
    print(f"\npictures to compare: {pictures / 'desktop.png'} and {page}")


def test_other_programs_read_every_file(delivered, gdal_tools):
    counted = 0
    for path in sorted(delivered.rglob("*")):
        tool = {".shp": "ogrinfo", ".gpkg": "ogrinfo", ".geojson": "ogrinfo", ".kml": "ogrinfo", ".gpx": "ogrinfo",
                ".tif": "gdalinfo"}.get(path.suffix)  # fmt: skip
        if tool is None:
            continue
        more = ["-so", "-al"] if tool == "ogrinfo" else ["-json"]
        done = subprocess.run(
            [gdal_tools[tool], *more, path], capture_output=True, text=True, env=clean_environment(), check=True
        )
        assert not done.stderr, (path.name, done.stderr)
        counted += 1
    print(f"\n{counted} files read by ogrinfo and gdalinfo")
    assert counted > 15


def test_the_metadata_is_read_by_another_parser(delivered, qgis_python):
    has = subprocess.run([qgis_python, "-c", "import owslib.iso"], capture_output=True, check=False)
    if has.returncode:
        program_missing("OWSLib (apt-get install python3-owslib)")
    done = subprocess.run(
        [qgis_python, "-W", "ignore", "-c", METADATA, delivered / "metadata.xml"],
        capture_output=True,
        text=True,
        check=True,
    )
    read = json.loads(done.stdout)
    said = json.loads((delivered / "summary.json").read_text(encoding="utf-8"))
    assert read["title"] == f"{said['project']}: plant health, state of {said['as_of']}"
    assert read["stamp"] == said["as_of"]
    assert read["crs"].startswith(said["crs"])
    assert "Relative infection pressure" in read["abstract"]
    assert read["topic"] == ["environment"]
    assert (read["from"], read["to"]) == (said["as_of"], said["next_survey_on"])
    assert any("not a diagnosis" in limit for limit in read["limits"])
    assert "Kernel of dispersal" in read["lineage"]
    west, south, east, north = map(float, read["box"])
    assert west < east
    assert south < north
    assert all(read["contacts"])
    print(f"\nmetadata read: {read['title']}")
