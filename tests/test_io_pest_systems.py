"""Pest systems: what comes with spreadmap, a project's own file, and faults that name file, key, value and remedy."""

from importlib import resources

import pytest

from spreadmap.errors import SettingsError
from spreadmap.io.pest_systems import parse_pest_system, read_pest_systems
from spreadmap.values.words import SeasonType, TreatmentClass, Verdict, WindowKind

ROSETTE = (resources.files("spreadmap.pest_systems") / "rose_rosette.toml").read_text(encoding="utf-8")
SHORT = """
common_name = "our gall"
scientific_name = "Aceria nostra"
host_genera = ["Acer"]
verdict = "no_action"
verdict_reason = "It does no harm."
sources = ["our own notes (read)"]
"""
WINDOW = """
[[windows]]
name = "winter"
begins = "12-01"
ends = "02-15"
advice = "Look."
status = "assumed"
source = "None: our choice"
"""
HEAT = """
[windows.degree_days]
first = 7
last = 22
base = 50
unit = "F"
counted_from = "03-01"
status = "read"
source = "a page"
"""
COURSE_STATED = '[course.{}]\nvalue = {}\nstatus = "assumed"\nsource = "None: our choice"\n\n'
GROWTH = """
[[development]]
organism = "a mite"
lower_threshold = 10.5
status = "read"
source = "a paper"
"""


def own(text):
    return parse_pest_system("own", "own.toml", text)


def test_nineteen_come_with_it_and_only_one_is_mapped():
    systems = {system.key: system for system in read_pest_systems()}
    assert len(systems) == 19
    assert [key for key, system in systems.items() if system.is_mapped] == ["rose_rosette"]
    assert systems["rose_rosette"].verdict is Verdict.REMOVE_WITH_ROOTS
    assert systems["maple_bladder_gall"].verdict_reason.endswith(".")


def test_a_projects_own_file_is_read_and_replaces(tmp_path):
    folder = tmp_path / "pest_systems"
    folder.mkdir()
    (folder / "rose_rosette.toml").write_text(ROSETTE.replace('"rose rosette"', '"our rosette"'), encoding="utf-8")
    (folder / "other.toml").write_text(SHORT, encoding="utf-8")
    systems = {system.key: system for system in read_pest_systems(tmp_path)}
    assert systems["rose_rosette"].common_name == "our rosette"
    assert systems["other"].common_name == "our gall"
    assert len(systems) == 20


def test_faults_of_all_files_are_told_together(tmp_path):
    folder = tmp_path / "pest_systems"
    folder.mkdir()
    (folder / "one.toml").write_text(SHORT.replace("no_action", "burn"), encoding="utf-8")
    (folder / "two.toml").write_text(SHORT.replace("verdict =", "verdickt ="), encoding="utf-8")
    (folder / "three.toml").write_bytes(b"\xff\xfe")
    with pytest.raises(SettingsError, match="one.toml") as raised:
        read_pest_systems(tmp_path)
    assert {fault.file for fault in raised.value.faults} == {
        "pest_systems/one.toml",
        "pest_systems/two.toml",
        "pest_systems/three.toml",
    }


def test_a_short_file_is_enough():
    system = own(SHORT)
    assert system.season_type is SeasonType.WARM
    assert system.treatment.classes == (TreatmentClass.NONE,)
    assert system.windows == ()
    assert set(system.flight_weight) == {1.0}
    assert "used for no map" in system.flight_weight_source
    assert system.look_again_window is None


def test_a_look_alike_may_be_one_line():
    system = own(SHORT + 'look_alikes = ["Felt: a flat patch: no bead."]\n')
    (alike,) = system.look_alikes
    assert (alike.name, alike.how, alike.sentence) == ("Felt", "a flat patch: no bead.", "Felt: a flat patch: no bead.")


def test_a_window_over_the_new_year_says_so():
    system = own(SHORT + WINDOW.replace('ends = "02-15"', 'ends = "02-15"\nover_new_year = true') + HEAT)
    (window,) = system.windows
    assert window.runs_over_new_year
    assert window.kind is WindowKind.LOOK
    assert window.degree_days.counted_from == (3, 1)


@pytest.mark.parametrize(
    ("before", "after", "says"),
    [
        (
            "host_genera",
            "host_genus",
            r"own.toml: key 'host_genus', .*allowed: common_name.*Did you mean 'host_genera'\?",
        ),
        ('"remove_with_roots"', '"burn"', "own.toml: key 'verdict', 'burn'; allowed: 'remove_with_roots'"),
        ("weight = [0.0, ", "weight = [", "own.toml: key 'flight.weight'"),
        ("weight = [0.0, ", "weight = [nan, ", "own.toml: key 'flight.weight.1', 'nan'"),
        ("spread_days = 14", "spread_dais = 14", r"key 'windows.1.spread_dais', '14'.*Did you mean 'spread_days'"),
        ('begins = "03-15"', 'begins = "13-15"', "own.toml: key 'windows.1.begins', '13-15'; allowed: .*MM-DD"),
        ('begins = "03-15"', "begins = 3", "own.toml: key 'windows.1.begins', '3'; allowed: .*MM-DD"),
        ('kind = "look"', 'kind = "stare"', "own.toml: key 'windows.1.kind', 'stare'; allowed: 'look', 'act' or"),
        ("verdict_reason =", "verdict_reason", "own.toml: this is not TOML .*Correct that line"),
        ('common_name = "rose rosette"\n', "", "own.toml: key 'common_name', missing. Add the key"),
        (
            'unit = "C"\nstatus',
            "status",
            r"key 'development.1.unit', 'nothing, beside lower_threshold = 10.5 and .*C or F",
        ),
        ('unit = "C"\nstatus', 'unit = "K"\nstatus', "own.toml: key 'development.1.unit', 'K'; allowed: 'C' or 'F'"),
        ("value = [2, 3]", "value = [3, 2]", r"key 'figures.\d+.value', '\[3.0, 2.0\]'.*Turn it round"),
        ('eppo_status = "read"', "", "own.toml: key 'eppo_code', 'RRV000'.*Add eppo_status"),
        ("[course.loss_per_day]", "[course.loss_a_day]", r"key 'course.loss_a_day', .*Did you mean 'loss_per_day'\?"),
        (
            '[course]\norganism = "',
            '[course]\norganism = "not ',
            "key 'course.organism', 'not Aculops .*Give the organism",
        ),
        (
            'unit = "C"\n\n[course',
            "\n[course",
            "key 'course.unit', 'nothing, beside at_temperature = 25'; allowed: C or F",
        ),
        (
            "value = 25\n",
            "value = 10\n",
            "key 'course.at_temperature.value', '10 C'; allowed: above the lower .* 10.5 C",
        ),
        ("value = 0.253", "value = 0", "key 'course.growth_per_day.value', '0'; allowed: above 0"),
        ("value = 0.05", "value = -0.05", "key 'course.loss_per_day.value', '-0.05'"),
        ("value = 0.001", "value = 1.5", "key 'course.overwintered_share.value', '1.5'; allowed: above 0 to 1"),
        ("[course.starts_on]", "[course.rests]", "key 'course.rests'"),
        (
            "[course.stops_on]\n",
            COURSE_STATED.format("starts_at_degree_days", 50) + "[course.stops_on]\n",
            "key 'course.starts_on', 'both'; allowed: one of starts_on and starts_at_degree_days",
        ),
        (
            '[course.stops_on]\nvalue = "12-31"',
            "[course.stops_below_daylight_h]\nvalue = 25",
            "key 'course.stops_below_daylight_h.value', '25'; allowed: 0 to 24",
        ),
        (
            "[course.stops_on]\n",
            COURSE_STATED.format("rest_window_days", 7) + "[course.stops_on]\n",
            "key 'course.rest_window_days', 'no rests_above beside it'",
        ),
        (
            "[course.stops_on]\n",
            COURSE_STATED.format("rests_above", 28)
            + COURSE_STATED.format("rest_window_days", 7.5)
            + "[course.stops_on]\n",
            "key 'course.rest_window_days.value', '7.5'; allowed: a whole number, 1 to 60",
        ),
    ],
)
def test_a_faulty_file_says_file_key_value_and_remedy(before, after, says):
    assert before in ROSETTE
    with pytest.raises(SettingsError, match=says):
        own(ROSETTE.replace(before, after, 1))


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (
            WINDOW,
            r"key 'windows.1.ends', '02-15'; allowed: 12-01 or later\. Turn the days round, or write over_new_year",
        ),
        (
            WINDOW.replace("12-01", "01-05").replace("advice", "over_new_year = true\nadvice"),
            "key 'windows.1.over_new_year', 'true'; allowed: only where ends, 02-15, is before begins",
        ),
        (
            WINDOW.replace("12-01", "01-05") + HEAT.replace('unit = "F"\n', ""),
            r"key 'windows.1.degree_days.unit', 'nothing, beside base = 50'; allowed: C or F\. Write unit",
        ),
        (
            WINDOW.replace("12-01", "01-05") + HEAT.replace("last = 22", "last = 2"),
            r"key 'windows.1.degree_days.last', '2'; allowed: first = 7 or more",
        ),
        (
            WINDOW.replace("12-01", "01-05") + HEAT.replace("base = 50", "base = 50\nupper = 40"),
            "key 'windows.1.degree_days.upper', '40'; allowed: above base = 50",
        ),
        (GROWTH, r"key 'development.1.unit', 'nothing, beside lower_threshold = 10.5'; allowed: C or F"),
        (
            GROWTH.replace("status", 'upper_threshold = 9\nunit = "C"\nstatus'),
            "key 'development.1.upper_threshold', '9'; allowed: above lower_threshold = 10.5",
        ),
        (WINDOW.replace("12-01", "01-05") * 2, "key 'windows', 'winter'; allowed: a name of its own"),
        (
            '[look_again]\nseen_from = "06-01"\nseen_to = "09-01"\nmites_left = "05-31"\nwindow = "spring"\n'
            'status = "assumed"\nsource = "None: our choice"\n',
            "key 'look_again.window', 'spring'; allowed: no window of kind look is there",
        ),
        (
            '[discard_how]\nsays = "Bag it."\nstatus = "assumed"\nsource = "None"\n',
            "key 'discard_how', 'Bag it.'; allowed: only with the verdict discard_plant",
        ),
        (
            '[[cut_parts]]\npart = "heads"\nbegins = "06-01"\nends = "07-01"\nhow = "cut"\nstatus = "trade"\nsource = "x"\n',
            "key 'cut_parts', '1 parts'; allowed: parts with the verdict cut_parts, and only with it",
        ),
        (
            '[[figures]]\nwhat = "threshold"\nvalue = 10\nstatus = "read"\nsource = "a page"\n',
            "key 'figures.1.unit', missing. Add the key",
        ),
        (
            '[[figures]]\nwhat = "threshold"\nvalue = 10\nunit = "C"\nstatus = "heard"\nsource = "a page"\n',
            "key 'figures.1.status', 'heard'; allowed: 'read', 'computed', 'assumed' or 'trade'",
        ),
        (
            '[[conflicts]]\nabout = "x"\nstatements = [{says = "a", status = "read", source = "b"}]\n',
            "key 'conflicts.1.statements'",
        ),
    ],
)
def test_parts_that_do_not_fit_are_refused(text, says):
    with pytest.raises(SettingsError, match=says):
        own(SHORT + text)


@pytest.mark.parametrize(
    ("key", "says"),
    [
        ("starts_on", "key 'course.starts_on', 'none of them'; allowed: one of"),
        ("stops_on", "key 'course.stops_on', 'nothing'; allowed: stops_on, stops_below_daylight_h or both"),
    ],
)
def test_a_course_needs_a_start_and_a_stop(key, says):
    begin = ROSETTE.index(f"[course.{key}]")
    with pytest.raises(SettingsError, match=says):
        own(ROSETTE[:begin] + ROSETTE[ROSETTE.index("[", begin + 1) :])


def test_the_course_is_read_with_its_figures():
    text = ROSETTE.replace("[course.stops_on]\n", COURSE_STATED.format("rests_above", 28) + "[course.stops_on]\n", 1)
    course = own(text).course
    assert (course.growth_per_day.value, course.growth_per_day.status) == (0.253, "read")
    assert (course.starts_on.value, course.stops_on.value) == ((4, 1), (12, 31))
    assert course.rests_above.value == 28
    assert list(course.stated()) == ["growth_per_day", "at_temperature", "loss_per_day", "overwintered_share",
                                     "starts_on", "stops_on", "rests_above"]  # fmt: skip


@pytest.mark.parametrize(
    ("verdict", "says"),
    [("remove_with_roots", "key 'flight', 'nothing'; allowed: twelve"), ("cut_parts", "key 'cut_parts', '0 parts'")],
)
def test_a_verdict_asks_for_its_parts(verdict, says):
    with pytest.raises(SettingsError, match=says):
        own(SHORT.replace("no_action", verdict))


def test_two_faults_of_one_file_are_told_together():
    text = SHORT.replace("no_action", "burn").replace("host_genera", "host_genus")
    with pytest.raises(SettingsError, match="verdict") as raised:
        own(text)
    assert len(raised.value.faults) == 3
