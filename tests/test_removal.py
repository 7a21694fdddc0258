"""The removal list: order, hours, dates, reasons, and the systems for which it must not be made."""

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest
import shapely
from small_records import inventory_at, sites_of, state_with, system_of
from small_worlds import rose_toward, screens_of, spread_of

from spreadmap.decisions.cautions import removal_cautions
from spreadmap.decisions.dates import regrowth_dates, working_day_after
from spreadmap.decisions.removal import Jobs, rank_removals, removal_order
from spreadmap.engine import Engine
from spreadmap.errors import SettingsError
from spreadmap.values.settings import KernelSettings, RemovalSettings, Settings
from spreadmap.values.words import Verdict

ENGINE, NO_SCREENS, TODAY = Engine(workers=1), screens_of(), dt.date(2026, 9, 21)
WORKING = (0, 1, 2, 3, 4)


def list_of(plants, state, *, sites=None, spread=None, settings=None, screens=NO_SCREENS, system=None, holidays=()):
    return rank_removals(
        plants, sites or sites_of(), state, spread or spread_of(), screens, system or system_of(),
        settings or Settings(), TODAY, holidays, ENGINE,
    )  # fmt: skip


def two_beds():
    """Two beds 500 m apart, of one confirmed plant each, with 2 and 6 healthy ones around them."""
    places = [(0, 0), (3, 0), (-3, 0), (500, 0), *[(500 + 3 * np.sin(a), 3 * np.cos(a)) for a in range(6)]]
    return inventory_at(*places, bed=["few"] * 3 + ["many"] * 7)


def test_the_plant_with_more_healthy_neighbours_comes_first():
    ranked = list_of(two_beds(), state_with(two_beds(), infected=[0, 3]))
    assert ranked.plant.tolist() == [3, 0]
    assert ranked.onward[0] == pytest.approx(3 * ranked.onward[1], rel=0.01)


def test_onward_is_counted_in_plants_ten_metres_from_a_confirmed_medium_one():
    plants = inventory_at((0, 0), (10, 0), (0, 10), (-10, 0))
    assert list_of(plants, state_with(plants, infected=[0])).onward[0] == pytest.approx(3.0, rel=0.01)


def test_arrivals_on_confirmed_plants_count_nothing():
    plants = inventory_at((0, 0), (2, 0), (500, 0), (510, 0))
    ranked = list_of(plants, state_with(plants, infected=[0, 1, 2]))
    assert ranked.plant[0] == 2
    assert ranked.onward[1:] == pytest.approx([0, 0], abs=1e-3)


def test_a_lone_confirmed_plant_is_on_the_list():
    plants = inventory_at((0, 0))
    ranked = list_of(plants, state_with(plants, infected=[0]))
    assert ranked.plant.tolist() == [0]
    assert ranked.onward.tolist() == [0]
    assert "no healthy host" in ranked.reason[0]
    assert "comes out all the same" in ranked.reason[0]


def test_every_confirmed_plant_and_every_sprout_is_on_the_list_once():
    rng = np.random.default_rng(11)
    plants = inventory_at(*rng.uniform(0, 300, (200, 2)), bed=rng.choice(["a", "b", "c", ""], 200))
    sick, sprouts = list(range(0, 120, 2)), list(range(121, 141, 2))
    ranked = list_of(plants, state_with(plants, infected=sick, suspect=[1, 3], sprouting=sprouts))
    assert sorted(ranked.plant.tolist()) == sorted(sick + sprouts)


def test_the_hours_add_up_and_the_set_up_of_a_bed_is_paid_once():
    places = [(i, 0) for i in range(4)] + [(100 + i, 0) for i in range(4)]
    plants = inventory_at(*places, bed=["a"] * 4 + ["b"] * 4, size=["S", "M", "L", "XL"] * 2)
    work = RemovalSettings()
    ranked = list_of(plants, state_with(plants, infected=range(8)))
    once = work.set_up_minutes_bed + work.travel_minutes
    assert sorted(ranked.set_up_minutes.tolist()) == [0] * 6 + [once] * 2
    person = 2 * sum(work.person_minutes.values()) + 2 * once
    assert ranked.cumulative_hours[-1] == pytest.approx(person / 60 / work.people_per_crew)
    assert (np.diff(ranked.cumulative_hours) > 0).all()


def test_a_traffic_site_costs_its_own_set_up_and_plants_without_bed_one_each():
    plants = inventory_at((0, 0), (1, 0), (50, 0), (60, 0), site=["median", "median", "", ""])
    sites = sites_of(("median", shapely.box(-5, -5, 5, 5), "traffic", False, "city"))
    ranked = list_of(plants, state_with(plants, infected=range(4)), sites=sites)
    cost = dict(zip(ranked.plant.tolist(), ranked.set_up_minutes.tolist(), strict=True))
    assert cost[0] + cost[1] == 70  # 60 for traffic and 10 for travel, once
    assert (cost[2], cost[3]) == (30, 30)


def test_beds_of_one_name_on_two_sites_are_two_places():
    plants = inventory_at((0, 0), (500, 0), bed="1", site=["north", "south"])
    assert list_of(plants, state_with(plants, infected=[0, 1])).set_up_minutes.tolist() == [30, 30]


def jobs_of(minutes, set_up, place):
    n = len(minutes)
    return Jobs(
        plant=np.arange(n),
        minutes=np.array(minutes, dtype=float),
        set_up=np.array(set_up, dtype=float),
        place=np.array(place),
    )


def picked_one_after_another(onward, jobs):
    """Open the place, or go on in an open one, that is worth most per minute; again and again."""
    left, opened, order = set(range(len(onward))), set(), []
    while left:
        offers = []
        for place in sorted({int(jobs.place[i]) for i in left}):
            queue = sorted((i for i in left if jobs.place[i] == place), key=lambda i: (-onward[i] / jobs.minutes[i], i))
            start = 0.0 if place in opened else jobs.set_up[queue[0]]
            runs = [queue[:1]] if place in opened else [queue[: k + 1] for k in range(len(queue))]
            worth = [sum(onward[run]) / (start + sum(jobs.minutes[run])) for run in runs]
            best = int(np.argmax(worth))
            offers.append((-worth[best], queue[0], place, runs[best]))
        _, _, place, run = min(offers)
        order += run
        left -= set(run)
        opened.add(place)
    return order


@pytest.mark.parametrize("seed", range(8))
def test_the_order_is_that_of_picking_the_best_again_and_again(seed):
    rng = np.random.default_rng(seed)
    jobs = jobs_of(rng.choice([20, 30, 45, 90], 40), np.full(40, 30), rng.integers(0, 9, 40))
    onward = rng.gamma(0.5, 4.0, 40)
    order, added = removal_order(onward, jobs)
    assert order.tolist() == picked_one_after_another(onward, jobs)
    assert added.sum() == 30 * len(set(jobs.place.tolist()))


def test_a_bed_of_many_small_gains_may_beat_one_larger_gain():
    # Worked by hand: bed 0 gives 6 / (30 + 60) a minute, the lone plant 3 / (30 + 20): 0.0667 against 0.06.
    order, added = removal_order(np.array([2.0, 2.0, 2.0, 3.0]), jobs_of([20] * 4, [30] * 4, [0, 0, 0, 1]))
    assert order.tolist() == [0, 1, 2, 3]
    assert added.tolist() == [30, 0, 0, 30]


def test_more_hours_never_reach_fewer_plants():
    rng = np.random.default_rng(5)
    plants = inventory_at(*rng.uniform(0, 200, (60, 2)), bed=rng.choice(["a", "b", "c"], 60))
    state, last = state_with(plants, infected=range(30)), -1
    for hours in (0, 1, 2, 4, 8, 16, 32):
        ranked = list_of(plants, state, settings=Settings(removal=RemovalSettings(crew_hours_per_week=hours)))
        reach = int(ranked.within_hours.sum())
        assert reach >= last
        assert ranked.within_hours.tolist() == [True] * reach + [False] * (30 - reach)
        last = reach
    assert last == 30


def test_ranks_over_the_scale_run_hold_the_rank_and_say_whether_the_cut_off_holds():
    rng = np.random.default_rng(2)
    plants = inventory_at(*rng.uniform(0, 150, (80, 2)), bed=rng.choice(["a", "b", "c", "d"], 80))
    few = Settings(removal=RemovalSettings(crew_hours_per_week=5))
    ranked = list_of(plants, state_with(plants, infected=range(40)), settings=few)
    rank = np.arange(1, 41)
    assert (ranked.rank_low <= rank).all()
    assert (ranked.rank_high >= rank).all()
    assert (ranked.rank_low < ranked.rank_high).any()
    assert 0 < ranked.rank_holds.sum() < 40
    still = list_of(
        plants, state_with(plants, infected=range(40)), settings=replace(few, kernel=KernelSettings(scale_run=()))
    )
    assert (still.rank_low == rank).all()
    assert still.rank_holds.all()


def test_the_wind_decides_between_two_plants():
    plants = inventory_at((0, 0), (15, 0), (500, 0), (485, 0), bed=["a", "a", "b", "b"])
    state = state_with(plants, infected=[0, 2])
    assert list_of(plants, state, spread=spread_of(rose=rose_toward(90))).plant.tolist() == [0, 2]
    assert list_of(plants, state, spread=spread_of(rose=rose_toward(270))).plant.tolist() == [2, 0]


def test_a_screen_takes_away_what_stands_behind_it():
    plants = inventory_at((0, 0), (10, 0))
    state = state_with(plants, infected=[0])
    half = list_of(plants, state, screens=screens_of((5, -50, 5, 50, 0.5))).onward[0]
    assert half == pytest.approx(list_of(plants, state).onward[0] / 2, rel=1e-6)


def test_the_reason_names_finding_date_and_the_two_largest_parts():
    places = [(0, 0), *[(2, i) for i in range(3)], *[(-6, i) for i in range(3)], (30, 0)]
    plants = inventory_at(*places, bed=["own"] + ["near"] * 3 + ["next"] * 3 + ["far"])
    ranked = list_of(plants, state_with(plants, infected=[0]))
    says = ranked.reason[0]
    assert says.startswith("Confirmed by test on 2026-09-12; of what it would send to healthy hosts, ")
    assert says.index("bed near") < says.index("bed next")
    assert "far" not in says
    shown = int(says.split(" %")[0].split()[-1])
    alone = list_of(inventory_at(*places[:4]), state_with(inventory_at(*places[:4]), infected=[0])).onward[0]
    assert shown == pytest.approx(100 * alone / ranked.onward[0], abs=1.0)


def test_regrowth_and_private_ground_are_said():
    plants = inventory_at((0, 0), (5, 0), site="garden")
    sites = sites_of(("garden", shapely.box(-9, -9, 9, 9), "bed", True, "A. Resident"))
    says = list_of(plants, state_with(plants, sprouting=[0]), sites=sites).reason[0]
    assert says.startswith("Regrowth seen after the removal on 2026-07-01; ")
    assert says.endswith("Private ground: settle access first.")
    assert "Resident" not in says


@pytest.mark.parametrize("verdict", [Verdict.NO_ACTION, Verdict.CUT_PARTS, Verdict.DISCARD_PLANT])
def test_a_system_without_root_work_must_not_get_a_list(verdict):
    plants = inventory_at((0, 0))
    with pytest.raises(ValueError, match="no removal list may be made"):
        list_of(plants, state_with(plants, infected=[0]), system=system_of(verdict))


@pytest.mark.parametrize("plants", [inventory_at(), inventory_at((0, 0), (1, 0))], ids=["no plants", "no confirmed"])
def test_nothing_confirmed_gives_an_empty_list(plants):
    ranked = list_of(plants, state_with(plants))
    assert len(ranked) == 0
    assert ranked.regrowth_on.shape == (0, 5)


def test_all_on_one_spot_and_all_confirmed_still_come_in_the_order_of_the_inventory():
    plants = inventory_at(*[(0, 0)] * 6, bed="a")
    ranked = list_of(plants, state_with(plants, infected=range(6)))
    assert ranked.plant.tolist() == list(range(6))
    assert not ranked.onward.any()


@pytest.mark.parametrize(
    ("start", "days", "holidays", "expected"),
    [
        ("2026-09-21", 2, (), "2026-09-24"),  # Monday: Tuesday and Wednesday pass
        ("2026-09-24", 2, (), "2026-09-29"),  # Thursday: Friday and Monday pass
        ("2026-09-24", 2, ("2026-09-25",), "2026-09-30"),  # Friday is a holiday
        ("2026-09-26", 2, (), "2026-09-30"),  # Saturday: Monday and Tuesday pass
        ("2026-09-25", 0, (), "2026-09-28"),  # nothing to wait for, but no work on a weekend
    ],
)
def test_the_locate_ticket_passes_over_weekends_and_holidays(start, days, holidays, expected):
    free = [dt.date.fromisoformat(day) for day in holidays]
    day = working_day_after(dt.date.fromisoformat(start), days, WORKING, free)
    assert day == dt.date.fromisoformat(expected)


def test_no_working_day_at_all_is_refused():
    with pytest.raises(SettingsError, match="no working day within a year"):
        working_day_after(TODAY, 2, (), ())


def test_holidays_move_the_earliest_date_of_the_list():
    plants = inventory_at((0, 0))
    state = state_with(plants, infected=[0])
    assert list_of(plants, state).earliest_on[0] == np.datetime64("2026-09-24")
    assert list_of(plants, state, holidays=[dt.date(2026, 9, 23)]).earliest_on[0] == np.datetime64("2026-09-25")


def test_holes_are_checked_after_fixed_days_and_at_the_next_bud_break():
    work = RemovalSettings(regrowth_check_days=(14, 28), bud_break=(3, 15))
    assert regrowth_dates(dt.date(2026, 9, 24), work).astype(str).tolist() == ["2026-10-08", "2026-10-22", "2027-03-15"]
    assert regrowth_dates(dt.date(2026, 3, 1), work)[-1] == np.datetime64("2026-03-15")
    assert regrowth_dates(dt.date(2026, 3, 15), work)[-1] == np.datetime64("2027-03-15")
    leap = RemovalSettings(bud_break=(2, 29))
    assert regrowth_dates(dt.date(2026, 9, 24), leap)[-1] == np.datetime64("2027-02-28")


def test_cautions_follow_the_settings_and_defer_to_local_codes():
    says = " ".join(removal_cautions(RemovalSettings(hand_dig_zone_m=0.46, gust_stop_km_h=12, start_before_hour=9)))
    for words in ("0.46 m", "12 km/h", "09:00", "located before any digging", "eye protection", "licensed applicator",
                  "not a diagnosis", "Local codes", "No blower", "Traffic control"):  # fmt: skip
        assert words in says
