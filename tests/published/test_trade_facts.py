"""Facts of the trade as the files carry them, and the published figures that differ, side by side.

Expected numbers: common practice, no source. Where a source was read, it is named beside its number [read].
"""

import pytest

from spreadmap.io.pest_systems import read_pest_systems
from spreadmap.values.words import WindowKind

SYSTEMS = {system.key: system for system in read_pest_systems()}
NO_SOURCE = "common practice, no source"

TRADE = [
    ("rose_rosette", "stages of an eriophyid (egg, first nymph, second nymph, adult)", 4.0),
    ("rose_rosette", "pairs of legs of an eriophyid", 2.0),
    ("rose_rosette", "offspring of an unmated female", "sons only"),
    ("rose_rosette", "eggs of the rose mite", 1.0),
    ("rose_rosette", "laying span of the rose mite", 30.0),
    ("rose_rosette", "egg of the rose mite hatches after", (2.0, 3.0)),
    ("rose_rosette", "rose mite from hatching to adult", (4.0, 5.0)),
    ("hemlock_rust_mite", "hemlock rust mite passes its two nymphal stages in", (7.0, 10.0)),
    ("hemlock_rust_mite", "hemlock rust mite hatches when", "star magnolia begins to bloom"),
    ("spruce_rust_mite", "spruce rust mite hatches from", "March"),
    ("spruce_rust_mite", "spruce rust mite rests from", "June"),
    ("spruce_rust_mite", "spruce rust mite is active again from", "late September"),
    ("spruce_rust_mite", "spruce rust mite is active again until", "end of November or mid-December"),
    ("baldcypress_rust_mite", "bald cypress mite is best met", "late May to mid-June"),
    ("baldcypress_rust_mite", "bald cypress needles are brown by", "August"),
    ("baldcypress_rust_mite", "host can be harmed by", "oil"),
    ("maple_bladder_gall", "bladder and spindle galls of maple are left in", "July and August"),
    ("maple_spindle_gall", "bladder and spindle galls of maple are left in", "July and August"),
    ("coneflower_rosette_mite", "coneflowers in autumn", "cut to the ground and clear all debris"),
    ("coneflower_rosette_mite", "coneflower sprays once damage shows", "hardly help"),
    ("phalaenopsis_mite", "egg of the orchid flat mite", 3.0),
    ("phalaenopsis_mite", "larva of the orchid flat mite", 2.0),
    ("phalaenopsis_mite", "first nymph of the orchid flat mite", 2.0),
    ("phalaenopsis_mite", "second nymph of the orchid flat mite", 2.0),
    ("cyclamen_mite", "eggs of the cyclamen mite", (1.0, 3.0)),
    ("cyclamen_mite", "eggs of the cyclamen mite in all", (12.0, 16.0)),
    ("cyclamen_mite", "cyclamen mite from egg to adult", (1.0, 3.0)),
    ("broad_mite", "nymphal forms of the broad mite", 1.0),
    ("broad_mite", "broad mite from egg to adult", (8.0, 10.0)),
]
READ_BESIDE = [
    # University of Delaware 2016 [read]
    ("rose_rosette", "egg of the rose mite hatches after", (3.0, 4.0)),
    # University of Georgia 2020 and 2025 [read]
    ("rose_rosette", "rose mite from hatching to adult", 7.0),
    # University of California, strawberry [read]
    ("cyclamen_mite", "eggs of the cyclamen mite in all", 90.0),
    # a strawberry nursery's newsletter, 2022 [read]
    ("cyclamen_mite", "cyclamen mite from egg to adult", (8.0, 20.0)),
    # Virginia Tech ENTO-587NP [read]: one to two weeks
    ("broad_mite", "broad mite from egg to adult", (7.0, 14.0)),
]
DIFFERS = [
    ("rose_rosette", "when the egg hatches"),
    ("maple_bladder_gall", "when the mites leave the galls"),
    ("maple_spindle_gall", "when the mites leave the galls"),
    ("baldcypress_rust_mite", "oil on bald cypress in summer"),
    ("baldcypress_rust_mite", "when browning shows"),
    ("phalaenopsis_mite", "time of one generation"),
    ("cyclamen_mite", "eggs of one female"),
    ("cyclamen_mite", "egg to adult"),
    ("broad_mite", "egg to adult"),
]


# sources that differ among themselves [all read]: what each of them says, in a few of its words
PUBLISHED_DIFFERENCES = [
    (
        "rose_rosette",
        "when mites are most numerous",
        ("July and August", "into September and October", "July to November"),
    ),
    ("rose_rosette", "whether tools carry it", ("carry it", "does not appear to be carried")),
    ("rose_rosette", "years until the plant dies", ("One to two years", "three years", "five years")),
    ("hemlock_rust_mite", "how it passes the winter", ("eggs on the needles", "Adults", "Females")),
    ("hemlock_rust_mite", "months of activity", ("March into June", "February to May")),
    ("privet_rust_mite", "autumn activity", ("increase again", "ceases during the hot part")),
    ("ash_flower_gall_mite", "whether to treat", ("Not recommended", "before bud break")),
]


@pytest.mark.parametrize(("key", "what", "value"), TRADE)
def test_the_trade_s_figure_stands_in_the_file_as_the_trade_s(key, what, value):
    figures = [figure for figure in SYSTEMS[key].figures_of(what) if figure.status == "trade"]
    assert [(figure.value, figure.source) for figure in figures] == [(value, NO_SOURCE)]


@pytest.mark.parametrize(("key", "what", "value"), READ_BESIDE)
def test_the_published_figure_stands_beside_it(key, what, value):
    assert value in [figure.value for figure in SYSTEMS[key].figures_of(what) if figure.status == "read"]


@pytest.mark.parametrize(("key", "about"), DIFFERS)
def test_a_difference_is_shown_with_both_statements(key, about):
    (conflict,) = [each for each in SYSTEMS[key].conflicts if each.about == about]
    assert {"trade", "read"} <= {statement.status for statement in conflict.statements}


@pytest.mark.parametrize(("key", "about", "words"), PUBLISHED_DIFFERENCES)
def test_published_sources_that_differ_all_speak(key, about, words):
    (conflict,) = [each for each in SYSTEMS[key].conflicts if each.about == about]
    assert len(conflict.statements) == len(words)
    for statement, said in zip(conflict.statements, words, strict=True):
        assert said in statement.says
        assert statement.status == "read"


@pytest.mark.parametrize(
    ("key", "what", "value"),
    [
        # Delaware extension newsletter 2009 [read]
        ("baldcypress_rust_mite", "oil on the dormant tree", "has raised mite numbers"),
        ("baldcypress_rust_mite", "early indicator, degree-days; base and first day not stated", 1250.0),
        # slides of a talk, 2015 [second-hand]
        ("rose_rosette", "one generation of the rose mite", (2.0, 3.0)),
        # University of Massachusetts, rust mites [read]
        ("privet_rust_mite", "most seen on one leaf", 2000.0),
        # Hebrew University [read]
        ("privet_flat_mite", "suspected of carrying a virus of privet", "in South America"),
        ("privet_flat_mite", "one generation at 25 C", (21.0, 28.0)),
        # University of Massachusetts greenhouse update 2020 [read]
        ("broad_mite", "temperature at which it does best", (67.0, 77.0)),
        # Royal Horticultural Society [read]
        ("linden_gall_mites", "generations a year", (2.0, 3.0)),
    ],
)
def test_published_figures_of_one_source_stand_in_the_file(key, what, value):
    assert [(figure.value, figure.status) for figure in SYSTEMS[key].figures_of(what)] == [(value, "read")]


def test_the_orchid_mite_takes_nine_weeks():
    weeks = [figure.value for figure in SYSTEMS["phalaenopsis_mite"].figures if figure.status == "trade"]
    (total,) = [
        figure.value
        for figure in SYSTEMS["phalaenopsis_mite"].figures_of("egg to adult of the orchid flat mite")
        if figure.status == "computed"
    ]
    assert total == sum(weeks) == 9


def test_the_spruce_mite_s_windows_are_the_trade_s():
    spruce = SYSTEMS["spruce_rust_mite"]
    hatch, build_up, again = spruce.windows_of(WindowKind.LOOK)
    assert hatch.begins[0] == 3
    assert build_up.ends == (5, 31)
    assert spruce.windows_of(WindowKind.TOO_LATE)[0].begins == (6, 1)
    # late September to the end of November, or mid-December: within the spread
    assert again.begins == (9, 20)
    assert again.ends == (11, 30)
    assert again.spread_days >= 14
    assert spruce.look_again_window is again


def test_the_bald_cypress_s_weeks_are_the_trade_s():
    best = SYSTEMS["baldcypress_rust_mite"].windows[0]
    assert (best.begins, best.ends) == ((5, 20), (6, 15))


def test_maple_galls_are_left_by_the_end_of_august():
    for key in ("maple_bladder_gall", "maple_spindle_gall"):
        assert SYSTEMS[key].look_again.mites_left == (8, 31)


def test_the_hemlock_mite_s_sign_is_the_star_magnolia():
    assert "star magnolia begins to bloom" in SYSTEMS["hemlock_rust_mite"].windows[0].sign
