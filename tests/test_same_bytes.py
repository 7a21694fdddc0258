"""The same inputs and settings give the same bytes: on a second run, and on one worker or two."""

import pytest
from generator import make_project, write_project_files
from light_runs import hashes

from spreadmap.engine import Engine
from spreadmap.pipeline import run_project

SMALL = """
[settings.grid]
margin_m = 20.0
cell_m = 2.0
cell_one_site_m = 2.0
"""


def products(folder, plants, confirmed, workers, more):
    """Return the hashes of all products of a run in a folder of its own."""
    project = write_project_files(folder, make_project(plants=plants, confirmed=confirmed, seed=4), more)
    delivery = run_project(project, engine=Engine(workers=workers))
    return hashes(delivery.folder)


def check_same(tmp_path, plants, confirmed, more):
    one, two, again = (
        products(tmp_path / name, plants, confirmed, workers, more)
        for name, workers in (("one", 1), ("two", 2), ("again", 2))
    )
    assert one.keys() == two.keys() == again.keys()
    # the log alone tells the time
    assert {name for name in one if one[name] != two[name]} <= {"run.log"}
    assert {name for name in two if two[name] != again[name]} <= {"run.log"}
    return len(one)


def test_every_product_is_the_same_on_one_worker_and_two_and_again(tmp_path):
    assert check_same(tmp_path, 160, 12, SMALL) > 40


def test_streamed_rasters_are_the_same_on_one_worker_and_two(tmp_path):
    more = SMALL + "stream_above_cells = 0\n"
    one, two = (products(tmp_path / str(workers), 80, 6, workers, more) for workers in (1, 2))
    assert {name for name in one if one[name] != two[name]} <= {"run.log"}


@pytest.mark.long
@pytest.mark.timeout(3600)
def test_twenty_thousand_plants_are_the_same_on_one_worker_and_two_and_again(tmp_path):
    count = check_same(tmp_path, 20_000, 200, "")
    print(f"\n20,000 plants: {count} products alike on one worker and two, and on a second run")
