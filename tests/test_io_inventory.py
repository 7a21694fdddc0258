"""The inventory: positions, keys, sizes, beds with counts; each documented failure says where, what and the remedy."""

import geopandas
import numpy as np
import pyogrio
import pyproj
import pytest
import shapely
from small_projects import CRS, EAST, NORTH, make_project, plants_frame, write_sheet

from spreadmap.errors import CrsError, InputError, InventoryError
from spreadmap.io.faults import FaultBook
from spreadmap.io.project_file import InventoryBlock
from spreadmap.io.read_crs import working_crs
from spreadmap.io.read_inventory import read_inventory, spread_bed
from spreadmap.io.read_project import check_project
from spreadmap.values.settings import InputSettings, Settings

HEADER = "plant_id,host,easting,northing"
LENIENT = Settings(inputs=InputSettings(most_rows_aside=1.0))


def read(folder, content, name="inventory.csv", settings=LENIENT, **keys):
    """Read one inventory; coordinate columns are in the working CRS unless `crs` says otherwise."""
    path = folder / name
    if content is not None:
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
    book = FaultBook()
    if path.suffix in (".csv", ".xlsx"):
        keys = {"crs": CRS} | keys
    inventory = read_inventory([InventoryBlock(file=name, **keys)], [path], working_crs(CRS), settings, book)
    book.raise_if_stopped()
    return inventory, book


def plants(*rows, header=HEADER):
    return header + "\n" + "\n".join(rows) + "\n"


def good(number):
    return f"P{number},Rosa hybrida,{EAST + number},{NORTH}"


def test_columns_come_in_the_order_of_the_file_with_longitude_and_latitude(tmp_path):
    inventory, book = read(tmp_path, plants(good(1), good(2)))
    assert inventory.plant_id.tolist() == ["P1", "P2"]
    assert inventory.easting.tolist() == [EAST + 1, EAST + 2]
    lon, lat = pyproj.Proj(CRS)(inventory.easting, inventory.northing, inverse=True)
    assert np.allclose(inventory.longitude, lon, atol=1e-9)
    assert np.allclose(inventory.latitude, lat, atol=1e-9)
    assert inventory.susceptibility.tolist() == [1.0, 1.0]
    assert inventory.size_class.tolist() == ["M", "M"]
    assert not inventory.is_synthetic.any()
    assert not book.faults


def test_leading_zeros_of_keys_are_kept_in_text_and_in_a_workbook(tmp_path):
    inventory, _ = read(tmp_path, plants(f"007,Rosa,{EAST},{NORTH}", f"7,Rosa,{EAST + 1},{NORTH}"))
    assert inventory.plant_id.tolist() == ["007", "7"]
    write_sheet(tmp_path / "a.xlsx", [HEADER.split(","), ["007", "Rosa", EAST, NORTH], [7, "Rosa", EAST + 1, NORTH]])
    assert read(tmp_path, None, "a.xlsx")[0].plant_id.tolist() == ["007", "7"]


def test_own_column_names_semicolons_and_decimal_commas(tmp_path):
    lon, lat = pyproj.Proj(CRS)(EAST, NORTH, inverse=True)
    text = f"Nr;Art;Länge;Breite;Breite m\n1;Rosa;{lon:.8f};{lat:.8f};1,5\n".replace(".", ",").encode("cp1252")
    columns = {"plant_id": "Nr", "host": "Art", "longitude": "Länge", "latitude": "Breite", "spread_m": "Breite m"}
    inventory, book = read(tmp_path, text, crs="EPSG:4326", columns=columns)
    assert np.hypot(inventory.easting[0] - EAST, inventory.northing[0] - NORTH) < 0.01
    assert inventory.size_class[0] == "L"
    assert [fault.weight for fault in book.faults] == ["assumed"]  # the encoding


@pytest.mark.parametrize("name", ["plants.gpkg", "plants.geojson", "plants.shp"])
def test_shapes_of_every_format_come_into_the_working_crs(tmp_path, name):
    frame = plants_frame()
    pyogrio.write_dataframe(frame.to_crs(4326) if "json" in name else frame.to_crs(32615), tmp_path / name)
    inventory, _ = read(tmp_path, None, name)
    assert inventory.plant_id.tolist() == ["001", "002", "003", "004"]
    assert np.allclose(inventory.easting, frame.geometry.x, atol=0.01)
    assert np.allclose(inventory.northing, frame.geometry.y, atol=0.01)


def test_a_crs_is_never_guessed(tmp_path):
    with pytest.raises(CrsError, match=r"inventory.csv: has coordinate columns but no CRS; it is never guessed"):
        read(tmp_path, plants(good(1)), crs="")
    with pytest.raises(CrsError, match="has columns for easting and northing, but EPSG:4326 has longitude"):
        read(tmp_path, plants(good(1)), crs="EPSG:4326")


def test_swapped_metres_are_told_with_a_remedy_for_cells_and_for_shapes(tmp_path):
    rows = [good(number) for number in range(1, 5)]
    inventory, book = read(tmp_path, plants(*rows, f"P9,Rosa hybrida,{NORTH},{EAST}"))
    assert len(inventory) == 4
    assert book.faults[0].sentence().endswith("'easting': easting and northing are swapped. Swap the two cells.")
    frame = plants_frame()
    turned = frame.set_geometry(shapely.points(frame.geometry.y, frame.geometry.x), crs=CRS)
    pyogrio.write_dataframe(turned, tmp_path / "turned.gpkg")
    with pytest.raises(CrsError, match="outside the area of use"):  # which order is meant, nothing else says
        read(tmp_path, None, "turned.gpkg")
    lonely = frame.to_crs(4326)
    lonely = lonely.set_geometry(shapely.points(lonely.geometry.y, lonely.geometry.x), crs=4326)
    pyogrio.write_dataframe(lonely, tmp_path / "degrees.gpkg")
    with pytest.raises(
        CrsError, match="longitude and latitude are swapped. Export the file again with east before north"
    ):
        read(tmp_path, None, "degrees.gpkg")
    turned.loc[1:, "geometry"] = frame.geometry[1:]
    pyogrio.write_dataframe(turned, tmp_path / "one.gpkg")
    _, book = read(tmp_path, None, "one.gpkg")
    assert book.faults[0].remedy == "Swap its two coordinates."


def degrees(rows, header="plant_id,host,longitude,latitude"):
    return plants(*(f"P{i},Rosa,{x},{y}" for i, (x, y) in enumerate(rows)), header=header)


def test_swapped_degrees_stop_a_file_and_put_a_single_row_aside(tmp_path):
    lon, lat = pyproj.Proj(CRS)(EAST, NORTH, inverse=True)
    with pytest.raises(CrsError, match=r"4 of 5 positions: longitude and latitude are swapped. Swap the two columns"):
        read(tmp_path, degrees([(lat, lon)] * 4 + [(lon, lat)]), crs="EPSG:4326")
    inventory, book = read(tmp_path, degrees([(lon, lat)] * 4 + [(lat, lon)]), crs="EPSG:4326")
    assert len(inventory) == 4
    assert "row 6, column 'longitude': longitude and latitude are swapped" in book.faults[0].sentence()
    assert [row.row for row in book.rejected] == [6]


def test_degrees_declared_as_metres_stop_a_file(tmp_path):
    lon, lat = pyproj.Proj(CRS)(EAST, NORTH, inverse=True)
    with pytest.raises(CrsError, match=r"3 of 3 positions: degrees where the declared CRS is in metres.*EPSG:4326"):
        read(tmp_path, degrees([(lon, lat)] * 3, header=HEADER))


def test_metres_declared_as_degrees_stop_a_file(tmp_path):
    with pytest.raises(CrsError, match=r"3 of 3 positions: no such longitude and latitude"):
        read(tmp_path, degrees([(EAST, NORTH)] * 3), crs="EPSG:4326")


@pytest.mark.parametrize(
    ("row", "says"),
    [
        ("P9,Rosa,,", "no position"),
        ("P9,Rosa,0,0", "position 0/0"),
        (f"P9,Rosa,inf,{NORTH}", "'inf';"),
        (f"P9,Rosa,{EAST} m,{NORTH}", "; allowed: a number"),
        (f"P9,Rosa,{EAST},90000000", "outside the area of use of EPSG:32614"),
        (f",Rosa,{EAST},{NORTH}", "an empty key;"),
        (f"P9,,{EAST},{NORTH}", "an empty host; allowed: a scientific name"),
        (f"P1,Rosa,{EAST},{NORTH}", "'P1', which is also 'P1' in row 2 of inventory.csv"),
        (f" p 1 ,Rosa,{EAST},{NORTH}", "'p 1', which is also 'P1' in row 2"),
        (f"P9,Rosa,{EAST},{NORTH},1", "5 cells where the header has 4"),
    ],
)
def test_a_row_that_cannot_be_used_is_put_aside_with_its_reason(tmp_path, row, says):
    inventory, book = read(tmp_path, plants(good(1), good(2), row))
    assert inventory.plant_id.tolist() == ["P1", "P2"]
    assert len(book.rejected) == 1
    assert book.rejected[0].row == 4
    assert says in book.faults[0].sentence()
    assert book.faults[0].weight == "aside"
    assert row.split(",")[1] in book.rejected[0].text


@pytest.mark.parametrize(
    ("column", "cell", "says"),
    [
        ("size_class", "XXL", "'XXL'; allowed: S, M, L, XL"),
        ("susceptibility", "-1", "a number from 0 to 100"),
        ("susceptibility", "nan", "a number from 0 to 100"),
        ("count", "2.5", "'2.5'; allowed: a whole number"),
        ("count", "1e9", "a number from 1 to 20000"),
        ("position_precision_m", "near", "a number from 0 to 10000"),
    ],
)
def test_a_faulty_cell_names_its_column(tmp_path, column, cell, says):
    inventory, book = read(tmp_path, plants(good(1) + ",", good(2) + f",{cell}", header=f"{HEADER},{column}"))
    assert len(inventory) == 1
    assert f"row 3, column '{column}': " in book.faults[0].sentence()
    assert says in book.faults[0].sentence()


def test_a_faulty_planting_date_costs_the_date_not_the_plant(tmp_path):
    rows = plants(good(1) + ",2019-04-08", good(2) + ",2019-02-30", good(3) + ",", header=f"{HEADER},planted_on")
    inventory, book = read(tmp_path, rows)
    assert inventory.planted_on.astype(str).tolist() == ["2019-04-08", "NaT", "NaT"]
    assert [fault.weight for fault in book.faults] == ["assumed"]


def test_other_orders_of_dates_need_to_be_declared(tmp_path):
    rows = plants(good(1) + ",08.04.2019", header=f"{HEADER},planted_on")
    assert np.isnat(read(tmp_path, rows)[0].planted_on[0])
    assert str(read(tmp_path, rows, date_format="dd.mm.yyyy")[0].planted_on[0]) == "2019-04-08"
    assert str(read(tmp_path, rows, date_format="mm.dd.yyyy")[0].planted_on[0]) == "2019-08-04"


def test_too_many_rows_aside_stop_the_run_with_a_count(tmp_path):
    rows = plants(*(good(number) for number in range(18)), "P90,Rosa,,", "P91,Rosa,,")
    with pytest.raises(InventoryError, match=r"2 of 20 rows cannot be used; allowed: at most 5%") as caught:
        read(tmp_path, rows, settings=Settings())
    assert sum(fault.weight == "aside" for fault in caught.value.faults) == 2
    assert len(read(tmp_path, plants(*(good(n) for n in range(19)), "P90,Rosa,,"), settings=Settings())[0]) == 19


@pytest.mark.parametrize(
    ("header", "columns", "says"),
    [
        ("key,host,easting,northing", {}, r"has no column for plant_id or bed_id; its columns are key, host"),
        (HEADER, {"plant_id": "plant_ID2"}, r"has no column 'plant_ID2' \(for plant_id\).*Did you mean 'plant_id'"),
        ("plant_id,host,a,b", {}, "has no column for easting or longitude"),
        ("plant_id,plant_id,easting,northing", {"host": "plant_id"}, "has two columns named 'plant_id'"),
    ],
)
def test_missing_and_double_columns_stop_the_file(tmp_path, header, columns, says):
    with pytest.raises(InputError, match=says):
        read(tmp_path, plants(good(1), header=header), columns=columns)


def test_an_inventory_without_plants_is_refused(tmp_path):
    with pytest.raises(InventoryError, match="holds no usable plant"):
        read(tmp_path, HEADER + "\n")


def test_size_by_spread_else_height_else_medium(tmp_path):
    rows = [(1.79, 0.59), (1.79, 0.6), (1.79, 1.2), (1.79, 1.8), (0.5, ""), ("", "")]
    lines = [f"{good(i)},{height},{spread}" for i, (height, spread) in enumerate(rows)]
    inventory, _ = read(tmp_path, plants(*lines, header=f"{HEADER},height_m,spread_m"))
    assert inventory.size_class.tolist() == ["S", "M", "L", "XL", "S", "M"]


def test_own_words_for_sizes_are_mapped(tmp_path):
    rows = plants(good(1) + ",gross", header=f"{HEADER},size_class")
    assert read(tmp_path, rows, words={"Gross": "L"})[0].size_class[0] == "L"


# ---- beds with counts


def test_a_bed_becomes_marked_synthetic_plants_inside_its_polygon(tmp_path):
    area = shapely.Polygon([(0, 0), (20, 0), (20, 3), (3, 3), (3, 20), (0, 20)])
    area = shapely.affinity.translate(area, EAST, NORTH)
    frame = geopandas.GeoDataFrame({"bed_id": ["B1"], "host": ["Rosa"], "count": [57]}, geometry=[area], crs=CRS)
    pyogrio.write_dataframe(frame, tmp_path / "bed.gpkg")
    inventory, book = read(tmp_path, None, "bed.gpkg")
    assert len(inventory) == 57
    assert inventory.plant_id[:2].tolist() == ["B1-001", "B1-002"]
    assert inventory.is_synthetic.all()
    assert set(inventory.bed_id) == {"B1"}
    assert all("not surveyed" in note for note in inventory.note)
    assert shapely.contains_xy(area, inventory.easting, inventory.northing).all()
    assert len(set(zip(inventory.easting, inventory.northing, strict=True))) == 57
    assert [fault.weight for fault in book.faults] == ["assumed"]


def test_a_bed_at_a_point_becomes_a_small_square_round_it(tmp_path):
    inventory, _ = read(tmp_path, plants(good(5) + ",9", good(6) + ",1", header=f"{HEADER},count"))
    assert inventory.is_synthetic.tolist() == [True] * 9 + [False]
    assert np.isclose(inventory.easting[:9].mean(), EAST + 5)
    assert np.isclose(inventory.northing[:9].mean(), NORTH)
    assert np.ptp(inventory.easting[:9]) == 2.0


def test_a_key_made_from_a_bed_may_not_meet_another_plants(tmp_path):
    rows = plants(f"B1-002,Rosa,{EAST},{NORTH},", f"B1,Rosa,{EAST},{NORTH},4", header=f"{HEADER},count")
    inventory, book = read(tmp_path, rows)
    assert inventory.plant_id.tolist() == ["B1-002"]
    assert "made from this bed" in book.faults[0].sentence()


def test_a_thin_bed_still_holds_all_its_plants():
    thin = shapely.box(0, 0, 100, 0.2)
    places = spread_bed(50, 0.1, thin, 40)
    assert places.shape == (40, 2)
    assert shapely.contains_xy(thin, places[:, 0], places[:, 1]).all()


@pytest.mark.parametrize(("places", "says"), [((1, 1, 2), 2), ((1, 1, 1), 3), ((1, 2, 3), 0), ((1, 2, 1), 2)])
def test_plants_on_one_spot_are_counted(tmp_path, places, says):
    rows = "".join(f"P{n},Rosa hybrida,{EAST + place},{NORTH}\n" for n, place in enumerate(places))
    folder = make_project(tmp_path, inventory__csv=f"plant_id,host,easting,northing\n{rows}",
                          survey__csv="plant_id,inspected_on,status\nP0,2026-05-18,clean\n")  # fmt: skip
    told = [fault.found for fault in check_project(folder) if "exactly the position" in fault.found]
    assert told == ([f"{says} plants have exactly the position of another"] if says else [])
