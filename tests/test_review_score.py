"""The section on old forecasts: figures as they are read, dashes for what does not exist, one picture of reliability."""

import io
from dataclasses import replace

import numpy as np
import pytest
from made_forecasts import FIRST, SECOND
from made_results import made_result
from PIL import Image

from spreadmap.outbreak.score import murphy_parts, reliability_table
from spreadmap.outbreak.score_survey import CLASS_EDGES
from spreadmap.review.language import Words
from spreadmap.review.reliability import reliability_png
from spreadmap.review.score import digits, lead, rule_table, score_details, score_pictures
from spreadmap.review.sections import memo
from spreadmap.values.score import RingScore, RuleScore, ScoreFigures, SurveyScore, SystemScore
from spreadmap.values.words import Mode

EN = Words("en", "metric")

FIGURES = ScoreFigures(
    inspected=1200,
    found=30,
    tenth=120,
    hours=90,
    random_low=0,
    random_high=7,
    rules=(
        RuleScore(rule="inspection_list", auc=0.8, in_tenth=18, in_hours=12),
        RuleScore(
            rule="distance", auc=0.85, in_tenth=20.5, in_hours=14, auc_ahead=-0.05, auc_ahead_low=-0.09,
            auc_ahead_high=0.01,
        ),
        RuleScore(rule="base_rate", auc=np.nan, in_tenth=3, in_hours=2.25),
    ),
    rings=(RingScore(name="core", share=0.5, inspected=40, found=11),),
)  # fmt: skip
SURVEY = SurveyScore(
    mode=Mode.RELATIVE,
    forecast_as_of=FIRST,
    valid_until=SECOND,
    scored_to=SECOND,
    figures=FIGURES,
    says=("What was found & where.", "What the first tenth held.", "The plain rule was better.", "Few were found."),
    remarks=("Left out: <2>.",),
)


@pytest.fixture
def calibrated():
    rng = np.random.default_rng(3)
    chance = rng.beta(0.6, 6, 1200)
    found = rng.random(1200) < chance
    return replace(
        FIGURES,
        found=int(found.sum()),
        reliability=reliability_table(chance, found, CLASS_EDGES),
        murphy=murphy_parts(chance, found, CLASS_EDGES),
    )


def told(score):
    result = made_result()
    return memo(EN, replace(result, systems=(replace(result.systems[0], score=score),)), {})


def test_the_section_stands_only_where_somebody_asked():
    assert "How we did" not in memo(EN, made_result(), {})
    score = SystemScore(system_key="rose_rosette", mode=Mode.RELATIVE, says=("Nothing to score: why.",))
    page = told(score)
    assert "How we did" in page
    assert "Nothing to score: why." in page
    assert score_details(EN, score) == ""


def test_answer_tables_and_remarks_of_one_survey():
    page = told(SystemScore(system_key="rose_rosette", mode=Mode.RELATIVE, surveys=(SURVEY,), running=FIGURES))
    assert "What was found &amp; where. The plain rule was better." in page
    assert "Forecast of 18 May 2026 against inspections up to 13 July 2026" in page
    assert '<p class="why">What the first tenth held. Few were found. Only plants' in page
    assert "Left out: &lt;2&gt;." in page
    assert "11 of 30" in page
    assert "forecasts together" not in page


def test_a_short_score_stands_whole_in_the_answer():
    short = replace(SURVEY, says=("What was found.", "None was found."))
    page = told(SystemScore(system_key="rose_rosette", mode=Mode.RELATIVE, surveys=(short,), running=FIGURES))
    assert "What was found. None was found.</p>" in page


def test_totals_stand_where_there_are_several_surveys():
    page = told(SystemScore(system_key="rose_rosette", mode=Mode.RELATIVE, surveys=(SURVEY, SURVEY), running=FIGURES))
    assert "All 2 forecasts together" in page
    assert "Forecast by forecast" in page


def test_figures_are_read_as_they_are():
    html = rule_table(EN, FIGURES, "x")
    assert "20.5 of 30" in html
    assert "85 %" in html
    assert "−5 % (−9 % to +1 %)" in html
    assert "Brier" not in html
    assert lead(EN, FIGURES.rules[0]) == "–"
    assert lead(EN, replace(FIGURES.rules[1], auc_ahead_low=np.nan)) == "−5 %"


def test_scores_that_do_not_exist_are_dashes():
    assert [digits(EN, value) for value in (np.nan, np.inf, -0.12345, 0.5)] == ["–", "without end", "−0.1235", "0.5000"]


def test_chances_have_columns_of_their_own(calibrated):
    html = rule_table(EN, calibrated, "x")
    assert "Brier score" in html
    page = told(SystemScore(
        system_key="rose_rosette", mode=Mode.CALIBRATED, surveys=(replace(SURVEY, figures=calibrated),), running=calibrated
    ))  # fmt: skip
    assert "What was said and what came" in page


def test_the_picture_has_the_same_bytes_every_time_and_survives_any_name(calibrated):
    first, second = (reliability_png(EN, calibrated, "$x_{ <b> & {{7*7}}") for _ in range(2))
    assert first == second
    shown = np.asarray(Image.open(io.BytesIO(first)).convert("L"))
    assert shown.std() > 10


def test_relative_mode_has_no_picture(calibrated):
    result = made_result()
    for figures, names in ((FIGURES, set()), (calibrated, {"rose_rosette/reliability.png"})):
        score = SystemScore(system_key="rose_rosette", mode=Mode.RELATIVE, running=figures)
        assert score_pictures(replace(result, systems=(replace(result.systems[0], score=score),))).keys() == names
    assert score_pictures(result) == {}
