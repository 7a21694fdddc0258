"""Every reader, given files with bytes changed at random: faults or values come out, nothing else. Runs with -m long.

Changes are drawn by hypothesis from fixed seeds, so that a run can be repeated; the corpus is one small file for each
reader.
"""

import time
from importlib.util import find_spec
from pathlib import Path

import geopandas
import pytest
import shapely
from hostile.case_files import inventory_from, with_block
from hostile.make_cases import build
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from small_projects import CRS, EAST, INVENTORY, NORTH, PROJECT, SURVEY, make_project, plants_frame

from spreadmap.io.read_project import check_project, read_project

SEEDS = {
    "project file": ("text_utf_8", "spreadmap.toml"),
    "text": ("text_note_of_several_lines", "inventory.csv"),
    "text of a survey": ("status_with_evidence_that_does_not_fit", "survey.csv"),
    "text of a work log": ("work_in_order", "work.csv"),
    "text of wind": ("hours_variable_and_calm", "hours.csv"),
    "text of temperatures": ("temperature_in_order", "days.csv"),
    "workbook": ("sheet_with_merged_hosts", "plants.xlsx"),
    "geopackage": ("geopackage_whole", "plants.gpkg"),
    "shapefile, shapes": ("shapefile_whole", "plants.shp"),
    "shapefile, index": ("shapefile_whole", "plants.shx"),
    "shapefile, table": ("shapefile_whole", "plants.dbf"),
    "shapefile, crs": ("shapefile_whole", "plants.prj"),
    "zip": ("zip_with_a_folder", "plants.zip"),
    "geojson": ("geojson_with_a_metric_crs", "plants.geojson"),
    "sites": ("sites_in_order", "around.gpkg"),
    "geotiff": ("raster_in_order", "wind.tif"),
    "netcdf": ("netcdf_in_order", "wind.nc"),
    "pest system": ("pest_system_that_is_no_toml", "pest_systems/mine.toml"),
}
"""One file for each reader, from the pack of cases."""


def with_decisions(folder):
    rows = "P01,2026-05-20,accept,\nP02,2026-05-20,refuse,in bloom\n"
    make_project(
        folder, with_block("decisions", "answers.csv"), answers__csv=f"plant_id,decided_on,decision,reason\n{rows}"
    )


def with_stands(folder):
    make_project(folder, with_block("reservoirs", "stands.geojson"))
    stands = {"reservoir_id": ["a", "b"], "count": [5, 9], "host": ["Rosa multiflora"] * 2}
    where = [shapely.Point(EAST, NORTH + 40), shapely.box(EAST, NORTH + 50, EAST + 9, NORTH + 60)]
    geopandas.GeoDataFrame(stands, geometry=where, crs=CRS).to_crs(4326).to_file(folder / "stands.geojson")


def with_screens(folder):
    make_project(folder, with_block("screens", "hedges.gpkg"))
    hedge = shapely.LineString([(EAST, NORTH + 5), (EAST + 80, NORTH + 5)])
    frame = geopandas.GeoDataFrame({"screen_id": ["h"], "height_m": [2.0]}, geometry=[hedge], crs=CRS)
    frame.to_file(folder / "hedges.gpkg")


def with_parquet(folder):
    make_project(folder, inventory_from("plants.parquet"), survey__csv=SURVEY.replace("P0", "00"))
    plants_frame(30).to_parquet(folder / "plants.parquet")


MADE = {
    "text of decisions": (with_decisions, "answers.csv"),
    "wild stands": (with_stands, "stands.geojson"),
    "screens": (with_screens, "hedges.gpkg"),
    "parquet": (with_parquet, "plants.parquet"),
}
"""Readers for which the pack of cases has no file in order."""
EXAMPLES = 200
SLOWEST_S = 20.0
USUAL = [b"", b"\x00", b"\xff", b"\n", b'"', b",", b"-1", b"nan", b"1e999", b"9" * 40, b"\xff\xff\xff\xff", b"\x00\x00\x00\x80",
         b"EPSG:4326", b"http://127.0.0.1:9/x", b"\x1b[2J", "é".encode(), b"2026-02-30", b"[" * 50, b"P01"]  # fmt: skip
changes = st.lists(
    st.tuples(st.floats(0, 1), st.sampled_from(USUAL) | st.binary(max_size=8), st.integers(0, 40)),
    min_size=1,
    max_size=6,
)
FUZZ = settings(
    max_examples=EXAMPLES, deadline=None, derandomize=True, database=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture],
)  # fmt: skip


@pytest.fixture(autouse=True)
def little_patience(monkeypatch):
    """A file that keeps its reader busy is given up sooner than in a run."""
    monkeypatch.setattr("spreadmap.io.netcdf.LONGEST_WALK_S", 5)


def changed(data: bytes, drawn) -> bytes:
    """Return bytes of which pieces were replaced: at a share of the length, by these bytes, so many taken out."""
    for share, piece, taken in drawn:
        at = int(share * len(data))
        data = data[:at] + piece + data[at + taken :]
    return data


def check(folder: Path) -> None:
    """Check a project, and read it where nothing stops: faults and values are all that may come out."""
    faults = check_project(folder)
    if not any(fault.weight == "stop" for fault in faults):
        values, _ = read_project(folder)
        assert len(values.inventory) > 0


def seed(name: str, folder: Path) -> Path:
    """Write the project of a seed; return its file that is changed."""
    if name in SEEDS:
        return build(SEEDS[name][0], folder) / SEEDS[name][1]
    if name == "parquet" and find_spec("pyarrow") is None:
        pytest.skip("pyarrow (extra parquet) is not installed")
    MADE[name][0](folder)
    return folder / MADE[name][1]


@pytest.mark.parametrize("name", MADE)
def test_a_seed_is_in_order(tmp_path, name):
    path = seed(name, tmp_path / "project")
    assert path.is_file()
    assert [fault.sentence() for fault in check_project(tmp_path / "project") if fault.weight != "assumed"] == []


@pytest.mark.long
@pytest.mark.timeout(900)
@pytest.mark.filterwarnings("ignore::RuntimeWarning")
@pytest.mark.parametrize("name", [*SEEDS, *MADE])
def test_changed_bytes_end_in_faults_or_values(tmp_path, name):
    folder = tmp_path / "project"
    path = seed(name, folder)
    data = path.read_bytes()
    times = []

    @FUZZ
    @given(changes)
    def fuzz(drawn):
        path.write_bytes(changed(data, drawn))
        before = sorted(each.name for each in folder.rglob("*"))
        start = time.perf_counter()
        check(folder)
        times.append(time.perf_counter() - start)
        assert sorted(each.name for each in folder.rglob("*")) == before

    fuzz()
    print(f"\n{name}: {len(times)} files, slowest {max(times):.2f} s")
    assert max(times) < SLOWEST_S


cells = st.text(st.characters(codec="utf-8"), max_size=12) | st.sampled_from(
    ["P01", "p 01", "Rosa hybrida", "700003.0", "4080000", "-96.7", "36°52'N", "nan", "2026-05-18", "18.05.2026", "clean",
     "infected lab", "1e9", "0", "", '"', "=1+1", "\ufeff"]
)  # fmt: skip
tables = st.lists(st.lists(cells, max_size=6), max_size=8)


@pytest.mark.long
@pytest.mark.timeout(900)
@pytest.mark.parametrize("name", ["inventory.csv", "survey.csv"])
def test_tables_of_any_cells_end_in_faults_or_values(tmp_path, name):
    whole = {"inventory.csv": INVENTORY, "survey.csv": SURVEY}[name]
    folder = make_project(tmp_path / "project", PROJECT + "[settings.inputs]\nmost_rows_aside = 1.0\n")

    @FUZZ
    @given(tables, st.sampled_from([",", ";", "\t"]), st.sampled_from(["utf-8", "utf-16", "utf-8-sig"]), st.booleans())
    def fuzz(rows, separator, encoding, with_header):
        text = "\n".join(separator.join(row) for row in rows)
        start = whole.replace(",", separator) if with_header else ""
        (folder / name).write_bytes((start + text).encode(encoding))
        check(folder)

    fuzz()
