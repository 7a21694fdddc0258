"""A full run on real hourly wind and thousands of made plants ends in a complete run folder."""

from pathlib import Path

import numpy as np
import pvlib
import pytest
from generator import make_project, write_project_files
from light_runs import LIGHT

from spreadmap.pipeline import run_project

WIND_BLOCK = """
[[inputs.wind_hours]]
file = "wind.csv"
time_zone = "UTC"
speed_unit = "m/s"
"""
TYPICAL_YEAR = Path(pvlib.__file__).parent / "data" / "723170TYA.CSV"


def write_typical_year(path):
    """Write the hourly wind of the typical year that pvlib ships, all months set into one year, as our columns."""
    data, _ = pvlib.iotools.read_tmy3(TYPICAL_YEAR, coerce_year=2025, map_variables=False)
    times = np.arange("2025-01-01", "2026-01-01", dtype="datetime64[h]")
    assert len(data) == len(times) == 8760
    lines = ["time,wind_from_deg,speed,temperature_c"]
    columns = (data[name] for name in ("Wdir (degrees)", "Wspd (m/s)", "Dry-bulb (C)"))
    lines += [
        f"{str(time).replace('T', ' ')}:00,{direction:g},{speed:g},{warm:g}"
        for time, direction, speed, warm in zip(times, *columns, strict=True)
    ]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")


@pytest.mark.parametrize(
    ("plants", "confirmed", "more"), [(600, 60, LIGHT), pytest.param(20_000, 200, "", marks=pytest.mark.long)]
)
def test_many_plants_and_a_typical_year(plants, confirmed, more, tmp_path):
    project = make_project(plants=plants, confirmed=confirmed, seed=9)
    folder = write_project_files(tmp_path / "town", project, WIND_BLOCK + more)
    write_typical_year(folder / "wind.csv")
    delivery = run_project(folder)
    for product in (
        "review.html",
        "manifest.json",
        "rose_rosette/risk.tif",
        "rose_rosette/removal_list.shp",
        "run.log",
    ):
        assert (delivery.folder / product).stat().st_size > 0
    assert "hours of flight" in (delivery.folder / "metadata.xml").read_text(encoding="utf-8")
    listed = (delivery.folder / "rose_rosette" / "removal_list.csv").read_text(encoding="utf-8").strip().splitlines()
    assert len(listed) == confirmed + 1
