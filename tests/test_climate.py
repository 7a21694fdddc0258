"""The wind climate: which hours count, how calm and whole tens count, how a raster bends the rose."""

import numpy as np
import pytest
from small_worlds import WALD

from spreadmap.dispersal.bearings import bearing_density, from_deg_to_components, mean_direction
from spreadmap.dispersal.climate import flight_climate, sector_shares
from spreadmap.dispersal.spread import Spread
from spreadmap.values.settings import WindSettings
from spreadmap.values.wind import WindHours, WindRaster

PLACE = (-84.4, 39.1)
SUMMER = (0.0, 0.0, 0.0, 0.1, 0.2, 0.5, 0.9, 1.0, 1.0, 0.8, 0.3, 0.1)
SETTINGS = WindSettings()
ALL_ROUND = np.arange(0.0, 360.0, 1.0)


def hours_of(
    wind_from, speed=3.0, *, rain=0.0, temperature=22.0, gust=np.nan, first="2024-07-01T16:00", step_h=24, coarse=False
):
    """Return hours, by default all at about local noon, one a day from 1 July on."""
    wind_from = np.atleast_1d(np.asarray(wind_from, dtype=float))
    n = len(wind_from)

    def full(value):
        return np.broadcast_to(np.asarray(value, dtype=float), n)

    return WindHours(
        time_utc=np.datetime64(first, "m") + np.arange(n) * np.timedelta64(60 * step_h, "m"),
        wind_from_deg=wind_from, speed_m_s=full(speed), gust_m_s=full(gust), temperature_c=full(temperature),
        rain_mm=full(rain), is_coarse=np.broadcast_to(coarse, n),
    )  # fmt: skip


def joined(*records):
    """Return several records as one."""
    names = ("time_utc", "wind_from_deg", "speed_m_s", "gust_m_s", "temperature_c", "rain_mm", "is_coarse")
    return WindHours(**{name: np.concatenate([getattr(each, name) for each in records]) for name in names})


def raster_of(wind_u, wind_v, *, month=(0,), speed=None, cell=1000.0):
    """Return a raster from components (periods, rows, cols); row 0 lies north."""
    u, v = np.asarray(wind_u, dtype=float), np.asarray(wind_v, dtype=float)
    return WindRaster(
        easting=cell * np.arange(u.shape[2]), northing=cell * np.arange(u.shape[1])[::-1], month=np.array(month),
        wind_u=u, wind_v=v, mean_speed_m_s=speed,
    )  # fmt: skip


def climate_of(hours=None, raster=None, weights=SUMMER, settings=SETTINGS):
    return flight_climate(hours, raster, weights, *PLACE, settings)


def mean_bearing(rose):
    return float(np.rad2deg(np.angle(rose[..., 0])) % 360)


def test_wind_from_the_west_moves_air_to_the_east():
    climate = climate_of(hours_of([270.0] * 5))
    assert mean_bearing(climate.rose) == pytest.approx(90.0)
    assert np.argmax(climate.sector_share) == 4
    assert climate.sector_share.sum() == pytest.approx(1.0)
    assert climate.hours_used == 5
    assert climate.basis == "hourly wind record, 5 hours of flight"
    assert climate.mean_speed_m_s == 3.0


def test_no_wind_data_is_the_same_in_all_directions_and_says_so():
    climate = climate_of()
    assert climate.basis == "no wind data: same in all directions"
    assert not climate.rose.any()
    assert "the same in all directions" in climate.remarks[0]


def test_only_daylight_hours_count():
    # Local noon is 17:38 UTC there; in July the sun is up from about 10:25 to 25:00 UTC.
    day = hours_of(np.zeros(24), first="2024-07-10T00:00", step_h=1)
    window = [hour for hour in range(24) if 10.4 + 3 < hour + 0.5 < 25.1 - 3]
    assert climate_of(day).hours_used == len(window)
    assert "hours of flight; left out: " in climate_of(day).remarks[0]
    assert f"{24 - len(window)} outside the daylight window" in climate_of(day).remarks[0]
    wider = WindSettings(hours_after_sunrise=0.0, hours_before_sunset=0.0)
    assert climate_of(day, settings=wider).hours_used == len(window) + 6


def test_a_window_that_crosses_midnight_utc_is_one_day_of_the_place():
    # At 150 E local noon is about 2 h UTC: the day's light lies in two days of UTC.
    hours = hours_of(np.zeros(72), first="2024-01-10T00:00", step_h=1)
    climate = flight_climate(hours, None, [1.0] * 12, 150.0, -33.0, SETTINGS)
    # 14.2 h of light less 6 h, three days, whole hours whose middle lies inside
    assert climate.hours_used in range(3 * 8, 3 * 9 + 1)


@pytest.mark.parametrize(
    ("change", "why"),
    [
        ({"rain": [0.0, 0.2, 0.0]}, "1 with rain"),
        ({"temperature": [22.0, 11.9, 22.0]}, "1 too cold"),
        ({"speed": [3.0, np.nan, 3.0]}, "1 without a speed"),
    ],
)
def test_an_hour_without_flight_is_left_out_with_its_reason(change, why):
    climate = climate_of(hours_of([270.0, 90.0, 270.0], **change))
    assert climate.hours_used == 2
    assert why in climate.remarks[0]
    assert mean_bearing(climate.rose) == pytest.approx(90.0)


def test_hours_at_the_limits_count():
    climate = climate_of(hours_of([270.0], speed=0.5, temperature=12.0, rain=0.0))
    assert climate.hours_used == 1
    assert climate.calm_share == 0.0


def test_missing_rain_and_temperature_pass_and_are_told():
    climate = climate_of(hours_of([270.0, 270.0], rain=[np.nan, 0.0], temperature=np.nan))
    assert climate.hours_used == 2
    assert "1 hours were used although their rain is not on record." in climate.remarks
    assert "2 hours were used although their temperature is not on record." in climate.remarks


def test_hours_out_of_season_are_left_out():
    climate = climate_of(hours_of([270.0] * 3, first="2024-01-10T17:00"))
    assert climate.hours_used == 0
    assert "3 outside the season of flight" in climate.remarks[0]
    assert not climate.rose.any()
    assert any("No hour of the wind record is an hour of flight" in remark for remark in climate.remarks)
    assert np.isnan(climate.mean_speed_m_s)


def test_calm_and_variable_hours_favour_no_direction():
    windy = climate_of(hours_of([270.0, 270.0]))
    mixed = climate_of(hours_of([270.0, 270.0, 180.0, np.nan], speed=[3.0, 3.0, 0.4, 3.0]))
    assert mixed.calm_share == pytest.approx(0.5)
    assert mixed.hours_used == 4
    assert mean_bearing(mixed.rose) == pytest.approx(90.0)
    assert abs(mixed.rose[0]) < abs(windy.rose[0])
    assert mixed.sector_share.sum() == pytest.approx(0.5)
    assert (
        "1 of 4 hours of flight are calm (below 0.5 m/s), 1 variable: 50% of the flight, which favours no direction."
        in mixed.remarks
    )


def test_gusts_are_counted_among_the_hours_of_flight_that_have_one():
    hours = hours_of([270.0] * 5, gust=[np.nan, 3.0, 8.0, 12.0, 9.0], rain=[0.0, 0.0, 0.0, 0.0, 1.0])
    assert "2 of 3 hours of flight with a gust on record had gusts of 8 m/s or more." in climate_of(hours).remarks
    stricter = climate_of(hours, settings=WindSettings(gusty_from_m_s=2.5)).remarks
    assert "3 of 3 hours of flight with a gust on record had gusts of 2.5 m/s or more." in stricter
    assert not any("gust" in remark for remark in climate_of(hours_of([270.0])).remarks)


def test_all_hours_stand_beside_the_hours_of_flight():
    # by night from the north, by day from the west; one calm, one variable, one whose wind is not on record
    night = hours_of([360.0] * 4, first="2024-07-01T06:00")
    day = hours_of([270.0, 270.0, 90.0, np.nan, 270.0], speed=[3.0, 3.0, 0.2, 2.0, np.nan])
    climate = climate_of(joined(night, day))
    assert climate.hours_used == 4
    assert climate.sector_share[4] == pytest.approx(0.5)
    assert climate.sector_share_all_hours[4] == pytest.approx(2 / 8)
    assert climate.sector_share_all_hours[8] == pytest.approx(4 / 8)
    assert climate.calm_share_all_hours == pytest.approx(2 / 8)
    assert climate.sector_share_all_hours.sum() + climate.calm_share_all_hours == pytest.approx(1.0)
    nothing = climate_of()
    assert not nothing.sector_share_all_hours.any()
    assert nothing.calm_share_all_hours == 0.0


def test_months_count_with_their_weight_of_flight():
    # one July hour from the west (weight 0.9), one October hour from the south (weight 0.8)
    july, october = hours_of([270.0]), hours_of([180.0], first="2024-10-10T17:00")
    climate = climate_of(joined(july, october))
    assert climate.sector_share[4] == pytest.approx(0.9 / 1.7)
    assert climate.sector_share[0] == pytest.approx(0.8 / 1.7)


def test_reversed_wind_reverses_the_climate():
    wind_from = np.array([250.0, 270.0, 10.0, 300.0])
    ahead, back = climate_of(hours_of(wind_from)), climate_of(hours_of((wind_from + 180) % 360))
    assert bearing_density(back.rose, ALL_ROUND) == pytest.approx(bearing_density(ahead.rose, ALL_ROUND + 180))
    assert back.sector_share == pytest.approx(np.roll(ahead.sector_share, 8))


def test_whole_tens_do_not_pile_up_in_sectors():
    # All 36 whole tens alike: 16 sectors would hold two or three of them each.
    tens = np.arange(0.0, 360.0, 10.0)
    even = climate_of(hours_of(tens, coarse=True), weights=[1.0] * 12)
    assert even.sector_share == pytest.approx(np.full(16, 1 / 16), abs=3e-3)
    assert any("whole tens" in remark for remark in even.remarks)
    piled = climate_of(hours_of(tens), weights=[1.0] * 12)
    assert np.ptp(piled.sector_share) > 0.02


def test_sector_shares_are_a_direct_count():
    toward = np.random.default_rng(2).uniform(0, 360, 1000)
    count = np.zeros(16)
    for bearing in toward:
        count[int(((bearing + 11.25) % 360) // 22.5)] += 1
    assert sector_shares(toward, np.ones(1000), 1000.0) == pytest.approx(count / 1000)
    assert sector_shares(np.zeros(0), np.zeros(0), 0.0).tolist() == [0.0] * 16


def test_mean_direction_agrees_with_the_circular_mean():
    wind_from = np.random.default_rng(3).vonmises(-1.0, 2.0, 300) * 180 / np.pi % 360
    climate = climate_of(hours_of(wind_from, first="2024-07-01T17:00", step_h=0))
    assert mean_bearing(climate.rose) == pytest.approx(mean_direction((wind_from + 180) % 360), abs=1e-6)


def test_a_raster_alone_points_along_its_vectors():
    u, v = from_deg_to_components(np.array([[[270.0, 180.0], [225.0, 0.0]]]), 2.0)
    climate = climate_of(raster=raster_of(u, v))
    for (row, col), bearing in {(0, 0): 90.0, (0, 1): 0.0, (1, 0): 45.0, (1, 1): 180.0}.items():
        assert (mean_bearing(climate.field[row, col]) - bearing + 180) % 360 - 180 == pytest.approx(0, abs=1e-6)
    # concentration 1 without a mean speed: I1(1)/I0(1), a textbook value
    assert np.abs(climate.field[..., 0]) == pytest.approx(np.full((2, 2), 0.4463899659), rel=1e-9)
    assert any("no mean speed" in remark for remark in climate.remarks)
    assert climate.sector_share.sum() == pytest.approx(1.0)
    assert climate.basis == "wind raster of mean vectors, no hourly record"


def test_mean_speed_says_how_steady_the_wind_is():
    u, v = np.full((1, 1, 3), 2.0), np.zeros((1, 1, 3))
    climate = climate_of(raster=raster_of(u, v, speed=np.array([[[4.0, 8.0, 2.1]]])))
    # |mean vector| / mean speed is the resultant length, until the cut-off series has to be smoothed
    assert np.abs(climate.field[0, :2, 0]) == pytest.approx([0.5, 0.25], rel=1e-6)
    assert 0.7 < np.abs(climate.field[0, 2, 0]) < 2.0 / 2.1
    assert climate.mean_speed_m_s == pytest.approx((4.0 + 8.0 + 2.1) / 3)


def test_months_of_a_raster_count_with_the_season():
    u = np.array([[[5.0]], [[1.0]], [[-1.0]]])
    climate = climate_of(raster=raster_of(u, np.zeros((3, 1, 1)), month=(1, 7, 10)))
    # January has no flight; July 0.9 to the east, October 0.8 to the west: the sum points east
    assert mean_bearing(climate.field[0, 0]) == pytest.approx(90.0)


def test_a_raster_out_of_season_is_used_whole_and_says_so():
    climate = climate_of(raster=raster_of(np.ones((1, 1, 1)), np.zeros((1, 1, 1)), month=(1,)))
    assert mean_bearing(climate.field[0, 0]) == pytest.approx(90.0)
    assert any("all its months were used" in remark for remark in climate.remarks)


def test_cells_without_a_value_take_the_nearest():
    u = np.array([[[1.0, np.nan, np.nan, 0.0]]])
    v = np.array([[[0.0, np.nan, np.nan, 1.0]]])
    climate = climate_of(raster=raster_of(u, v))
    assert [round(mean_bearing(rose)) for rose in climate.field[0]] == [90, 90, 0, 0]
    assert (
        "2 of 4 wind cells hold no value: 2 took the nearest one that does, at most 2000 m away, and 0 took no direction, "
        "for there is no hourly record." in climate.remarks
    )
    assert climate.basis == "wind raster of mean vectors, no hourly record"


HOLED = ([[[1.0, np.nan, np.nan, np.nan]]], [[[0.0, np.nan, np.nan, np.nan]]])
"""One cell with wind from the west, then three without a value, 1000 m apart."""


def test_cells_too_far_from_any_value_take_the_record_as_it_is():
    station = hours_of([180.0, 190.0, 170.0, 20.0])
    climate = climate_of(station, raster_of(*HOLED))
    assert [round(mean_bearing(rose)) for rose in climate.field[0, :3]] == [90, 90, 90]
    assert climate.field[0, 3] == pytest.approx(climate.rose)
    assert (
        "3 of 4 wind cells hold no value: 2 took the nearest one that does, at most 2000 m away, and 1 took the rose of "
        "the hourly record as it is." in climate.remarks
    )
    assert climate.basis.endswith(
        "by a wind raster (1 of 4 cells without a value near enough have the rose of the record as it is)"
    )
    nowhere = climate_of(station, raster_of(*HOLED), settings=WindSettings(nearest_wind_cell_m=0.0))
    assert [np.array_equal(rose, nowhere.rose) for rose in nowhere.field[0]] == [False, True, True, True]


def test_cells_too_far_from_any_value_favour_no_direction_without_a_record():
    climate = climate_of(raster=raster_of(*HOLED))
    assert not climate.field[0, 3].any()
    assert climate.field[0, 2].any()
    assert climate.basis.endswith("no hourly record (1 of 4 cells without a value near enough favour no direction)")
    speeds = np.array([[[4.0, np.nan, np.nan, np.nan]]])
    assert climate_of(raster=raster_of(*HOLED, speed=speeds)).mean_speed_m_s == 4.0


def test_a_month_without_a_value_leaves_the_other_months():
    u = np.array([[[1.0, 1.0]], [[np.nan, 3.0]]])
    climate = climate_of(raster=raster_of(u, np.zeros((2, 1, 2)), month=(7, 8)))
    assert not any("no value" in remark for remark in climate.remarks)
    assert mean_bearing(climate.field[0, 0]) == pytest.approx(90.0)


def test_a_raster_without_any_value_is_not_used():
    nothing = raster_of(np.full((1, 2, 2), np.nan), np.full((1, 2, 2), np.nan))
    alone = climate_of(raster=nothing)
    assert alone.field is None
    assert alone.basis == "no wind data: same in all directions"
    both = climate_of(hours_of([270.0] * 3), nothing)
    assert both.field is None
    assert both.basis == "hourly wind record, 3 hours of flight"
    for climate in (alone, both):
        assert any("The wind raster holds no value" in remark for remark in climate.remarks)


@pytest.mark.parametrize(
    ("has_hours", "has_raster", "basis"),
    [
        (True, True, "hourly wind record, 3 hours of flight, bent from place to place by a wind raster"),
        (False, True, "wind raster of mean vectors, no hourly record"),
        (True, False, "hourly wind record, 3 hours of flight"),
        (False, False, "no wind data: same in all directions"),
    ],
)
def test_the_basis_says_which_inputs_made_the_climate(has_hours, has_raster, basis):
    hours = hours_of([270.0, 260.0, 280.0]) if has_hours else None
    raster = raster_of(np.zeros((1, 2, 2)), np.full((1, 2, 2), 2.0)) if has_raster else None
    climate = climate_of(hours, raster)
    assert climate.basis == basis
    assert (climate.field is not None) == has_raster
    assert (climate.hours_used == 3) == has_hours
    assert bool(climate.speed_classes) == has_hours
    # the raster's air moves to the north; the record's, without it, to the east
    bearing = {(True, True): 0, (False, True): 0, (True, False): 90}.get((has_hours, has_raster))
    rose = climate.field[0, 0] if has_raster else climate.rose
    if bearing is None:
        assert not rose.any()
    else:
        assert (mean_bearing(rose) - bearing + 180) % 360 - 180 == pytest.approx(0, abs=1e-6)


def test_both_inputs_bend_the_station_rose_along_the_valley():
    station = hours_of([260.0, 270.0, 280.0, 300.0, 90.0])
    u, v = from_deg_to_components(np.array([[[270.0, 225.0, 180.0]]]), np.array([[[1.0, 1.0, 1.0]]]))
    climate = climate_of(station, raster_of(u, v))
    for rose, bearing in zip(climate.field[0], (90.0, 45.0, 0.0), strict=True):
        assert (mean_bearing(rose) - bearing + 180) % 360 - 180 == pytest.approx(0.0, abs=1e-6)
        # equal lengths: turned as a whole, neither sharper nor blunter
        assert np.abs(rose) == pytest.approx(np.abs(climate.rose))
    assert climate.basis.endswith("bent from place to place by a wind raster")
    assert climate.hours_used == 5


def test_weak_mean_wind_blunts_and_strong_sharpens_within_bounds():
    station = hours_of(np.arange(180.0, 360.0, 5.0))
    u = np.array([[[0.0, 0.5, 1.0, 2.5]]])
    climate = climate_of(station, raster_of(u, np.zeros_like(u)))
    ratio = np.abs(climate.field[0, :, 0]) / abs(climate.rose[0])
    assert ratio[:3] == pytest.approx([0.0, 0.5, 1.0])
    assert 1.0 <= ratio[3] <= 1.5
    for rose in climate.field[0]:
        assert bearing_density(rose, ALL_ROUND).min() > -1e-4


def test_a_record_without_a_mean_direction_is_turned_by_the_bend_of_the_raster():
    up_and_down_the_valley = hours_of([0.0, 180.0, 0.0, 180.0])
    u, v = from_deg_to_components(np.array([[[190.0, 180.0, 170.0]]]), 1.0)
    climate = climate_of(up_and_down_the_valley, raster_of(u, v))
    assert any("no mean direction" in remark for remark in climate.remarks)
    # the second coefficient holds the axis; its angle is twice the bearing
    axis = np.rad2deg(np.angle(climate.field[0, :, 1])) / 2
    assert axis == pytest.approx([10.0, 0.0, -10.0], abs=1e-6)


def test_a_turned_raster_turns_the_whole_law():
    place = np.zeros(1)
    station = hours_of([260.0, 270.0, 280.0])
    laws = []
    for wind_from in (270.0, 180.0):
        u, v = from_deg_to_components(np.full((1, 2, 2), wind_from), 1.0)
        laws.append(
            Spread(kernel=WALD, climate=climate_of(station, raster_of(u, v)), wind_influence=1, near_radius_m=1)
        )
    east, north = (law.coefficients_at(place, place)[0] for law in laws)
    assert laws[0].density(np.array(20.0), np.array(3.0), east) == pytest.approx(
        laws[1].density(np.array(-3.0), np.array(20.0), north)
    )
