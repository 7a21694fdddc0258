"""The input files of the demo project, each in the columns and words of the office that keeps it."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import demo_files as files
import demo_town
import geopandas
import numpy as np
import shapely
from demo_surveys import JULY, MAY, SEPTEMBER, Finding, Job
from demo_town import Plants, owner_of, to_utm
from demo_weather import Hours

WIDE_WORDS = {
    ("clean", "visual"): "ok",
    ("clean", "lab"): "lab negative",
    ("suspect", "visual"): "doubtful",
    ("infected", "typical_symptoms"): "broom",
    ("infected", "lab"): "lab positive",
}
WIDE_COLUMNS = {MAY: "MAY26", JULY: "JUL26", SEPTEMBER: "SEP26"}
GONE, NOT_THERE = "taken out", "not there"
PRIVATE_BEDS = ("B10", "B11")
"""The residents' association walks its own beds and enters all three surveys in the wide table."""
HEIGHT_AND_SPREAD_M = {"L": (1.6, 1.4), "XL": (5.5, 4.0)}


def write_roses(path: Path, roses: Plants) -> None:
    """Write the single roses as the parks department keeps them: GeoPackage, its own column names."""
    table = files.frame(
        {
            "ROSE_NO": roses.plant_id,
            "TAXON": roses.taxon,
            "SUSCEPT": [demo_town.SUSCEPTIBILITY[taxon] for taxon in roses.taxon],
            "SIZE_CL": roses.size,
            "BED_NO": roses.bed,
            "SITE_NO": roses.site,
            "KEPT_BY": [owner_of(site) for site in roses.site],
            "PLANTED": roses.planted_on,
            "BATCH": [f"N{date[2:4]}-{bed[1:]}" for date, bed in zip(roses.planted_on, roses.bed, strict=True)],
            "GPS_ERR_M": np.where(roses.bed == demo_town.GARDEN_KEY, 0.1, 0.3),
            "REMARK": roses.note,
        },
        shapely.points(roses.easting, roses.northing),
    )
    files.write_geopackage(path, "roses", table)


def write_counted_bed(path: Path) -> None:
    """Write the bed of which only outline and count are known."""
    table = files.frame(
        {
            "bed": [demo_town.COUNTED_KEY],
            "taxon": ["Rosa × hybrida"],
            "plants": [demo_town.COUNTED_PLANTS],
            "size": ["M"],
            "site": [demo_town.COUNTED_SITE],
            "owner": [owner_of(demo_town.COUNTED_SITE)],
            "planted": ["2023-04-11"],
            "remark": ["counted, not surveyed plant by plant"],
        },
        [to_utm(demo_town.COUNTED_OUTLINE)],
    )
    files.write_geojson(path, table)


def comma(value: float, places: int) -> str:
    """Return a number with a decimal comma."""
    return f"{value:.{places}f}".replace(".", ",")


def write_ornamentals(path: Path, trees: Plants) -> None:
    """Write trees and shrubs as a spreadsheet of another country's habits exports them; three rows are faulty."""
    points = geopandas.GeoSeries(shapely.points(trees.easting, trees.northing), crs=demo_town.CRS)
    degrees = points.to_crs("EPSG:4326")
    rows = []
    for index, (lon, lat) in enumerate(zip(degrees.x, degrees.y, strict=True)):
        height, spread = HEIGHT_AND_SPREAD_M[trees.size[index]]
        rows.append([trees.plant_id[index], trees.taxon[index], comma(lon, 7), comma(lat, 7), comma(height, 1),
                     comma(spread, 1), trees.site[index], owner_of(trees.site[index]), trees.note[index]])  # fmt: skip
    first = rows[11]
    rows.insert(40, [first[0], *rows[39][1:]])  # a number given twice
    rows.insert(
        120, ["T-301", "Tilia cordata", "", "", "5,5", "4,0", "", demo_town.PARKS, "place still to be measured"]
    )
    rows.insert(
        200, ["T-302", "Acer rubrum", rows[199][3], rows[199][2], *rows[199][4:]]
    )  # longitude and latitude swapped
    header = ["Number", "Scientific name", "Longitude", "Latitude", "Height m", "Spread m", "Site", "Kept by", "Street"]
    files.write_table(path, header, rows, delimiter=";", encoding="utf-8-sig")


def without_private(findings: list[Finding]) -> list[Finding]:
    """Return findings outside the residents' association's beds."""
    return [each for each in findings if each.bed not in PRIVATE_BEDS]


def write_may(path: Path, findings: list[Finding]) -> None:
    """Write the survey of May: CSV in spreadmap's own words; four rows are faulty."""
    rows = [[each.plant_id, each.day.isoformat(), each.observer, each.method, each.pest_system, each.status,
             each.evidence, each.symptoms, each.sample_id, "detection", ""]
            for each in without_private(findings)]  # fmt: skip
    rows.insert(25, ["R0026", "2026-05-18", "OBS-2", "visual", "rose_rosette", "infcted", "typical_symptoms", "", "",
                     "detection", "typing slip"])  # fmt: skip
    rows.insert(300, ["R9999", "2026-05-18", "OBS-3", "visual", "rose_rosette", "clean", "visual", "", "", "detection",
                      "label unreadable"])  # fmt: skip
    rows.insert(
        700, ["R0701", "2026-05-32", "OBS-1", "visual", "rose_rosette", "clean", "visual", "", "", "detection", ""]
    )
    rows.insert(900, ["", "2026-05-18", "OBS-1", "visual", "rose_rosette", "suspect", "visual", "red shoots only", "",
                      "detection", "no label"])  # fmt: skip
    header = ["plant_id", "inspected_on", "observer", "method", "pest_system", "status", "evidence", "symptoms",
              "sample_id", "survey_kind", "note"]  # fmt: skip
    files.write_table(path, header, rows)


def write_july(path: Path, findings: list[Finding]) -> None:
    """Write the survey of July: a workbook with real dates and column names of its own; one row is faulty."""
    rows = [[each.plant_id, each.day, each.observer, each.method, each.pest_system, each.status, each.evidence,
             each.symptoms, each.sample_id] for each in without_private(findings)]  # fmt: skip
    rows.insert(500, ["R0500", "13 July", "OBS-2", "visual", "rose_rosette", "clean", "visual", "", ""])
    header = ["Plant", "Date", "Walked by", "How", "Pest", "Status", "Evidence", "Seen", "Sample"]
    files.write_sheet(path, header, rows, "July")


def write_wide(path: Path, roses: Plants, findings: dict[dt.date, list[Finding]], jobs: list[Job], lost: str) -> None:
    """Write the wide table: one row per rose, one column per date, words of the surveyors.

    Everyone's survey of September, and all three of the residents' association. An empty cell: not inspected.
    """
    words: dict[tuple[str, dt.date], str] = {
        (each.plant_id, day): WIDE_WORDS[each.status, each.evidence]
        for day, those in findings.items()
        for each in those
        if day == SEPTEMBER or each.bed in PRIVATE_BEDS
    }
    words |= {
        (job.plant_id, SEPTEMBER): GONE for job in jobs if job.done and job.regrowth_on is None and job.roots == "yes"
    }
    words[lost, SEPTEMBER] = NOT_THERE
    rows = [[key, bed, *(words.get((key, day), "") for day in WIDE_COLUMNS)]
            for key, bed in zip(roses.plant_id, roses.bed, strict=True)]  # fmt: skip
    files.write_table(path, ["ROSE_NO", "BED_NO", *WIDE_COLUMNS.values()], rows)


def write_bed_counts(path: Path, counts: dict[dt.date, tuple[int, int]]) -> None:
    """Write the inspections of the counted bed: how many plants were looked at, how many were infected."""
    rows = [[demo_town.COUNTED_KEY, day.isoformat(), "OBS-3", "rose_rosette", looked, found]
            for day, (looked, found) in counts.items()]  # fmt: skip
    files.write_table(path, ["bed_id", "inspected_on", "observer", "pest_system", "n_inspected", "n_infected"], rows)


def write_work_log(path: Path, jobs: list[Job]) -> None:
    """Write what the crew did."""
    rows = [[job.plant_id, job.day.isoformat(), "yes" if job.done else "no", job.roots,
             job.regrowth_on.isoformat() if job.regrowth_on else "", job.note] for job in jobs]  # fmt: skip
    files.write_table(path, ["plant_id", "done_on", "done", "roots_complete", "regrowth_on", "note"], rows)


def write_sites(path: Path) -> None:
    """Write the sites as a zipped Shapefile with a folder inside."""
    table = files.frame(
        {
            "SITE_NO": [site.key for site in demo_town.SITES],
            "NAME": [site.name for site in demo_town.SITES],
            "OWNER": [site.owner for site in demo_town.SITES],
            "ACCESS": [site.access for site in demo_town.SITES],
            "SET_UP": [site.set_up for site in demo_town.SITES],
            "PRIVATE": ["yes" if site.is_private else "no" for site in demo_town.SITES],
        },
        [to_utm(site.outline) for site in demo_town.SITES],
    )
    files.write_zipped_shapefile(path, "tallowmere_sites", "sites", table)


def write_reservoirs(path: Path) -> None:
    """Write the stands of wild roses."""
    stands = demo_town.STANDS
    table = files.frame(
        {
            "reservoir_id": [stand.key for stand in stands],
            "host": ["Rosa multiflora"] * len(stands),
            "plants_per_100_m2": [stand.per_100_m2 or None for stand in stands],
            "count": [stand.plants or None for stand in stands],
            "chance_infected": [stand.chance_infected for stand in stands],
            "note": [stand.note for stand in stands],
        },
        [to_utm(stand.place) for stand in stands],
    ).astype({"plants_per_100_m2": object, "count": object})
    files.write_geojson(path, table)


def write_screens(path: Path) -> None:
    """Write screens and hedges as a plain Shapefile."""
    table = files.frame(
        {
            "SCREEN_NO": [key for key, *_ in demo_town.SCREENS],
            "HEIGHT_M": [height for _, _, height, _, _ in demo_town.SCREENS],
            "PLANTED": [planted for _, _, _, planted, _ in demo_town.SCREENS],
            "REMARK": [remark for *_, remark in demo_town.SCREENS],
        },
        [to_utm(line) for _, line, *_ in demo_town.SCREENS],
    )
    files.write_shapefile(path, table)


def write_hours(path: Path, hours: Hours, random: np.random.Generator) -> None:
    """Write the hourly record in local clock time: two outages, single gaps, calms as 0 from 0, VRB where variable."""
    lost = random.random(len(hours.local_time)) < 0.004
    lost[1200:1226] = True
    lost[3400:3409] = True
    rows = []
    for index, time in enumerate(hours.local_time):
        if lost[index]:
            continue
        came_from = hours.wind_from_deg[index]
        calm = hours.speed_m_s[index] == 0
        vane = "0" if calm else "VRB" if np.isnan(came_from) else f"{came_from:.0f}"
        rows.append([f"{time:%Y-%m-%d %H:%M}", vane, hours.speed_m_s[index], hours.gust_m_s[index],
                     hours.temperature_c[index], hours.rain_mm[index]])  # fmt: skip
    header = ["local time", "wind from deg", "wind m/s", "gust m/s", "air C", "rain mm"]
    files.write_table(path, header, rows)


def write_temperature(path: Path, days: list[tuple[dt.date, float, float]]) -> None:
    """Write the daily extremes of temperature."""
    files.write_table(path, ["day", "min_c", "max_c"], [[day.isoformat(), low, high] for day, low, high in days])
