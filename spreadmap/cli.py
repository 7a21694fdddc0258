"""The skin: arguments in, one call, exit code out."""

from __future__ import annotations

import datetime as dt
import json
import sys
from collections.abc import Callable, Iterable
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from rich.console import Console

from spreadmap.errors import InputError, LockedError, OutputError, SettingsError, SpreadmapError

if TYPE_CHECKING:
    from rich.table import Table

    from spreadmap.pipeline_history import HistoryTable, HistoryView
    from spreadmap.values.project import Fault

EXIT_WRONG_USE = 2
PROJECT_FILE = "spreadmap.toml"
SHOWN_OF_A_KIND = 3
NO_RUN = "No run is on record."
EXIT_CODES: tuple[tuple[type[SpreadmapError], int], ...] = (
    (SettingsError, 4),
    (InputError, 3),
    (OutputError, 5),
    (LockedError, 6),
)
"""Beside them 0 done, 1 a defect, 2 wrong use of the command."""

app = typer.Typer(
    add_completion=False,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    help="After each survey: what to dig out first, where to look next, where the line runs.",
    epilog="Exit codes: 0 done, 1 a defect, 2 wrong use of the command, 3 faults in inputs, 4 faults in settings, "
    "5 output could not be written, 6 another run holds the project or another program its history.",
)
Folder = Annotated[Path, typer.Argument(help="the project's folder, with spreadmap.toml in it")]


def print_version(wanted: bool) -> None:
    """Say which version this is, and end."""
    if wanted:
        say(f"spreadmap {version('spreadmap')}")
        raise typer.Exit


@app.callback()
def options(
    _: Annotated[
        bool, typer.Option("--version", help="say which version this is", callback=print_version, is_eager=True)
    ] = False,
) -> None:
    """Options of all commands."""


def exit_code(error: SpreadmapError) -> int:
    """Return the exit code of an error that is meant for the person at the desk."""
    if isinstance(error, InputError) and (code := exit_code_of_faults(error.faults)):
        return code
    return next((code for kind, code in EXIT_CODES if isinstance(error, kind)), 1)


def exit_code_of_faults(faults: Iterable[Fault]) -> int:
    """Return 4 where any fault that stops a run stands in the project file, 3 for others alone, 0 without one."""
    files = {fault.file for fault in faults if fault.weight == "stop"}
    return 0 if not files else 4 if PROJECT_FILE in files else 3


def kinds_of(faults: Iterable[Fault]) -> list[list[Fault]]:
    """Return the faults by kind: alike in all but what was found and where, in the order of the first of each."""
    groups: dict[tuple[str, ...], list[Fault]] = {}
    for fault in faults:
        groups.setdefault((fault.weight, fault.file, fault.column, fault.allowed, fault.remedy), []).append(fault)
    return list(groups.values())


def fault_table(faults: Iterable[Fault]) -> Table:
    """Return the faults as a table for a terminal; of many of one kind the first few, and how many more there are."""
    from rich.table import Column, Table
    from rich.text import Text

    # a long name goes on in the next line: half of it is no name
    head = ("", "where", "found", "allowed", "what to do")
    table = Table(*(Column(name, overflow="fold") for name in head), show_lines=True)
    for alike in kinds_of(faults):
        for fault in alike[:SHOWN_OF_A_KIND]:
            row = "" if fault.row is None else f"row {fault.row}"
            where = "\n".join(filter(None, (fault.file, row, fault.column)))
            # text of files is no markup
            table.add_row(*map(Text, (fault.weight, where, fault.found, fault.allowed, fault.remedy)))
        if len(alike) > SHOWN_OF_A_KIND:
            more = f"and {len(alike) - SHOWN_OF_A_KIND} more rows like these; --report lists all"
            where = "\n".join(filter(None, (alike[0].file, alike[0].column)))
            table.add_row(*map(Text, (alike[0].weight, where, more, "", "")))
    return table


def fault_lines(faults: Iterable[Fault]) -> list[str]:
    """Return the faults as lines; of many of one kind in one column the first few, and how many more there are."""
    lines = []
    for alike in kinds_of(faults):
        lines += [f"[{fault.weight}] {fault.sentence()}" for fault in alike[:SHOWN_OF_A_KIND]]
        if len(alike) > SHOWN_OF_A_KIND:
            lines.append(
                f"[{alike[0].weight}] ... and {len(alike) - SHOWN_OF_A_KIND} more rows like these; --report lists all"
            )
    return lines


def say(line: str) -> None:
    """Print one plain line on standard output."""
    sys.stdout.write(line + "\n")


def progress() -> Callable[[str], None]:
    """Return what is called with every step: plain lines on a terminal, nothing in a pipe."""
    console = Console(stderr=True, highlight=False)
    return (lambda step: console.print(step, style="dim", markup=False)) if console.is_terminal else (lambda step: None)


def parse_date(text: str | None, option: str) -> dt.date | None:
    """Return the date that an option gives, written as YYYY-MM-DD."""
    if text is None:
        return None
    try:
        if len(text) != len("2026-09-14") or text[4] != "-" or text[7] != "-" or "W" in text:
            raise ValueError(text)
        return dt.date.fromisoformat(text)
    except ValueError:
        msg = f"'{text}' is not a date; write it as YYYY-MM-DD, for example 2026-09-14"
        raise typer.BadParameter(msg, param_hint=option) from None


@app.command()
def new(folder: Annotated[Path, typer.Argument(help="an empty or new folder")]) -> None:
    """Make a project: a commented project file, empty tables, a field sheet."""
    from spreadmap import pipeline

    for path in pipeline.new_project(folder):
        say(str(path))
    say(f"Fill in the tables, then: spreadmap check {folder}")


@app.command()
def check(
    folder: Folder,
    report: Annotated[Path | None, typer.Option(help="write the list of faults to this CSV file")] = None,
) -> None:
    """Read everything, report every fault, write nothing but the report."""
    from spreadmap import pipeline

    faults = pipeline.check_project(folder)
    if report is not None:
        pipeline.write_fault_report(report, faults)
    console = Console(highlight=False)
    if console.is_terminal and faults:
        console.print(fault_table(faults))
    else:
        for line in fault_lines(faults):
            say(line)
    stops = sum(fault.weight == "stop" for fault in faults)
    say(f"Remarks: {len(faults)}, of which {stops} would stop a run." if faults else "No fault was found.")
    if code := exit_code_of_faults(faults):
        raise typer.Exit(code)


@app.command()
def run(
    folder: Folder,
    as_of: Annotated[str | None, typer.Option(help="date of the state, YYYY-MM-DD; default: the last survey's")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="print the summary as JSON")] = False,
) -> None:
    """Make the map, the lists, the rings and the layers of one survey."""
    from spreadmap import pipeline

    delivery = pipeline.run_project(folder, as_of=parse_date(as_of, "--as-of"), progress=progress())
    if as_json:
        folder_name = delivery.folder.relative_to(folder.resolve()).as_posix()
        say(json.dumps(delivery.summary | {"run_folder": folder_name}, indent=2, sort_keys=True))
        return
    for line in delivery.headlines:
        say(line)
    say(f"Review page: {delivery.folder / 'review.html'}")


@app.command()
def fit(
    folder: Folder,
    as_of: Annotated[str | None, typer.Option(help="pass over surveys after this date, YYYY-MM-DD")] = None,
    picture: Annotated[Path | None, typer.Option(help="write the picture of each fit into this folder")] = None,
) -> None:
    """Fit rates, lengths and direction to the survey history; later runs use the newest accepted fit."""
    from spreadmap import pipeline_fit

    delivery = pipeline_fit.fit_project(
        folder, as_of=parse_date(as_of, "--as-of"), picture_to=picture, progress=progress()
    )
    for line in delivery.headlines:
        say(line)


def history_lines(view: HistoryView) -> list[str]:
    """Return a history as lines: the name of every table, its columns and its rows, parted by tabs."""
    lines = []
    for table in view.tables:
        lines.append(table.title if table.rows else table.says)
        if table.rows:
            lines.append("\t".join(table.head))
            lines += ["\t".join(map(cell, row)) for row in table.rows]
    return lines or [NO_RUN]


def history_grid(table: HistoryTable) -> Table:
    """Return one table of a history for a terminal."""
    from rich.table import Table
    from rich.text import Text

    grid = Table(*(name.replace("_", " ") for name in table.head), title=table.title, title_justify="left")
    for row in table.rows:
        # text of files is no markup
        grid.add_row(*(Text(cell(value)) for value in row))
    return grid


def cell(value: object) -> str:
    """Return a value as it stands in a table; a number in few digits, nothing where there is none."""
    return "" if value is None else f"{value:g}" if isinstance(value, float) else str(value)


@app.command()
def history(
    folder: Folder,
    as_json: Annotated[bool, typer.Option("--json", help="print as JSON")] = False,
) -> None:
    """Show what is on record: runs, surveys, scores of forecasts, fits, withdrawals, decisions."""
    from spreadmap import pipeline_history

    view = pipeline_history.show_history(folder)
    console = Console(highlight=False)
    if as_json:
        say(json.dumps(view.values, indent=2, sort_keys=True))
    elif console.is_terminal:
        for table in view.tables:
            console.print(history_grid(table) if table.rows else table.says)
        if not view.tables:
            console.print(NO_RUN)
    else:
        for line in history_lines(view):
            say(line)


@app.command()
def undo(
    folder: Folder,
    restore: Annotated[
        bool, typer.Option("--restore", help="let the survey that was withdrawn last count again")
    ] = False,
) -> None:
    """Withdraw the survey that came in last; nothing is erased, later runs leave it out."""
    from spreadmap import pipeline_history

    for line in pipeline_history.undo_survey(folder, take_back=restore):
        say(line)


@app.command("plan-survey")
def plan_survey(
    folder: Folder,
    date: Annotated[str, typer.Option(help="day of the survey, YYYY-MM-DD")],
    hours: Annotated[
        float | None, typer.Option(help="person-hours of the survey; default: those of the settings")
    ] = None,
    to: Annotated[Path | None, typer.Option(help="a new or empty folder; default: survey_plan/<date>")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="print the summary as JSON")] = False,
) -> None:
    """Make the field sheet and the list of the next survey in walking order; no run."""
    from spreadmap import pipeline

    on = parse_date(date, "--date")
    if on is None:
        raise typer.Exit(EXIT_WRONG_USE)
    plan = pipeline.plan_survey(folder, on=on, hours=hours, to=to)
    if as_json:
        say(json.dumps(plan.summary | {"folder": plan.folder.as_posix()}, indent=2, sort_keys=True))
        return
    for line in plan.headlines:
        say(line)
    say(f"Survey plan: {plan.folder}")


@app.command()
def demo(
    folder: Annotated[Path, typer.Argument(help="where the demo project is copied to")] = Path("spreadmap_demo"),
) -> None:
    """Copy the invented demo project to a folder and run it."""
    from spreadmap import pipeline

    delivery = pipeline.run_demo(folder, progress=progress())
    for line in delivery.headlines:
        say(line)
    say(f"Review page: {delivery.folder / 'review.html'}")


@app.command()
def systems(
    key: Annotated[str | None, typer.Argument(help="explain this one, by its key")] = None,
    project: Annotated[Path | None, typer.Option(help="a project's folder, for the files in its pest_systems")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="print as JSON")] = False,
) -> None:
    """List the pest systems on file, or explain one of them."""
    from spreadmap import pipeline

    found = pipeline.systems(key, project=project)
    if as_json:
        say(json.dumps(found.values, indent=2, sort_keys=True))
        return
    for line in found.lines:
        say(line)


@app.command()
def doctor() -> None:
    """Say which versions of Python, GDAL and PROJ are at work, and what may disturb them."""
    from spreadmap import pipeline

    for line in pipeline.doctor():
        say(line)


def main() -> None:
    """Run the command; errors meant for the desk become one message and an exit code."""
    try:
        app()
    except SpreadmapError as error:
        sys.stderr.write(f"{error}\n")
        raise SystemExit(exit_code(error)) from None
