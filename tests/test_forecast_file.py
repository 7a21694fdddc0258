"""A forecast as it is kept: what comes back is what was said; the history holds one per run and grows only."""

import datetime as dt
import json
import sqlite3
from contextlib import closing
from dataclasses import replace

import numpy as np
import pytest
import shapely
from made_forecasts import FIRST, SECOND, made_course, made_forecast, made_ring
from made_results import AS_OF, HOSTILE_TEXTS, made_result, without_findings

from spreadmap.errors import InputError
from spreadmap.io.forecast_file import (
    FORECAST,
    forecast_text,
    kept_forecasts,
    pack_forecast,
    parse_forecast,
    unpack_forecast,
)
from spreadmap.io.history import forecasts_on_record, open_history
from spreadmap.io.history_store import HISTORY, MIGRATIONS, VERSION
from spreadmap.outbreak.forecast_record import forecast_of, found_in_place
from spreadmap.values.inventory import Inventory

KEYS = ["p0", "p1", "p2"]


def full():
    course = made_course([[0, 0, 0], [0.123456789, 0.5, 1]], members=[3.0, 4.0], taken_out=("p9",))
    rings = [made_ring("core", 0.5, -1, 1)]
    forecast = made_forecast(KEYS, courses=(course,), suspects=["p1"], removal=("p9", "p8"), rings=rings)
    return replace(forecast, distance_m=np.array([1.234, np.inf, 0.0]), same_place=np.array([1 / 3, 0, 1]))


def test_a_forecast_comes_back_as_it_was():
    said, kept = full(), parse_forecast(forecast_text(full()))
    for name in ("system_key", "mode", "as_of", "valid_until", "condition", "crs", "within", "removal"):
        assert getattr(kept, name) == getattr(said, name)
    assert kept.plant_id.tolist() == KEYS
    assert kept.pressure == pytest.approx(said.pressure)
    assert kept.distance_m == pytest.approx([1.23, np.inf, 0.0])
    assert kept.same_place == pytest.approx(said.same_place, rel=1e-5)
    assert kept.is_suspect.tolist() == [False, True, False]
    assert shapely.equals(kept.rings[0].polygon, said.rings[0].polygon)
    (course,) = kept.courses
    assert course.showing == pytest.approx(said.courses[0].showing, rel=1e-5)
    assert course.members_showing.tolist() == said.courses[0].members_showing.tolist()
    assert (course.taken_out, course.sensitivity) == (("p9",), said.courses[0].sensitivity)
    assert course.on.tolist() == [FIRST, SECOND]


def test_the_same_forecast_gives_the_same_bytes():
    assert pack_forecast(forecast_text(full())) == pack_forecast(forecast_text(full()))
    assert unpack_forecast(pack_forecast(forecast_text(full()))).plant_id.tolist() == KEYS


def test_hostile_keys_come_back_as_the_text_they_are():
    keys = [text for text in HOSTILE_TEXTS if "control" not in text]
    kept = parse_forecast(forecast_text(made_forecast(keys, removal=keys[:2])))
    assert kept.plant_id.tolist() == keys
    assert kept.removal == tuple(keys[:2])


@pytest.mark.parametrize("text", ["", "[]", "{}", '{"format":1}', "null", "{" * 9])
def test_a_text_that_holds_no_forecast_is_refused(text):
    with pytest.raises(InputError, match=r"no forecast as a run writes one .* Put back the file"):
        parse_forecast(text)


@pytest.mark.parametrize(
    ("name", "value"), [("mode", "magic"), ("as_of", "soon"), ("rings", [{"focus": 1, "ring": "core", "share": 0.5}])]
)
def test_a_forecast_with_a_wrong_part_is_refused(name, value):
    said = json.loads(forecast_text(full())) | {name: value}
    with pytest.raises(InputError, match="no forecast as a run writes one"):
        parse_forecast(json.dumps(said))


def test_columns_of_different_lengths_are_refused():
    said = json.loads(forecast_text(full()))
    said["plants"]["relative_pressure"].pop()
    with pytest.raises(InputError, match="items where"):
        parse_forecast(json.dumps(said))


def test_a_forecast_of_a_newer_format_is_refused():
    with pytest.raises(InputError, match=r"format 2; allowed: 1\. Install the newer"):
        parse_forecast(forecast_text(full()).replace('"format":1', '"format":2'))


def test_damaged_bytes_are_refused():
    with pytest.raises(InputError, match="bytes are damaged"):
        unpack_forecast(pack_forecast(forecast_text(full()))[5:])


def test_a_run_keeps_the_inspection_list_and_both_plain_rules():
    result = made_result()
    system = result.systems[0]
    kept = forecast_of(system, result)
    look = system.plan.inspection
    assert kept.plant_id.tolist() == result.inputs.inventory.plant_id[look.plant].tolist()
    assert kept.pressure.tolist() == look.pressure.tolist()
    assert kept.distance_m.tolist() == look.distance_m.tolist()
    assert (kept.as_of, kept.valid_until, kept.within) == (AS_OF, system.face.valid_until, int(look.within_hours.sum()))
    assert kept.plant_id[kept.is_suspect].tolist() == sorted(["008", "015"], key=kept.plant_id.tolist().index)
    assert kept.removal == ("000", "001", "007", "014", "021", "028")
    assert [ring.name for ring in kept.rings] == ["core", "inner", "outer"]
    assert kept.courses == ()


def test_a_run_without_findings_keeps_its_order_too():
    result = without_findings(made_result())
    kept = forecast_of(result.systems[0], result)
    assert (kept.removal, kept.rings) == ((), ())
    assert len(parse_forecast(forecast_text(kept))) == len(kept)


def test_the_share_found_is_that_of_the_bed_then_of_the_site():
    result = made_result()
    inventory, state = result.inputs.inventory, result.systems[0].state
    shares = found_in_place(inventory, state)
    # the first bed holds plants 0 to 11, of which 0, 1 and 7 have a date on which they were found
    assert shares[:12] == pytest.approx(np.full(12, 3 / 12))
    bare = {name: getattr(inventory, name) for name in Inventory.__slots__} | {"bed_id": np.full(30, "", dtype=object)}
    by_site = found_in_place(Inventory(**bare), state)
    # the market holds 24 plants; 0, 1, 7 and 21 were found on a day, 14 without one
    assert by_site[:24] == pytest.approx(np.full(24, 4 / 24))
    nowhere = bare | {"site_id": np.full(30, "", dtype=object)}
    assert found_in_place(Inventory(**nowhere), state).tolist() == [0.0] * 30


def write(folder, text, system="rose_rosette"):
    (folder / system).mkdir(parents=True, exist_ok=True)
    (folder / system / FORECAST).write_text(text, encoding="utf-8")


def test_only_files_that_hold_the_forecast_of_their_system_are_kept(tmp_path):
    write(tmp_path, forecast_text(full()))
    write(tmp_path, forecast_text(full()), "other_pest")
    write(tmp_path, "nothing", "third_pest")
    ((system, as_of, valid_until, mode, content),) = kept_forecasts(tmp_path)
    assert (system, as_of, valid_until, mode) == ("rose_rosette", "2026-05-18", "2026-07-13", "calibrated")
    assert unpack_forecast(content).plant_id.tolist() == KEYS


def entered(history, forecast, content=None):
    packed = pack_forecast(forecast_text(forecast)) if content is None else content
    row = ("rose_rosette", forecast.as_of.isoformat(), forecast.valid_until.isoformat(), "relative", packed)
    return history.add_run(forecast.as_of.isoformat(), None, "", "", "done", "0", forecasts=[row])


def test_of_several_runs_of_one_date_the_last_counts(tmp_path):
    with open_history(tmp_path) as history:
        entered(history, made_forecast(KEYS, as_of=SECOND))
        entered(history, made_forecast(KEYS))
        entered(history, made_forecast(KEYS[:2]))
        kept, remarks = forecasts_on_record(history)
    assert [(each.as_of, len(each)) for each in kept["rose_rosette"]] == [(FIRST, 2), (SECOND, 3)]
    assert remarks == ()


def test_a_forecast_that_cannot_be_read_is_left_out_and_told(tmp_path):
    with open_history(tmp_path) as history:
        entered(history, made_forecast(KEYS))
        entered(history, made_forecast(KEYS, as_of=SECOND), b"junk")
        kept, (remark,) = forecasts_on_record(history)
    assert [each.as_of for each in kept["rose_rosette"]] == [FIRST]
    assert remark.startswith(
        "The forecast of 2026-07-13 for rose_rosette is left out of the score: its bytes are damaged"
    )


def test_a_history_of_an_older_version_gets_what_came_since(tmp_path):
    with closing(sqlite3.connect(tmp_path / HISTORY)) as database:
        database.executescript(f"{MIGRATIONS[1][0]} PRAGMA user_version = 1;")
        database.execute("INSERT INTO runs VALUES (1, '2026-05-18', 'runs/2026-05-18-1', '', '', 'done', '0.1.0')")
        database.commit()
    with open_history(tmp_path) as history:
        assert history.rows("SELECT folder FROM runs") == [("runs/2026-05-18-1",)]
        assert history.rows("PRAGMA user_version") == [(VERSION,)]
        entered(history, made_forecast(KEYS))
        assert len(forecasts_on_record(history)[0]["rose_rosette"]) == 1
        with pytest.raises(sqlite3.IntegrityError, match="only grows"):
            history.rows("DELETE FROM forecasts")


def test_migrations_are_numbered_without_a_gap():
    assert sorted(MIGRATIONS) == list(range(1, VERSION + 1))


def test_dates_are_dates():
    assert isinstance(parse_forecast(forecast_text(full())).as_of, dt.date)
