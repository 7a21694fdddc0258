"""Makes projects of any size for tests: beds in rows, a few foci, one wild stand. Values only, and as files."""

import datetime as dt

import numpy as np
import shapely

from spreadmap.io.pest_systems import read_pest_systems
from spreadmap.values.arrays import empty_text, no_dates
from spreadmap.values.inventory import Inventory, Reservoirs, Screens, Sites
from spreadmap.values.project import ProjectInputs
from spreadmap.values.surveys import Surveys, WorkLog

AS_OF = dt.date(2026, 9, 14)
WEST, SOUTH = 500_000.0, 5_400_000.0


def texts(values):
    return np.array(values, dtype=object)


def bed_positions(plants, rng):
    """Beds of up to forty plants in two rows a metre apart, 60 m between beds."""
    beds = int(np.ceil(plants / 40))
    side = int(np.ceil(np.sqrt(beds)))
    bed = np.repeat(np.arange(beds), 40)[:plants]
    within = np.tile(np.arange(40), beds)[:plants]
    easting = WEST + (bed % side) * 60.0 + (within % 20) * 1.0 + rng.normal(0, 0.05, plants)
    northing = SOUTH + (bed // side) * 60.0 + (within // 20) * 1.0 + rng.normal(0, 0.05, plants)
    return bed, easting, northing


def make_inventory(plants, rng):
    bed, easting, northing = bed_positions(plants, rng)
    return Inventory(
        plant_id=texts([f"{index:06d}" for index in range(plants)]),
        easting=easting,
        northing=northing,
        longitude=9 + (easting - WEST) / 73_000,
        latitude=48.75 + (northing - SOUTH) / 111_000,
        host=texts(["Rosa cultivar"] * plants),
        susceptibility=np.ones(plants),
        size_class=texts(rng.choice(["S", "M", "L", "XL"], plants).tolist()),
        bed_id=texts([f"bed {number}" for number in bed]),
        site_id=texts([f"site {number % 3}" for number in bed]),
        owner=texts(["parks department"] * plants),
        planted_on=no_dates(plants),
        source_batch=empty_text(plants),
        position_precision_m=np.full(plants, 1.0),
        is_synthetic=np.zeros(plants, dtype=bool),
        note=empty_text(plants),
    )


def make_surveys(inventory, confirmed, rng):
    n = len(inventory)
    centre = rng.integers(0, n)
    far = np.hypot(inventory.easting - inventory.easting[centre], inventory.northing - inventory.northing[centre])
    sick = np.argsort(far + rng.exponential(20.0, n))[:confirmed]
    status = texts(["clean"] * n)
    status[sick] = "infected"
    return Surveys(
        plant_id=inventory.plant_id,
        inspected_on=np.full(n, np.datetime64(AS_OF), dtype="datetime64[D]"),
        observer=texts(["A"] * n),
        method=texts(["visual"] * n),
        pest_system=texts(["rose_rosette"] * n),
        status=status,
        evidence=np.where(status == "infected", "typical_symptoms", "visual").astype(object),
        symptoms=empty_text(n),
        sample_id=empty_text(n),
        survey_kind=texts(["monitoring"] * n),
        note=empty_text(n),
        file=texts(["survey.csv"] * n),
        row=np.arange(n) + 2,
        is_bed_count=np.zeros(n, dtype=bool),
    )


def make_project(plants, confirmed, seed, wind_hours=None):
    rng = np.random.default_rng(seed)
    inventory = make_inventory(plants, rng)
    none, nothing = empty_text(0), np.zeros(0)
    west, south = inventory.easting.min(), inventory.northing.min()
    return ProjectInputs(
        name="Test town",
        crs="EPSG:32632",
        longitude_deg=9.0,
        latitude_deg=48.75,
        as_of=AS_OF,
        next_survey_on=dt.date(2026, 10, 12),
        horizon_on=dt.date(2026, 12, 31),
        inventory=inventory,
        surveys=make_surveys(inventory, confirmed, rng),
        work_log=WorkLog(
            plant_id=none, done_on=no_dates(0), done=nothing, roots_complete=none, regrowth_on=no_dates(0), note=none
        ),
        pest_systems=read_pest_systems(),
        reservoirs=Reservoirs(
            reservoir_id=texts(["stand 1"]),
            geometry=(shapely.box(west + 25, south + 20, west + 35, south + 30),),
            plant_count=np.array([8.0]),
            chance_infected=np.array([0.3]),
            host=texts(["Rosa multiflora"]),
            note=texts([""]),
        ),
        sites=Sites(
            site_id=texts(["site 0"]),
            geometry=(shapely.box(west - 5, south - 5, west + 50, south + 50),),
            name=texts(["First Green"]),
            owner=texts(["parks department"]),
            access=texts([""]),
            set_up=texts(["bed"]),
            is_private=np.array([False]),
        ),
        screens=Screens(screen_id=none, geometry=(), height_m=nothing, planted_on=no_dates(0), factor=nothing),
        wind_hours=wind_hours,
    )


PROJECT_FILE = """
[project]
name = "Test town"
crs = "EPSG:32632"
next_survey_on = 2026-10-12

[[inputs.inventory]]
file = "inventory.csv"
crs = "EPSG:32632"

[[inputs.surveys]]
file = "survey.csv"
"""


def write_project_files(folder, project, more=""):
    """Write a made project as a folder that can be read back: the columns that a desk would export."""
    inventory, surveys = project.inventory, project.surveys
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "spreadmap.toml").write_text(PROJECT_FILE + more, encoding="utf-8")
    plants = zip(
        inventory.plant_id, inventory.easting, inventory.northing, inventory.host, inventory.size_class,
        inventory.bed_id, inventory.site_id, strict=True,
    )  # fmt: skip
    lines = ["plant_id,easting,northing,host,size_class,bed_id,site_id"]
    lines += [
        f"{key},{east:.3f},{north:.3f},{host},{size},{bed},{site}" for key, east, north, host, size, bed, site in plants
    ]
    (folder / "inventory.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    rows = zip(
        surveys.plant_id, surveys.inspected_on, surveys.pest_system, surveys.status, surveys.evidence, strict=True
    )
    lines = ["plant_id,inspected_on,pest_system,status,evidence"]
    lines += [",".join(map(str, row)) for row in rows]
    (folder / "survey.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    return folder
