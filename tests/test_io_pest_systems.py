"""Pest systems: what comes with spreadmap, a project's own file, and faults that name file, key and value."""

from importlib import resources

import pytest

from spreadmap.errors import SettingsError
from spreadmap.io.pest_systems import parse_pest_system, read_pest_systems
from spreadmap.values.words import Verdict

ROSETTE = (resources.files("spreadmap.pest_systems") / "rose_rosette.toml").read_text(encoding="utf-8")


def test_two_systems_come_with_it_and_only_one_is_mapped():
    systems = {system.key: system for system in read_pest_systems()}
    assert systems["rose_rosette"].verdict is Verdict.REMOVE_WITH_ROOTS
    assert systems["rose_rosette"].is_mapped
    assert not systems["maple_bladder_gall"].is_mapped
    assert systems["maple_bladder_gall"].verdict_reason.endswith(".")


def test_every_figure_has_a_status_and_a_source():
    for system in read_pest_systems():
        assert system.sources
        assert system.flight_weight_status in {"read", "assumed", "trade"}
        assert len(system.flight_weight_source) > 10
        for window in system.windows:
            assert window.status in {"read", "assumed", "trade"}
            assert len(window.source) > 10


def test_a_projects_own_file_is_read_and_replaces(tmp_path):
    folder = tmp_path / "pest_systems"
    folder.mkdir()
    (folder / "rose_rosette.toml").write_text(ROSETTE.replace('"rose rosette"', '"our rosette"'), encoding="utf-8")
    (folder / "other.toml").write_text(ROSETTE, encoding="utf-8")
    systems = {system.key: system for system in read_pest_systems(tmp_path)}
    assert systems["rose_rosette"].common_name == "our rosette"
    assert "other" in systems


@pytest.mark.parametrize(
    ("before", "after", "says"),
    [
        ("host_genera", "host_genus", "own.toml, key 'host_genus'"),
        ('"remove_with_roots"', '"burn"', "own.toml, key 'verdict': 'burn' is not allowed"),
        ("weight = [0.0, ", "weight = [", "own.toml, key 'flight.weight'"),
        ('begins = "03-15"', 'begins = "13-15"', "own.toml, key 'windows.0.begins': '13-15' is not allowed"),
        ("verdict_reason =", "verdict_reason", "own.toml: this is not TOML"),
    ],
)
def test_a_faulty_file_says_file_key_and_value(before, after, says):
    assert before in ROSETTE
    with pytest.raises(SettingsError, match=says):
        parse_pest_system("own", "own.toml", ROSETTE.replace(before, after, 1))
