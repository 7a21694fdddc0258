"""`fit` from files to the history: kept with hashes, used by later dates only, refused with a message."""

import datetime as dt

import pytest
from generator import make_project, write_project_files
from typer.testing import CliRunner

from spreadmap.cli import app
from spreadmap.engine import Engine
from spreadmap.errors import LockedError
from spreadmap.io.history import fits_on_record, open_history
from spreadmap.io.lock import ProjectLock
from spreadmap.io.read_project import read_project
from spreadmap.pipeline_fit import fit_project, usable_fits

SHORT = """
[settings.fit]
chains = 2
warm_up = 100
batch = 100
most_iterations = 100
replicates = 20
kept_draws = 20
incubation = "fixed"
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A project with a survey of June that found four plants and one of September that found nine more."""
    made = make_project(120, 9, seed=5)
    folder = write_project_files(tmp_path_factory.mktemp("town"), made, SHORT)
    rows = (folder / "survey.csv").read_text(encoding="utf-8").splitlines()
    early = [row.replace("2026-09-14", "2026-05-14") for row in rows[1:]]
    infected = [index for index, row in enumerate(early) if ",infected," in row]
    for index in infected[4:]:
        early[index] = early[index].replace("infected,typical_symptoms", "clean,visual")
    (folder / "survey.csv").write_text("\n".join([*rows, *early]) + "\n", encoding="utf-8")
    return folder


def test_a_fit_is_made_kept_and_pictured(folder, tmp_path):
    said = []
    delivery = fit_project(folder, picture_to=tmp_path / "pictures", engine=Engine(workers=1), progress=said.append)
    (fit,) = delivery.fits
    assert (fit.first_look, fit.last_look, fit.as_of) == (
        dt.date(2026, 5, 14),
        dt.date(2026, 9, 14),
        dt.date(2026, 9, 14),
    )
    assert (fit.noticed, fit.new_cases, fit.mode) == (9, 5, "fixed")
    assert not fit.accepted
    assert "refused: maps stay relative" in delivery.headlines[0]
    assert any(line.startswith("Too few new cases: 5 plants") for line in delivery.headlines)
    assert (tmp_path / "pictures" / "fit_rose_rosette.png").read_bytes().startswith(b"\x89PNG")
    assert any(line.startswith("fit: 100 iterations of each chain") for line in said)
    with open_history(folder) as history:
        kept, remarks = fits_on_record(history)
    assert usable_fits(folder, *read_project(folder, None)) == ({}, ())  # a refused fit is never used
    assert remarks == ()
    assert kept["rose_rosette"][0].says == fit.says


def test_a_fit_waits_for_no_run(folder):
    with ProjectLock(folder, dt.datetime(2026, 9, 14, tzinfo=dt.UTC)), pytest.raises(LockedError, match="run"):
        fit_project(folder, engine=Engine(workers=1))


def test_the_command_says_why_nothing_can_be_learnt(folder):
    done = CliRunner().invoke(app, ["fit", str(folder), "--as-of", "2026-01-05"])
    assert done.exit_code == 1
    assert "looked for by 2026-01-05" in str(done.exception)
