"""Hourly wind: clocks to UTC, units, codes for calm and variable, directions to grid north, gaps and doubles."""

import datetime as dt
from zoneinfo import ZoneInfo

import numpy as np
import pyproj
import pytest
from scipy.stats import circmean
from small_projects import CRS, PROJECT, make_project

from spreadmap.errors import InputError, SettingsError
from spreadmap.io.faults import FaultBook
from spreadmap.io.project_file import WindHoursBlock
from spreadmap.io.read_crs import grid_convergence_deg, working_crs
from spreadmap.io.read_project import read_project
from spreadmap.io.read_wind_hours import is_doubled, parse_time, read_wind_hours, time_zone, to_utc
from spreadmap.values.settings import InputSettings, Settings

LENIENT = Settings(inputs=InputSettings(most_rows_aside=1.0))
HEADER = "time,wind_from_deg,speed,gust,temperature_c,rain_mm"


def read(folder, rows, convergence=0.0, header=HEADER, **keys):
    path = folder / "wind.csv"
    path.write_text("\n".join([header, *rows]) + "\n", encoding="utf-8")
    book = FaultBook()
    block = WindHoursBlock(**({"file": "wind.csv", "time_zone": "UTC", "speed_unit": "m/s"} | keys))
    hours = read_wind_hours([block], [path], convergence, LENIENT, book)
    book.raise_if_stopped()
    return hours, book


def hour(time, direction="200", speed="3"):
    return f"{time},{direction},{speed},,,"


@pytest.mark.parametrize(("unit", "metres"), [("m/s", 10.0), ("km/h", 10 / 3.6), ("mph", 4.4704), ("knots", 5.14444)])
def test_speeds_come_in_metres_per_second(tmp_path, unit, metres):
    # one mile is 1609.344 m, one nautical mile 1852 m, by definition
    hours, _ = read(tmp_path, ["2026-05-01 10:00,200,10,20,15.5,0.2"], speed_unit=unit)
    assert np.isclose(hours.speed_m_s[0], metres, rtol=1e-5)
    assert np.isclose(hours.gust_m_s[0], 2 * metres, rtol=1e-5)
    assert (hours.temperature_c[0], hours.rain_mm[0]) == (15.5, 0.2)


@pytest.mark.parametrize(
    ("zone", "local", "utc"),
    [
        ("UTC", "2026-05-01 10:00", "2026-05-01T10:00"),
        ("America/Chicago", "2026-05-01 10:00", "2026-05-01T15:00"),
        ("America/Chicago", "2026-01-01 10:00", "2026-01-01T16:00"),
        ("+01:00", "2026-05-01T00:30", "2026-04-30T23:30"),
        ("-06:00", "2026-05-01 10:00:00", "2026-05-01T16:00"),
        ("UTC", "2026-05-01", "2026-05-01T00:00"),
    ],
)
def test_clocks_come_to_utc(tmp_path, zone, local, utc):
    assert read(tmp_path, [hour(local)], time_zone=zone)[0].time_utc.astype(str).tolist() == [utc]


def test_the_hour_that_clocks_show_twice_and_the_one_they_skip(tmp_path):
    # clocks in Chicago go back at 2:00 on 1 November 2026 and forward at 2:00 on 8 March 2026
    autumn = ["2026-11-01 00:00", "2026-11-01 01:00", "2026-11-01 01:00", "2026-11-01 02:00"]
    hours, book = read(tmp_path, [hour(time) for time in autumn], time_zone="America/Chicago")
    assert [str(time)[11:] for time in hours.time_utc] == ["05:00", "06:00", "07:00", "08:00"]
    assert "2 hours lie where that clock goes back" in book.faults[0].sentence()
    spring = ["2026-03-08 01:00", "2026-03-08 02:00", "2026-03-08 03:00"]
    hours, book = read(tmp_path, [hour(time) for time in spring], time_zone="America/Chicago")
    assert [str(time)[11:] for time in hours.time_utc] == ["07:00", "08:00"]
    assert "1 hours do not exist on that clock" in book.faults[0].sentence()


def test_every_hour_of_a_year_comes_back_once():
    zone, taken = ZoneInfo("America/Chicago"), set()
    first = dt.datetime(2026, 1, 1, 6, tzinfo=dt.UTC)
    moments = [first + dt.timedelta(hours=step) for step in range(8760)]
    for moment in moments:
        local = moment.astimezone(zone).replace(tzinfo=None)
        taken.add(to_utc(local, zone, taken))
    assert taken == {moment.replace(tzinfo=None) for moment in moments}


def test_a_place_is_asked_for_where_the_zone_is_unknown(tmp_path):
    with pytest.raises(SettingsError, match=r"time_zone 'America/Chigaco' is not known; allowed: for example"):
        read(tmp_path, [hour("2026-05-01 10:00")], time_zone="America/Chigaco")
    for text in ("../etc/passwd", "", "/etc/localtime", "Europe"):
        with pytest.raises(SettingsError, match="is not known"):
            time_zone(text)


def test_calm_and_variable_hours_have_no_direction_but_north_does(tmp_path):
    rows = [("000", "0"), ("VRB", "1.5"), ("", "2"), ("360", "3"), ("0", "3"), ("90", "0.0")]
    hours, _ = read(tmp_path, [hour(f"2026-05-01 {i:02d}:00", *row) for i, row in enumerate(rows)])
    assert np.isnan(hours.wind_from_deg).tolist() == [True, True, True, False, False, True]
    assert hours.wind_from_deg[3:5].tolist() == [0.0, 0.0]
    assert hours.speed_m_s.tolist() == [0, 1.5, 2, 3, 3, 0]


def test_true_north_becomes_grid_north_once(tmp_path):
    working = working_crs("EPSG:32614")
    turn = float(grid_convergence_deg(working.crs, np.array([-96.6]), np.array([36.9]))[0])
    # east of the central meridian grid north lies clockwise of true north: bearings from it are smaller
    assert 1.3 < turn < 1.6
    true, _ = read(tmp_path, [hour("2026-05-01 10:00", "90")], convergence=turn)
    grid, _ = read(tmp_path, [hour("2026-05-01 10:00", "90")], convergence=turn, north="grid")
    assert np.isclose(true.wind_from_deg[0], 90 - turn)
    assert grid.wind_from_deg[0] == 90
    wrapped, _ = read(tmp_path, [hour("2026-05-01 10:00", "1")], convergence=turn)
    assert np.isclose(wrapped.wind_from_deg[0], 361 - turn)


@pytest.mark.parametrize(("step", "coarse"), [(10, True), (7, False)])
def test_whole_tens_are_noticed(tmp_path, step, coarse):
    rows = [hour(f"2026-05-{1 + i // 24:02d} {i % 24:02d}:00", str((i * step) % 360)) for i in range(48)]
    assert read(tmp_path, rows)[0].is_coarse.all() == coarse


def test_gaps_doubles_and_shorter_steps_are_told_and_rows_sorted(tmp_path):
    rows = [
        hour("2026-05-01 15:00"),
        hour("2026-05-01 10:00"),
        hour("2026-05-01 10:00", "20"),
        hour("2026-05-01 11:00"),
    ]
    hours, book = read(tmp_path, rows)
    assert [str(time)[11:] for time in hours.time_utc] == ["10:00", "11:00", "15:00"]
    assert hours.wind_from_deg[0] == 200
    assert [fault.sentence() for fault in book.faults] == [
        "wind.csv: 1 hours come twice. The first row of each was taken.",
        "wind.csv: 3 hours are missing between the first and the last. They stay missing.",
    ]
    _, book = read(tmp_path, [hour(f"2026-05-01 10:{minute}") for minute in ("00", "10", "20", "30")])
    assert "rows lie 10 minutes apart" in book.faults[0].sentence()


@pytest.mark.parametrize(
    ("row", "says"),
    [
        (hour("noon"), "'noon'; allowed: a time written 2026-04-01 13:00"),
        (hour("2026-05-01 24:30"), "column 'time'"),
        (hour("2026-05-01 10:00", "361"), "'361'; allowed: 0 to 360, or VRB"),
        (hour("2026-05-01 10:00", "NNW"), "'NNW';"),
        (hour("2026-05-01 10:00", "200", "999"), "'999'; allowed: a number from 0 to 120"),
        (hour("2026-05-01 10:00", "200", "-1"), "'-1';"),
    ],
)
def test_a_faulty_hour_is_put_aside(tmp_path, row, says):
    hours, book = read(tmp_path, [hour("2026-05-02 10:00"), row])
    assert len(hours) == 1
    assert says in book.faults[0].sentence()


def test_a_declared_order_of_dates_counts_for_times_too(tmp_path):
    hours, _ = read(tmp_path, [hour("01.05.2026 10:00")], date_format="dd.mm.yyyy")
    assert str(hours.time_utc[0]) == "2026-05-01T10:00"
    assert parse_time("01.05.2026 10:00") is None
    assert parse_time("2026-05-01 7:05") == dt.datetime(2026, 5, 1, 7, 5)


def test_doubled_hours_are_those_of_the_clock_that_goes_back():
    zone = ZoneInfo("America/Chicago")
    assert is_doubled(dt.datetime(2026, 11, 1, 1, 30), zone)
    assert not is_doubled(dt.datetime(2026, 11, 1, 2, 0), zone)
    assert not is_doubled(dt.datetime(2026, 3, 8, 2, 30), zone)


def test_a_missing_column_stops_the_file(tmp_path):
    with pytest.raises(InputError, match=r"has no column for speed; its columns are time, wind_from_deg, wind_speed"):
        read(tmp_path, ["2026-05-01 10:00,200,3"], header="time,wind_from_deg,wind_speed")


def test_turning_keeps_the_circular_mean(tmp_path):
    given = np.array([350.0, 10.0, 20.0])
    rows = [hour(f"2026-05-01 {i:02d}:00", str(value)) for i, value in enumerate(given)]
    hours, _ = read(tmp_path, rows, convergence=1.5)
    expected = np.rad2deg(circmean(np.deg2rad(given))) - 1.5
    assert np.isclose(np.rad2deg(circmean(np.deg2rad(hours.wind_from_deg))), expected)


def test_a_projects_hours_are_turned_by_what_proj_gives_for_its_place(tmp_path):
    wind = '\n[[inputs.wind_hours]]\nfile = "wind.csv"\ntime_zone = "UTC"\nspeed_unit = "m/s"\n'
    folder = make_project(tmp_path, PROJECT + wind, wind__csv=f"{HEADER}\n{hour('2026-05-01 10:00', '90')}\n")
    values, _ = read_project(folder)
    factors = pyproj.Proj(CRS).get_factors(values.longitude_deg, values.latitude_deg)
    # the place lies east of the central meridian: a bearing from grid north is smaller than the true one
    assert factors.meridian_convergence > 1
    assert np.isclose(values.wind_hours.wind_from_deg[0], 90 - factors.meridian_convergence, atol=1e-3)
