"""How a case is written down: a name, and what makes its project folder. What it must come to stands in the manifest."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from small_projects import CRS, EAST, INVENTORY, NORTH, PROJECT, SURVEY, make_project

Builder = Callable[[Path], object]
CASES: dict[str, Builder] = {}
LISTENER = {"address": "http://127.0.0.1:9"}
"""Where files that ask for the network point: the discard port, or a listener that a test watches."""

HEADER = "plant_id,host,easting,northing"
IN_DEGREES = PROJECT.replace(f'file = "inventory.csv"\ncrs = "{CRS}"', 'file = "inventory.csv"\ncrs = "EPSG:4326"')
WITHOUT_CRS = PROJECT.replace(f'file = "inventory.csv"\ncrs = "{CRS}"', 'file = "inventory.csv"')


def add(name: str, toml: str = PROJECT, **files: str | bytes) -> None:
    """Write down a case whose project is the small one with other files in it, named as for `make_project`."""
    put(name, lambda folder: make_project(folder, toml, **files))


def put(name: str, builder: Builder) -> None:
    """Write down a case with a builder of its own."""
    if name in CASES:
        msg = f"two cases are named {name}"
        raise ValueError(msg)
    CASES[name] = builder


def case(builder: Builder) -> Builder:
    """Write down a builder under its own name."""
    put(builder.__name__, builder)
    return builder


def inventory_from(name: str, *, crs: bool = False, more: str = "") -> str:
    """Return a project file whose inventory is another file; its CRS stands in the file unless `crs`."""
    block = f'file = "{name}"\n' + (f'crs = "{CRS}"\n' if crs else "") + more
    return PROJECT.replace(f'file = "inventory.csv"\ncrs = "{CRS}"\n', block)


def with_block(kind: str, name: str, more: str = "") -> str:
    """Return the small project file with one more input."""
    return f'{PROJECT}\n[[inputs.{kind}]]\nfile = "{name}"\n{more}'


def row(number: int) -> str:
    """Return one row of the small inventory."""
    return f"P{number:02d},Rosa hybrida,{EAST + 3 * number},{NORTH}"


def with_row(number: int, text: str, whole: str = INVENTORY) -> str:
    """Return the small inventory with another text for one row."""
    if row(number) not in whole:
        msg = f"row {number} is not in the inventory"
        raise ValueError(msg)
    return whole.replace(row(number), text)


def with_column(name: str, cells: dict[int, str], usual: str = "") -> str:
    """Return the small inventory with one more column."""
    rows = "".join(f"{row(number)},{cells.get(number, usual)}\n" for number in range(1, 31))
    return f"{HEADER},{name}\n{rows}"


def survey(*rows: str, header: str = "plant_id,inspected_on,status", clean: int = 25) -> str:
    """Return a survey of clean plants and some more rows, few enough that one faulty row may be put aside."""
    wide = header.count(",") - 2
    usual = "".join(f"P{number:02d},2026-05-18,clean{',' * wide}\n" for number in range(1, clean + 1))
    return f"{header}\n{usual}" + "".join(f"{text}\n" for text in rows)


__all__ = [
    "CASES", "CRS", "EAST", "HEADER", "INVENTORY", "IN_DEGREES", "LISTENER", "NORTH", "PROJECT", "SURVEY", "WITHOUT_CRS",
    "add", "case", "inventory_from", "make_project", "put", "row", "survey", "with_block", "with_column", "with_row",
]  # fmt: skip
