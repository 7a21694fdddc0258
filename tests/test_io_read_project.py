"""Whole project folders: what is read, what refuses a run, and that every fault is told at once."""

import datetime as dt
import hashlib

import geopandas
import numpy as np
import pyogrio
import pytest
import shapely
from pyproj import Transformer
from small_projects import CRS, EAST, INVENTORY, NORTH, PROJECT, make_project

from spreadmap.errors import CrsError, InputError, InventoryError, SettingsError
from spreadmap.io.read_project import check_project, read_project

HEADER = "plant_id,host,longitude,latitude\n"
IN_DEGREES = PROJECT.replace(f'file = "inventory.csv"\ncrs = "{CRS}"', 'file = "inventory.csv"\ncrs = "EPSG:4326"')


def degrees():
    """Longitude and latitude of the thirty plants, by PROJ."""
    way = Transformer.from_crs(CRS, "EPSG:4326", always_xy=True)
    return [way.transform(EAST + 3 * number, NORTH) for number in range(1, 31)]


def rows_of(pairs):
    return HEADER + "".join(f"P{n:02d},Rosa hybrida,{a!r},{b!r}\n" for n, (a, b) in enumerate(pairs, start=1))


def snapshot(folder):
    return {path: (path.stat().st_mtime_ns, path.read_bytes()) for path in folder.rglob("*") if path.is_file()}


def test_a_small_project_is_read_as_it_stands(tmp_path):
    folder = make_project(tmp_path)
    before = snapshot(tmp_path)
    values, settings = read_project(folder)
    assert values.name == "Testing"
    assert values.inventory.plant_id.tolist() == [f"P{number:02d}" for number in range(1, 31)]
    np.testing.assert_array_equal(values.inventory.easting, EAST + 3.0 * np.arange(1, 31))
    np.testing.assert_allclose(np.c_[values.inventory.longitude, values.inventory.latitude], degrees(), atol=1e-9)
    assert values.surveys.status.tolist() == ["clean", "infected"]
    assert values.as_of == dt.date(2026, 5, 18)
    assert values.as_of < values.next_survey_on <= values.horizon_on
    assert values.wind_hours is None
    assert values.rejected == ()
    assert settings.inputs.most_rows_aside == 0.05
    assert snapshot(tmp_path) == before


def test_files_come_with_their_hashes_and_rows(tmp_path):
    values, _ = read_project(make_project(tmp_path))
    listed = {file.path: file for file in values.files}
    assert [file.path for file in values.files] == ["spreadmap.toml", "inventory.csv", "survey.csv"]
    assert (listed["inventory.csv"].rows, listed["survey.csv"].rows) == (30, 2)
    for name, file in listed.items():
        assert file.sha256 == hashlib.sha256((tmp_path / name).read_bytes()).hexdigest()


def test_positions_in_degrees_and_in_metres_are_the_same_plants(tmp_path):
    metres, _ = read_project(make_project(tmp_path / "a"))
    turned, _ = read_project(make_project(tmp_path / "b", IN_DEGREES, inventory__csv=rows_of(degrees())))
    np.testing.assert_allclose(turned.inventory.easting, metres.inventory.easting, atol=1e-3)
    np.testing.assert_allclose(turned.inventory.northing, metres.inventory.northing, atol=1e-3)


@pytest.mark.parametrize(
    ("before", "after", "says"),
    [
        ('name = "Testing"', 'nmae = "Testing"', r"'project.nmae';.*Did you mean 'name'\?"),
        ('pest_system = "', 'pest_sistem = "', r"'inputs.surveys.1.pest_sistem'.*Did you mean 'pest_system'\?"),
        ("[[inputs.surveys]]", "[[inputs.survey]]", r"'inputs.survey'.*Did you mean 'surveys'\?"),
        ("[project]", "[settings.wnid]\nharmonics = 8\n[project]", r"'settings.wnid'.*Did you mean 'wind'\?"),
        ("[project]", "[settings.wind]\nharmonix = 8\n[project]", r"'settings.wind.harmonix'.*'harmonics'\?"),
        ("[project]", '[settings.wind]\nharmonics = "8"\n[project]', r"'settings.wind.harmonics' = '8'"),
        ("[project]", "[settings.wind]\nharmonics = 99\n[project]", r"'settings.wind.harmonics' = '99'.*1 to 32"),
        ('name = "Testing"\n', "", r"'project.name' is missing"),
        ('name = "Testing"', "name = Testing", "is not TOML"),
    ],
)
def test_a_faulty_project_file_says_key_and_remedy(tmp_path, before, after, says):
    assert before in PROJECT
    with pytest.raises(SettingsError, match=says):
        read_project(make_project(tmp_path, PROJECT.replace(before, after)))


def test_an_unknown_pest_system_of_the_project_is_refused(tmp_path):
    toml = PROJECT.replace("[project]", '[project]\npest_systems = ["rose_rosete"]')
    with pytest.raises(InputError, match=r"'rose_rosete';.*Did you mean 'rose_rosette'\?"):
        read_project(make_project(tmp_path, toml))


def test_a_folder_without_project_file_is_refused(tmp_path):
    with pytest.raises(SettingsError, match=r"there is no spreadmap.toml in folder .*Make a project with"):
        read_project(tmp_path)


def test_coordinates_without_a_crs_are_refused(tmp_path):
    toml = PROJECT.replace(f'file = "inventory.csv"\ncrs = "{CRS}"', 'file = "inventory.csv"')
    with pytest.raises(CrsError, match=r"inventory.csv: has coordinate columns but no CRS; it is never guessed"):
        read_project(make_project(tmp_path, toml))


@pytest.mark.parametrize(
    ("crs", "says"),
    [
        ("EPSG:4326", "is not projected"),
        ("EPSG:2276", r"is in US survey foot; allowed: metre"),
        ("EPSG:3857", r"a length at the plants is 1\.\d+ times the true one"),
        ("+proj=utm +zone=14", "is not an authority and a code"),
        ("EPSG:999999", "is not known"),
    ],
)
def test_a_working_crs_that_cannot_measure_is_refused(tmp_path, crs, says):
    toml = PROJECT.replace(f'name = "Testing"\ncrs = "{CRS}"', f'name = "Testing"\ncrs = "{crs}"')
    with pytest.raises(CrsError, match=says):
        read_project(make_project(tmp_path, toml))


def test_degrees_declared_as_metres_are_refused(tmp_path):
    text = rows_of(degrees()).replace("longitude,latitude", "easting,northing")
    with pytest.raises(CrsError, match=r"30 of 30 positions: degrees where the declared CRS is in metres"):
        read_project(make_project(tmp_path, inventory__csv=text))


def test_columns_of_metres_under_a_crs_in_degrees_are_refused(tmp_path):
    with pytest.raises(CrsError, match="has columns for easting and northing, but EPSG:4326 has longitude"):
        read_project(make_project(tmp_path, IN_DEGREES))


def test_swapped_longitude_and_latitude_are_refused(tmp_path):
    swapped = [(lat, lon) for lon, lat in degrees()]
    with pytest.raises(CrsError, match=r"30 of 30 positions: longitude and latitude are swapped. Swap the two columns"):
        read_project(make_project(tmp_path, IN_DEGREES, inventory__csv=rows_of(swapped)))


def test_one_swapped_row_is_put_aside(tmp_path):
    pairs = degrees()
    pairs[19] = pairs[19][::-1]
    values, _ = read_project(make_project(tmp_path, IN_DEGREES, inventory__csv=rows_of(pairs)))
    assert "P20" not in values.inventory.plant_id.tolist()
    assert len(values.inventory) == 29
    (rejected,) = values.rejected
    assert (rejected.file, rejected.row) == ("inventory.csv", 21)
    assert "longitude and latitude are swapped" in rejected.reason
    assert rejected.text.startswith("P20 | Rosa hybrida")


@pytest.mark.parametrize("cells", ["0,0", ",", "700000,9e8"])
def test_a_position_that_stands_for_nothing_is_put_aside(tmp_path, cells):
    text = INVENTORY.replace(f"{EAST + 60},{NORTH}", cells)
    assert text != INVENTORY
    values, _ = read_project(make_project(tmp_path, inventory__csv=text))
    assert len(values.inventory) == 29
    assert [row.row for row in values.rejected] == [21]


def test_more_rows_aside_than_one_in_twenty_refuse_the_run(tmp_path):
    one = INVENTORY.replace(f"P29,Rosa hybrida,{EAST + 87}", "P29,Rosa hybrida,far")
    two = one.replace(f"P30,Rosa hybrida,{EAST + 90}", "P30,Rosa hybrida,away")
    values, _ = read_project(make_project(tmp_path / "one", inventory__csv=one))
    assert len(values.rejected) == 1
    with pytest.raises(
        InventoryError, match=r"inventory.csv: 2 of 30 rows cannot be used; .*at most 5% of a file"
    ) as told:
        read_project(make_project(tmp_path / "two", inventory__csv=two))
    assert {fault.row for fault in told.value.faults if fault.weight == "aside"} == {30, 31}
    more = PROJECT + "[settings.inputs]\nmost_rows_aside = 0.1\n"
    values, _ = read_project(make_project(tmp_path / "more", more, inventory__csv=two))
    assert len(values.inventory) == 28


def test_a_plant_that_comes_twice_is_told(tmp_path):
    faults = check_project(make_project(tmp_path, inventory__csv=INVENTORY + f"p01,Rosa hybrida,{EAST},{NORTH}\n"))
    assert any(fault.file == "inventory.csv" and fault.row == 32 for fault in faults)


def test_checking_lists_the_faults_of_all_files_and_writes_nothing(tmp_path):
    toml = PROJECT + (
        '\n[[inputs.wind_hours]]\nfile = "wind.csv"\ntime_zone = "Nowhere/City"\nspeed_unit = "m/s"\n'
        '\n[[inputs.temperature]]\nfile = "missing.csv"\n'
    )
    folder = make_project(
        tmp_path,
        toml,
        inventory__csv=INVENTORY.replace(f"P30,Rosa hybrida,{EAST + 90}", "P30,Rosa hybrida,far"),
        survey__csv="plant_id,inspected_on,status\nP01,2026-05-18,infcted\nP99,2026-05-18,clean\n",
        wind__csv="time,wind_from_deg,speed\n2026-05-01 00:00,90,3\n",
    )
    before = snapshot(tmp_path)
    faults = check_project(folder)
    assert snapshot(tmp_path) == before
    told = {(fault.file, fault.row, fault.weight) for fault in faults}
    assert {
        ("inventory.csv", 31, "aside"),
        ("survey.csv", 2, "aside"),
        ("survey.csv", 3, "aside"),
        ("survey.csv", None, "stop"),
        ("wind.csv", None, "stop"),
        ("missing.csv", None, "stop"),
    } <= told
    weights = [fault.weight for fault in faults]
    assert weights == sorted(weights, key=["stop", "aside", "assumed"].index)
    with pytest.raises(InputError, match=r"missing.csv") as raised:
        read_project(folder)
    assert set(raised.value.faults) == set(faults)


def test_other_files_are_checked_even_where_the_inventory_is_lost(tmp_path):
    toml = PROJECT + '\n[[inputs.temperature]]\nfile = "days.csv"\n'
    folder = make_project(tmp_path, toml, inventory__csv="", days__csv="day,minimum_c\n2026-05-01,1\n")
    stopped = {fault.file for fault in check_project(folder) if fault.weight == "stop"}
    assert {"inventory.csv", "days.csv"} <= stopped


def test_faults_of_keys_and_of_files_are_told_together(tmp_path):
    toml = PROJECT.replace("name =", "nmae =").replace('pest_system = "rose_rosette"', 'pest_sytem = "rose_rosette"')
    toml = toml.replace("[project]", '[project]\nholidays = ["soon"]') + "[settings.grid]\ncel_m = 2.0\n"
    folder = make_project(tmp_path, toml, inventory__csv=INVENTORY.replace("P02,Rosa hybrida", "P02,"))
    before = snapshot(tmp_path)
    faults = check_project(folder)
    told = [(fault.weight, fault.file, fault.found) for fault in faults if fault.weight != "assumed"]
    assert told == [
        ("stop", "spreadmap.toml", "'project.name' is missing"),
        ("stop", "spreadmap.toml", "'project.holidays.1' = 'soon'"),
        ("stop", "spreadmap.toml", "'project.nmae'"),
        ("stop", "spreadmap.toml", "'inputs.surveys.1.pest_sytem'"),
        ("stop", "spreadmap.toml", "'settings.grid.cel_m'"),
        ("stop", "survey.csv", "1 of 2 rows cannot be used"),
        ("aside", "inventory.csv", "an empty host"),
        ("aside", "survey.csv", "'P02', whose row 3 of inventory.csv was put aside"),
    ]
    # a misspelt key counts as the one it is nearest to: no row is without a pest system
    assert not any("name no pest system" in fault.found for fault in faults)
    with pytest.raises(InputError, match=r"'project.nmae'"):
        read_project(folder)
    assert snapshot(tmp_path) == before


WIND = '[[inputs.wind_hours]]\nfile = "hours.csv"\ntime_zone = "UTC"\nspeed_unit = "m/s"\n'


@pytest.mark.parametrize(
    ("file", "before", "after", "found"),
    [
        ("inventory.csv", f'.csv"\ncrs = "{CRS}"', '.csv"\ncrs = 32614', "'inputs.inventory.1.crs' = '32614'"),
        ("survey.csv", 'pest_system = "rose', 'columns = {status = 3}\n#"', "'inputs.surveys.1.columns.status' = '3'"),
        ("hours.csv", WIND, f'{WIND}separator = "comma"\n', "'inputs.wind_hours.1.separator' = 'comma'"),
    ],
)
def test_a_file_whose_block_holds_a_faulty_value_is_not_read(tmp_path, file, before, after, found):
    toml = PROJECT.replace("[project]", "[project]\nas_of = 2026-05-18") + WIND
    folder = make_project(tmp_path, toml, hours__csv="time,speed\n")
    # as it stands there is something to tell of all of them but the inventory, which is refused without its CRS
    assert {fault.file for fault in check_project(folder)} == {"survey.csv", "hours.csv"}
    assert before in toml
    make_project(tmp_path, toml.replace(before, after), hours__csv="time,speed\n")
    faults = check_project(folder)
    assert [fault.found for fault in faults if fault.file in ("spreadmap.toml", file)] == [found]
    with pytest.raises(InputError, match=r"Correct the value"):
        read_project(folder)


def test_rows_of_plants_wait_whose_inventory_has_a_faulty_value_in_its_block(tmp_path):
    more = f'[[inputs.inventory]]\nfile = "more.csv"\ncrs = "{CRS}"\nhost = 7\n\n[[inputs.surveys]]'
    survey = "plant_id,inspected_on,status\nP01,2026-05-18,clean\nM1,2026-05-18,clean\n"
    folder = make_project(
        tmp_path, PROJECT.replace("[[inputs.surveys]]", more), survey__csv=survey, more__csv=INVENTORY
    )
    assert [(fault.weight, fault.found) for fault in check_project(folder)] == [
        ("stop", "'inputs.inventory.2.host' = '7'"),
        ("assumed", "1 rows are of plants that stand in no inventory that could be read"),
    ]


@pytest.mark.parametrize("lost", ["unreadable", "missing"])
def test_rows_of_plants_that_could_not_be_read_are_counted_not_listed(tmp_path, lost):
    toml = PROJECT.replace(
        "[[inputs.surveys]]", f'[[inputs.inventory]]\nfile = "more.csv"\ncrs = "{CRS}"\n\n[[inputs.surveys]]'
    )
    survey = "plant_id,inspected_on,status,bed_id,n_inspected,n_infected\nP01,2026-05-18,infcted,,,\n" + "".join(
        f"M{number},2026-05-18,clean,,,\n" for number in range(39)
    )
    survey += ",2026-05-18,,B7,5,0\n"
    more = {"more__csv": "no header that helps\n"} if lost == "unreadable" else {}
    faults = check_project(make_project(tmp_path, toml, survey__csv=survey, **more))
    of_survey = [(fault.weight, fault.row, fault.found) for fault in faults if fault.file == "survey.csv"]
    assert of_survey == [
        ("aside", 2, "'infcted'"),
        ("assumed", None, "40 rows are of plants that stand in no inventory that could be read"),
    ]


def test_dates_of_the_horizon_and_of_work_that_do_not_fit_are_told(tmp_path):
    toml = PROJECT.replace("[project]", "[project]\nas_of = 2026-05-18\nhorizon_on = 2026-06-01")
    toml += '\n[[inputs.work_log]]\nfile = "work.csv"\n'
    work = "plant_id,done_on,done\nP02,2027-05-19,yes\nP03,2027-05-19,no\nP01,2026-05-18,yes\n"
    inputs, _ = read_project(make_project(tmp_path, toml, work__csv=work))
    told = {fault.column: fault.found for fault in inputs.faults}
    assert told["horizon_on"] == "horizon_on 2026-06-01 lies before the next survey 2026-06-15"
    assert told["done_on"] == "1 rows have done_on after as_of 2026-05-18"
    assert inputs.horizon_on == dt.date(2026, 6, 15)


def test_checking_a_faulty_project_file_raises_nothing(tmp_path):
    faults = check_project(make_project(tmp_path, PROJECT.replace("crs", "csr")))
    assert len([fault for fault in faults if "csr" in fault.found]) == 2
    assert all(fault.file == "spreadmap.toml" for fault in faults if fault.weight == "stop")


def test_the_date_given_at_the_command_counts(tmp_path):
    survey = "plant_id,inspected_on,status\nP01,2026-05-18,clean\nP01,2026-07-01,infected\n"
    folder = make_project(tmp_path, survey__csv=survey)
    early, _ = read_project(folder, dt.date(2026, 6, 1))
    late, _ = read_project(folder)
    assert (early.as_of, early.surveys.status.tolist()) == (dt.date(2026, 6, 1), ["clean"])
    assert (late.as_of, late.surveys.status.tolist()) == (dt.date(2026, 7, 1), ["clean", "infected"])


def test_two_readings_give_the_same_values(tmp_path):
    folder = make_project(tmp_path)
    one, other = read_project(folder)[0], read_project(folder)[0]
    assert one.files == other.files
    assert one.faults == other.faults
    np.testing.assert_array_equal(one.inventory.longitude, other.inventory.longitude)


@pytest.mark.parametrize("key", ["as_of", "next_survey_on", "horizon_on"])
@pytest.mark.parametrize("day", ["9999-12-31", "1800-01-01"])
def test_a_date_that_is_a_typing_slip_is_refused(tmp_path, key, day):
    with pytest.raises(SettingsError, match=rf"'project.{key}' = '{day}'; allowed"):
        read_project(make_project(tmp_path, PROJECT.replace("[project]", f"[project]\n{key} = {day}")))


@pytest.mark.parametrize("day", [dt.date.max, dt.date.min])
def test_a_date_at_the_command_that_is_a_typing_slip_is_refused(tmp_path, day):
    with pytest.raises(SettingsError, match=rf"as_of '{day}'; allowed: 1900-01-01 to 2100-12-31"):
        read_project(make_project(tmp_path), day)


def test_a_last_inspection_years_after_the_others_is_refused_unless_as_of_is_given(tmp_path):
    folder = make_project(tmp_path)
    survey = folder / "survey.csv"
    lines = survey.read_text(encoding="utf-8").rstrip("\n").splitlines()
    key = lines[1].split(",")[0]
    survey.write_text("\n".join([*lines, f"{key},2062-09-14,clean"]) + "\n", encoding="utf-8")
    with pytest.raises(InputError, match=r"'2062-09-14' lies \d+ days after .*allowed: at most 1096 days.*give as_of"):
        read_project(folder)
    assert read_project(folder, dt.date(2026, 9, 14))[0].as_of == dt.date(2026, 9, 14)


def test_a_plant_inside_a_site_belongs_to_it_and_that_is_told(tmp_path):
    ring = [[EAST, NORTH - 5], [EAST + 20, NORTH - 5], [EAST + 20, NORTH + 5], [EAST, NORTH + 5], [EAST, NORTH - 5]]
    sites = geopandas.GeoDataFrame({"site_id": ["S1"], "name": ["Yard"], "is_private": ["yes"]},
                                   geometry=[shapely.Polygon(ring)], crs=CRS)  # fmt: skip
    folder = make_project(tmp_path, PROJECT + '\n[[inputs.sites]]\nfile = "sites.gpkg"\n')
    pyogrio.write_dataframe(sites, folder / "sites.gpkg")
    values, _ = read_project(folder)
    inside = values.inventory.easting <= EAST + 20
    assert inside.sum() == 6
    assert (values.inventory.site_id == np.where(inside, "S1", "")).all()
    assert any("6 plants name no site and stand inside one" in fault.sentence() for fault in values.faults)


def test_a_plant_far_from_all_others_is_refused(tmp_path):
    far = INVENTORY.replace(f"P29,Rosa hybrida,{EAST + 87}", f"P29,Rosa hybrida,{EAST + 60000}")
    with pytest.raises(
        InventoryError, match=r"1 of 30 plants stand far from all others; plant 'P29' is 60 km .*at most"
    ):
        read_project(make_project(tmp_path, inventory__csv=far))


def test_a_host_for_the_whole_file(tmp_path):
    bare = INVENTORY.replace("plant_id,host,", "plant_id,").replace(",Rosa hybrida", "")
    toml = PROJECT.replace('file = "inventory.csv"', 'file = "inventory.csv"\nhost = "Rosa hybrida"')
    values, _ = read_project(make_project(tmp_path / "one", toml, inventory__csv=bare))
    assert set(values.inventory.host) == {"Rosa hybrida"}
    with pytest.raises(InputError, match="has no column for host"):
        read_project(make_project(tmp_path / "two", inventory__csv=bare))


def test_findings_on_plants_that_are_no_host_are_told(tmp_path):
    values, _ = read_project(make_project(tmp_path, inventory__csv=INVENTORY.replace("Rosa hybrida", "healthy")))
    told = " ".join(fault.sentence() for fault in values.faults)
    assert "1 plants with findings of rose rosette are no known host of it (Rosa)" in told


def test_a_date_before_and_long_after_all_inspections_is_told(tmp_path):
    folder = make_project(tmp_path)
    early = " ".join(fault.sentence() for fault in read_project(folder, dt.date(2020, 1, 1))[0].faults)
    late = " ".join(fault.sentence() for fault in read_project(folder, dt.date(2030, 1, 1))[0].faults)
    assert "no inspection is on record up to as_of 2020-01-01. The map knows of no finding" in early
    assert "the last inspection lies 1324 days before as_of 2030-01-01" in late
