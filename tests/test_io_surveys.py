"""Surveys and the work log: long, wide and bed tables, own words, and each documented failure."""

import dataclasses
import datetime as dt
from itertools import pairwise

import numpy as np
import pytest
from small_projects import write_sheet
from small_records import inventory_at

from spreadmap.errors import InputError, InventoryError
from spreadmap.io.faults import FaultBook
from spreadmap.io.pest_systems import read_pest_systems
from spreadmap.io.project_file import FileBlock, SurveyBlock
from spreadmap.io.read_surveys import nested_order, read_surveys, read_work_log
from spreadmap.values.settings import InputSettings, Settings

LENIENT = Settings(inputs=InputSettings(most_rows_aside=1.0))
SYSTEMS = read_pest_systems()
PLANTS = dataclasses.replace(
    inventory_at(*((i, 0) for i in range(20))),
    plant_id=np.array([f"P{i:02d}" for i in range(20)], dtype=object),
    bed_id=np.array(["B1"] * 16 + [""] * 4, dtype=object),
)
HEADER = "plant_id,inspected_on,status"


def read(folder, rows, header=HEADER, as_of=None, name="survey_may.csv", settings=LENIENT, systems=SYSTEMS, **keys):
    path = folder / name
    if rows is not None:
        path.write_text("\n".join([header, *rows]) + "\n", encoding="utf-8")
    book = FaultBook()
    block = SurveyBlock(**({"file": name, "pest_system": "rose_rosette"} | keys))
    surveys = read_surveys([block], [path], PLANTS, systems, settings, book, as_of)
    book.raise_if_stopped()
    return surveys, book


def test_what_is_usual_is_taken_where_nothing_is_given(tmp_path):
    rows = [
        f"P0{i},2026-05-18,{word}" for i, word in enumerate(["clean", "suspect", "infected", "removed", "not_found"])
    ]
    surveys, book = read(tmp_path, rows)
    assert surveys.evidence.tolist() == ["visual", "visual", "typical_symptoms", "work_log", "visual"]
    assert surveys.method.tolist() == ["visual"] * 5
    assert set(surveys.pest_system) == {"rose_rosette"}
    assert surveys.row.tolist() == [2, 3, 4, 5, 6]
    assert set(surveys.file) == {"survey_may.csv"}
    assert [fault.sentence() for fault in book.faults] == [
        "survey_may.csv, column 'evidence': 1 rows say infected and name no evidence. They were taken as typical symptoms, "
        "never as a test; give evidence."
    ]


def test_a_test_is_never_invented(tmp_path):
    rows = ["P00,2026-05-18,infected,,visual", "P01,2026-05-18,infected,,test", "P02,2026-05-18,infected,lab,visual"]
    surveys, book = read(tmp_path, rows, header=f"{HEADER},evidence,method")
    assert surveys.evidence.tolist() == ["typical_symptoms", "lab", "lab"]
    assert surveys.method.tolist() == ["visual", "test", "test"]
    told = " ".join(fault.sentence() for fault in book.faults)
    assert "1 rows say infected and name no evidence" in told
    assert "1 rows say evidence lab and method visual" in told


def test_two_statuses_of_one_plant_on_one_day_are_told(tmp_path):
    _, book = read(tmp_path, ["P00,2026-05-18,clean", "P00,2026-05-18,suspect", "P01,2026-05-18,clean"])
    assert book.faults[0].sentence() == (
        "surveys, column 'status': 1 plants have two different statuses on one day, first 'P00' on 2026-05-18. "
        "The graver one counts."
    )


def test_an_unknown_status_is_told_in_one_clear_sentence(tmp_path):
    rows = ["P00,2026-05-18,clean"] * 15 + ["P01,2026-05-18,infcted"]
    surveys, book = read(tmp_path, rows)
    assert len(surveys) == 15
    assert book.faults[0].sentence() == (
        "survey_may.csv, row 17, column 'status': 'infcted'; allowed: clean, suspect, infected, removed, "
        "not_found. Did you mean 'infected'? Correct the cell or map the word in the project file."
    )
    assert book.rejected[0].text == "P01 | 2026-05-18 | infcted"


def test_a_blank_status_is_no_inspection(tmp_path):
    surveys, book = read(tmp_path, ["P00,2026-05-18,", "P01,2026-05-18,clean"])
    assert surveys.plant_id.tolist() == ["P01"]
    assert [fault.weight for fault in book.faults] == ["assumed"]
    assert "1 rows have no status. Their plants were not inspected" in book.faults[0].sentence()


def test_a_row_with_symptoms_and_no_status_is_put_aside(tmp_path):
    surveys, book = read(
        tmp_path, ["P00,2026-05-18,,broom", "P01,,,", "P02,2026-05-18,clean,"], header=f"{HEADER},symptoms"
    )
    assert surveys.plant_id.tolist() == ["P02"]
    aside = [fault.sentence() for fault in book.faults if fault.weight == "aside"]
    assert len(aside) == 1
    assert "no status beside what was seen; allowed: clean, suspect" in aside[0]


def test_own_words_give_status_and_evidence_of_their_own(tmp_path):
    words = {
        "broom": "infected typical_symptoms",
        "Yes": "infected",
        "DNA": "lab",
        "by eye": "visual",
        "RRD": "rose_rosette",
    }
    rows = [
        "P00,2026-05-18,Broom,,by eye,RRD",
        "P01,2026-05-18,yes,dna,,",
        "P02,2026-05-18,INFECTED,Typical_Symptoms,,",
    ]
    surveys, book = read(tmp_path, rows, header=f"{HEADER},evidence,method,pest_system", words=words)
    assert surveys.status.tolist() == ["infected"] * 3
    assert surveys.evidence.tolist() == ["typical_symptoms", "lab", "typical_symptoms"]
    assert not book.faults


@pytest.mark.parametrize(
    ("row", "says"),
    [
        ("P99,2026-05-18,clean,,", "column 'plant_id': 'P99'; allowed: a key of the inventory"),
        (",2026-05-18,clean,,", "column 'plant_id': '';"),
        (
            "P01,2026-05-32,clean,,",
            "column 'inspected_on': '2026-05-32'; allowed: a date written YYYY-MM-DD",
        ),
        ("P01,18.05.2026,clean,,", "declare date_format in the file's block"),
        ("P01,2206-05-18,clean,,", "column 'inspected_on': '2206-05-18';"),
        ("P01,,clean,,", "no date;"),
        (
            "P01,2026-05-18,clean,work_log,",
            "'work_log'; allowed: visual, lab. Correct the evidence of status",
        ),
        ("P01,2026-05-18,clean,,smell", "'smell'; allowed: visual, test"),
        ("P01,2026-05-18,not_inspected,,", "'not_inspected';"),
    ],
)
def test_a_row_that_cannot_be_used_is_put_aside_with_its_reason(tmp_path, row, says):
    surveys, book = read(tmp_path, ["P00,2026-05-18,clean,,", row], header=f"{HEADER},evidence,method")
    assert surveys.plant_id.tolist() == ["P00"]
    assert says in book.faults[0].sentence()
    assert [(each.row, book.faults[0].weight) for each in book.rejected] == [(3, "aside")]


def test_keys_that_differ_in_capitals_or_spaces_are_the_same_and_that_is_told(tmp_path):
    surveys, book = read(tmp_path, ["p00,2026-05-18,clean", "P 01,2026-05-18,clean"])
    assert surveys.plant_id.tolist() == ["P00", "P01"]
    assert "2 keys differ from the inventory in capitals or spaces only" in book.faults[0].sentence()


def test_lost_leading_zeros_are_hinted_at(tmp_path):
    plants = dataclasses.replace(PLANTS, plant_id=np.array([f"{i:03d}" for i in range(20)], dtype=object))
    path = tmp_path / "a.csv"
    path.write_text(f"{HEADER}\n7,2026-05-18,clean\n", encoding="utf-8")
    book = FaultBook()
    read_surveys([SurveyBlock(file="a.csv", pest_system="rose_rosette")], [path], plants, SYSTEMS, LENIENT, book, None)
    assert "Leading zeros seem to be lost" in book.faults[0].sentence()


def test_later_inspections_wait_and_that_is_told(tmp_path):
    rows = ["P00,2026-05-18,clean", "P01,2026-07-13,clean"]
    surveys, book = read(tmp_path, rows, as_of=dt.date(2026, 6, 1))
    assert surveys.plant_id.tolist() == ["P00"]
    assert "1 inspections are later than as_of 2026-06-01" in book.faults[0].sentence()
    assert len(read(tmp_path, rows, as_of=dt.date(2026, 7, 13))[0]) == 2


def test_the_only_mapped_system_is_the_default_and_that_is_told(tmp_path):
    surveys, book = read(tmp_path, ["P00,2026-05-18,clean"], pest_system="")
    assert surveys.pest_system.tolist() == ["rose_rosette"]
    assert "1 rows name no pest system" in book.faults[0].sentence()
    unmapped = tuple(system for system in SYSTEMS if not system.is_mapped)
    surveys, book = read(tmp_path, ["P00,2026-05-18,clean"], pest_system="", systems=unmapped)
    assert len(surveys) == 0
    assert "allowed: ash_flower_gall_mite" in book.faults[0].sentence()


def test_a_misspelt_system_is_told_with_a_suggestion(tmp_path):
    _, book = read(tmp_path, ["P00,2026-05-18,clean,rose_rosete"], header=f"{HEADER},pest_system")
    assert "Did you mean 'rose_rosette'?" in book.faults[0].sentence()


def test_a_workbook_with_real_dates_day_numbers_and_text(tmp_path):
    # day number 46160 is 18 May 2026: number 36526 is 1 January 2000, and 9634 days lie between
    days = [dt.date(2026, 5, 18), "2026-05-18", (dt.date(2026, 5, 18) - dt.date(2000, 1, 1)).days + 36526]
    rows = [[f"P0{i}", day, "clean"] for i, day in enumerate(days)]
    write_sheet(tmp_path / "may.xlsx", [HEADER.split(","), *rows])
    surveys, _ = read(tmp_path, None, name="may.xlsx")
    assert surveys.inspected_on.astype(str).tolist() == ["2026-05-18"] * 3


# ---- wide tables

WIDE = {"MAY": dt.date(2026, 5, 18), "JUL": dt.date(2026, 7, 13)}
WORDS = {"ok": "clean", "lab +": "infected lab"}


def test_a_wide_table_gives_one_inspection_per_cell_that_is_not_empty(tmp_path):
    surveys, book = read(tmp_path, ["P00,ok,lab +", "P01,,suspect"], header="key,MAY,JUL", dates=WIDE, words=WORDS,
                         columns={"plant_id": "key"})  # fmt: skip
    told = list(zip(surveys.plant_id, surveys.inspected_on.astype(str), surveys.status, surveys.evidence, strict=True))
    assert told == [
        ("P00", "2026-05-18", "clean", "visual"),
        ("P00", "2026-07-13", "infected", "lab"),
        ("P01", "2026-07-13", "suspect", "visual"),
    ]
    assert not book.faults


def test_faults_of_a_wide_table_name_its_column_and_later_columns_wait(tmp_path):
    surveys, book = read(tmp_path, ["P00,ok,brom", "P01,ok,ok"], header="plant_id,MAY,JUL", dates=WIDE, words=WORDS,
                         as_of=dt.date(2026, 6, 1))  # fmt: skip
    assert "row 2, column 'JUL': 'brom';" in next(f.sentence() for f in book.faults if f.weight == "aside")
    assert surveys.plant_id.tolist() == ["P01"]


def test_a_date_column_that_is_not_there_stops_the_file(tmp_path):
    with pytest.raises(InputError, match="has no column for JUL"):
        read(tmp_path, ["P00,ok"], header="plant_id,MAY", dates=WIDE, words=WORDS)


# ---- beds

BED = "bed_id,inspected_on,n_inspected,n_infected"


def infected(surveys):
    return {key for key, status in zip(surveys.plant_id, surveys.status, strict=True) if status == "infected"}


def test_a_beds_counts_are_spread_over_its_plants_and_marked(tmp_path):
    surveys, book = read(tmp_path, ["B1,2026-05-18,12,3"], header=BED)
    assert len(surveys) == 12
    assert surveys.is_bed_count.all()
    assert len(infected(surveys)) == 3
    assert set(surveys.status) == {"clean", "infected"}
    assert set(surveys.plant_id) <= set(PLANTS.plant_id[:16])
    assert "3 infected of 12 plants were counted in a bed as a whole" in book.faults[0].sentence()


def test_a_higher_count_of_the_same_bed_includes_the_earlier_one(tmp_path):
    found = [infected(read(tmp_path, [f"B1,2026-05-18,16,{count}"], header=BED)[0]) for count in range(17)]
    for fewer, more in pairwise(found):
        assert fewer < more


@pytest.mark.parametrize("count", [1, 2, 3, 16, 100, 180])
def test_the_order_of_a_bed_holds_every_plant_once_and_begins_evenly(count):
    order = nested_order(count)
    assert sorted(order) == list(range(count))
    half = order[: count // 2]
    # of the first half of the order no three follow each other in the bed
    assert not any({place, place + 1, place + 2} <= set(half) for place in half)


@pytest.mark.parametrize(
    ("row", "says"),
    [
        ("B9,2026-05-18,12,3", "column 'bed_id': 'B9'; allowed: a bed of the inventory"),
        ("B1,2026-05-18,17,3", "'17' plants of bed 'B1'; allowed: up to 16"),
        ("B1,2026-05-18,12,13", "'13' infected of 12 inspected"),
        ("B1,2026-05-18,12,", "an empty count; allowed: how many were infected, 0 if none"),
        ("B1,2026-05-18,12.5,3", "a whole number"),
    ],
)
def test_counts_that_cannot_be_are_put_aside(tmp_path, row, says):
    surveys, book = read(tmp_path, [row], header=BED)
    assert len(surveys) == 0
    assert says in book.faults[0].sentence()


# ---- work log

WORK = "plant_id,done_on,done,roots_complete,regrowth_on,note"


def read_work(folder, rows, settings=LENIENT, **keys):
    path = folder / "work.csv"
    path.write_text("\n".join([WORK, *rows]) + "\n", encoding="utf-8")
    book = FaultBook()
    log = read_work_log([FileBlock(file="work.csv", **keys)], [path], PLANTS, settings, book)
    book.raise_if_stopped()
    return log, book


def test_the_work_log_in_its_own_words(tmp_path):
    rows = ["P00,2026-06-01,yes,yes,,", "P01,2026-06-01,no,,,kerb", "p02,2026-06-02,Y,TEILS,2026-08-01,"]
    log, book = read_work(tmp_path, rows, words={"teils": "partly"})
    assert log.plant_id.tolist() == ["P00", "P01", "P02"]
    assert log.done.tolist() == [True, False, True]
    assert log.roots_complete.tolist() == ["yes", "", "partly"]
    assert log.regrowth_on.astype(str).tolist() == ["NaT", "NaT", "2026-08-01"]
    assert "1 keys differ" in book.faults[0].sentence()


@pytest.mark.parametrize(
    ("row", "says"),
    [
        ("P99,2026-06-01,yes,yes,,", "'P99';"),
        ("P00,,yes,yes,,", "no date; allowed: the day on which it was done"),
        ("P00,2026-06-01,perhaps,yes,,", "column 'done': 'perhaps';"),
        ("P00,2026-06-01,yes,most,,", "'most'; allowed: yes, partly, no"),
        ("P00,2026-06-01,yes,yes,2026-05-01,", "column 'regrowth_on'"),
    ],
)
def test_faulty_work_is_put_aside(tmp_path, row, says):
    log, book = read_work(tmp_path, [row])
    assert len(log) == 0
    assert says in book.faults[0].sentence()


def test_too_many_faulty_rows_stop(tmp_path):
    with pytest.raises(InventoryError, match=r"work.csv: 1 of 1 rows cannot be used"):
        read_work(tmp_path, ["P99,2026-06-01,yes,yes,,"], settings=Settings())


def test_a_word_that_the_project_file_turns_into_none_is_told_as_such(tmp_path):
    rows = ["P00,2026-05-18,clean"] * 15 + ["P01,2026-05-18,broom"]
    _, book = read(tmp_path, rows, words={"Broom": "infectd"})
    assert (
        book.faults[0].remedy == "The project file takes it for 'infectd'. Did you mean 'infected'? Correct its words."
    )


def test_an_unknown_pest_system_of_a_block_is_told_once(tmp_path):
    with pytest.raises(
        InputError, match=r"pest_system 'rose_rosete' in its block; .*Did you mean 'rose_rosette'\?"
    ) as told:
        read(tmp_path, ["P00,2026-05-18,clean", "P01,2026-05-18,clean"], pest_system="rose_rosete")
    assert len(told.value.faults) == 1


def test_a_plant_that_was_put_aside_in_the_inventory_is_told_with_its_row(tmp_path):
    path = tmp_path / "survey.csv"
    path.write_text(f"{HEADER}\nP00,2026-05-18,clean\nP 98,2026-05-18,clean\nP99,2026-05-18,clean\n", encoding="utf-8")
    book = FaultBook()
    book.lost_plants["p98"] = "row 7 of roses.csv"
    block = SurveyBlock(file="survey.csv", pest_system="rose_rosette")
    surveys = read_surveys([block], [path], PLANTS, SYSTEMS, LENIENT, book, None)
    assert surveys.plant_id.tolist() == ["P00"]
    assert [(fault.row, fault.found, fault.remedy) for fault in book.faults] == [
        (3, "'P 98', whose row 7 of roses.csv was put aside", "Mend the row of the inventory."),
        (4, "'P99'", "Correct the key or add the plant."),
    ]
    assert len(book.rejected) == 2


def test_a_key_that_our_tables_guard_against_spreadsheets_is_found(tmp_path):
    plants = dataclasses.replace(PLANTS, plant_id=np.array([f"-{i:02d}" for i in range(20)], dtype=object))
    path = tmp_path / "survey.csv"
    path.write_text(f"{HEADER}\n'-01,2026-05-18,clean\n-02,2026-05-18,clean\n'03,2026-05-18,clean\n", encoding="utf-8")
    book = FaultBook()
    block = SurveyBlock(file="survey.csv", pest_system="rose_rosette")
    surveys = read_surveys([block], [path], plants, SYSTEMS, LENIENT, book, None)
    assert surveys.plant_id.tolist() == ["-01", "-02"]
    assert [(fault.row, fault.found) for fault in book.faults] == [(4, "''03'")]


def test_a_guarded_key_may_differ_in_capitals_or_spaces_and_so_may_one_that_has_a_quote_of_its_own(tmp_path):
    keys = [*(f"-A{i:02d}" for i in range(19)), "'-A19"]
    plants = dataclasses.replace(PLANTS, plant_id=np.array(keys, dtype=object))
    path = tmp_path / "survey.csv"
    given = ("'-a 01", "'-a19", "'-a77", "'-a88")
    path.write_text("\n".join([HEADER, *(f"{key},2026-05-18,clean" for key in given)]) + "\n", encoding="utf-8")
    book = FaultBook()
    book.lost_plants |= {"-a77": "row 7 of roses.csv", "'-a88": "row 8 of roses.csv"}
    block = SurveyBlock(file="survey.csv", pest_system="rose_rosette")
    surveys = read_surveys([block], [path], plants, SYSTEMS, LENIENT, book, None)
    assert surveys.plant_id.tolist() == ["-A01", "'-A19"]
    assert [fault.found for fault in book.faults] == [
        "2 keys differ from the inventory in capitals or spaces only",
        "''-a77', whose row 7 of roses.csv was put aside",
        "''-a88', whose row 8 of roses.csv was put aside",
    ]
