"""Small project folders for the tests of reading: a place, a few plants, one survey; each part may be replaced."""

import datetime as dt
from pathlib import Path

import geopandas
import numpy as np
import shapely
import xlsxwriter

CRS = "EPSG:32614"
EAST, NORTH = 700_000.0, 4_080_000.0
"""A place in the middle of Kansas and Oklahoma; UTM zone 14 north."""

PROJECT = f"""
[project]
name = "Testing"
crs = "{CRS}"

[[inputs.inventory]]
file = "inventory.csv"
crs = "{CRS}"

[[inputs.surveys]]
file = "survey.csv"
pest_system = "rose_rosette"
"""

INVENTORY = "plant_id,host,easting,northing\n" + "".join(
    f"P{number:02d},Rosa hybrida,{EAST + 3 * number},{NORTH}\n" for number in range(1, 31)
)
SURVEY = "plant_id,inspected_on,status\nP01,2026-05-18,clean\nP02,2026-05-18,infected\n"


def make_project(folder: Path, toml: str = PROJECT, **files: str | bytes) -> Path:
    """Write a project; `files` are contents by name with `__` for the point, such as `inventory__csv`."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "spreadmap.toml").write_text(toml, encoding="utf-8")
    for name, content in ({"inventory__csv": INVENTORY, "survey__csv": SURVEY} | files).items():
        data = content.encode() if isinstance(content, str) else content
        (folder / name.replace("__", ".")).write_bytes(data)
    return folder


def plants_frame(count: int = 4) -> geopandas.GeoDataFrame:
    """Return plants as a table of points."""
    return geopandas.GeoDataFrame(
        {"plant_id": [f"{number:03d}" for number in range(1, count + 1)], "host": ["Rosa hybrida"] * count},
        geometry=shapely.points(EAST + 5 * np.arange(count), np.full(count, NORTH)),
        crs=CRS,
    )


def write_sheet(path: Path, rows: list[list[object]], title: str = "Sheet1") -> Path:
    """Write a workbook; dates become real dates, text stays text."""
    with xlsxwriter.Workbook(path, {"strings_to_formulas": False, "strings_to_urls": False}) as book:
        sheet, day = book.add_worksheet(title), book.add_format({"num_format": "yyyy-mm-dd"})
        for number, row in enumerate(rows):
            for column, value in enumerate(row):
                if isinstance(value, dt.date):
                    sheet.write_datetime(number, column, dt.datetime(value.year, value.month, value.day), day)
                elif value != "":
                    sheet.write(number, column, value)
    return path
