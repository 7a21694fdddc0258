"""Wild stands, sites, screens, daily temperatures: defaults, mended shapes, and what is put aside."""

import geopandas
import numpy as np
import pyogrio
import pytest
import shapely
from shapely.affinity import translate
from small_projects import CRS, EAST, NORTH

from spreadmap.errors import CrsError, InputError
from spreadmap.io.faults import FaultBook
from spreadmap.io.project_file import FileBlock, TemperatureBlock
from spreadmap.io.read_crs import working_crs
from spreadmap.io.read_surroundings import read_reservoirs, read_screens, read_sites, read_temperature
from spreadmap.values.settings import InputSettings, Settings

LENIENT = Settings(inputs=InputSettings(most_rows_aside=1.0))
SQUARE = shapely.box(0, 0, 20, 10)
BOW_TIE = shapely.Polygon([(0, 0), (10, 10), (10, 0), (0, 10)])
LINE = shapely.LineString([(0, 0), (30, 0)])


def write(path, geometry, crs=CRS, move=True, **columns):
    shapes = [translate(g, EAST, NORTH) if g is not None and move else g for g in geometry]
    frame = geopandas.GeoDataFrame(columns or {"note": [""] * len(shapes)}, geometry=shapes, crs=CRS)
    pyogrio.write_dataframe(frame.to_crs(crs), path, geometry_type="Unknown")
    return path


def read(reader, path, settings=LENIENT, **keys):
    book = FaultBook()
    value = reader([FileBlock(file=path.name, **keys)], [path], working_crs(CRS), settings, book)
    book.raise_if_stopped()
    return value, book


def test_stands_have_a_count_a_density_or_the_defaults(tmp_path):
    path = write(tmp_path / "a.gpkg", [SQUARE, SQUARE, SQUARE, shapely.Point(0, 0)], count=[40, None, None, None],
                 plants_per_100_m2=[None, 10.0, None, None], chance_infected=[0.0, None, None, None])  # fmt: skip
    stands, book = read(read_reservoirs, path)
    default = LENIENT.sources
    # 200 square metres at 10, and at the default density, per 100 square metres; a point is one plant
    assert np.allclose(stands.plant_count, [40, 20, 2 * default.reservoir_plants_per_100_m2, 1], rtol=1e-9)
    assert stands.chance_infected.tolist() == [0.0, *[default.reservoir_chance] * 3]
    assert stands.reservoir_id.tolist() == ["stand 1", "stand 2", "stand 3", "stand 4"]
    assert not book.faults


def test_areas_are_measured_in_the_working_crs(tmp_path):
    path = write(tmp_path / "a.geojson", [SQUARE], crs="EPSG:4326")
    stands, _ = read(read_reservoirs, path)
    assert np.isclose(stands.geometry[0].area, 200, rtol=1e-4)


def test_stands_as_a_table_of_points_need_a_crs(tmp_path):
    path = tmp_path / "stands.csv"
    path.write_text(f"reservoir_id,easting,northing,count\nW1,{EAST},{NORTH},12\n", encoding="utf-8")
    stands, _ = read(read_reservoirs, path, crs=CRS)
    assert stands.plant_count.tolist() == [12]
    with pytest.raises(CrsError, match="has coordinate columns but no CRS; it is never guessed"):
        read(read_reservoirs, path)


def test_a_shape_that_crosses_itself_is_mended_and_told(tmp_path):
    sites, book = read(read_sites, write(tmp_path / "a.gpkg", [BOW_TIE]))
    assert sites.geometry[0].is_valid
    assert np.isclose(sites.geometry[0].area, 50)
    assert [fault.weight for fault in book.faults] == ["assumed"]
    assert "crosses itself" in book.faults[0].sentence()


@pytest.mark.parametrize(
    ("shape", "says"),
    [(None, "an empty shape"), (shapely.Polygon(), "an empty shape"), (LINE, "'LineString'"),
     (shapely.Point(0, 0), "'Point'")],
)  # fmt: skip
def test_a_shape_that_is_missing_or_of_another_kind_is_put_aside(tmp_path, shape, says):
    sites, book = read(read_sites, write(tmp_path / "a.gpkg", [SQUARE, shape]))
    assert len(sites) == 1
    assert f"row 2, column 'geometry': {says}; allowed: Polygon, MultiPolygon" in book.faults[0].sentence()


def test_swapped_degrees_stop_a_layer(tmp_path):
    east, north = -96.6, 36.9
    path = tmp_path / "sites.geojson"
    swapped = shapely.box(north, east + 190, north + 0.001, east + 190.001)  # a valid longitude and latitude, elsewhere
    frame = geopandas.GeoDataFrame({"name": ["a"]}, geometry=[swapped], crs="EPSG:4326")
    pyogrio.write_dataframe(frame, path)
    with pytest.raises(CrsError, match="1 of 1 positions"):
        read(read_sites, path)
    metres = write(tmp_path / "metres.geojson", [SQUARE])
    text = metres.read_text(encoding="utf-8")
    assert '"crs"' in text  # the old-fashioned member; without it the standard says degrees
    start = text.index('"crs"')
    metres.write_text(text[:start] + text[text.index('"features"') :], encoding="utf-8")
    with pytest.raises(CrsError, match="no such longitude and latitude"):
        read(read_sites, metres)


def test_sites_in_their_own_words(tmp_path):
    path = write(tmp_path / "a.gpkg", [SQUARE, SQUARE], SITE=["S1", ""], SETUP=["Verkehr", ""], PRIV=["ja", ""])
    sites, _ = read(
        read_sites, path, columns={"site_id": "SITE", "set_up": "SETUP", "is_private": "PRIV"},
        words={"verkehr": "traffic", "ja": "yes"},
    )  # fmt: skip
    assert sites.site_id.tolist() == ["S1", "site 2"]
    assert sites.set_up.tolist() == ["traffic", "bed"]
    assert sites.is_private.tolist() == [True, False]


def test_screens_need_a_height_and_have_a_default_effect(tmp_path):
    several = shapely.MultiLineString([LINE, translate(LINE, 0, 5)])
    path = write(tmp_path / "a.shp", [LINE, LINE, LINE], height_m=[1.9, None, 2.5], planted_on=["2025-03-20", "", ""],
                 factor=[None, None, 0.2])  # fmt: skip
    screens, book = read(read_screens, path)
    assert screens.height_m.tolist() == [1.9, 2.5]
    assert screens.factor.tolist() == [LENIENT.sources.screen_factor, 0.2]
    assert screens.planted_on.astype(str).tolist() == ["2025-03-20", "NaT"]
    assert "row 2, column 'height_m': no height" in book.faults[0].sentence()
    parts, _ = read(read_screens, write(tmp_path / "b.gpkg", [several], height_m=[2.0]))
    assert len(parts) == 2
    with pytest.raises(InputError, match="has no column for height_m"):
        read(read_screens, write(tmp_path / "c.gpkg", [LINE]))


# ---- daily temperatures


def read_days(folder, rows, **keys):
    path = folder / "days.csv"
    path.write_text("\n".join(["day,minimum_c,maximum_c", *rows]) + "\n", encoding="utf-8")
    book = FaultBook()
    days = read_temperature([TemperatureBlock(file="days.csv", **keys)], [path], LENIENT, book)
    book.raise_if_stopped()
    return days, book


def test_days_are_sorted_and_gaps_and_double_days_are_told(tmp_path):
    days, book = read_days(tmp_path, ["2026-05-03,4,11", "2026-05-01,2,9", "2026-05-01,3,9", "2026-05-06,1,2"])
    assert days.day.astype(str).tolist() == ["2026-05-01", "2026-05-03", "2026-05-06"]
    assert days.minimum_c.tolist() == [2, 4, 1]
    assert [fault.sentence() for fault in book.faults] == [
        "days.csv: 1 days come twice. The first row of each was taken.",
        "days.csv: 3 days are missing between the first and the last. They stay missing.",
    ]


def test_fahrenheit_is_converted(tmp_path):
    days, _ = read_days(tmp_path, ["2026-05-01,32,104"], temperature_unit="F")
    assert np.allclose([days.minimum_c[0], days.maximum_c[0]], [0, 40])


def test_fahrenheit_that_is_not_declared_is_refused_with_the_way_out(tmp_path):
    with pytest.raises(InputError, match='maximum above 45.*temperature_unit = "F"'):
        read_days(tmp_path, ["2026-05-01,40,58", "2026-05-02,41,55"])


@pytest.mark.parametrize(
    ("row", "says"),
    [
        ("2026-05-01,12,9", "'12' above the highest '9';"),
        ("2026-05-01,,9", "a gap"),
        ("2026-05-01,-95,10", "a number from -90 to 60"),
        ("1.5.2026,2,9", "a date written YYYY-MM-DD"),
    ],
)
def test_a_faulty_day_is_put_aside(tmp_path, row, says):
    days, book = read_days(tmp_path, [row])
    assert days is None
    assert says in book.faults[0].sentence()
