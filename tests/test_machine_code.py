"""Machine code made from older sources is forgotten, and no other."""

import os
from pathlib import Path

import pytest

import spreadmap
from spreadmap.machine_code import compiled_sources, forget_stale_code

ROOMS = ("pressure", "outbreak")


@pytest.fixture
def package(tmp_path):
    """A package of two rooms: sums compiled with numbers of another file, and a file that is not compiled."""
    files = {
        "outbreak/sums.py": "import numba\nfrom spreadmap.outbreak.sizes import ROWS\n",
        "outbreak/sizes.py": "ROWS = 7\n", "outbreak/words.py": "WORD = 'x'\n", "pressure/near.py": "import numba\n",
        "outbreak/__pycache__/sums.f-1.py311.nbi": "", "outbreak/__pycache__/sums.f-1.py311.1.nbc": "",
        "pressure/__pycache__/near.g-1.py311.nbi": "", "outbreak/__pycache__/sums.cpython-311.pyc": "",
    }  # fmt: skip
    for name, text in files.items():
        path = tmp_path / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text)
        made = 200 if "__pycache__" in name else 100
        os.utime(path, (made, made))
    return tmp_path


def kept(package):
    return sorted(path.name for path in package.rglob("__pycache__/*"))


def test_code_newer_than_all_sources_stays(package):
    before = kept(package)
    assert forget_stale_code(package, "outbreak", "pressure") == 0
    assert kept(package) == before


# the numbers that a file takes in, and a room of which another one takes in functions
@pytest.mark.parametrize("name", ["outbreak/sums.py", "outbreak/sizes.py", "pressure/near.py"])
def test_a_newer_source_makes_all_of_it_stale(package, name):
    os.utime(package / name, (300, 300))
    assert forget_stale_code(package, "outbreak", "pressure") == 2
    assert kept(package) == ["near.g-1.py311.nbi", "sums.cpython-311.pyc"]


def test_a_room_that_takes_nothing_in_is_its_own(package):
    os.utime(package / "outbreak/sums.py", (300, 300))
    assert forget_stale_code(package, "pressure") == 0
    os.utime(package / "pressure/near.py", (300, 300))
    assert forget_stale_code(package, "pressure") == 1


def test_a_source_that_is_not_compiled_makes_none_stale(package):
    os.utime(package / "outbreak/words.py", (300, 300))
    assert forget_stale_code(package, "outbreak", "pressure") == 0


def test_our_own_compiled_sources_are_found():
    found = {path.name for path in compiled_sources(Path(spreadmap.__file__).parent, ROOMS)}
    # rows of the fit's arrays, and bearings that another compiled file takes in
    assert {"fit_types.py", "fit_compiled_sums.py", "arrival_tables.py", "compiled.py"} <= found
    assert "ahead.py" not in found
