"""Every setting has a unit, a status and a source, and a default inside its own range."""

import dataclasses

import pytest

from spreadmap.values.settings import STATUSES, Settings, list_settings, setting

NOTES = list_settings(Settings())


@pytest.mark.parametrize("note", NOTES, ids=lambda note: note.name)
def test_a_setting_says_unit_status_and_source(note):
    assert note.unit
    assert note.status in STATUSES
    assert len(note.source) > 8
    values = note.value.values() if isinstance(note.value, dict) else (note.value,)
    for value in values:
        if isinstance(value, (int, float)):
            assert note.least is None or value >= note.least
            assert note.most is None or value <= note.most


NAMES_OF_THE_DESK = ("delivery.file_names", "delivery.short_names", "delivery.domains")
"""Tables of texts, empty by default."""


def test_every_number_has_a_range():
    numbers = [n for n in NOTES if isinstance(n.value, (int, float, dict)) and n.name not in NAMES_OF_THE_DESK]
    without = [n.name for n in numbers if n.least is None or n.most is None]
    assert without == []


def test_settings_cannot_be_changed():
    with pytest.raises(dataclasses.FrozenInstanceError, match="cannot assign"):
        Settings().kernel.mean_m = 3.0


def test_an_unknown_status_is_refused():
    with pytest.raises(ValueError, match="status 'guessed' is not one of"):
        setting(1.0, "m", "guessed", "None: our choice")


@pytest.mark.parametrize(
    ("name", "value"),
    [
        # defaults that a reader will look up first; changing one changes maps and needs a changelog line
        ("kernel.mean_m", 10.95),
        ("kernel.shape_m", 3.17),
        ("wind.wind_influence", 0.5),
        ("sources.reservoir_plants_per_100_m2", 5.0),
        ("sources.reservoir_chance", 0.3),
        ("zones.wild_host_line_m", 100.0),
        ("removal.crew_hours_per_week", 30.0),
    ],
)
def test_a_changed_default_is_noticed(name, value):
    assert {note.name: note.value for note in NOTES}[name] == value
