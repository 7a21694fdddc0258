"""From `fit` to `run`: every product is calibrated and says so, and the next survey scores the chances that were stated."""

import csv
import datetime as dt
import json
import subprocess

import numpy as np
import pyogrio
import pytest
import rasterio
from generator import make_project, write_project_files
from light_runs import hashes

from spreadmap.engine import Engine
from spreadmap.io.demo import copy_demo
from spreadmap.pipeline import run_project
from spreadmap.pipeline_fit import fit_project
from spreadmap.review.language import Words

MAY, SEPTEMBER = dt.date(2026, 5, 14), dt.date(2026, 9, 14)
EASY = """
[settings.fit]
chains = 2
warm_up = 500
batch = 1000
most_iterations = 4000
effective_size = 20
replicates = 20
rate_sd_log = 0.3
scale_sd_log = 0.3
least_effective_size = 10
most_r_hat = 2
fewest_new_cases = 0
least_p = 0
incubation = "fixed"

[settings.infection]
latency_median_days = 30

[settings.ahead]
draws = 8
members = 5

[settings.grid]
margin_m = 20.0
cell_m = 4.0
cell_one_site_m = 4.0
"""
"""A fit so easily accepted is no good one: what follows from it is tried here, not whether it is right."""
HIDDEN = ("hidden_not_yet", "hidden_infectious", "hidden_healthy")


@pytest.fixture(scope="module")
def town(tmp_path_factory):
    """A project with surveys of May and September; fitted to May, run for May, and run for September without a new fit."""
    made = make_project(120, 14, seed=5)
    folder = write_project_files(tmp_path_factory.mktemp("town"), made, EASY)
    rows = (folder / "survey.csv").read_text(encoding="utf-8").splitlines()
    early = [row.replace("2026-09-14", "2026-05-14") for row in rows[1:]]
    for index in [index for index, row in enumerate(early) if ",infected," in row][6:]:
        early[index] = early[index].replace("infected,typical_symptoms", "clean,visual")
    (folder / "survey.csv").write_text("\n".join([*rows, *early]) + "\n", encoding="utf-8")
    engine = Engine(workers=1)
    (fit,) = fit_project(folder, as_of=MAY, engine=engine).fits
    assert fit.accepted, fit.says
    return folder, run_project(folder, as_of=MAY, engine=engine), run_project(folder, engine=engine)


def of(delivery, name):
    return delivery.folder / "rose_rosette" / name


def table(delivery, name):
    with of(delivery, name).open(encoding="utf-8-sig", newline="") as file:
        return list(csv.DictReader(file))


def plants_of(delivery):
    return pyogrio.read_dataframe(of(delivery, "rose_rosette.gpkg"), layer="plants", read_geometry=False)


def system_of(delivery):
    return json.loads((delivery.folder / "summary.json").read_text(encoding="utf-8"))["systems"][0]


def test_every_product_says_that_it_is_calibrated(town):
    _, may, _ = town
    system = system_of(may)
    assert system["face"]["mode"] == system["ahead"]["mode"] == "calibrated"
    assert set(plants_of(may)["mode"]) == {"calibrated"}
    for name in ("inspection_list.csv", "removal_list.csv", "removal_curve.csv", "scenarios.csv"):
        rows = table(may, name)
        assert rows, name
        assert {row["mode"] for row in rows} == {"calibrated"}, name
    assert json.loads(of(may, "forecast.json").read_text(encoding="utf-8"))["mode"] == "calibrated"
    page = (may.folder / "review.html").read_text(encoding="utf-8")
    assert "Calibrated on the survey history" in page
    assert "calibrated" in (may.folder / "metadata.xml").read_text(encoding="utf-8")


def test_the_maps_hold_chances_and_say_so(town):
    _, may, september = town
    for name in ("risk", "risk_without_reservoirs"):
        with rasterio.open(of(may, f"{name}.tif")) as file:
            values, tags = file.read(1), file.tags()
        assert tags["QUANTITY"] == "Chance of infection in the period"
        assert (tags["MODE"], tags["PERIOD"]) == ("calibrated", f"{MAY}/{system_of(may)['face']['period_to']}")
        assert tags["BREAKS"] == "0.01 0.05 0.2 0.5"
        assert values.min() >= 0
        assert 0.01 < values.max() <= 1
    assert system_of(may)["surface_breaks"] == [0.01, 0.05, 0.2, 0.5]
    words = (may.folder / "data_dictionary.csv").read_text(encoding="utf-8-sig")
    assert "Chance that an ordinary medium plant, healthy in the cell" in words
    with rasterio.open(of(september, "risk.tif")) as file:
        assert file.tags()["QUANTITY"] == "Relative infection pressure"
        assert file.read(1).max() > 1
    assert "Chance that" not in (september.folder / "data_dictionary.csv").read_text(encoding="utf-8-sig")


def test_every_layer_names_the_quantity_of_its_numbers(town, pdftotext):
    _, may, _ = town
    for layer, said in (
        ("plants", "Chances, and"),
        ("inspection_list", "Chances, and"),
        ("zones", "Relative infection"),
    ):
        told = pyogrio.read_dataframe(of(may, "rose_rosette.gpkg"), layer=layer, read_geometry=False)
        assert set(told["quantity"].str.startswith(said)) == {True}, layer
    sheet = subprocess.run([pdftotext, str(of(may, "field_sheet.pdf")), "-"], check=True, capture_output=True).stdout
    assert b"calibrated mode, by the fitted model" in sheet
    assert b"relative" not in sheet


def test_what_a_calibrated_run_says_has_words_in_spanish(town):
    _, may, _ = town
    system, spanish = system_of(may), Words("es", "metric")
    said = [
        system["ahead"]["rests_on"],
        *system["ahead"]["remarks"],
        *system["remarks"],
        system["survey"]["sample"]["says"],
    ]
    said += [each["sentence"] for each in system["survey"]["statements"]]
    said += json.loads((may.folder / "summary.json").read_text(encoding="utf-8"))["remarks"]
    assert len(said) > 8
    assert [text for text in said if spanish.own(text) is None] == []


def test_chances_of_every_green_plant_are_there_and_in_the_dictionary(town):
    _, may, _ = town
    plants = plants_of(may)
    green = (plants["is_host"] == "Y") & (plants["status"] != "infected")
    chances = plants.loc[green, list(HIDDEN)].to_numpy()
    assert np.allclose(chances.sum(axis=1), 1.0, atol=1e-3)
    assert ((chances >= 0) & (chances <= 1)).all()
    assert (chances[:, 2] < 1).all()
    words = (may.folder / "data_dictionary.csv").read_text(encoding="utf-8-sig")
    assert all(name in words for name in (*HIDDEN, "infected_by_survey"))
    assert "hidden_rank" not in words


def test_courses_of_action_have_numbers_with_ranges(town):
    _, may, _ = town
    for row in system_of(may)["ahead"]["scenarios"]:
        new = row["by_horizon"]
        assert new["low_90"] <= new["low_50"] <= new["high_50"] <= new["high_90"]
    assert "8 draws of the fit" in system_of(may)["ahead"]["rests_on"]


def test_what_is_foreseen_begins_with_what_is_hidden_and_leaves_no_plant_without_a_chance(town):
    _, may, _ = town
    plants = plants_of(may)
    green = plants[(plants["is_host"] == "Y") & (plants["status"] != "infected")]
    hidden = 1 - green["hidden_healthy"]
    assert (green["infected_by_survey"] >= hidden - 1e-6).all()
    assert (green["infected_by_horizon"] >= green["infected_by_survey"] - 1e-6).all()
    for course in json.loads(of(may, "forecast.json").read_text(encoding="utf-8"))["courses"]:
        assert np.min(course["infected"]) > 0
        assert np.min(course["showing"][1:]) > 0


def test_a_fit_that_does_not_know_the_new_survey_is_not_used(town):
    september = town[2]
    assert system_of(september)["face"]["mode"] == "relative"
    told = json.loads((september.folder / "summary.json").read_text(encoding="utf-8"))["remarks"]
    assert any("does not know 120 inspections since" in text and "Fit again." in text for text in told)
    assert not set(HIDDEN) & set(plants_of(september))
    assert "hidden_healthy" not in (september.folder / "data_dictionary.csv").read_text(encoding="utf-8-sig")


def test_the_next_survey_scores_the_chances_that_were_stated(town):
    _, _, september = town
    said = json.loads((september.folder / "score.json").read_text(encoding="utf-8"))
    (survey,) = said["systems"][0]["surveys"]
    assert (survey["mode"], survey["forecast_as_of"], survey["scored_to"]) == ("calibrated", str(MAY), str(SEPTEMBER))
    assert survey["found"] == 8
    assert 0 <= survey["murphy"]["brier"] <= 1
    assert survey["count"]["found"] == 8
    assert (survey["rules"][0]["rule"], np.isfinite(survey["rules"][0]["log_score"])) == ("chance", True)
    assert of(september, "reliability.png").exists()


def test_one_worker_and_two_deliver_the_same_bytes(town):
    folder, may, _ = town
    again = run_project(folder, as_of=MAY, engine=Engine(workers=2))
    one, two = hashes(may.folder), hashes(again.folder)
    assert one.keys() == two.keys()
    assert len(one) > 40
    # the log tells the time; changes are those since the delivery before, which is another one
    others = {"run.log", "manifest.json", "changes.csv", "summary.json"}
    assert {name for name in one if one[name] != two[name]} <= others
    summary, other = (json.loads((each.folder / "summary.json").read_text(encoding="utf-8")) for each in (may, again))
    assert summary | {"changes": other["changes"]} == other


@pytest.mark.long
@pytest.mark.timeout(7200)
def test_the_demo_fitted_to_two_surveys_foresees_its_third_one(tmp_path):
    """Fitted as of July and run for July; the run of September scores the chances beside the plain rules, and prints them."""
    project = copy_demo(tmp_path / "town")
    july = dt.date(2026, 7, 13)
    settings = project / "spreadmap.toml"
    short = EASY.split("[settings.infection]")[0].replace("rate_sd_log = 0.3\nscale_sd_log = 0.3\n", "")
    coarse = "[settings.grid]\nmargin_m = 50.0\ncell_m = 20.0\ncell_one_site_m = 20.0\n"
    settings.write_text(settings.read_text(encoding="utf-8") + short + coarse, encoding="utf-8")
    (fit,) = fit_project(project, as_of=july).fits
    assert fit.accepted, fit.says
    assert system_of(run_project(project, as_of=july))["face"]["mode"] == "calibrated"
    said = json.loads((run_project(project).folder / "score.json").read_text(encoding="utf-8"))
    (survey,) = said["systems"][0]["surveys"]
    assert (survey["mode"], survey["scored_to"]) == ("calibrated", "2026-09-14")
    rules = {rule["rule"]: rule for rule in survey["rules"]}
    for name, rule in rules.items():
        print(f"  {name}: AUC {rule['auc']:.3f}, in the first tenth {rule['in_tenth']:.1f}, Brier {rule['brier']}, "
              f"log score {rule['log_score']}")  # fmt: skip
    print("  found", survey["count"])
    # the chances say more than no order at all, and no plant was found that had none
    assert rules["chance"]["brier"] < rules["base_rate"]["brier"]
    assert np.isfinite(rules["chance"]["log_score"])
