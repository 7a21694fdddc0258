"""Make the demo project: the invented town of Tallowmere, its roses, its epidemic and what was written down of it.

    python data_demo/make_demo.py [FOLDER]

writes `FOLDER/project/` (what a run of spreadmap reads), `FOLDER/truth.csv` (what really happened, for comparison) and
`FOLDER/README.md`; FOLDER is `data_demo` itself unless given. Imports nothing of spreadmap. The same bytes every time.
"""

from __future__ import annotations

import datetime as dt
import shutil
import sys
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

import demo_spread
import demo_surveys
import demo_tables
import demo_town
import numpy as np
import shapely
from demo_files import fix_stamps, frame, write_table, write_wind_raster
from demo_spread import Outbreak, Truth, monthly_roses
from demo_surveys import JULY, MAY, SEPTEMBER, Finding, Job
from demo_town import ORIGIN_EASTING, ORIGIN_NORTHING, Plants
from demo_weather import Hours, blow_one_season, convergence_deg, daily_extremes, monthly_mean_vectors

SEED = 80
"""Chosen among the first hundred numbers so that the outbreak has four foci by September 2026."""
FIRST_INFECTED_ON, FIRST_INFECTED = dt.date(2025, 7, 15), 2
FIRST_PLACE = (400.0, 352.0)
"""The first plants are those of the long bed that stand nearest to this place by the river [m, town's frame]."""
STAND_LATTICE_M = 4.0
HERE = Path(__file__).resolve().parent


README = (HERE / "readme_text.md").read_text(encoding="utf-8")
"""The page about the demo, with gaps for what the script knows."""


@dataclass(frozen=True)
class Story:
    """Everything that happened, before it is written to files."""

    roses: Plants
    counted: Plants
    trees: Plants
    hours: Hours
    outbreak: Outbreak
    findings: dict[dt.date, list[Finding]]
    galls: dict[dt.date, list[Finding]]
    bed_counts: dict[dt.date, tuple[int, int]]
    jobs: list[Job]
    marked: np.ndarray


def stream(number: int) -> np.random.Generator:
    """Return one of the independent streams of chance of the demo."""
    return np.random.default_rng([SEED, number])


def lattice_of_stands() -> tuple[np.ndarray, np.ndarray]:
    """Return the points that stand for the wild roses, and how many infected plants each stands for."""
    places, strengths = [], []
    for stand in demo_town.STANDS:
        if stand.place.geom_type == "Point":
            points, plants = np.array(stand.place.coords), float(stand.plants)
        else:
            west, south, east, north = stand.place.bounds
            half = STAND_LATTICE_M / 2
            across, along = (
                np.arange(west + half, east, STAND_LATTICE_M),
                np.arange(south + half, north, STAND_LATTICE_M),
            )
            grid = np.stack(np.meshgrid(across, along), axis=-1).reshape(-1, 2)
            points = grid[shapely.contains_xy(stand.place, grid[:, 0], grid[:, 1])]
            plants = stand.per_100_m2 * stand.place.area / 100
        places.append(points)
        strengths.append(np.full(len(points), plants * stand.chance_infected / len(points)))
    return np.vstack(places), np.concatenate(strengths)


def screens_that_count() -> tuple[tuple[np.ndarray, np.ndarray, float], ...]:
    """Return the straight pieces of the tall screens with their factor."""
    return tuple(
        (np.array(first), np.array(last), demo_town.SCREEN_FACTOR)
        for _, line, height, _, _ in demo_town.SCREENS
        if height >= demo_town.SCREEN_LEAST_HEIGHT_M
        for first, last in zip(line.coords[:-1], line.coords[1:], strict=True)
    )


def middle_in_degrees() -> tuple[float, float]:
    """Return longitude and latitude of the middle of the town [deg]."""
    middle = frame({}, [demo_town.to_utm(shapely.Point(750, 750))]).to_crs("EPSG:4326").geometry.iloc[0]
    return float(middle.x), float(middle.y)


def start_outbreak(everything: Plants, hours: Hours) -> Outbreak:
    """Return the epidemic on the day it begins by the river."""
    places = np.c_[everything.easting - ORIGIN_EASTING, everything.northing - ORIGIN_NORTHING]
    size = np.array([demo_town.SIZE_FACTOR[each] for each in everything.size])
    susceptibility = np.array([demo_town.SUSCEPTIBILITY[taxon] for taxon in everything.taxon])
    stand_places, stand_strength = lattice_of_stands()
    outbreak = Outbreak(
        places=places,
        receives=size * susceptibility,
        sends=size,
        random=stream(5),
        today=FIRST_INFECTED_ON,
        truth=Truth(),
        roses=monthly_roses(hours, convergence_deg(*middle_in_degrees())),
        stand_places=stand_places,
        stand_strength=stand_strength,
        screens=screens_that_count(),
    )
    gap = np.hypot(*(places - FIRST_PLACE).T)
    for plant in np.argsort(gap, kind="stable")[:FIRST_INFECTED]:
        outbreak.infect(int(plant))
    return outbreak


def tell_story() -> Story:
    """Return all that happened in Tallowmere from July 2025 to September 2026."""
    hours = blow_one_season(stream(1))
    roses, counted, trees = (
        demo_town.plant_roses(stream(2)), demo_town.plant_counted_bed(stream(3)), demo_town.plant_trees(stream(4))
    )  # fmt: skip
    outbreak = start_outbreak(demo_town.join(roses, counted), hours)
    random = stream(6)
    galled = stream(7).random(len(trees)) < demo_surveys.GALLED_MAPLES
    marked = np.zeros(len(roses), dtype=bool)
    findings, galls, bed_counts, jobs = {}, {}, {}, []
    for day in (MAY, JULY, SEPTEMBER):
        outbreak.advance(day)
        findings[day] = demo_surveys.inspect_roses(roses, outbreak, day, marked, random)
        bed_counts[day] = demo_surveys.inspect_counted_bed(outbreak, len(roses), random)
        if day != SEPTEMBER:
            galls[day] = demo_surveys.inspect_maples(trees, day, galled, random)
        if day == JULY:
            jobs = demo_surveys.plan_jobs(roses, marked, random)
            demo_surveys.do_jobs(jobs, roses, outbreak)
    return Story(roses, counted, trees, hours, outbreak, findings, galls, bed_counts, jobs, marked)


def lost_rose(story: Story) -> str:
    """Return the key of one healthy rose that stands no longer where it should in September."""
    infected = story.outbreak.is_infected()
    return next(
        key for index, key in enumerate(story.roses.plant_id) if story.roses.bed[index] == "B09" and not infected[index]
    )


def write_project(folder: Path, story: Story) -> None:
    """Write the input files of the demo project and its project file."""
    folder.mkdir(parents=True, exist_ok=True)
    shutil.copyfile(HERE / "project_file.toml", folder / "spreadmap.toml")
    inputs = folder / "inputs"
    inputs.mkdir(exist_ok=True)
    demo_tables.write_roses(inputs / "roses.gpkg", story.roses)
    demo_tables.write_counted_bed(inputs / "counted_bed.geojson")
    demo_tables.write_ornamentals(inputs / "ornamentals.csv", story.trees)
    demo_tables.write_may(inputs / "survey_2026_05.csv", story.findings[MAY] + story.galls[MAY])
    demo_tables.write_july(inputs / "survey_2026_07.xlsx", story.findings[JULY] + story.galls[JULY])
    demo_tables.write_wide(inputs / "survey_2026_09.csv", story.roses, story.findings, story.jobs, lost_rose(story))
    demo_tables.write_bed_counts(inputs / "survey_beds.csv", story.bed_counts)
    demo_tables.write_work_log(inputs / "work_log.csv", story.jobs)
    demo_tables.write_sites(inputs / "sites.zip")
    demo_tables.write_reservoirs(inputs / "wild_roses.geojson")
    demo_tables.write_screens(inputs / "screens.shp")
    demo_tables.write_hours(inputs / "wind_2025.csv", story.hours, stream(8))
    write_wind_raster(inputs / "wind_months.tif", monthly_mean_vectors(story.hours))
    days = daily_extremes(stream(9), dt.date(2026, 1, 1), SEPTEMBER)
    demo_tables.write_temperature(inputs / "temperature_2026.csv", days)


def write_truth(path: Path, story: Story) -> None:
    """Write what really happened to every rose that was infected."""
    outbreak, keys = story.outbreak, [*story.roses.plant_id, *story.counted.plant_id]
    lag = dt.timedelta(days=outbreak.truth.days_to_infectious)
    rows = [[keys[index], day.isoformat(), (day + lag).isoformat(), outbreak.symptoms_on[index] or ""]
            for index, day in enumerate(outbreak.infected_on) if day is not None]  # fmt: skip
    write_table(path, ["plant_id", "infected_on", "infectious_on", "symptoms_on"], rows)


def readme(story: Story) -> str:
    """Return the page that says what the demo is and what is true in it."""
    truth, standing = story.outbreak.truth, story.outbreak.standing[: len(story.roses)]
    confirmed = Counter(story.roses.bed[story.marked & standing])
    beds = ", ".join(f"{bed} {count}" for bed, count in sorted(confirmed.items()))
    stands, screens, season = demo_town.STANDS, demo_town.SCREENS, demo_spread.SEASON_WEIGHT
    return README.format(
        seed=SEED, crs=demo_town.CRS, roses=len(story.roses), counted=len(story.counted), trees=len(story.trees),
        total=len(story.roses) + len(story.counted), beds=len(set(story.roses.bed)) + 1, stands=len(stands),
        screens=len(screens), truth=truth, confirmed=sum(confirmed.values()), beds_confirmed=beds,
        infected=int(story.outbreak.is_infected().sum()), season=", ".join(f"{each:g}" for each in season),
        first=FIRST_INFECTED, first_on=FIRST_INFECTED_ON, jobs=len(story.jobs), surveys=demo_surveys,
        spread=demo_spread, screen_factor=demo_town.SCREEN_FACTOR, screen_height=demo_town.SCREEN_LEAST_HEIGHT_M,
        inspected=", ".join(f"{share:.0%}" for share in demo_surveys.INSPECTED_SHARE.values()),
        stand_list="; ".join(f"{s.key} {s.chance_infected:g}" for s in stands),
    )  # fmt: skip


def main(folder: Path = HERE) -> None:
    """Write the whole demo into a folder and say what was made."""
    fix_stamps()
    folder.mkdir(parents=True, exist_ok=True)
    story = tell_story()
    write_project(folder / "project", story)
    write_truth(folder / "truth.csv", story)
    (folder / "README.md").write_text(readme(story), encoding="utf-8", newline="\n")
    print(
        f"{len(story.roses)} roses, {len(story.counted)} counted, {len(story.trees)} ornamentals: {folder / 'project'}"
    )


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else HERE)
