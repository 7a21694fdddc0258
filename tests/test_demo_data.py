"""The demo's script gives what is committed, twice the same, and its simulator agrees with closed forms."""

from __future__ import annotations

import ast
import csv
import datetime as dt
import importlib
import subprocess
import sys
import tomllib
import zipfile
from pathlib import Path
from types import ModuleType

import geopandas
import numpy as np
import pandas as pd
import pytest
import rasterio
from scipy.cluster.hierarchy import fcluster, linkage
from scipy.integrate import quad
from scipy.stats import norm

from spreadmap.io.read_project import read_project

DEMO = Path(__file__).resolve().parents[1] / "data_demo"
INPUTS = DEMO / "project" / "inputs"
WRITTEN_BY_LIBRARIES = {".gpkg", ".zip", ".dbf", ".shp", ".shx", ".prj", ".cpg", ".tif", ".xlsx"}
"""Bytes of these depend on the versions of GDAL, SQLite and zlib; their values are compared instead."""


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder made by a run of the script in a process of its own."""
    return run_script(tmp_path_factory.mktemp("made"))


def run_script(folder: Path) -> Path:
    subprocess.run([sys.executable, "-B", str(DEMO / "make_demo.py"), str(folder)], check=True, capture_output=True)
    return folder


@pytest.fixture
def spread(monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    """Return the demo's simulator."""
    monkeypatch.syspath_prepend(str(DEMO))
    monkeypatch.setattr(sys, "dont_write_bytecode", True)
    return importlib.import_module("demo_spread")


def names_in(folder: Path) -> set[str]:
    return {str(path.relative_to(folder)) for path in (folder / "project").rglob("*") if path.is_file()} | {
        name for name in ("README.md", "truth.csv") if (folder / name).exists()
    }


def read_shapes(path: Path) -> geopandas.GeoDataFrame:
    if path.suffix == ".zip":
        inner = next(name for name in zipfile.ZipFile(path).namelist() if name.endswith(".shp"))
        return geopandas.read_file(f"/vsizip/{path}/{inner}")
    return geopandas.read_file(path)


@pytest.mark.long
def test_two_runs_give_the_same_bytes(made: Path, tmp_path: Path) -> None:
    first, second = made, run_script(tmp_path / "again")
    assert names_in(first) == names_in(second)
    assert [
        name for name in sorted(names_in(first)) if (first / name).read_bytes() != (second / name).read_bytes()
    ] == []


def test_the_committed_demo_is_what_the_script_makes(made: Path) -> None:
    """Made by another run: the same bytes in texts, the same values in what libraries write."""
    new = made
    committed = {
        name for name in names_in(DEMO) if not name.startswith(("project/runs", "project/.", "project/history"))
    }
    assert names_in(new) <= committed
    for name in sorted(names_in(new)):
        if Path(name).suffix not in WRITTEN_BY_LIBRARIES:
            assert (new / name).read_bytes() == (DEMO / name).read_bytes(), name
    for name in ("roses.gpkg", "sites.zip", "screens.shp"):
        ours, theirs = read_shapes(INPUTS / name), read_shapes(new / "project" / "inputs" / name)
        pd.testing.assert_frame_equal(pd.DataFrame(ours), pd.DataFrame(theirs))
        assert ours.crs == theirs.crs
    sheets = [pd.read_excel(folder / "survey_2026_07.xlsx", engine="calamine", dtype=str)
              for folder in (INPUTS, new / "project" / "inputs")]  # fmt: skip
    pd.testing.assert_frame_equal(*sheets)
    with (
        rasterio.open(INPUTS / "wind_months.tif") as ours,
        rasterio.open(new / "project/inputs/wind_months.tif") as theirs,
    ):
        np.testing.assert_array_equal(ours.read(), theirs.read())
        assert (ours.transform, ours.crs, ours.descriptions) == (theirs.transform, theirs.crs, theirs.descriptions)


def test_the_demo_has_the_size_it_says(made: Path) -> None:
    roses, bed = read_shapes(INPUTS / "roses.gpkg"), read_shapes(INPUTS / "counted_bed.geojson")
    assert 2400 <= len(roses) + int(bed["plants"].sum()) <= 2600
    assert len(set(roses["BED_NO"]) | set(bed["bed"])) == 14
    assert roses["ROSE_NO"].is_unique
    with (INPUTS / "ornamentals.csv").open(encoding="utf-8-sig", newline="") as file:
        trees = {row["Number"] for row in csv.DictReader(file, delimiter=";")}
    assert len(trees - {"T-301", "T-302"}) == 300
    may = pd.read_csv(INPUTS / "survey_2026_05.csv", dtype=str)["inspected_on"].value_counts().index[0]
    july = pd.read_excel(INPUTS / "survey_2026_07.xlsx", engine="calamine")["Date"].mode()[0].date().isoformat()
    with (DEMO / "project" / "spreadmap.toml").open("rb") as file:
        dates = next(each["dates"] for each in tomllib.load(file)["inputs"]["surveys"] if "dates" in each)
    assert [day.isoformat() for day in dates.values()] == [may, july, "2026-09-14"]
    assert pd.read_csv(INPUTS / "survey_2026_09.csv", dtype=str).columns[2:].tolist() == list(dates)
    assert sum((made / name).stat().st_size for name in names_in(made)) < 3e6


def test_only_the_faults_that_are_meant_are_found() -> None:
    """Rows put in by hand in demo_tables.py: header is row 1, so an inserted row i of the list is row i + 2."""
    inputs, _ = read_project(DEMO / "project")
    found = {(Path(each.file).name, each.row): each.column for each in inputs.faults if each.weight == "aside"}
    assert found == {
        ("ornamentals.csv", 42): "Number",
        ("ornamentals.csv", 122): "Longitude",
        ("ornamentals.csv", 202): "Longitude",
        ("survey_2026_05.csv", 27): "status",
        ("survey_2026_05.csv", 302): "plant_id",
        ("survey_2026_05.csv", 702): "inspected_on",
        ("survey_2026_05.csv", 902): "plant_id",
        ("survey_2026_07.xlsx", 502): "Date",
    }
    assert {(Path(each.file).name, each.row) for each in inputs.rejected} == set(found)
    assert [each for each in inputs.faults if each.weight == "stop"] == []
    assert int(inputs.inventory.is_synthetic.sum()) == 180


def test_confirmed_plants_form_a_few_foci() -> None:
    """The state in September by simple rules: confirmed once, not taken out; chained within 100 m."""
    wide = pd.read_csv(INPUTS / "survey_2026_09.csv", dtype=str, keep_default_na=False)
    may = pd.read_csv(INPUTS / "survey_2026_05.csv", dtype=str, keep_default_na=False)
    july = pd.read_excel(INPUTS / "survey_2026_07.xlsx", engine="calamine", dtype=str, keep_default_na=False)
    confirmed = set(wide.loc[wide.iloc[:, 2:].isin(["broom", "lab positive"]).any(axis=1), "ROSE_NO"])
    confirmed |= set(may.loc[may["status"] == "infected", "plant_id"]) | set(
        july.loc[july["Status"] == "infected", "Plant"]
    )
    log = pd.read_csv(INPUTS / "work_log.csv", dtype=str, keep_default_na=False)
    assert set(log["roots_complete"]) == {"yes", "partly", "no"}
    assert (log["regrowth_on"] != "").sum() == 1
    roses = read_shapes(INPUTS / "roses.gpkg")
    left = roses[roses["ROSE_NO"].isin(confirmed - set(log.loc[log["done"] == "yes", "plant_id"]))]
    assert 60 <= len(left) <= 120
    focus = fcluster(linkage(np.c_[left.geometry.x, left.geometry.y], "single"), 100, "distance")
    assert 3 <= len(set(focus)) <= 4


def test_nothing_of_spreadmap_is_imported() -> None:
    for path in DEMO.glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            names = [each.name for each in node.names] if isinstance(node, ast.Import) else []
            names += [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            assert not [name for name in names if name.split(".")[0] == "spreadmap"], path.name


def test_true_parameters_are_stated(spread: ModuleType) -> None:
    assert (spread.KERNEL_MEAN_M, spread.KERNEL_SHAPE_M, spread.WIND_INFLUENCE) == (14.0, 4.0, 0.7)
    text = (DEMO / "README.md").read_text(encoding="utf-8")
    for words in ("mean 14 m, shape 4 m", "| wind influence; near radius | 0.7; 1 m |", "median 69 days, σ 0.71",
                  f"| rate | {spread.RATE_M2_PER_DAY:g} m² per day",
                  f"{spread.BACKGROUND_PER_SEASON:g} infections"):  # fmt: skip
        assert words in text


def test_density_of_distances_is_the_wald_law(spread: ModuleType) -> None:
    """The mass within a radius is the inverse Gaussian distribution function, written with the normal one."""
    mean, shape, radius = 14.0, 4.0, 40.0
    inside, _ = quad(lambda r: 2 * np.pi * r * float(spread.location_kernel(np.array(r), spread.Truth())), 0.5, radius)

    def below(r: float) -> float:
        root = np.sqrt(shape / r)
        return norm.cdf(root * (r / mean - 1)) + np.exp(2 * shape / mean) * norm.cdf(-root * (r / mean + 1))

    assert inside == pytest.approx(below(radius) - below(0.5), rel=1e-6)


def test_wind_moves_arrivals_and_makes_none(spread: ModuleType) -> None:
    bearing = np.arange(0, 360, 0.5)
    peak = np.where(np.arange(36) == 9, 36 / (2 * np.pi), 0.0)  # all air moves east
    factor = spread.wind_factor(np.full(720, 20.0), bearing, 0.0, spread.Rose(peak, 90.0), spread.Truth())
    assert factor.mean() == pytest.approx(1.0, abs=1e-12)
    assert factor[180] == pytest.approx(0.3 + 0.7 * 36)  # east: still 0.3 of the even part
    assert factor[540] == pytest.approx(0.3)  # west
    turned = spread.wind_factor(np.full(720, 20.0), bearing, 90.0, spread.Rose(peak, 90.0), spread.Truth())
    assert turned[360] == pytest.approx(factor[180])  # turned clockwise from east to south
    still = spread.wind_factor(np.array([1e-6]), np.array([270.0]), 0.0, spread.Rose(peak, 90.0), spread.Truth())
    assert still[0] == pytest.approx(1.0)


def test_one_source_infects_as_many_as_the_closed_form_says(spread: ModuleType) -> None:
    """Expected number infected = sum of 1 - exp(-hazard), hazards reckoned by hand; receivers never send here."""
    rings = np.repeat([2.0, 5.0, 10.0, 20.0, 40.0], 60)
    turn = np.tile(np.arange(60) * np.pi / 30, 5)
    places = np.vstack([[0.0, 0.0], np.c_[rings * np.sin(turn), rings * np.cos(turn)]])
    truth = spread.Truth(rate_m2_per_day=5.0, background_per_season=0.0, days_to_infectious=0)
    sends = np.r_[1.0, np.zeros(300)]
    first, last = dt.date(2026, 7, 1), dt.date(2026, 9, 9)  # 70 days, each of full season
    counts = []
    for seed in range(200):
        outbreak = spread.Outbreak(
            places=places,
            receives=np.ones(301),
            sends=sends,
            random=np.random.default_rng(seed),
            today=first,
            truth=truth,
        )
        outbreak.infect(0)
        outbreak.advance(last)
        counts.append(int(outbreak.is_infected()[1:].sum()))
    density = np.sqrt(4.0 / (2 * np.pi * rings**3)) * np.exp(-4.0 * (rings - 14.0) ** 2 / (2 * 14.0**2 * rings))
    chance = 1 - np.exp(-5.0 * 70 * density / (2 * np.pi * rings))
    error = np.sqrt((chance * (1 - chance)).sum() / 200)
    assert 0.1 < chance.sum() / 300 < 0.9
    assert np.mean(counts) == pytest.approx(chance.sum(), abs=4 * error)


def test_a_screen_and_a_removal_do_what_they_say(spread: ModuleType) -> None:
    places = np.array([[0.0, 0.0], [10.0, 0.0], [-10.0, 0.0]])
    screen = (np.array([5.0, -5.0]), np.array([5.0, 5.0]), 0.5)
    truth = spread.Truth(rate_m2_per_day=1e-6, background_per_season=0.0, days_to_infectious=0)
    outbreak = spread.Outbreak(
        places=places,
        receives=np.ones(3),
        sends=np.ones(3),
        random=np.random.default_rng(1),
        today=dt.date(2026, 7, 1),
        truth=truth,
        screens=(screen,),
    )
    outbreak.infect(0)
    outbreak.advance(dt.date(2026, 7, 11))
    assert outbreak.hazard[1] == pytest.approx(outbreak.hazard[2] / 2)
    before = outbreak.hazard[2]
    outbreak.remove(0, 0.3)
    outbreak.advance(dt.date(2026, 7, 21))
    assert outbreak.hazard[2] - before == pytest.approx(0.3 * before)
