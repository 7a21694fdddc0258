"""Wind rasters: bands, units, north, warping, cover, and what is refused."""

import numpy as np
import pytest
import rasterio
from affine import Affine
from pyproj import Proj
from rasterio.transform import from_origin
from small_projects import CRS, EAST, NORTH
from small_records import inventory_at

from spreadmap.dispersal.bearings import components_to_from_deg
from spreadmap.errors import CrsError, InputError, RasterError
from spreadmap.io import read_wind_raster as module
from spreadmap.io.faults import FaultBook
from spreadmap.io.project_file import WindRasterBlock
from spreadmap.io.read_crs import grid_convergence_deg, parse_crs, working_crs
from spreadmap.io.read_wind_raster import read_wind_raster
from spreadmap.io.wind_planes import as_components
from spreadmap.values.settings import Settings, WindSettings

PLANTS = inventory_at((EAST, NORTH), (EAST + 200, NORTH + 100))
WIDE = from_origin(EAST - 2000, NORTH + 2000, 100, 100)


def write(path, bands, transform=WIDE, crs=CRS, dtype="float32", **profile):
    bands = np.asarray(bands)
    with rasterio.open(path, "w", driver="GTiff", dtype=dtype, count=bands.shape[0], height=bands.shape[1],
                       width=bands.shape[2], crs=crs, transform=transform, **profile) as file:  # fmt: skip
        file.write(bands.astype(dtype))
    return path


def flat(*values, shape=(40, 40)):
    return np.array([np.full(shape, value, dtype=float) for value in values])


def read(*paths, plants=PLANTS, keys=None, settings=None, **every):
    book = FaultBook()
    blocks = [
        WindRasterBlock(**({"file": path.name, "speed_unit": "m/s", "north": "grid"} | every | extra))
        for path, extra in zip(paths, keys or [{}] * len(paths), strict=True)
    ]
    raster = read_wind_raster(blocks, list(paths), working_crs(CRS), plants, book, settings)
    book.raise_if_stopped()
    return raster, book


def test_components_on_the_working_grid_come_through(tmp_path):
    raster, book = read(write(tmp_path / "w.tif", flat(1.0, -2.0)))
    assert raster.month.tolist() == [0]
    assert np.allclose(raster.wind_u, 1.0, atol=1e-6)
    assert np.allclose(raster.wind_v, -2.0, atol=1e-6)
    assert raster.mean_speed_m_s is None
    assert np.all(np.diff(raster.easting) > 0)
    assert np.all(np.diff(raster.northing) < 0)
    assert raster.easting[0] < PLANTS.easting.min() < PLANTS.easting.max() < raster.easting[-1]
    assert not book.faults


@pytest.mark.parametrize("order", ["by_month", "by_component"])
def test_bands_are_told_apart_by_month_and_component(tmp_path, order):
    by_month = [5.0, 0.0, 6.0, 7.0, 1.0, 8.0]  # u, v, speed of May; of June
    bands = by_month if order == "by_month" else [5.0, 7.0, 0.0, 1.0, 6.0, 8.0]
    raster, _ = read(write(tmp_path / "w.tif", flat(*bands)), months=[5, 6], components=["u", "v", "speed"],
                     band_order=order)  # fmt: skip
    assert raster.month.tolist() == [5, 6]
    assert np.allclose(raster.wind_u[:, 1, 1], [5, 7])
    assert np.allclose(raster.wind_v[:, 1, 1], [0, 1])
    assert np.allclose(raster.mean_speed_m_s[:, 1, 1], [6, 8])


def test_direction_and_speed_become_components_before_any_resampling(tmp_path):
    # neighbouring cells of 350 and 10 degrees: their mean is wind from the north, never from the south
    direction = np.where(np.arange(40)[None, :] % 2 == 0, 350.0, 10.0) * np.ones((40, 1))
    bands = np.array([direction, np.full((40, 40), 36.0)])
    raster, _ = read(write(tmp_path / "w.tif", bands), components=["direction", "speed"], speed_unit="km/h")
    assert np.all(raster.wind_v < -9.0)
    assert np.abs(raster.wind_u).max() <= 10 * np.sin(np.deg2rad(10)) + 1e-6
    west, _ = read(write(tmp_path / "west.tif", flat(270.0, 5.0)), components=["direction", "speed"])
    assert np.allclose(west.wind_u, 5.0, atol=1e-6)  # wind from the west blows toward the east
    assert np.allclose(west.wind_v, 0.0, atol=1e-6)


def test_true_north_is_turned_to_grid_north(tmp_path):
    working = working_crs(CRS)
    lon, lat = working.lon_lat(np.array([EAST]), np.array([NORTH]))
    turn = np.deg2rad(grid_convergence_deg(working.crs, lon, lat)[0])
    raster, _ = read(write(tmp_path / "w.tif", flat(0.0, 4.0)), north="true")
    # air that moves to true north moves to the west of grid north here
    assert np.allclose(raster.wind_u[0, 0, 0], -4 * np.sin(turn), atol=1e-3)
    assert np.allclose(raster.wind_v[0, 0, 0], 4 * np.cos(turn), atol=1e-3)
    assert turn > 0.01


def test_another_grids_north_is_turned_by_the_difference(tmp_path):
    other, working = working_crs("EPSG:32615"), working_crs(CRS)
    lon, lat = working.lon_lat(np.array([EAST]), np.array([NORTH]))
    east, north = other.from_degrees.transform(lon, lat)
    path = write(
        tmp_path / "w.tif", flat(0.0, 4.0), from_origin(east[0] - 2000, north[0] + 2000, 100, 100), "EPSG:32615"
    )
    raster, _ = read(path)
    # a step of the other grid's north, seen on the working grid
    ahead = other.to_degrees.transform(east, north + 100.0)
    moved = np.array(working.from_degrees.transform(*ahead)).ravel() - [EAST, NORTH]
    expected = 4 * moved / np.hypot(*moved)
    assert np.allclose([raster.wind_u[0].mean(), raster.wind_v[0].mean()], expected, atol=2e-3)


def test_a_raster_in_degrees_upside_down_or_turned_lands_in_the_same_place(tmp_path):
    steps = np.arange(40.0) / 2
    across = np.tile(steps, (40, 1))  # u grows by 0.5 every 100 m toward the east, v toward the north
    along = np.tile(steps[::-1, None], (1, 40))
    plain, _ = read(write(tmp_path / "a.tif", [across, along]))
    upside = Affine(100, 0, EAST - 2000, 0, 100, NORTH - 2000)
    turned = Affine(0, -100, EAST + 2000, -100, 0, NORTH + 2000)  # rows run west, columns run south
    for name, transform, bands in (
        ("b.tif", upside, [across[::-1], along[::-1]]),
        ("c.tif", turned, [across.T[::-1], along.T[::-1]]),
    ):
        other, _ = read(write(tmp_path / name, bands, transform))
        assert np.allclose(other.wind_u, plain.wind_u, atol=1e-3)
        assert np.allclose(other.wind_v, plain.wind_v, atol=1e-3)
    expected = (plain.easting - (EAST - 2000) - 50) / 200
    assert np.allclose(plain.wind_u[0], expected[None, :], atol=1e-3)


@pytest.mark.parametrize(
    ("crs", "lon", "lat"),
    [("EPSG:32614", -101.5, 40.0), ("EPSG:32614", -96.5, -30.0), ("EPSG:2154", 7.0, 48.0), ("EPSG:27700", -5.0, 57.0),
     ("EPSG:28992", 6.5, 53.0), ("EPSG:5070", -80.0, 35.0)],
)  # fmt: skip
def test_convergence_agrees_with_proj_on_both_sides_of_the_middle(crs, lon, lat):
    own = grid_convergence_deg(parse_crs(crs), np.array([lon]), np.array([lat]))[0]
    assert own == pytest.approx(Proj(crs).get_factors(lon, lat).meridian_convergence, abs=0.01)


def test_a_uniform_west_wind_stays_one_up_to_the_convergence(tmp_path):
    lon, lat = working_crs(CRS).lon_lat(np.array([EAST]), np.array([NORTH]))
    path = write(
        tmp_path / "w.tif", flat(5.0, 0.0), from_origin(lon[0] - 0.04, lat[0] + 0.04, 0.002, 0.002), "EPSG:4326"
    )
    raster, _ = read(path, north="true")
    # a true bearing of 270 is 270 - convergence from grid north, by PROJ's own figure
    turn = Proj(CRS).get_factors(lon[0], lat[0]).meridian_convergence
    assert abs(turn) > 1
    np.testing.assert_allclose(np.hypot(raster.wind_u, raster.wind_v), 5.0, atol=1e-5)
    np.testing.assert_allclose(components_to_from_deg(raster.wind_u, raster.wind_v), 270 - turn, atol=0.02)


def test_nodata_becomes_no_value_and_cover_is_told(tmp_path):
    bands = flat(1.0, 1.0)
    bands[:, :, 21:] = -9999.0
    path = write(tmp_path / "w.tif", bands, nodata=-9999.0)
    raster, book = read(path)
    assert np.isnan(raster.wind_u).any()
    assert np.nanmin(raster.wind_u) > 0.99
    assert book.faults[0].sentence() == (
        "w.tif: covers 1 of 2 plants. 1 of the others take the nearest cell with a value, at most 2000 m away; 0 take the "
        "rose of the hourly record, or no direction without one. Extend the raster to mend it."
    )
    assert book.faults[0].weight == "assumed"
    _, book = read(path, settings=Settings(wind=WindSettings(nearest_wind_cell_m=50.0)))
    assert "0 of the others take the nearest cell" in book.faults[0].remedy
    assert "; 1 take the rose of the hourly record" in book.faults[0].remedy


def test_a_month_without_a_value_does_not_uncover_a_plant(tmp_path):
    bands = flat(1.0, 1.0, 2.0, 2.0)
    bands[:2, :, 21:] = -9999.0
    raster, book = read(write(tmp_path / "w.tif", bands, nodata=-9999.0), months=[5, 6])
    assert np.isnan(raster.wind_u[0]).any()
    assert not np.isnan(raster.wind_u[1]).any()
    assert not book.faults


def test_a_raster_elsewhere_is_refused(tmp_path):
    path = write(tmp_path / "w.tif", flat(1.0, 1.0), from_origin(EAST + 50_000, NORTH, 100, 100))
    with pytest.raises(RasterError, match=r"w.tif: covers 0 of 2 plants. Extend the raster, correct its CRS"):
        read(path)


def test_months_may_come_in_several_files_on_one_grid(tmp_path):
    may = write(tmp_path / "may.tif", flat(1.0, 2.0))
    june = write(tmp_path / "june.tif", flat(3.0, 4.0, shape=(80, 80)), from_origin(EAST - 2000, NORTH + 2000, 50, 50))
    raster, book = read(may, june, keys=[{"months": [5]}, {"months": [6]}])
    assert raster.month.tolist() == [5, 6]
    assert np.allclose(raster.wind_u[:, 0, 0], [1, 3])
    assert book.rows == {"may.tif": 1, "june.tif": 1}
    with pytest.raises(RasterError, match=r"june.tif: holds months 5 a second time"):
        read(may, june, keys=[{"months": [5]}, {"months": [5]}])
    twice = write(tmp_path / "twice.tif", flat(1.0, 2.0, 3.0, 4.0))
    with pytest.raises(RasterError, match=r"twice.tif: holds months 5 a second time"):
        read(twice, months=[5, 5])


def test_files_agree_in_having_a_mean_speed(tmp_path):
    may, june = write(tmp_path / "may.tif", flat(1.0, 2.0, 4.0)), write(tmp_path / "june.tif", flat(1.0, 2.0))
    with pytest.raises(RasterError, match=r"june.tif: and the other wind rasters differ in having a mean speed"):
        read(may, june, keys=[{"months": [5], "components": ["u", "v", "speed"]}, {"months": [6]}])


def test_whole_numbers_with_a_factor_are_unpacked(tmp_path):
    path = write(tmp_path / "w.tif", flat(150, -200), dtype="int16")
    with rasterio.open(path, "r+") as file:
        file.scales, file.offsets = (0.01, 0.01), (1.0, 0.0)
    raster, _ = read(path)
    assert np.allclose(raster.wind_u, 2.5, atol=1e-6)
    assert np.allclose(raster.wind_v, -2.0, atol=1e-6)


def test_what_cannot_be_read_is_refused(tmp_path, monkeypatch):
    with pytest.raises(RasterError, match=r"has 2 bands; allowed: 4, 2 for each of 2 periods"):
        read(write(tmp_path / "a.tif", flat(1.0, 1.0)), months=[5, 6])
    with pytest.raises(RasterError, match=r"has 3 bands; allowed: 2, 2 for each of 1 periods"):
        read(write(tmp_path / "three.tif", flat(1.0, 1.0, 1.0)))
    with pytest.raises(RasterError, match=r"is a GeoTIFF, which has bands and no variables"):
        read(tmp_path / "a.tif", variables={"u": "u10"})
    with pytest.raises(RasterError, match=r"sizeless.tif: has cells without size"):
        read(write(tmp_path / "sizeless.tif", flat(1.0, 1.0), from_origin(EAST, NORTH, 1e-300, 1e-300)))
    local = 'ENGCRS["site",EDATUM["site"],CS[Cartesian,2],AXIS["x",east],AXIS["y",north],LENGTHUNIT["metre",1]]'
    with pytest.raises(InputError, match=r"local.tif: "):
        read(write(tmp_path / "local.tif", flat(1.0, 1.0), crs=local))
    cut = tmp_path / "cut.tif"
    cut.write_bytes((tmp_path / "a.tif").read_bytes()[:200])
    with pytest.raises(RasterError, match=r"cut.tif: cannot be read as GeoTIFF"):
        read(cut)
    with pytest.raises(CrsError, match="has no CRS; it is never guessed"):
        read(write(tmp_path / "b.tif", flat(1.0, 1.0), crs=None))
    assert np.allclose(read(tmp_path / "b.tif", crs=CRS)[0].wind_u, 1.0, atol=1e-6)
    with pytest.raises(CrsError, match=r"has another CRS than its block declares \(EPSG:4326\)"):
        read(tmp_path / "a.tif", crs="EPSG:4326")
    text = tmp_path / "c.tif"
    text.write_text("<VRTDataset/>", encoding="utf-8")
    with pytest.raises(InputError, match="holds something else than its ending"):
        read(text)
    broken = tmp_path / "d.tif"
    broken.write_bytes(b"II*\x00" + b"\x00" * 100)
    with pytest.raises(RasterError, match="cannot be read as GeoTIFF"):
        read(broken)
    monkeypatch.setattr(module, "MOST_CELLS", 1000)
    with pytest.raises(RasterError, match="holds 40 x 40 cells in 2 bands"):
        read(tmp_path / "a.tif")


def test_a_small_file_that_claims_to_be_huge_is_refused_before_it_is_decoded(tmp_path):
    path = tmp_path / "sparse.tif"
    with rasterio.open(path, "w", driver="GTiff", dtype="float32", count=2, height=40_000, width=40_000, crs=CRS,
                       transform=WIDE, sparse_ok=True, tiled=True, compress="deflate"):  # fmt: skip
        pass
    assert path.stat().st_size < 5_000_000
    with pytest.raises(RasterError, match="holds 40000 x 40000 cells"):
        read(path)


@pytest.mark.parametrize(
    ("planes", "unit", "says"),
    [
        (
            {"u": 270.0, "v": 3.0},
            "m/s",
            r"holds u = 270.*outside -30 to 30 m/s; allowed: a mean wind. Correct components",
        ),
        ({"u": 300.0, "v": 3.0}, "km/h", r"holds u = 300.*outside -108 to 108 km/h"),
        ({"direction": 361.0, "speed": 3.0}, "m/s", r"holds direction = 361.*outside 0 to 360;"),
        ({"direction": 90.0, "speed": -1.0}, "m/s", r"holds speed = -1.*outside 0 to 30 m/s"),
    ],
)
def test_planes_that_hold_no_mean_wind_are_refused(planes, unit, says):
    with pytest.raises(RasterError, match=says):
        as_components({name: np.array([[[value, np.nan]]]) for name, value in planes.items()}, unit)
