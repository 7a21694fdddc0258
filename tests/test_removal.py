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
from spreadmap.decisions.removal import rank_removals
from spreadmap.decisions.removal_words import Knowledge
from spreadmap.engine import Engine
from spreadmap.errors import SettingsError
from spreadmap.values.inventory import Sources
from spreadmap.values.settings import InfectionSettings, KernelSettings, RemovalSettings, Settings
from spreadmap.values.surveys import Decisions
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


def test_crew_hours_draw_the_cut_off_and_leave_nobody_off_the_list():
    rng = np.random.default_rng(5)
    plants = inventory_at(*rng.uniform(0, 200, (60, 2)), bed=rng.choice(["a", "b", "c"], 60))
    state, last = state_with(plants, infected=range(30)), -1.0
    for hours in (0, 2, 8, 32):
        ranked = list_of(plants, state, settings=only_believed(crew_hours_per_week=hours))
        reach = int(ranked.within_hours.sum())
        assert len(ranked) == 30
        assert ranked.within_hours.tolist() == [True] * reach + [False] * (30 - reach)
        assert ranked.avoided[:reach].sum() >= 0.98 * last
        assert (ranked.person_minutes + ranked.set_up_minutes)[:reach].sum() <= hours * 60 * 2 * (1 + 1e-9)
        last = ranked.avoided[:reach].sum()
    assert reach == 30


def only_believed(**removal):
    """Settings without scale run and with one assumed rate."""
    return Settings(
        removal=RemovalSettings(**removal), kernel=KernelSettings(scale_run=()),
        infection=InfectionSettings(assumed_onward_range=(2.0, 2.0)),
    )  # fmt: skip


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
    still = list_of(plants, state_with(plants, infected=range(40)), settings=only_believed(crew_hours_per_week=30))
    assert (still.rank_low == rank).all()
    assert (still.rank_high == rank).all()
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


def test_a_plant_whose_own_bed_takes_nearly_all_names_what_stands_nearest_and_the_rest():
    """Two hosts within a metre take more than half, three at 4 m the rest but for a bed 300 m away."""
    places = [(0, 0), (0.9, 0), (-0.9, 0), *[(4, i) for i in range(3)], (300, 0)]
    plants = inventory_at(*places, bed=["own"] * 6 + ["far"])
    says = list_of(plants, state_with(plants, infected=[0])).reason[0]
    near, rest = (int(part.split(" %")[0].split()[-1]) for part in says.split(" and "))
    assert f"{near} % falls on 2 hosts within 1 m in bed own and {rest} % falls on the rest of bed own." in says
    alone = list_of(inventory_at(*places[:3]), state_with(inventory_at(*places[:3]), infected=[0])).onward[0]
    assert near == pytest.approx(100 * alone / list_of(plants, state_with(plants, infected=[0])).onward[0], abs=1.0)
    assert near + rest in (99, 100)
    # one host at 1.9 m takes less than half of what falls on the bed, with twenty at 3 m
    circle = [(3 * np.sin(turn), 3 * np.cos(turn)) for turn in np.arange(20) * np.pi / 10]
    crowd = inventory_at((0, 0), (1.9, 0), *circle, bed="own")
    assert "100 % falls on 21 hosts within 5 m in bed own." in list_of(crowd, state_with(crowd, infected=[0])).reason[0]


def test_a_plant_far_from_every_host_says_how_far_what_it_sends_falls():
    """Nothing within the distance of 95 % of arrivals; with hosts spread evenly no place has a part worth a word."""
    lone = inventory_at((0, 0), (300, 0))
    reach = float(spread_of().kernel.quantile(0.95))
    says = list_of(lone, state_with(lone, infected=[0])).reason[0]
    assert says.endswith(f"what it would send to healthy hosts falls more than {reach:.0f} m away.")
    circle = [(20 * np.sin(turn), 20 * np.cos(turn)) for turn in np.arange(40) * np.pi / 20]
    even = inventory_at((0, 0), *circle, bed=[f"b{number}" for number in range(41)])
    assert list_of(even, state_with(even, infected=[0])).reason[0].endswith("falls on many places.")


def test_regrowth_and_private_ground_are_said():
    plants = inventory_at((0, 0), (5, 0), site="garden")
    sites = sites_of(("garden", shapely.box(-9, -9, 9, 9), "bed", True, "A. Resident"))
    says = list_of(plants, state_with(plants, sprouting=[0]), sites=sites).reason[0]
    assert says.startswith("Regrowth seen after the removal on 2026-07-01; ")
    assert says.endswith("Private ground: settle access first.")
    assert "Resident" not in says


def test_the_reason_says_how_far_and_which_way_by_the_wind_or_by_the_compass():
    plants = inventory_at((0, 0), (20, 0), (0, 40), bed=["own", "east", "north"], site=["", "green", ""])
    sites = sites_of(("green", shapely.box(15, -5, 25, 5), "bed", False, "city"))
    state = state_with(plants, infected=[0])
    still = list_of(plants, state, sites=sites).reason[0]
    assert "falls on bed east, Site green, 20 m to the east" in still
    assert "falls on bed north, 40 m to the north" in still
    windy = list_of(plants, state, sites=sites, spread=spread_of(rose=rose_toward(90))).reason[0]
    assert "falls on bed east, Site green, 20 m downwind" in windy
    assert "20 m upwind" in list_of(plants, state, sites=sites, spread=spread_of(rose=rose_toward(270))).reason[0]


def test_shares_in_a_reason_are_those_of_the_sums_screens_included():
    """Two plants at equal distance, one behind a screen of factor 1/2: 2/3 and 1/3 of what is sent."""
    plants = inventory_at((0, 0), (10, 0), (-10, 0), bed=["own", "open", "behind"])
    says = list_of(plants, state_with(plants, infected=[0]), screens=screens_of((-5, -50, -5, 50, 0.5))).reason[0]
    assert "67 % falls on bed open" in says
    assert "33 % falls on bed behind" in says


def test_moving_everything_moves_nothing_in_the_list():
    rng = np.random.default_rng(4)
    places = rng.uniform(0, 120, (60, 2))
    beds = rng.choice(["a", "b", "c", "d"], 60)
    here, there = (inventory_at(*(places + shift), bed=beds) for shift in (0.0, 12_345.0))
    lists = [list_of(each, state_with(each, infected=range(20))) for each in (here, there)]
    assert lists[0].plant.tolist() == lists[1].plant.tolist()
    assert lists[0].avoided == pytest.approx(lists[1].avoided, rel=1e-6)


def test_the_list_is_the_same_on_one_and_on_two_threads():
    rng = np.random.default_rng(4)
    plants = inventory_at(*rng.uniform(0, 120, (60, 2)), bed=rng.choice(["a", "b", "c", "d"], 60))
    state = state_with(plants, infected=range(20))
    one, two = (
        rank_removals(plants, sites_of(), state, spread_of(), NO_SCREENS, system_of(), only_believed(), TODAY, (),
                      Engine(workers=count))
        for count in (1, 2)
    )  # fmt: skip
    assert one.plant.tolist() == two.plant.tolist()
    assert one.avoided.tobytes() == two.avoided.tobytes()


def test_the_curve_begins_with_nothing_and_rises_to_all_of_it():
    rng = np.random.default_rng(4)
    plants = inventory_at(*rng.uniform(0, 120, (60, 2)), bed=rng.choice(["a", "b", "c", "d"], 60))
    ranked = list_of(plants, state_with(plants, infected=range(20)))
    curve = ranked.curve
    assert (curve.hours[0], curve.share[0], curve.plants[0]) == (0, 0, 0)
    assert curve.hours[1:] == pytest.approx(ranked.cumulative_hours)
    assert (np.diff(curve.share) >= 0).all()
    assert curve.share[-1] == pytest.approx(1)
    assert (curve.low <= curve.share + 1e-12).all()
    assert (curve.high >= curve.share - 1e-12).all()
    assert (curve.low[1:-1] < curve.high[1:-1]).any()
    assert all(np.isnan(each).all() for each in (curve.infections, curve.infections_low, curve.infections_high))
    assert ranked.avoided == pytest.approx(np.diff(curve.share))


def test_packing_is_held_against_the_same_digging_by_value_alone():
    """Worked by hand: bed a has a strong plant and a weak one, bed b and c one of middle strength each.

    A week of 110 person-minutes takes 30 + 30 + 30 in bed a; by value alone the same 60 minutes of digging go to bed a
    and to bed b, with two set-ups: 120 person-minutes, one crew hour.
    """
    healthy = [*[(2, y) for y in (-2, 0, 2)], (60, 0), *[(302, y) for y in (-1, 1)], *[(602, y) for y in (-1, 1)]]
    plants = inventory_at((0, 0), (62, 0), (300, 0), (600, 0), *healthy,
                          bed=["a", "a", "b", "c", *["a"] * 4, *["b"] * 2, *["c"] * 2])  # fmt: skip
    week = only_believed(crew_hours_per_week=110 / 120)
    ranked = list_of(plants, state_with(plants, infected=range(4)), settings=week)
    price = ranked.packing
    assert ranked.plant[:2].tolist() == [0, 1]
    assert ranked.within_hours.tolist() == [True, True, False, False]
    assert price.packed_hours == pytest.approx(90 / 120)
    assert price.by_value_hours == pytest.approx(1.0)
    assert price.by_value > price.packed
    assert list_of(plants, state_with(plants, infected=range(4)), settings=only_believed()).packing is None


def test_a_row_costs_labour_with_its_set_up_bags_and_a_new_plant():
    """Worked by hand: medium rose, 30 + 30 minutes at 45 an hour, two bags at 8, a plant for 60: 121."""
    plants = inventory_at((0, 0))
    assert list_of(plants, state_with(plants, infected=[0])).cost.tolist() == [121.0]


def decisions_of(*rows):
    plant, day, word, until, reason = zip(*rows, strict=True)
    return Decisions(plant_id=plant, decided_on=day, decision=word, until=until, reason=reason)


def decided(*rows, infected=(0, 2, 4), **more):
    plants = inventory_at(*[(3 * i, 0) for i in range(8)], bed="a")
    return rank_removals(
        plants, sites_of(), state_with(plants, infected=infected, **more), spread_of(), NO_SCREENS, system_of(),
        only_believed(), TODAY, (), ENGINE, Knowledge(decisions=decisions_of(*rows)),
    )  # fmt: skip


def test_refused_and_put_off_plants_stay_listed_last_and_outside_the_cut_off():
    ranked = decided(
        ("p2", "2026-09-15", "refuse", "NaT", "the owner says no"),
        ("p4", "2026-09-15", "put_off", "2026-11-01", "market week"),
        ("p0", "2026-09-15", "accept", "NaT", ""),
    )
    assert ranked.plant.tolist() == [0, 2, 4]
    assert ranked.within_hours.tolist() == [True, False, False]
    assert ranked.week.tolist() == [1, 0, 0]
    assert np.isnat(ranked.planned_on[1:]).all()
    assert ranked.decision.tolist() == ["accept", "refuse", "put_off"]
    assert ranked.decision_reason.tolist() == ["", "the owner says no", "market week (until 2026-11-01)"]
    assert ranked.is_held.tolist() == [False, True, True]
    assert any("2 plants were put off or refused" in text for text in ranked.remarks)
    assert len(ranked.curve) == 2


def test_the_last_decision_counts_and_putting_off_ends_on_its_day():
    taken_back = decided(("p2", "2026-09-15", "refuse", "NaT", "no"), ("p2", "2026-09-18", "accept", "NaT", ""))
    assert not taken_back.is_held.any()
    over = decided(("p2", "2026-09-01", "put_off", "2026-09-21", "until today"))
    assert not over.is_held.any()
    assert over.decision.tolist() == [""] * 3
    later = decided(("p2", "2026-09-22", "refuse", "NaT", "not yet decided on the date of the state"))
    assert not later.is_held.any()


def test_a_decision_ends_with_the_removal_of_the_plant():
    again = decided(("p6", "2026-06-01", "refuse", "NaT", "before it was taken out"), sprouting=[6])
    assert not again.is_held.any()


def test_everything_held_back_leaves_an_empty_plan():
    ranked = decided(("p0", "2026-09-15", "refuse", "NaT", "no"), infected=[0])
    assert ranked.plant.tolist() == [0]
    assert not ranked.within_hours.any()


def test_an_order_opened_again_is_on_the_list_and_says_so():
    plants = inventory_at((0, 0), (5, 0))
    state = state_with(plants, sprouting=[0])
    opened = replace(state, has_regrowth=[False, False], reopened_on=["2026-09-18", "NaT"])
    ranked = list_of(plants, opened)
    assert ranked.plant.tolist() == [0]
    assert ranked.reason[0].startswith("Order opened again on 2026-09-18: the roots are still in the ground; ")
    assert ranked.onward[0] > 0


def test_what_is_left_out_is_said():
    plants = two_beds()
    ask = (plants, sites_of(), state_with(plants, infected=[0, 3]), spread_of(), NO_SCREENS, system_of(), only_believed(),
           TODAY, (), ENGINE)  # fmt: skip
    wild = Sources(easting=[900.0], northing=[0.0], strength=[3.0], plant=[-1])
    far = rank_removals(*ask, Knowledge(wild=wild, next_survey_on=TODAY + dt.timedelta(days=61))).remarks
    near = rank_removals(*ask, Knowledge(next_survey_on=TODAY + dt.timedelta(days=60))).remarks
    assert any("at this survey interval no order beats a short ring" in text for text in far)
    assert not any("short ring" in text for text in near)
    assert any("No wild stands are known" in text for text in near)
    assert not any("No wild stands are known" in text for text in far)
    assert all("chance" not in text and "probab" not in text for text in (*far, *near))


def test_a_size_without_minutes_and_minutes_of_zero_are_refused():
    plants = inventory_at((0, 0), size="M")
    state = state_with(plants, infected=[0])
    with pytest.raises(SettingsError, match=r"no person-minutes for size class 'M'.*settings.removal.person_minutes"):
        list_of(plants, state, settings=only_believed(person_minutes={"S": 20.0}))
    with pytest.raises(SettingsError, match="person-minutes of a removal: 0"):
        list_of(plants, state, settings=only_believed(person_minutes={"M": 0.0}))


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
