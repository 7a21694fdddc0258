"""Which lines and branches of `spreadmap/io` the tests reach. Prints a table, asserts nothing.

    python tests/benchmarks/io_coverage.py             all tests that name spreadmap.io, without the long ones
    python tests/benchmarks/io_coverage.py FILE ...    only these test files
    python tests/benchmarks/io_coverage.py --missing   also which lines and branches are not reached

Uses coverage.py where it is installed; otherwise it says so and counts by itself with the interpreter's trace. A branch is
one way out of a line on which the code decides: to another line, or out of the function. What runs in other processes
(runs that are killed, commands) is not seen.
"""

from __future__ import annotations

import contextlib
import dis
import importlib
import sys
import threading
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path
from types import CodeType, FrameType
from typing import Any

import pytest

TESTS = Path(__file__).parent.parent
ROOM = TESTS.parent / "spreadmap" / "io"
OUT = -1
"""Stands for the end of a function among the lines that a branch leads to."""
NOT_COUNTED = "pragma: no cover"
SILENT = ("RESUME", "COPY_FREE_VARS", "MAKE_CELL", "RETURN_GENERATOR", "POP_TOP", "NOP")
Arcs = set[tuple[int, int]]


def code_in(code: CodeType) -> Iterator[CodeType]:
    """Yield a code object and all that it holds."""
    yield code
    for item in code.co_consts:
        if isinstance(item, CodeType):
            yield from code_in(item)


def steps_of(code: CodeType) -> list[tuple[dis.Instruction, int]]:
    """Return instructions with the line of each."""
    line, steps = code.co_firstlineno, []
    for step in dis.get_instructions(code):
        line = step.starts_line or line
        steps.append((step, line))
    return steps


def lines_and_branches(source: str, name: str) -> tuple[set[int], Arcs]:
    """Return the lines of a file that can be reached, and the branches: from a line to another, or out."""
    text = source.splitlines()
    lines: set[int] = set()
    branches: Arcs = set()
    for code in code_in(compile(source, name, "exec")):
        steps = steps_of(code)
        lines |= {line for step, line in steps if step.opname not in SILENT}
        ways: dict[int, set[int]] = defaultdict(set)
        place = {step.offset: index for index, (step, _) in enumerate(steps)}
        for index, (step, line) in enumerate(steps):
            if is_decision(step):
                ends = {end_of(steps, place, index + 1, line), end_of(steps, place, place[step.argval], line)}
                ways[line] |= {end for end in ends if end is not None}
        branches |= {(line, end) for line, ends in ways.items() if len(ends) > 1 for end in ends}
    skipped = {
        number
        for number, line in enumerate(text, start=1)
        if NOT_COUNTED in line or line.lstrip().startswith(('"""', "def "))
    }
    skipped |= type_checking(text)
    return lines - skipped, {(line, end) for line, end in branches if line not in skipped and end not in skipped}


def is_decision(step: dis.Instruction) -> bool:
    """Return whether an instruction goes one of two ways."""
    return step.opname == "FOR_ITER" or ("JUMP" in step.opname and ("IF" in step.opname.split("_")))


def end_of(steps: list[tuple[dis.Instruction, int]], place: dict[int, int], index: int, line: int) -> int | None:
    """Return the line to which a way leads from a decision on `line`, None where it decides again on that line."""
    for _ in range(len(steps)):
        if index >= len(steps):
            return None
        step, at = steps[index]
        if at != line:
            return at
        if is_decision(step) or step.opname in ("RAISE_VARARGS", "RERAISE"):
            return None
        if step.opname == "RETURN_VALUE":
            return OUT
        index = place[step.argval] if "JUMP" in step.opname else index + 1
    return None


def type_checking(text: list[str]) -> set[int]:
    """Return the lines of blocks that only a type checker reads."""
    found: set[int] = set()
    inside = False
    for number, line in enumerate(text, start=1):
        if line.startswith("if TYPE_CHECKING"):
            inside = True
        elif inside and line and not line.startswith(" "):
            inside = False
        if inside:
            found.add(number)
    return found


class Watch:
    """Notes every step from line to line in the files of one folder; to pytest, a plugin that listens to every test."""

    def __init__(self, folder: Path) -> None:
        self.seen: dict[str, Arcs] = {str(path): set() for path in sorted(folder.glob("*.py"))}

    def pytest_runtest_setup(self) -> None:
        """Listen anew: the interpreter drops the trace when it runs out of stack, and some tests ask for that."""
        sys.settrace(self)

    def pytest_runtest_call(self) -> None:
        """Listen anew: a fixture may have dropped the trace."""
        sys.settrace(self)

    def __call__(self, frame: FrameType, event: str, argument: Any) -> Any:
        """Return what listens to a function that is called, nothing where it stands in another folder."""
        arcs = self.seen.get(frame.f_code.co_filename)
        if arcs is None or event != "call":
            return None
        last = OUT

        def listen(frame: FrameType, event: str, argument: Any) -> Any:
            nonlocal last
            if event == "line":
                arcs.add((last, frame.f_lineno))
                last = frame.f_lineno
            elif event == "return":
                arcs.add((last, OUT))
            return listen

        return listen


def count_ourselves(arguments: list[str], *, missing: bool) -> int:
    """Run the tests under the interpreter's trace and print what was reached."""
    watch = Watch(ROOM)
    threading.settrace(watch)
    sys.settrace(watch)
    try:
        code = int(pytest.main(arguments, plugins=[watch]))
    finally:
        sys.settrace(None)
        threading.settrace(None)  # type: ignore[arg-type]
    whole = [0, 0, 0, 0]
    print(f"\n{'spreadmap/io':28s} {'lines':>12s} {'branches':>14s}")
    for name, arcs in watch.seen.items():
        lines, branches = lines_and_branches(Path(name).read_text(encoding="utf-8"), name)
        reached = lines & {end for _, end in arcs}
        taken = branches & arcs
        figures = (len(reached), len(lines), len(taken), len(branches))
        whole = [total + figure for total, figure in zip(whole, figures, strict=True)]
        print(f"{Path(name).name:28s} {row_of(figures)}")
        if missing:
            print(f"    lines {sorted(lines - reached)}\n    branches {sorted(branches - taken)}")
    print(f"{'in all':28s} {row_of(tuple(whole))}")
    return code


def row_of(figures: tuple[int, ...]) -> str:
    """Return counts and shares in words."""
    reached, lines, taken, branches = figures
    return f"{reached:5d}/{lines:<5d} {reached / max(lines, 1):6.1%} {taken:5d}/{branches:<5d} {taken / max(branches, 1):6.1%}"


def main(words: list[str]) -> int:
    """Run the tests and print how much of the room they reach."""
    files = [word for word in words if not word.startswith("--")]
    if not files:
        files = [
            str(path) for path in sorted(TESTS.glob("test_*.py")) if "spreadmap.io" in path.read_text(encoding="utf-8")
        ]
    arguments = [*files, "-q", "-m", "not long", "-p", "no:cacheprovider"]
    with contextlib.suppress(ImportError):
        coverage = importlib.import_module("coverage")
        watch = coverage.Coverage(branch=True, source=[str(ROOM)], data_file=None)
        watch.start()
        code = int(pytest.main(arguments))
        watch.stop()
        watch.report(show_missing="--missing" in words)
        return code
    print("coverage.py is not installed: counted with the interpreter's trace, which takes longer.")
    return count_ourselves(arguments, missing="--missing" in words)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
