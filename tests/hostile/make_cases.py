"""All cases by name, what each must come to, and a command that writes them: `python make_cases.py FOLDER`."""

from __future__ import annotations

import csv
import sys
from dataclasses import dataclass
from pathlib import Path

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).parent.parent))

from hostile import attack_cases, place_cases, record_cases, shape_cases, sheet_cases, text_cases, weather_cases
from hostile.case_files import CASES

MANIFEST = Path(__file__).parent / "manifest.csv"
MODULES = (text_cases, record_cases, place_cases, shape_cases, sheet_cases, weather_cases, attack_cases)
OUTCOMES = ("understood", "aside", "refused")
BETWEEN = " | "


@dataclass(frozen=True)
class Expected:
    """What a case must come to, and words that its faults must hold."""

    outcome: str
    words: tuple[str, ...]


def manifest() -> dict[str, Expected]:
    """Return what every case must come to, by name."""
    with MANIFEST.open(encoding="utf-8", newline="") as file:
        return {
            row["case"]: Expected(row["outcome"], tuple(filter(None, row["words"].split(BETWEEN))))
            for row in csv.DictReader(file)
        }


def build(name: str, folder: Path) -> Path:
    """Write the project of one case."""
    CASES[name](folder)
    return folder


def main(folder: Path) -> None:
    """Write every case into a folder of its own, and say how many there are of each outcome."""
    expected = manifest()
    for name in CASES:
        build(name, folder / name)
    for outcome in OUTCOMES:
        print(f"{outcome:10s} {sum(each.outcome == outcome for each in expected.values()):4d}")
    print(f"{'in all':10s} {len(CASES):4d} from {len(MODULES)} files, written to {folder}")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
