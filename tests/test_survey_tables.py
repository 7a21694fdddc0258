"""Statements, costs and reach as tables, on the page and in the summary."""

import csv
import json
from dataclasses import replace

import pytest
from made_results import made_costs, made_result, made_survey, without_findings

from spreadmap.io.short_names import TABLES
from spreadmap.io.summary import costs_values, plain, survey_values
from spreadmap.io.survey_tables import write_survey_tables
from spreadmap.review.costs import costs_answer, costs_details, money
from spreadmap.review.language import Words
from spreadmap.review.survey import needed, survey_answer_words, survey_details
from spreadmap.review.words import FORBIDDEN_WORDS
from spreadmap.values.costs import CostTable
from spreadmap.values.survey_answer import Basis

EN = Words("en", "metric")


def tables_of(tmp_path, result):
    made = write_survey_tables(tmp_path, result.systems[0])
    read = {path.stem: list(csv.DictReader(path.read_text(encoding="utf-8").splitlines())) for path in made}
    assert {path.stem: count for path, count in made.items()} == {name: len(rows) for name, rows in read.items()}
    return read


def test_every_column_is_there_and_every_row_comes_back(tmp_path):
    read = tables_of(tmp_path, made_result())
    for name, rows in read.items():
        assert list(rows[0]) == [column.name for column in TABLES[name] if not column.name.endswith("_text")]
    whole, market, yard = read["survey_statement"]
    assert (whole["place"], market["site_id"], yard["confidence"]) == ("all sites together", "market", "0.4")
    assert whole["confidence"] == ""  # one was noticed: there is no such confidence
    assert whole["size_needed"] == ""
    assert (whole["passes_needed"], whole["is_statement"]) == ("3", "N")
    # 12 of 29 at most: 13 of 29 is excluded
    assert float(whole["excluded_prevalence_95"]) == pytest.approx(13 / 29, abs=1e-6)
    assert [row["total"] for row in read["costs"]] == ["676.5", "130.0"]
    assert read["costs"][0]["standing"].startswith("order of magnitude")
    assert len(read["ring_reach"]) == 3 * 16
    assert [row["bearing"] for row in read["ring_reach"][:5]] == ["N", "NNE", "NE", "ENE", "E"]
    assert [float(row["bearing_deg"]) for row in read["ring_reach"][:3]] == [0, 22.5, 45]


def test_nothing_found_and_nothing_asked_give_tables_with_heads_alone(tmp_path):
    system = replace(without_findings(made_result()).systems[0], survey=None, costs=None)
    assert set(write_survey_tables(tmp_path, system).values()) == {0}
    assert (tmp_path / "costs.csv").read_text(encoding="utf-8").startswith("system,site,owner")


def test_the_page_says_statement_or_comparison_and_costs_as_an_order_of_magnitude():
    survey = made_survey()
    assert "this is no statement" in survey_answer_words(EN, survey)
    whole = replace(survey.whole, basis=Basis.RANDOM)
    said = survey_answer_words(EN, replace(survey, statements=(whole, *survey.statements[1:])))
    assert "no statement" not in said
    assert "at 95 % confidence at most 41 % of the plants showed symptoms" in said
    assert needed(EN, whole) == "not reachable; 3 or more passes"
    assert needed(EN, replace(whole, size_needed=120)) == "120"
    details = survey_details(EN, survey) + costs_details(EN, made_costs())
    for word in (
        "chosen, not drawn: a comparison",
        "Market square",
        "Next survey.",
        "Made for tests.",
        "Order of magnitude",
    ):
        assert word in details
    assert costs_answer(EN, made_costs()) == (
        "About 810 US$ in all: 4.5 h of removing (650 US$) beside 0.8 h of looking in the next survey (160 US$ with tests)."
    )
    for text in (details, costs_answer(EN, made_costs()), survey_answer_words(EN, survey)):
        assert not any(word in text.lower() for word in FORBIDDEN_WORDS)


def test_nobody_looked_and_nothing_to_pay():
    survey = made_survey()
    blank = replace(survey.whole, basis=Basis.NONE)
    assert survey_answer_words(EN, replace(survey, statements=(blank,))) == "Nobody looked: nothing can be said."
    assert (
        costs_answer(EN, CostTable(currency="US$", rows=())) == "There is nothing to take out and nothing to look at."
    )


@pytest.mark.parametrize(
    ("value", "said"), [(0, "0 x"), (7.4, "7 x"), (98.5, "98 x"), (1234, "1,200 x"), (98765, "99,000 x")]
)
def test_sums_have_two_digits_that_count(value, said):
    assert money(EN, value, "x") == said


def test_the_summary_holds_both():
    said = json.loads(json.dumps(plain([survey_values(made_survey()), costs_values(made_costs())])))
    assert said[0]["statements"][0]["basis"] == "chosen, not drawn"
    assert said[0]["statements"][0]["confidence"] is None
    assert said[0]["sample"]["plants"] == 2
    assert said[1]["removal_hours"] == 4.5
    assert [row["total"] for row in said[1]["rows"]] == [676.5, 130.0]
    assert survey_values(None) is None
    assert costs_values(None) is None
