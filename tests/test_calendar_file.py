"""The calendar as files, read back by the rules of RFC 5545, and as a table."""

import csv
import datetime as dt
import itertools
import json
import re
import warnings
from dataclasses import replace

import pytest
from made_results import HOSTILE_TEXTS, made_result, made_system
from small_seasons import again_of, calendar_on, cosmetic_of, day, heat_of, record_of, window_of

from spreadmap.errors import OutputError
from spreadmap.io.calendar_file import (
    calendar_ics,
    calendar_rows,
    escape,
    events,
    fold,
    season_values,
    write_calendar_csv,
)
from spreadmap.io.layers import clean_text
from spreadmap.io.short_names import CALENDAR
from spreadmap.io.summary import plain, summary_values
from spreadmap.io.write_delivery import write_delivery
from spreadmap.io.write_tables import unquote_formula
from spreadmap.values.words import WindowKind

# RFC 5545, 3.1: name, parameters, value; a parameter's value is quoted or has no ";", ":" or ","
LINE = re.compile(
    r'(?P<name>[A-Za-z0-9-]+)(?P<more>(?:;[A-Za-z0-9-]+=(?:"[^"\x00-\x08\x0a-\x1f]*"|[^";:,\x00-\x1f]*))*):(?P<value>.*)'
)
# 3.3.11: in a text ";", "," and "\" stand behind a backslash only, a line end is \n, and there is no control character
TEXT = re.compile(r"(?:[^\\;,\x00-\x08\x0a-\x1f\x7f]|\\[\\;,nN])*")
TEXTS = {"SUMMARY", "DESCRIPTION", "NAME", "X-WR-CALNAME", "UID", "PRODID"}
# 3.6.1: each of these once in an event
ONCE = ("UID", "DTSTAMP", "SEQUENCE", "DTSTART", "DTEND", "TRANSP", "CLASS", "SUMMARY", "DESCRIPTION", "PRIORITY")


def unescape(value):
    assert TEXT.fullmatch(value), value
    return re.sub(r"\\(.)", lambda found: "\n" if found[1] in "nN" else found[1], value)


def read_ics(content):
    """Return the properties of the calendar and those of each event, read as the RFC says; every rule is asserted."""
    assert content.endswith(b"\r\n")
    raw = content.split(b"\r\n")[:-1]
    assert all(b"\r" not in line and b"\n" not in line and len(line) <= 75 for line in raw)
    for line in raw:
        line.decode("utf-8")  # a character that is cut in two would fail here
    lines = content.decode("utf-8").replace("\r\n ", "").split("\r\n")[:-1]
    calendar, events, open_blocks = [], [], []
    for line in lines:
        found = LINE.fullmatch(line)
        assert found, line
        name, more, value = found["name"], found["more"], found["value"]
        if name == "BEGIN":
            open_blocks.append(value)
            if value == "VEVENT":
                events.append([])
        elif name == "END":
            assert open_blocks.pop() == value
        else:
            given = unescape(value) if name in TEXTS else value
            (events[-1] if open_blocks == ["VCALENDAR", "VEVENT"] else calendar).append((name, more, given))
    assert open_blocks == []
    for event in events:
        names = [name for name, _, _ in event]
        assert all(names.count(name) == 1 for name in ONCE)
    return {name: value for name, _, value in calendar}, [
        {name: (more, value) for name, more, value in event} for event in events
    ]


def date_of(event, name):
    more, value = event[name]
    assert more == ";VALUE=DATE"
    return dt.datetime.strptime(value, "%Y%m%d").replace(tzinfo=dt.UTC).date()


LOOK = window_of("mites, on new leaves; look", (3, 20), (5, 10), heat=heat_of(10, 30))
LATE = window_of("too late", (6, 1), (9, 19), WindowKind.TOO_LATE)
ALWAYS = window_of("take out", (1, 1), (12, 31), WindowKind.ACT, spread=0)
AUTUMN = window_of("autumn", (9, 20), (11, 30))


def made(as_of="2026-03-15", name="Made town"):
    record = record_of("2026-01-01", as_of)
    rose = replace(made_system(), windows=(ALWAYS,))
    return calendar_on(as_of, rose, cosmetic_of(LOOK, LATE, AUTUMN, again=again_of()), record=record, name=name)


def ics(as_of="2026-03-15", name="Made town"):
    inputs, season = made(as_of, name)
    return calendar_ics(season, inputs)


def test_a_calendar_has_version_maker_and_name():
    calendar, _ = read_ics(ics())
    assert calendar["VERSION"] == "2.0"
    assert calendar["PRODID"].startswith("-//spreadmap//")
    assert calendar["NAME"] == "Plant health, Made town"
    assert ics().startswith(b"BEGIN:VCALENDAR\r\nVERSION:2.0\r\n")


def test_windows_that_are_open_or_to_come_are_events_of_whole_days():
    _, found = read_ics(ics())
    days = {event["SUMMARY"][1]: (date_of(event, "DTSTART"), date_of(event, "DTEND")) for event in found}
    # ten degree-days on 10 March; the end by dates, 10 May; an event of whole days ends on the day after its last
    look = "Look: Gall mite of lime, mites, on new leaves; look"
    assert days[look] == (day("2026-03-10"), day("2026-05-11"))
    assert days["Too late: Gall mite of lime, too late"] == (day("2026-06-01"), day("2026-09-20"))
    assert days["Next survey: Made town"] == (day("2026-10-12"), day("2026-10-13"))
    assert len(days) == 4


def test_a_window_that_never_closes_is_no_event_but_is_told():
    _, found = read_ics(ics())
    assert not any("take out" in event["SUMMARY"][1] for event in found)
    (survey,) = [event for event in found if event["SUMMARY"][1].startswith("Next survey")]
    assert "All year: Rose rosette, take out. Do take out." in survey["DESCRIPTION"][1]


def test_a_missed_window_is_an_event_of_the_next_year():
    _, found = read_ics(ics("2026-07-01"))
    days = [
        date_of(event, "DTSTART") for event in found if event["SUMMARY"][1].startswith("Look: Gall mite of lime, mites")
    ]
    assert days == [day("2027-03-20")]


def test_the_description_says_what_to_do_on_what_it_rests_and_where():
    _, found = read_ics(ics("2026-07-20"))
    (autumn,) = [event for event in found if event["SUMMARY"][1].endswith("autumn")]
    says = autumn["DESCRIPTION"][1].split("\n")
    assert says[0] == "Do autumn."
    assert "By dates 20 September to 30 November 2026, 14 days earlier or later." in says
    assert any(line.startswith("Damage seen in July was made by mites that left in May") for line in says)
    assert "Nothing is to be done about it: The galls do no lasting harm." in says
    assert "Hosts: Market square (24), Yard of a private owner (5)" in says
    assert any("not validated for every region" in line for line in says)
    assert autumn["CATEGORIES"][1] == "Gall mite of lime,Look"


def test_too_late_is_an_event_only_for_what_was_found():
    inputs, season = made()
    quiet = replace(season, systems=tuple(replace(one, is_found=False) for one in season.systems))
    assert any(entry.window.kind is WindowKind.TOO_LATE for _, entry in events(season))
    assert not any(entry.window.kind is WindowKind.TOO_LATE for _, entry in events(quiet))
    assert {event["PRIORITY"][1] for event in read_ics(calendar_ics(quiet, inputs))[1]} == {"1", "9"}


def test_the_stamp_comes_from_the_date_of_the_state_and_the_bytes_repeat():
    assert ics() == ics()
    _, found = read_ics(ics())
    assert {event["DTSTAMP"] for event in found} == {("", "20260315T000000Z")}
    assert {event["TRANSP"][1] for event in found} == {"TRANSPARENT"}


def test_identifiers_stay_and_the_sequence_grows():
    def by_uid(content):
        return {event["UID"][1]: event for event in read_ics(content)[1]}

    early, late = by_uid(ics("2026-03-15")), by_uid(ics("2026-03-20"))
    assert early.keys() == late.keys()
    assert len(early) == 4
    for uid, event in early.items():
        assert int(late[uid]["SEQUENCE"][1]) == int(event["SEQUENCE"][1]) + 5
        assert re.fullmatch(r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}", uid)
    assert not early.keys() & by_uid(ics(name="Another town")).keys()


@pytest.mark.parametrize("text", [*HOSTILE_TEXTS, 'a,b;c\\n:"d"', "BEGIN:VEVENT\r\nUID:x"])
def test_text_of_users_stays_text(text):
    calendar, found = read_ics(ics(name=f"{text} ümläut"))
    assert calendar["NAME"] == f"Plant health, {clean_text(f'{text} ümläut')}"
    assert len(found) == 4


@pytest.mark.parametrize("char", ["x", "ä", "薔", "🌹", ",", "\\"])
@pytest.mark.parametrize("length", [1, 24, 37, 66, 67, 68, 73, 74, 75, 76, 148, 149, 150, 400])
def test_folded_lines_are_short_whole_and_unfold_to_what_they_were(char, length):
    line = "SUMMARY:" + escape(char * length)
    pieces = fold(line).encode("utf-8").split(b"\r\n")
    assert all(len(piece) <= 75 for piece in pieces)
    assert all(piece.startswith(b" ") for piece in pieces[1:])
    assert "".join(piece.decode("utf-8")[1 if number else 0 :] for number, piece in enumerate(pieces)) == line
    # not shorter than they need be: no later piece would have fitted on the one before
    assert all(
        len(first) + len(second[1:].decode("utf-8")[0].encode("utf-8")) > 75
        for first, second in itertools.pairwise(pieces)
    )


def test_text_is_escaped_as_the_rfc_says():
    # the example of RFC 5545, 3.3.11, with its line ends as spaces
    assert escape("Project XYZ Final Review, Conference Room - 3B; a\\b") == (
        "Project XYZ Final Review\\, Conference Room - 3B\\; a\\\\b"
    )


# --- the table


def test_the_table_has_a_row_for_each_window_year_and_site(tmp_path):
    _, season = made()
    path = write_calendar_csv(tmp_path / "calendar.csv", season)
    with path.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert (
        len(rows)
        == sum(len(one.entries) * len(one.sites) for one in season.systems)
        == len(list(calendar_rows(season)))
    )
    assert list(rows[0]) == [column.name for column in CALENDAR if not column.name.endswith("_text")]
    (look,) = [row for row in rows if row["window"].startswith("mites") and row["site_id"] == "yard"]
    assert (look["begins_on"], look["begins_basis"], look["begins_by_dates"]) == (
        "2026-03-10",
        "degree_days",
        "2026-03-20",
    )
    assert (look["begins_difference_days"], look["ends_by_degree_days"]) == ("-10", "")
    assert (look["state"], look["kind"], look["hosts"]) == ("open", "look", "5")


def test_no_cell_is_taken_for_a_formula(tmp_path):
    _inputs, season = made()
    site = replace(season.systems[0].sites[0], name="=HYPERLINK(1)")
    season = replace(season, systems=(replace(season.systems[0], sites=(site,)),))
    path = write_calendar_csv(tmp_path / "calendar.csv", season)
    with path.open(encoding="utf-8", newline="") as file:
        (row,) = list(csv.DictReader(file))
    assert row["site"].startswith("'=")
    assert unquote_formula(row["site"]) == "=HYPERLINK(1)"


def test_a_table_that_cannot_be_written_says_so(tmp_path):
    with pytest.raises(OutputError, match="calendar.csv could not be written"):
        write_calendar_csv(tmp_path / "no" / "calendar.csv", made()[1])


def test_the_words_of_the_table_are_those_of_the_dictionary():
    allowed = {column.name: column.allowed for column in CALENDAR if column.allowed}
    for row in calendar_rows(made()[1]):
        assert all(row[name] in words for name, words in allowed.items())


# --- in a delivery


def test_a_delivery_holds_the_calendar_twice_the_same(tmp_path):
    _inputs, season = made()
    result = replace(made_result(), season=season)
    for number in ("1", "2"):
        (tmp_path / number).mkdir()
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            write_delivery(tmp_path / number, result)
    for name in ("calendar.ics", "calendar.csv"):
        assert (tmp_path / "1" / name).read_bytes() == (tmp_path / "2" / name).read_bytes()
    listed = json.loads((tmp_path / "1" / "manifest.json").read_text(encoding="utf-8"))["products"]
    rows = {product["path"]: product.get("rows") for product in listed}
    assert rows["calendar.csv"] == len(list(calendar_rows(season)))
    assert "calendar.ics" in rows


def test_without_a_season_no_calendar_is_written(tmp_path):
    write_delivery(tmp_path, made_result())
    assert not list(tmp_path.glob("calendar*"))
    assert season_values(None) is None


def test_the_summary_holds_states_days_and_differences():
    _, season = made()
    said = plain(summary_values(replace(made_result(), season=season), ()))["season"]
    assert [one["system"] for one in said["systems"]] == ["rose_rosette", "lime_gall"]
    windows = {entry["window"]: entry for entry in said["systems"][1]["windows"]}
    assert windows[LOOK.name]["begins_on"] == "2026-03-10"
    assert windows[LOOK.name]["begins_difference_days"] == -10
    assert windows[LOOK.name]["ends_by_degree_days"] is None
    assert windows["too late"]["state"] == "next"
    assert said["remarks"][0].startswith("Published windows are ranges")
