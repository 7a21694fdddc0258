"""Every case of the pack comes to one of three ends: understood, rows put aside, or refused before anything is written."""

import socket
import threading
from pathlib import Path

import numpy as np
import pytest
from hostile.case_files import CASES, CRS, EAST, LISTENER, NORTH
from hostile.make_cases import MANIFEST, OUTCOMES, build, manifest

from spreadmap.engine import Engine
from spreadmap.errors import InputError
from spreadmap.io.read_project import check_project, read_project
from spreadmap.pipeline import analyse, run_project

EXPECTED = manifest()
ELSEWHERE = ("places_all_on_one_spot", "places_at_the_edge_of_utm", "shapes_of_several_parts")
"""Cases of thirty plants that stand in another place than the small project's."""
ANALYSED = (
    "plants_only_one", "plants_none_infected", "plants_all_infected", "plants_all_removed", "places_all_on_one_spot",
    "places_on_both_sides_of_180_degrees",
)  # fmt: skip


@pytest.fixture(scope="module")
def connections():
    """Everything that was asked of an address on this machine to which the hostile files point."""
    heard: list[bytes] = []
    server = socket.create_server(("127.0.0.1", 0))

    def listen():
        while True:
            try:
                caller, _ = server.accept()
            except OSError:
                return
            with caller:
                heard.append(caller.recv(200))

    thread = threading.Thread(target=listen, daemon=True)
    thread.start()
    before = LISTENER["address"]
    LISTENER["address"] = f"http://127.0.0.1:{server.getsockname()[1]}"
    yield heard
    LISTENER["address"] = before
    server.shutdown(socket.SHUT_RDWR)
    server.close()
    thread.join(timeout=5)


@pytest.fixture(autouse=True)
def little_patience(monkeypatch):
    """A file whose pointers go in a circle is given up sooner than in a run."""
    monkeypatch.setattr("spreadmap.io.netcdf.LONGEST_WALK_S", 5)


def snapshot(folder: Path) -> dict[str, tuple[int, int]]:
    """Size and time of everything in a folder, without opening pipes."""
    return {
        path.relative_to(folder).as_posix(): (path.lstat().st_size, path.lstat().st_mtime_ns)
        for path in sorted(folder.rglob("*"))
    }


def outcome_of(faults) -> str:
    weights = {fault.weight for fault in faults}
    return "refused" if "stop" in weights else "aside" if "aside" in weights else "understood"


def test_the_manifest_names_every_case_and_no_other():
    assert list(EXPECTED) == sorted(CASES)
    assert len(CASES) >= 120
    assert {each.outcome for each in EXPECTED.values()} == set(OUTCOMES)
    for name, each in EXPECTED.items():
        assert each.words or each.outcome == "understood", f"{name} in {MANIFEST.name} has no words"


@pytest.mark.timeout(60)
@pytest.mark.parametrize("name", EXPECTED)
def test_a_case_comes_to_the_end_that_the_manifest_says(tmp_path, connections, name):
    expected = EXPECTED[name]
    folder = build(name, tmp_path / "project")
    before = snapshot(tmp_path)
    faults = check_project(folder)
    told = "\n".join(fault.sentence() for fault in faults)
    assert outcome_of(faults) == expected.outcome, told
    for words in expected.words:
        assert words in told
    assert told.isprintable() or "\n" in told
    assert all(line.isprintable() for line in told.splitlines())
    if expected.outcome == "refused":
        with pytest.raises(InputError, match=r"\S") as refused:
            run_project(folder)
        assert outcome_of(refused.value.faults) in ("refused", "understood")
    else:
        values, _ = read_project(folder)
        assert bool(values.rejected) == (expected.outcome == "aside")
        check_plants(values, name)
    assert snapshot(tmp_path) == before
    assert connections == []


def check_plants(values, name: str) -> None:
    """Thirty plants of the small project stand where they stood, to the metre, however they were written."""
    plants = values.inventory
    assert np.isfinite(plants.easting).all()
    assert np.isfinite(plants.northing).all()
    if values.crs != CRS or name in ELSEWHERE:
        return
    number = np.array(
        [int(key[1:3]) if key[:1] == "P" and key[1:3].isdigit() else 0 for key in plants.plant_id.tolist()]
    )
    is_plain = (number > 0) & ~plants.is_synthetic
    away = np.hypot(plants.easting - EAST - 3 * number, plants.northing - NORTH)[is_plain]
    assert away.max(initial=0.0) < 1.0


@pytest.mark.parametrize("name", ANALYSED)
def test_a_project_at_the_edge_is_analysed_to_the_end(tmp_path, name):
    assert EXPECTED[name].outcome == "understood"
    result = analyse(*read_project(build(name, tmp_path / "project")), Engine())
    for system in result.systems:
        assert np.isfinite(system.surface.values).all()
        assert (system.surface.values >= 0).all()
        assert len(system.plan.removal) <= len(result.inputs.inventory)


def test_both_sides_of_180_degrees_are_one_place(tmp_path):
    values, _ = read_project(build("places_on_both_sides_of_180_degrees", tmp_path / "project"))
    assert np.ptp(values.inventory.longitude) > 359
    assert np.ptp(values.inventory.easting) < 50
    assert abs(abs(values.longitude_deg) - 180) < 0.01
