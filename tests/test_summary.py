"""Summary and manifest: what batch jobs read and auditors check."""

import datetime as dt
import hashlib
import json
import math
from dataclasses import replace

import numpy as np
import pytest
from made_results import CONFIRMED, HOSTILE_TEXTS, PLANTS, made_result, without_findings

from spreadmap.errors import OutputError
from spreadmap.io.layers import clean_text
from spreadmap.io.summary import file_sha256, manifest_values, plain, summary_values, write_json
from spreadmap.values.settings import list_settings
from spreadmap.values.words import Mode


def test_values_become_plain_json():
    given = {
        "day": np.datetime64("2026-09-14"),
        "none": np.datetime64("NaT"),
        "date": dt.date(2026, 1, 2),
        "numbers": np.array([1.5, np.nan, np.inf]),
        "word": Mode.RELATIVE,
        "flag": np.bool_(True),
        "text": "a\x00b",
        "pair": (1, None),
    }
    assert json.loads(json.dumps(plain(given), allow_nan=False)) == {
        "day": "2026-09-14", "none": None, "date": "2026-01-02", "numbers": [1.5, None, None], "word": "relative",
        "flag": True, "text": "ab", "pair": [1, None],
    }  # fmt: skip


def test_the_summary_counts_what_the_result_holds(tmp_path):
    result = made_result()
    said = json.loads(write_json(tmp_path / "s.json", summary_values(result, ())).read_text(encoding="utf-8"))
    (system,) = said["systems"]
    assert said["plants"] == PLANTS
    assert said["rejected_rows"] == 1
    assert system["status_counts"]["infected"] == len(CONFIRMED)
    assert system["removal"]["plants"] == len(CONFIRMED)
    assert system["removal"]["within_hours"] == 4
    assert [row["plant_id"] for row in system["removal"]["first"]] == ["000", "001", "007", "014", "021", "028"]
    assert len(system["inspection"]["first"]) == 10
    assert [ring["ring"] for ring in system["rings"]] == ["core", "inner", "outer"]
    assert [course["share_avoided"] for course in system["ahead"]["scenarios"]] == [0.0, 0.75]
    assert "by_horizon" not in system["ahead"]["scenarios"][0]
    assert system["face"]["condition"] == "if nothing is done"
    assert [triage["is_mapped"] for triage in said["triage"]] == [True, False]
    assert said["triage"][1]["verdict"] == "no_action"


def test_nothing_found_gives_an_empty_but_whole_summary():
    said = plain(summary_values(without_findings(made_result()), ()))
    assert said["systems"][0]["removal"] == {
        "plants": 0, "within_hours": 0, "crew_hours": 0.0, "backlog_weeks": 1.4, "held_back": 0,
        "share_avoided_this_week": None, "first": [],
    }  # fmt: skip


@pytest.mark.parametrize("text", HOSTILE_TEXTS)
def test_hostile_words_stay_text(tmp_path, text):
    result = replace(made_result(), remarks=(text,))
    path = write_json(tmp_path / "s.json", summary_values(result, ()))
    assert json.loads(path.read_text(encoding="utf-8"))["remarks"] == [clean_text(text)]


def test_the_manifest_has_hashes_settings_and_the_seed(tmp_path):
    result = made_result()
    (tmp_path / "b.txt").write_bytes(b"b")
    (tmp_path / "a").mkdir()
    (tmp_path / "a" / "c.txt").write_bytes(b"c")
    said = plain(manifest_values(tmp_path, {"b.txt": {}, "a/c.txt": {"rows": 3}}, result, "runs/2026-08-01-1"))
    assert said["products"] == [
        {"path": "a/c.txt", "sha256": hashlib.sha256(b"c").hexdigest(), "bytes": 1, "rows": 3},
        {"path": "b.txt", "sha256": hashlib.sha256(b"b").hexdigest(), "bytes": 1},
    ]
    assert said["inputs"][0] == {"role": "inventory", "path": "plants.csv", "sha256": "a" * 64, "rows": PLANTS}
    assert {note["name"] for note in said["settings"]} == {note.name for note in list_settings(result.settings)}
    assert all(note["unit"] and note["status"] and note["source"] for note in said["settings"])
    assert said["seed"] == result.settings.ahead.seed
    assert said["previous_delivery"] == "runs/2026-08-01-1"
    assert "python" in said["versions"]


def test_the_hash_of_a_file_is_that_of_its_bytes(tmp_path):
    (tmp_path / "x").write_bytes(b"rose")
    assert file_sha256(tmp_path / "x") == hashlib.sha256(b"rose").hexdigest()


def test_a_folder_that_is_not_there_is_an_output_error(tmp_path):
    with pytest.raises(OutputError, match=r"s.json could not be written"):
        write_json(tmp_path / "nowhere" / "s.json", {"x": math.pi})
