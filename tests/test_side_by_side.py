"""Tests in two processes: every test is run once, files that share a fixture by one process, and a failure is told."""

import os
import subprocess
import sys
from pathlib import Path

LAUNCHER = Path(__file__).parent / "side_by_side.py"
COMMON = """
import os, pytest
@pytest.fixture(scope="session")
def demo_runs(): return None
"""
ONE = """
import os, time
def tell(name):
    time.sleep(0.02)
    with open({told!r}, "a") as file: file.write(f"{{os.getpid()}} {{name}}\\n")
def test_one({fixture}): tell("{name} one")
def test_two(): tell("{name} two"); assert {passes}
"""


def run(folder, names, failing=""):
    told = folder / "told"
    (folder / "conftest.py").write_text(COMMON, encoding="utf-8")
    (folder / "pytest.ini").write_text("[pytest]\n", encoding="utf-8")
    for name in names:
        fixture = "demo_runs" if name.startswith("shared") else ""
        text = ONE.format(told=str(told), name=name, fixture=fixture, passes=name != failing)
        (folder / f"test_{name}.py").write_text(text, encoding="utf-8")
    clean = {name: value for name, value in os.environ.items() if not name.startswith("SPREADMAP_TESTS_")}
    done = subprocess.run(
        [sys.executable, str(LAUNCHER), "-q", "-p", "no:cacheprovider", str(folder)], cwd=folder, env=clean,
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    return done, [line.split(maxsplit=1) for line in told.read_text(encoding="utf-8").splitlines()]


def test_every_test_is_run_once_and_shared_files_by_one_process(tmp_path):
    names = ["a", "b", "shared_1", "c", "d", "e", "shared_2"]
    done, told = run(tmp_path, names)
    assert done.returncode == 0, done.stdout
    assert sorted(what for _, what in told) == sorted(f"{name} {test}" for name in names for test in ("one", "two"))
    by_file = {}
    for process, what in told:
        name = what.split()[0]
        by_file.setdefault("shared" if name.startswith("shared") else name, set()).add(process)
    assert all(len(processes) == 1 for processes in by_file.values())
    assert done.stdout.count(" passed") == len({process for process, _ in told})


def test_a_failure_in_either_process_is_the_result(tmp_path):
    for name in ("a", "f"):
        folder = tmp_path / name
        folder.mkdir()
        done, told = run(folder, list("abcdef"), failing=name)
        assert done.returncode == 1
        assert f"test_{name}.py::test_two" in done.stdout
        assert len(told) == 12
