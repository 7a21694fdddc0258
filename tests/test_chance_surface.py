"""The calibrated map: chances by hand, beside an ensemble of outbreaks, in memory and tile by tile."""

import datetime as dt
import math
from dataclasses import replace

import numpy as np
import pytest
import rasterio
from generator import make_project
from hidden_worlds import ALWAYS, NOWHERE, settings_with, still_air
from made_fits import fit_with, states_of
from small_outbreaks import plan_of
from small_records import AS_OF, inventory_at, state_with, surveys_of, system_of, work_of

from spreadmap.engine import Engine
from spreadmap.errors import SettingsError
from spreadmap.io.read_settings import read_settings
from spreadmap.io.streamed import RasterStore
from spreadmap.outbreak.ahead import spread_ahead
from spreadmap.outbreak.chance_surface import ChanceSink, chance_of, period_sources
from spreadmap.outbreak.scene import Scene
from spreadmap.pipeline import analyse
from spreadmap.pressure import pressure_at_points
from spreadmap.pressure.sums import NO_SCREENS
from spreadmap.records.sources import join_sources, receptors_of
from spreadmap.values.arrays import no_dates
from spreadmap.values.hidden import Hidden
from spreadmap.values.inventory import Sources
from spreadmap.values.rates import Rates
from spreadmap.values.results import CHANCE, PRESSURE
from spreadmap.values.score import Course, Sensitivity
from spreadmap.values.settings import AheadSettings, GridSettings, Settings
from spreadmap.values.tile import Tile
from spreadmap.values.words import Mode

ONE = Engine(workers=1)
RATES = Rates(per_day_m2=0.8, contact_per_day=0.0, background_per_day=1e-3)
UNTIL = AS_OF + np.timedelta64(20, "D")
WEEKS = 8


def scene_of(*places, infected=(0,), suspect=(), sprouting=(), wild=NOWHERE, system=ALWAYS, **inventory):
    plants = replace(inventory_at(*places), **inventory)
    state = state_with(plants, infected=infected, suspect=suspect, sprouting=sprouting)
    return Scene(
        inventory=plants, state=state, surveys=surveys_of(), work_log=work_of(), wild=wild, spread=still_air(),
        screens=NO_SCREENS, system=system, settings=settings_with(), engine=ONE,
    )  # fmt: skip


def hidden_of(scene, **weeks):
    """Chances of having been infected by plant and weeks before the state, `p1={5: 0.2}`; confirmed plants count one."""
    n = len(scene.inventory)
    infected_in = np.zeros((n, WEEKS))
    for key, told in weeks.items():
        for ago, chance in told.items():
            infected_in[int(key[1:]), WEEKS - 1 - ago] = chance
    infected_in[scene.state.status == "infected", 0] = 1.0
    infected = np.where(scene.state.status == "infected", np.nan, infected_in.sum(axis=1))
    return Hidden(
        not_yet_infectious=infected * 0, infectious=infected, healthy=1 - infected, symptomatic=infected * 0,
        half_show_by=no_dates(n), days_infected=np.full(n, np.nan), infected_in=infected_in,
        step_from=AS_OF - np.arange(WEEKS, 0, -1) * np.timedelta64(7, "D"), expected_infected=0.0,
    )  # fmt: skip


def course_of(days, *infected):
    chances = np.array(infected, dtype=float)
    return Course(
        condition="", taken_out=(), on=AS_OF + np.array(days, dtype="timedelta64[D]"), infected=chances,
        showing=chances * 0, members_showing=np.zeros((len(days), 0)),
        sensitivity=Sensitivity(visual=1.0, test=1.0, test_symptomless=1.0),
    )  # fmt: skip


def sent(found, n):
    days = np.zeros(n)
    days[found.plants.plant] = found.plants.strength
    return days.tolist()


def test_what_is_known_sends_all_the_time_and_what_is_hidden_by_its_chance_once_it_is_infectious():
    """Infected two weeks ago at the latest: 20 days. In the last week, in the middle 3.5 days ago: from day 10.5 on."""
    scene = scene_of((0, 0), (10, 0), (20, 0), (30, 0))
    found = period_sources(scene, hidden_of(scene, p1={5: 0.3, 2: 0.2}, p2={0: 0.4}), None, RATES, UNTIL)
    assert sent(found, 4) == pytest.approx([20.0, 0.5 * 20, 0.4 * 9.5, 0.0])
    assert found.one_per_m2 == pytest.approx(1 / 0.8)
    assert found.outside == pytest.approx(20e-3)


def test_size_roots_and_wild_stands_count_and_a_suspect_only_by_its_chance():
    wild = Sources(easting=[5.0], northing=[5.0], strength=[3.0], plant=[-1])
    scene = scene_of(
        (0, 0),
        (10, 0),
        (20, 0),
        suspect=[1],
        sprouting=[2],
        wild=wild,
        size_class=np.array(["L", "M", "M"], dtype=object),
    )
    found = period_sources(scene, hidden_of(scene, p1={6: 0.5}), None, RATES, UNTIL)
    assert sent(found, 3) == pytest.approx([2 * 20, 0.5 * 20, 0.3 * 20])
    assert found.wild.strength.tolist() == [3.0 * 20]


def test_what_the_period_infects_sends_later_and_what_comes_behind_it_does_not_count():
    """0.5 are gained by day 4, 2 in the middle, infectious on day 16: 4 days; the gain after the period is none of it."""
    scene = scene_of((0, 0), (10, 0))
    undone = course_of([0, 4, 20, 60], [0, 0.1], [0, 0.6], [0, 0.6], [0, 0.9])
    found = period_sources(scene, hidden_of(scene, p1={7: 0.1}), undone, RATES, UNTIL)
    assert sent(found, 2) == pytest.approx([20.0, 0.1 * 20 + 0.5 * 4])


def test_nothing_is_sent_while_nothing_flies():
    still = system_of(flight=(1,) * 8 + (0,) * 4)
    scene = scene_of((0, 0), (10, 0), system=still)
    found = period_sources(scene, hidden_of(scene, p1={6: 0.5}), None, RATES, UNTIL)
    assert (len(found.plants), found.outside) == (0, 0.0)
    half = period_sources(scene, hidden_of(scene), None, RATES, AS_OF + np.timedelta64(1, "D"))
    assert half.outside == 0.0


def test_chances_are_those_of_the_ensemble_of_outbreaks():
    """Sixty roses round three confirmed ones, half of them perhaps infected: new cases of 2,000 outbreaks beside the map's.

    A plant's chance of being infected by the survey is its hidden one, and for the rest the map's, by the density on it.
    Within four standard errors of the mean of the outbreaks, and 5 % for what the plants infect one after the other.
    """
    spot = np.arange(60)
    places = [(0.0, 0.0), (15.0, 4.0), (4.0, 15.0), *((3.0 * (k % 10) + 1.2, 3.0 * (k // 10) + 1.7) for k in spot)]
    scene = scene_of(*places, infected=(0, 1, 2))
    hidden = hidden_of(scene, **{f"p{k}": {4: 0.1} for k in range(3, 63, 2)})
    until = AS_OF + np.timedelta64(28, "D")
    settings = replace(scene.settings, ahead=AheadSettings(draws=4, members=500))
    ahead = spread_ahead(
        scene.inventory, scene.state, plan_of([0, 1, 2], "2027-01-01"), NOWHERE, scene.spread, NO_SCREENS, ALWAYS, until,
        until + np.timedelta64(1, "D"), settings, ONE, fitted=[(scene.spread, RATES)] * 4, hidden=hidden,
    )  # fmt: skip
    found = period_sources(scene, hidden, ahead.courses[0], RATES, until)
    among = np.isfinite(hidden.healthy)
    receptors = receptors_of(scene.inventory, among, settings.sources)
    density = pressure_at_points(receptors, join_sources(found.plants, found.wild), scene.spread, ONE).density
    told = 1 - hidden.healthy[among] * (1 - chance_of(density / found.one_per_m2 + found.outside))
    seen = ahead.plants.infected_by_survey[among]
    error = math.sqrt(float((told * (1 - told)).sum()) / 2000)
    assert 3 < told.sum() < 40
    assert abs(told.sum() - seen.sum()) < 4 * error + 0.05 * told.sum()
    assert np.corrcoef(told, seen)[0, 1] > 0.95


def test_a_sink_takes_expected_infections_and_hands_on_chances():
    kept = {}

    class Sink:
        tiles = (Tile(row=0, col=0, n_rows=1, n_cols=3),)

        def todo(self):
            return self.tiles

        def write(self, tile, values):
            kept[tile] = values

    sink = ChanceSink(sink=Sink(), outside=0.5)
    assert sink.tiles == sink.todo() == Sink.tiles
    sink.write(Sink.tiles[0], np.array([[0.0, 0.5, 30.0]], dtype=np.float32))
    (values,) = kept.values()
    assert values.dtype == np.float32
    np.testing.assert_allclose(values, [[1 - math.exp(-0.5), 1 - math.exp(-1.0), 1.0]], rtol=1e-6)


# a whole analysis with a fit made by hand


@pytest.fixture(scope="module")
def calibrated(tmp_path_factory):
    """Return the project, its calibrated result in memory, and the same streamed with its store."""
    project = make_project(plants=120, confirmed=8, seed=2)
    confirmed = project.surveys.plant_id[project.surveys.status == "infected"].tolist()
    as_of = project.as_of.isoformat()
    ends = (project.as_of - dt.timedelta(days=60)).isoformat()
    states = states_of(*[dict.fromkeys(confirmed, "2026-04-01")] * 4)
    fit = fit_with(states, ends, as_of, rate=0.5, background=1e-4, contact=0.01)
    settings = Settings(
        grid=GridSettings(cell_m=2.0, cell_one_site_m=2.0, margin_m=40.0), ahead=AheadSettings(draws=4, members=5)
    )
    memory = analyse(project, settings, ONE, None, {"rose_rosette": fit})
    folder = tmp_path_factory.mktemp("streamed")
    (folder / "runs").mkdir()
    store = RasterStore(project=folder, crs=project.crs, mantissa_bits=23)
    streaming = replace(settings, grid=replace(settings.grid, stream_above_cells=0))
    streamed = analyse(project, streaming, ONE, store, {"rose_rosette": fit})
    return project, memory.systems[0], streamed.systems[0], store


def test_the_face_of_a_calibrated_map_is_a_chance_and_lists_name_both(calibrated):
    _, system, _, _ = calibrated
    assert (system.face.quantity, system.face.unit) == CHANCE
    assert system.face.mode is Mode.CALIBRATED
    assert system.surface_breaks == (0.01, 0.05, 0.2, 0.5)
    assert "Chances" in system.lists_face.quantity
    assert (system.pressure_face.quantity, system.pressure_face.unit) == PRESSURE
    assert system.lists_face.as_of == system.pressure_face.as_of == system.face.as_of
    assert all(len(face.quantity) <= 40 and len(face.unit) <= 60 for face in (system.face, system.lists_face))


def test_a_calibrated_map_holds_chances_that_fall_with_distance_and_never_below_the_background(calibrated):
    project, system, _, _ = calibrated
    values, days = system.surface.values, (project.next_survey_on - project.as_of).days
    least = 1 - math.exp(-1e-4 * days)
    assert values.min() > 0
    assert values.max() < 1
    flown = -math.log1p(-values.min()) / 1e-4
    assert values.min() == pytest.approx(least, rel=1.0)
    assert flown <= days * 1.5
    sick = system.plan.removal.plant[0]
    grid = system.surface.grid
    row = int((grid.north - project.inventory.northing[sick]) / grid.cell_m)
    col = int((project.inventory.easting[sick] - grid.west) / grid.cell_m)
    assert values[row, col] > 10 * values.min()
    assert (values >= system.surface_without_reservoirs.values - 1e-12).all()


def test_a_streamed_calibrated_map_is_the_one_from_memory(calibrated):
    _, memory, streamed, store = calibrated
    assert streamed.raster_grid == memory.surface.grid
    for name, expected in (("risk", memory.surface), ("risk_without_reservoirs", memory.surface_without_reservoirs)):
        with rasterio.open(store.files[f"rose_rosette/{name}.tif"]) as file:
            # two sums of pairs, each within 3e-4
            np.testing.assert_allclose(file.read(1), expected.values, rtol=6e-4)
            assert (file.tags()["QUANTITY"], file.tags()["UNIT"]) == CHANCE
            assert file.tags()["BREAKS"] == "0.01 0.05 0.2 0.5"


@pytest.mark.parametrize("limits", [[0.5, 0.2], [0.1, 0.1], []])
def test_limits_of_classes_out_of_order_are_refused(limits):
    with pytest.raises(
        SettingsError, match=r"'settings\.grid\.chance_breaks' = .*; allowed: one number or more, each above"
    ):
        read_settings({"grid": {"chance_breaks": limits}})
    assert read_settings({"grid": {"chance_breaks": [0.02, 0.3]}}).grid.chance_breaks == (0.02, 0.3)
