"""The list of pest systems and the explanation of one, at the terminal and as JSON."""

import json

import pytest
from typer.testing import CliRunner

from spreadmap.cli import app
from spreadmap.errors import SettingsError
from spreadmap.io.explain_systems import explain_systems, figure_words
from spreadmap.io.pest_systems import read_pest_systems
from spreadmap.values.pest_system import Figure

RUNNER = CliRunner()
OWN = """
common_name = "our gall"
scientific_name = "Aceria nostra"
host_genera = ["Acer"]
verdict = "no_action"
verdict_reason = "It does no harm."
sources = ["our own notes (read)"]
"""


def test_the_list_names_every_system_with_its_verdict():
    lines = explain_systems().lines
    assert len(lines) == 19
    assert any(line.startswith("cyclamen_mite") and "discard plant" in line for line in lines)


@pytest.mark.parametrize("key", [system.key for system in read_pest_systems()])
def test_an_explanation_holds_everything_on_file(key):
    system = next(system for system in read_pest_systems() if system.key == key)
    text = "\n".join(explain_systems(key).lines)
    for part in (system.verdict_reason, system.caution, system.damage.says, *system.host_genera, *system.sources):
        assert part in text
    for part in [*system.figures, *system.conflicts, *system.windows, *system.look_alikes]:
        name = getattr(part, "what", None) or getattr(part, "about", None) or part.name
        assert name in text
    for figure in system.figures:
        assert f"[{figure.status}: {figure.source}]" in text
    for conflict in system.conflicts:
        for statement in conflict.statements:
            assert statement.says in text


def test_damage_whose_mites_left_names_the_day_to_look_again():
    text = "\n".join(explain_systems("spruce_rust_mite").lines)
    assert "was made by mites that leave by 31 May: look again from 20 Sep" in text


def test_the_course_of_numbers_is_explained_figure_by_figure():
    told = explain_systems("rose_rosette")
    text = "\n".join(told.lines)
    assert "Course of numbers by temperature, thresholds of Aculops lycopersici" in text
    assert "  growth 0.253 a day [read: Haque and Kawai 2003" in text
    assert "  at a steady 25 C [read: " in text
    assert "  starts on 1 Apr [assumed: " in text
    assert told.values["course"]["starts_on"]["value"] == "04-01"
    assert told.values["course"]["stops_on"]["value"] == "12-31"
    assert explain_systems("beech_erineum_mite").values["course"] is None


def test_a_projects_own_file_is_listed_and_explained(tmp_path):
    (tmp_path / "pest_systems").mkdir()
    (tmp_path / "pest_systems" / "our_gall.toml").write_text(OWN, encoding="utf-8")
    assert len(explain_systems(project=tmp_path).lines) == 20
    assert "It does no harm." in "\n".join(explain_systems("our_gall", project=tmp_path).lines)


def test_an_unknown_key_or_folder_is_refused(tmp_path):
    with pytest.raises(
        SettingsError, match=r"'spruce_rust' is not on file; allowed: .*Did you mean 'spruce_rust_mite'\?"
    ):
        explain_systems("spruce_rust")
    with pytest.raises(SettingsError, match="is no folder"):
        explain_systems(project=tmp_path / "nowhere")


@pytest.mark.parametrize(
    ("value", "unit", "words"),
    [((2.0, 3.0), "days", "2 to 3 days"), (4.0, "pairs", "4 pairs"), ("June", "month", "June"), ("oil", "-", "oil")],
)
def test_a_figure_in_words(value, unit, words):
    assert figure_words(Figure(what="x", value=value, unit=unit, status="trade", source="y")) == words


def test_the_command_lists_explains_and_prints_json(tmp_path):
    listed = RUNNER.invoke(app, ["systems"])
    assert listed.exit_code == 0
    assert len(listed.stdout.splitlines()) == 19
    told = RUNNER.invoke(app, ["systems", "beech_erineum_mite"])
    assert "Beech leaf disease" in told.stdout
    (tmp_path / "pest_systems").mkdir()
    (tmp_path / "pest_systems" / "our_gall.toml").write_text(OWN, encoding="utf-8")
    every = json.loads(RUNNER.invoke(app, ["systems", "--project", str(tmp_path), "--json"]).stdout)
    assert len(every) == 20
    one = json.loads(RUNNER.invoke(app, ["systems", "hemlock_rust_mite", "--json"]).stdout)
    assert one["windows"][0]["degree_days"]["counted_from"] == "03-01"
    assert one["windows"][0]["begins"] == "03-10"
    assert one["look_again"]["mites_left"] == "06-15"


def test_the_command_refuses_an_unknown_key():
    assert isinstance(RUNNER.invoke(app, ["systems", "nothing"]).exception, SettingsError)
