"""How long `check` takes for a million rows, by what they hold. Prints wall clock and processor time, asserts nothing."""

import sys
import tempfile
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent.parent))

from small_projects import CRS, EAST, NORTH, PROJECT, make_project

from spreadmap.io.read_project import check_project

DEGREES = PROJECT.replace(f'file = "inventory.csv"\ncrs = "{CRS}"', 'file = "inventory.csv"\ncrs = "EPSG:4326"')


def inventory(
    count: int, *, faulty_each: int = 0, quoted: bool = False, degrees: bool = False, notes: bool = False
) -> str:
    """Return an inventory of plants in a square of eight kilometres, every so many of them without a host.

    With `notes` one plant in ten has a text with a comma, in quotes.
    """
    draw = np.random.default_rng(1)
    across, along = draw.random(count), draw.random(count)
    first, second = (
        (-96.8 + 0.08 * across, 36.8 + 0.07 * along) if degrees else (EAST + 8000 * across, NORTH + 8000 * along)
    )
    names = "longitude,latitude" if degrees else "easting,northing"
    form = (
        "P{n:07d},{host},{a:.7f},{b:.7f},M,2019-04-08\n"
        if degrees
        else "P{n:07d},{host},{a:.2f},{b:.2f},M,2019-04-08\n"
    )
    host = '"Rosa hybrida"' if quoted else "Rosa hybrida"
    form = form.replace("\n", "{note}\n") if notes else form
    lines = (
        form.format(
            n=n,
            a=a,
            b=b,
            note=',"by the gate, left"' if n % 10 == 0 else ",",
            host="" if faulty_each and n % faulty_each == 0 else host,
        )
        for n, (a, b) in enumerate(zip(first.tolist(), second.tolist(), strict=True))
    )
    return f"plant_id,host,{names},size_class,planted_on{',note' if notes else ''}\n" + "".join(lines)


def survey(count: int, plants: int, *, faulty_each: int = 0) -> str:
    """Return inspections of plants one after another, from May on, one in a hundred infected."""
    days = ("2026-05-18", "2026-06-15", "2026-07-13", "2026-08-10")
    lines = (
        f"P{n % plants:07d},{days[n // plants % 4]},"
        f"{'infcted' if faulty_each and n % faulty_each == 0 else 'infected' if n % 100 == 0 else 'clean'}\n"
        for n in range(count)
    )
    return "plant_id,inspected_on,status\n" + "".join(lines)


def measure(what: str, toml: str = PROJECT, **files: str) -> None:
    """Check one project and print its figures."""
    rows = sum(text.count("\n") - 1 for text in files.values())
    with tempfile.TemporaryDirectory() as folder:
        make_project(Path(folder), toml, **files)
        wall, processor = time.perf_counter(), time.process_time()
        faults = check_project(Path(folder))
        wall, processor = time.perf_counter() - wall, time.process_time() - processor
    print(f"{what:52s} {rows:>9,} rows {wall:6.1f} s, processor {processor:5.1f} s, {len(faults):>9,} faults")


def main(count: int = 1_000_000) -> None:
    """Measure each kind of file once."""
    few = max(count // 10, 1)
    measure("inventory", inventory__csv=inventory(count))
    measure("inventory in degrees", DEGREES, inventory__csv=inventory(count, degrees=True))
    measure("inventory with quotes", inventory__csv=inventory(count, quoted=True))
    measure("inventory, commas inside quotes", inventory__csv=inventory(count, notes=True))
    measure("inventory, one row in a hundred faulty", inventory__csv=inventory(count, faulty_each=100))
    measure("inventory, every row faulty", inventory__csv=inventory(count, faulty_each=1))
    measure("survey of a tenth as many plants", inventory__csv=inventory(few), survey__csv=survey(count - few, few))
    half = count // 2
    measure("half plants, half inspections", inventory__csv=inventory(half), survey__csv=survey(half, half))
    measure("half and half, one row in a hundred faulty", inventory__csv=inventory(half, faulty_each=100),
            survey__csv=survey(half, half, faulty_each=100))  # fmt: skip


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
