"""The clock of the growing season against counting day by day."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from spreadmap.biology.season_clock import SeasonClock
from spreadmap.errors import InputError, SettingsError

SPRING_TO_AUTUMN = SeasonClock(begins=(4, 1), ends=(10, 31))
OVER_NEW_YEAR = SeasonClock(begins=(10, 1), ends=(4, 15))
WHOLE_YEAR = SeasonClock(begins=(1, 1), ends=(12, 31))
OVER_LEAP_DAY = SeasonClock(begins=(2, 10), ends=(3, 5))
ONE_DAY = SeasonClock(begins=(6, 21), ends=(6, 21))
CLOCKS = pytest.mark.parametrize(
    "clock", [SPRING_TO_AUTUMN, OVER_NEW_YEAR, WHOLE_YEAR, OVER_LEAP_DAY, ONE_DAY], ids=str
)
DATES = st.integers(-2000, 3000).map(lambda offset: np.datetime64("2020-01-01") + offset)
LAW = settings(derandomize=True, max_examples=60, deadline=None)


def in_season(clock, day):
    date = day.item()
    now = (date.month, date.day)
    if clock.begins <= clock.ends:
        return clock.begins <= now <= clock.ends
    return now >= clock.begins or now <= clock.ends


@CLOCKS
@LAW
@given(DATES, st.integers(0, 900))
def test_counted_day_by_day(clock, first, span):
    counted = sum(in_season(clock, first + offset) for offset in range(span))
    assert int(clock.days_between(first, first + span)) == counted
    assert int(clock.days_between(first + span, first)) == -counted


@CLOCKS
@LAW
@given(DATES, st.integers(0, 700))
def test_date_after_is_the_first_that_has_the_days(clock, first, wanted):
    if clock is ONE_DAY:
        wanted //= 100
    date = clock.date_after(first, float(wanted))
    assert int(clock.days_between(first, date)) == wanted
    assert wanted == 0 or int(clock.days_between(first, date - 1)) == wanted - 1


def test_by_hand():
    # infected on 22 October: ten season days are left (22 to 31), the eleventh is 1 April, over on the second
    first = np.datetime64("2023-10-22")
    assert int(SPRING_TO_AUTUMN.days_between(first, np.datetime64("2024-02-01"))) == 10
    assert SPRING_TO_AUTUMN.date_after(first, 10.0) == np.datetime64("2023-11-01")
    assert SPRING_TO_AUTUMN.date_after(first, 11.0) == np.datetime64("2024-04-02")
    assert SPRING_TO_AUTUMN.date_after(first, 10.2) == np.datetime64("2024-04-02")
    assert SPRING_TO_AUTUMN.date_after(first, 0.0) == first


def test_a_whole_year_is_the_calendar():
    first, last = np.datetime64("2019-03-07"), np.datetime64("2024-09-01")
    assert int(WHOLE_YEAR.days_between(first, last)) == (last - first).astype(int)


def test_arrays_of_dates():
    first = np.array(["2023-04-01", "2023-10-31", "2024-01-15"], dtype="datetime64[D]")
    last = np.array([["2023-11-01"], ["2024-04-02"]], dtype="datetime64[D]")
    assert SPRING_TO_AUTUMN.days_between(first, last).tolist() == [[214, 1, 0], [215, 2, 1]]
    found = SPRING_TO_AUTUMN.date_after(first, np.array([1.0, 1.0, 1.0]))
    assert found.astype(str).tolist() == ["2023-04-02", "2023-11-01", "2024-04-02"]
    assert SPRING_TO_AUTUMN.days_between(first[:0], first[:0]).shape == (0,)
    assert SPRING_TO_AUTUMN.date_after(first[:0], first[:0].astype(float)).dtype == "datetime64[D]"


def test_a_missing_date_is_refused():
    days = np.array(["2023-04-01", "NaT"], dtype="datetime64[D]")
    with pytest.raises(InputError, match=r"last has 1 missing date\(s\); allowed: a date for each"):
        SPRING_TO_AUTUMN.days_between(days[:1], days)
    with pytest.raises(InputError, match=r"first has 1 missing"):
        SPRING_TO_AUTUMN.date_after(days, 3.0)


@pytest.mark.parametrize("wanted", [-1.0, np.nan, 40_000.0])
def test_impossible_numbers_of_days_are_refused(wanted):
    with pytest.raises(SettingsError, match=r"season_days is .* d; allowed: 0 to 36500 d"):
        SPRING_TO_AUTUMN.date_after(np.datetime64("2023-04-01"), wanted)


@pytest.mark.parametrize("month_day", [(2, 29), (0, 1), (4, 31), (4, "x")])
def test_no_date_of_an_ordinary_year_is_refused(month_day):
    with pytest.raises(SettingsError, match=r"growing season: begins is \(.*allowed: month 1 to 12 and a day of that"):
        SeasonClock(begins=month_day, ends=(10, 31))
