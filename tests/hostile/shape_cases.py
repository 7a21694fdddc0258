"""Layers of shapes: half a Shapefile, zips, layers, GeoJSON with a CRS member, shapes of the wrong kind."""

import json
import os
import sqlite3
import zipfile
from contextlib import closing
from pathlib import Path

import geopandas
import numpy as np
import pyogrio
import shapely
from hostile.case_files import (
    CRS,
    EAST,
    LISTENER,
    NORTH,
    PROJECT,
    case,
    inventory_from,
    make_project,
    put,
    with_block,
)
from small_projects import plants_frame

PLACES = np.c_[EAST + 3.0 * np.arange(1, 31), np.full(30, NORTH)]


def plants(shapes=None, crs=CRS, **columns):
    """Return the thirty plants as a table of shapes, points unless others are given by row."""
    geometry = shapely.points(PLACES).tolist()
    for row, shape in (shapes or {}).items():
        geometry[row] = shape
    names = {"plant_id": [f"P{number:02d}" for number in range(1, 31)], "host": ["Rosa hybrida"] * 30}
    return geopandas.GeoDataFrame(names | columns, geometry=geometry, crs=crs)


def layer_project(folder: Path, name: str, frame, more: str = "", **how) -> Path:
    """Write a project whose inventory is a layer."""
    make_project(folder, inventory_from(name, more=more))
    pyogrio.write_dataframe(frame, folder / name, **how)
    return folder / name


def with_shapes(name: str, shapes, ending: str = "gpkg", **columns) -> None:
    """Write down a case with other shapes in some rows."""

    def build(folder: Path) -> None:
        frame = plants(shapes, **columns)
        kinds = {shape.geom_type for shape in frame.geometry if shape is not None}
        how = {"geometry_type": "Unknown"} if ending == "gpkg" and len(kinds) > 1 else {}
        layer_project(folder, f"plants.{ending}", frame, **how)

    put(name, build)


def shape_file(name: str, *, without=(), **texts) -> None:
    """Write down a Shapefile from which parts are left out or replaced."""

    def build(folder: Path) -> None:
        path = layer_project(folder, "plants.shp", plants())
        for ending in without:
            path.with_suffix(ending).unlink()
        for ending, text in texts.items():
            path.with_suffix(f".{ending}").write_bytes(text)

    put(name, build)


def zipped(folder: Path, names=("plants",), inside: str = "", more: str = "", without=(), also=()) -> Path:
    """Write a project whose inventory is a zip of Shapefiles."""
    make_project(folder, inventory_from("plants.zip", more=more))
    parts = folder / "parts"
    parts.mkdir()
    for name in names:
        pyogrio.write_dataframe(plants(), parts / f"{name}.shp")
    with zipfile.ZipFile(folder / "plants.zip", "w") as archive:
        for part in sorted(parts.iterdir()):
            if part.suffix not in without:
                archive.write(part, f"{inside}{part.name}")
            part.unlink()
        for name, content in also:
            archive.writestr(name, content)
    parts.rmdir()
    return folder / "plants.zip"


PRJ = (
    'GEOGCS["x",DATUM["x",SPHEROID["x",6378137,298.257223563]],PRIMEM["Greenwich",0],'
    'UNIT["degree",0.0174532925199433]{}]'
)
WRONG_PRJ = PRJ.format("").encode()
GRIDS = PRJ.format(',EXTENSION["PROJ4","+proj=longlat +ellps=GRS80 +nadgrids=/tmp/shift.gsb +no_defs"]').encode()
shape_file("shapefile_whole")
shape_file("shapefile_without_shx", without=(".shx",))
shape_file("shapefile_without_dbf", without=(".dbf",))
shape_file("shapefile_without_prj", without=(".prj",))
shape_file("shapefile_without_all_others", without=(".shx", ".dbf", ".prj", ".cpg"))
shape_file("shapefile_with_an_empty_prj", prj=b"")
shape_file("shapefile_with_a_prj_of_noise", prj=b"\xff\x00PROJCS[[[")
shape_file("shapefile_with_the_wrong_prj", prj=WRONG_PRJ)
shape_file("shapefile_with_a_prj_that_names_a_file", prj=GRIDS)
shape_file("shapefile_cut_in_its_head", shp=b"\x00\x00\x27\x0a" + b"\x00" * 30)
shape_file("shapefile_with_a_dbf_of_noise", dbf=b"\x03" * 200)


@case
def shapefile_without_prj_and_declared(folder):
    layer_project(folder, "plants.shp", plants(), more=f'crs = "{CRS}"\n').with_suffix(".prj").unlink()


@case
def shapefile_with_accents_and_no_cpg(folder):
    path = layer_project(folder, "plants.shp", plants(note=["Évêque"] * 30), encoding="ISO-8859-1")
    path.with_suffix(".cpg").unlink(missing_ok=True)


@case
def shapefile_beside_a_folder_of_its_name(folder):
    layer_project(folder, "plants.shp", plants())
    (folder / "plants").mkdir()


@case
def shapefile_whose_table_is_a_link(folder):
    path = layer_project(folder, "plants.shp", plants()).with_suffix(".dbf")
    path.unlink()
    path.symlink_to("/etc/passwd")


@case
def shapefile_whose_table_is_a_pipe(folder):
    path = layer_project(folder, "plants.shp", plants()).with_suffix(".dbf")
    path.unlink()
    os.mkfifo(path)


@case
def zip_whose_sizes_are_lies(folder):
    path = zipped(folder)
    with zipfile.ZipFile(path) as archive:
        true = archive.getinfo("plants.dbf").file_size.to_bytes(4, "little")
    path.write_bytes(path.read_bytes().replace(true, (40).to_bytes(4, "little")))


put("zip_flat", zipped)
put("zip_with_a_folder", lambda folder: zipped(folder, inside="city/layers/"))
put(
    "zip_with_a_folder_of_a_desktop",
    lambda folder: zipped(folder, inside="city/", also=[("__MACOSX/city/._plants.shp", b"junk")]),
)
put("zip_with_two_layers", lambda folder: zipped(folder, ("beds", "plants")))
put("zip_with_two_layers_one_named", lambda folder: zipped(folder, ("beds", "plants"), more='layer = "plants"\n'))
put("zip_without_dbf", lambda folder: zipped(folder, without=(".dbf",)))
put("zip_without_prj", lambda folder: zipped(folder, without=(".prj",)))
put("zip_without_shapefile", lambda folder: zipped(folder, (), also=[("readme.txt", b"see the other file")]))


@case
def geopackage_whole(folder):
    layer_project(folder, "plants.gpkg", plants())


@case
def geopackage_with_two_layers(folder):
    layer_project(folder, "plants.gpkg", plants(), layer="roses")
    pyogrio.write_dataframe(plants_frame(), folder / "plants.gpkg", layer="trees")


@case
def geopackage_with_two_layers_one_named(folder):
    layer_project(folder, "plants.gpkg", plants(), more='layer = "roses"\n', layer="roses")
    pyogrio.write_dataframe(plants_frame(), folder / "plants.gpkg", layer="trees")


@case
def geopackage_whose_layer_is_misspelt(folder):
    layer_project(folder, "plants.gpkg", plants(), more='layer = "rosses"\n', layer="roses")


@case
def geopackage_cut_short(folder):
    path = layer_project(folder, "plants.gpkg", plants())
    path.write_bytes(path.read_bytes()[:5000])


@case
def geopackage_that_is_another_database(folder):
    make_project(folder, inventory_from("plants.gpkg"))
    with closing(sqlite3.connect(folder / "plants.gpkg")) as database:
        database.execute("CREATE TABLE plants (plant_id TEXT)")
        database.commit()


@case
def geopackage_in_the_middle_of_writing(folder):
    path = layer_project(folder, "plants.gpkg", plants())
    with closing(sqlite3.connect(path)) as database:
        database.execute("PRAGMA journal_mode=WAL")


@case
def geopackage_half_written(folder):
    path = layer_project(folder, "plants.gpkg", plants())
    path.with_name("plants.gpkg-wal").write_bytes(b"\x37\x7f\x06\x82" + b"\x00" * 60)


def view(folder: Path, query: str) -> None:
    """Write a GeoPackage whose only layer is a view."""
    path = layer_project(folder, "plants.gpkg", plants(), layer="roses")
    with closing(sqlite3.connect(path)) as database:
        database.execute(f"CREATE VIEW seen AS {query}")
        for table, column in (("gpkg_contents", "table_name"), ("gpkg_geometry_columns", "table_name")):
            database.execute(f"UPDATE {table} SET {column} = 'seen' WHERE {column} = 'roses'")
        database.commit()


put("geopackage_whose_layer_is_a_view", lambda folder: view(folder, "SELECT fid, geom, plant_id, host FROM roses"))
ENDLESS = "WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n) SELECT i AS fid, geom, plant_id, host FROM n, roses"
put("geopackage_whose_layer_never_ends", lambda folder: view(folder, ENDLESS))


def geojson(name: str, *, crs: object = "none", places=None, change=None) -> None:
    """Write down a GeoJSON; `crs` is its member of that name, `change` is done to the whole."""

    def build(folder: Path) -> None:
        make_project(folder, inventory_from("plants.geojson"))
        at = plants().to_crs(4326).geometry if places is None else places
        features = [
            {"type": "Feature", "properties": {"plant_id": f"P{n:02d}", "host": "Rosa hybrida"},
             "geometry": {"type": "Point", "coordinates": [point.x, point.y]}}
            for n, point in enumerate(at, start=1)
        ]  # fmt: skip
        whole = {"type": "FeatureCollection", "features": features}
        if crs != "none":
            whole["crs"] = crs() if callable(crs) else crs
        text = json.dumps(whole)
        (folder / "plants.geojson").write_text(change(text) if change else text, encoding="utf-8")

    put(name, build)


def to_fetch() -> str:
    return json.dumps({"type": "link", "properties": {"href": f"{LISTENER['address']}/crs.wkt"}})


def named(name: str) -> dict:
    return {"type": "name", "properties": {"name": name}}


METRES = plants().geometry
geojson("geojson_whole")
geojson("geojson_with_the_usual_crs", crs=named("urn:ogc:def:crs:OGC:1.3:CRS84"))
geojson("geojson_with_a_metric_crs", crs=named("urn:ogc:def:crs:EPSG::32614"), places=METRES)
geojson("geojson_in_metres_without_crs", places=METRES)
geojson("geojson_in_metres_with_the_usual_crs", crs=named("urn:ogc:def:crs:OGC:1.3:CRS84"), places=METRES)
geojson("geojson_with_an_unknown_crs", crs=named("urn:ogc:def:crs:EPSG::999999"))
geojson("geojson_with_a_crs_of_words", crs=named("the usual one"))
geojson("geojson_with_no_crs_on_purpose", crs=None)
geojson(
    "geojson_with_a_crs_to_be_fetched",
    crs=lambda: {"type": "link", "properties": {"href": f"{LISTENER['address']}/crs.wkt", "type": "ogcwkt"}},
)
geojson(
    "geojson_with_a_crs_at_an_address",
    crs=lambda: {"type": "url", "properties": {"url": f"{LISTENER['address']}/crs.wkt"}},
)
geojson("geojson_with_an_address_for_a_name", crs=lambda: named(f"{LISTENER['address']}/crs.wkt"))
geojson("geojson_with_a_crs_in_disguise", crs=lambda: {"type": "link", "properties": {"href": f"{LISTENER['address']}/crs.wkt"}},
        change=lambda text: text.replace('"crs"', '"\\u0063rs"').replace('"link"', '"l\\u0069nk"'))  # fmt: skip
geojson("geojson_with_a_crs_twice", crs=named("urn:ogc:def:crs:OGC:1.3:CRS84"),
        change=lambda text: text.replace("{", f'{{"CRS": {to_fetch()}, ', 1))  # fmt: skip
geojson("geojson_cut_short", change=lambda text: text[: len(text) // 2])
geojson("geojson_nested_without_end", change=lambda text: '{"type": ' + "[" * 100_000)
geojson("geojson_of_another_kind", change=lambda text: '{"type": "Topology", "objects": {}, "arcs": []}')
geojson("geojson_of_a_maker_of_its_own", change=lambda text: '{"geometryType": "esriGeometryPoint", "features": []}')

SQUARE = shapely.box(EAST + 10, NORTH, EAST + 20, NORTH + 8)
BOW_TIE = shapely.Polygon([(EAST, NORTH), (EAST + 9, NORTH + 9), (EAST + 9, NORTH), (EAST, NORTH + 9)])
with_shapes("shapes_of_three_dimensions", {row: shapely.Point(*PLACES[row], 300.0) for row in range(30)})
with_shapes("shapes_of_one_part", {row: shapely.MultiPoint([PLACES[row]]) for row in range(30)})
with_shapes("shapes_of_several_parts", {4: shapely.MultiPoint(PLACES[4:7])})
with_shapes(
    "shapes_of_several_parts_throughout", {row: shapely.MultiPoint([PLACES[row], PLACES[row] + 1]) for row in range(30)}
)
with_shapes("shapes_empty", {4: shapely.Point()})
with_shapes("shapes_missing", {4: None})
with_shapes("shapes_without_a_number", {4: shapely.Point(float("nan"), float("nan"))})
with_shapes("shapes_of_lines", {4: shapely.LineString(PLACES[4:6])})
with_shapes("shapes_of_collections", {4: shapely.GeometryCollection([shapely.Point(PLACES[4]), SQUARE])})
with_shapes("shapes_of_areas_for_points", {row: shapely.Point(PLACES[row]).buffer(0.5) for row in range(30)})
with_shapes("shapes_of_an_area_for_a_bed", {4: SQUARE}, count=[1] * 4 + [20] + [1] * 25)
with_shapes("shapes_of_an_area_that_crosses_itself", {4: BOW_TIE}, count=[1] * 4 + [20] + [1] * 25)
with_shapes("shapes_of_an_area_without_size", {4: shapely.Polygon([PLACES[4]] * 4)}, count=[1] * 30)


def around(name: str, kind: str, shape, **columns) -> None:
    """Write down a case with one shape around the plants."""

    def build(folder: Path) -> None:
        make_project(folder, with_block(kind, "around.gpkg"))
        frame = geopandas.GeoDataFrame({key: [value] for key, value in columns.items()}, geometry=[shape], crs=CRS)
        pyogrio.write_dataframe(frame, folder / "around.gpkg")

    put(name, build)


around("sites_in_order", "sites", SQUARE, site_id="S1")
around("sites_that_cross_themselves", "sites", BOW_TIE, site_id="S1")
around("sites_drawn_as_lines", "sites", SQUARE.boundary, site_id="S1")
around("screens_drawn_as_areas", "screens", SQUARE, height_m=2.0)
around("screens_without_height", "screens", shapely.LineString(PLACES[:2]), screen_id="H1")
around("screens_of_negative_height", "screens", shapely.LineString(PLACES[:2]), height_m=-2.0)
around("stands_of_a_thousand_million", "reservoirs", SQUARE, count=1_000_000_000)
around("stands_with_a_chance_of_two", "reservoirs", SQUARE, chance_infected=2.0)
around("stands_in_order", "reservoirs", SQUARE, chance_infected=0.2)
around("stands_without_end", "reservoirs", shapely.box(EAST, NORTH, float("inf"), NORTH + 5))
assert "inventory.csv" in PROJECT
