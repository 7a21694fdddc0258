"""The sentences of the demo's runs: every one of them has words on a Spanish page."""

import csv
import json

import pytest

from spreadmap.review.language import Words

ES = Words("es", "metric")


def sentences_of(delivery):
    """Every sentence that a run hands to its page, by where it stands."""
    said = json.loads((delivery.folder / "summary.json").read_text(encoding="utf-8"))
    (system,) = said["systems"]
    with (delivery.folder / "calendar.csv").open(encoding="utf-8-sig", newline="") as file:
        windows = [(row["window"], row["advice"], row["rests_on"]) for row in csv.DictReader(file)]
    return {
        "remarks": [*said["remarks"], *system["remarks"]],
        "ahead": [system["ahead"]["rests_on"], *system["ahead"]["remarks"]],
        "survey": [each["sentence"] for each in system["survey"]["statements"]] + [system["survey"]["sample"]["says"]],
        "reasons": [each["reason"] for each in system["removal"]["first"]],
        "windows": [text for three in windows for text in three if text],
    }


@pytest.mark.parametrize("when", ["early", "late"])
def test_every_sentence_of_the_demo_has_words_in_spanish(demo_runs, when):
    told = sentences_of(getattr(demo_runs, when))
    assert all(told.values())
    missing = [(place, text) for place, texts in told.items() for text in texts if ES.own(text) is None]
    assert missing == []
