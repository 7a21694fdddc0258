"""The fixed table of columns: names that survive a Shapefile, and a code wherever a value can be missing."""

import pytest

from spreadmap.io.short_names import FLAGS, GEOMETRY, LAYERS, NOT_ASSESSED, SHORT_LENGTH, Kind

EVERY = [pytest.param(name, columns, id=name) for name, columns in LAYERS.items()]


@pytest.mark.parametrize(("name", "columns"), EVERY)
def test_short_names_fit_a_shapefile(name, columns):
    shorts = [column.short for column in columns]
    assert all(short.isascii() and 0 < len(short) <= SHORT_LENGTH for short in shorts)
    assert len({short.lower() for short in shorts}) == len(shorts)
    assert len({column.name.lower() for column in columns}) == len(columns)


@pytest.mark.parametrize(("name", "columns"), EVERY)
def test_long_names_are_snake_case_and_explained(name, columns):
    for column in columns:
        assert column.name == column.name.lower().replace(" ", "_")
        assert column.meaning
        assert column.unit


@pytest.mark.parametrize(("name", "columns"), EVERY)
def test_zero_never_means_not_assessed(name, columns):
    for column in columns:
        if column.kind in (Kind.NUMBER, Kind.WHOLE):
            assert column.missing in (str(NOT_ASSESSED), "never missing")
        if column.kind is Kind.FLAG:
            assert column.allowed == FLAGS
        if column.kind is Kind.DATE:
            assert column.missing == "empty date (null)"


@pytest.mark.parametrize(("name", "columns"), EVERY)
def test_every_date_stands_beside_its_text(name, columns):
    names = [column.name for column in columns]
    for column in columns:
        if column.kind is Kind.DATE:
            assert names[names.index(column.name) + 1] == f"{column.name}_text"


@pytest.mark.parametrize(("name", "columns"), EVERY)
def test_every_layer_says_what_when_and_under_which_condition(name, columns):
    face = {"system", "quantity", "unit", "period_from", "period_to", "condition", "mode", "as_of", "valid_until"}
    assert face <= {column.name for column in columns}


def test_every_layer_has_one_geometry_type():
    assert GEOMETRY.keys() == LAYERS.keys()


def test_the_public_layer_has_no_column_for_owner_note_or_key():
    names = {column.name for column in LAYERS["blocks"]}
    assert not names & {"owner", "owners", "note", "plant_id", "bed_id", "site_id", "sites", "reason"}
