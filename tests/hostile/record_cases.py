"""Keys, statuses, dates, counts and sizes: what people write into inventories, surveys and work logs."""

from hostile.case_files import (
    EAST,
    HEADER,
    INVENTORY,
    NORTH,
    PROJECT,
    add,
    row,
    survey,
    with_block,
    with_column,
    with_row,
)

ZEROS = INVENTORY.replace("\nP", "\n0")
add("keys_with_leading_zeros", inventory__csv=ZEROS, survey__csv=survey(clean=0) + "001,2026-05-18,clean\n")
LOST = survey(*(f"0{number:02d},2026-05-18,clean" for number in range(1, 26)), "7,2026-05-18,clean", clean=0)
add("keys_that_lost_their_zeros", inventory__csv=ZEROS, survey__csv=LOST)
add("keys_blank", inventory__csv=with_row(5, f",Rosa hybrida,{EAST},{NORTH}"))
add("keys_twice", inventory__csv=with_row(5, row(4)))
add("keys_equal_but_for_capitals", inventory__csv=with_row(5, row(4).replace("P04", "p04")))
add("keys_equal_but_for_spaces", inventory__csv=with_row(5, row(4).replace("P04", " P 04")))
add("keys_equal_but_for_a_hidden_sign", inventory__csv=with_row(5, row(4).replace("P04", "P\u200b04")))
add("keys_equal_but_for_how_accents_are_put",
    inventory__csv=INVENTORY.replace("P05", "\u00c95").replace("P06", "E\u03015"))  # fmt: skip
add("keys_all_the_same", inventory__csv=HEADER + "\n" + f"P,Rosa hybrida,{EAST},{NORTH}\n" * 30)
add(
    "keys_of_a_survey_in_other_capitals",
    survey__csv="plant_id,inspected_on,status\np01,2026-05-18,clean\nP 02,2026-05-18,clean\n",
)
add("keys_of_a_survey_unknown", survey__csv=survey("P99,2026-05-18,clean"))
add("keys_of_a_survey_blank", survey__csv=survey(",2026-05-18,clean"))
add("keys_made_from_a_bed_are_taken",
    inventory__csv=with_column("count", {5: "4"}).replace("P06", "P05-002"))  # fmt: skip
add("hosts_blank", inventory__csv=with_row(5, f"P05,,{EAST + 15},{NORTH}"))
add("hosts_all_blank", inventory__csv=INVENTORY.replace("Rosa hybrida", ""))

add("status_unknown", survey__csv=survey("P26,2026-05-18,infcted"))
add("status_blank", survey__csv=survey("P26,2026-05-18,"))
add("status_not_inspected", survey__csv=survey("P26,2026-05-18,not_inspected"))
add("status_mostly_unknown", survey__csv=survey(*(f"P{n},2026-05-18,yes" for n in range(10, 20)), clean=2))
add("status_contradicts_itself", survey__csv=survey("P01,2026-05-18,infected"))
add("status_without_evidence", survey__csv=survey("P26,2026-05-18,infected"))
add(
    "status_with_evidence_that_does_not_fit",
    survey__csv=survey("P26,2026-05-18,clean,work_log", header="plant_id,inspected_on,status,evidence"),
)
add(
    "status_missing_beside_symptoms",
    survey__csv=survey("P26,2026-05-18,,broom", header="plant_id,inspected_on,status,symptoms"),
)
add(
    "pest_system_unknown",
    survey__csv=survey("P26,2026-05-18,clean,rose_rosete", header="plant_id,inspected_on,status,pest_system"),
)
add("findings_on_no_host", inventory__csv=INVENTORY.replace("Rosa hybrida", "Acer rubrum"))

add("dates_in_another_order", survey__csv=survey(clean=0) + "P01,18.05.2026,clean\nP02,18.05.2026,clean\n")
add(
    "dates_in_another_order_declared",
    PROJECT + 'date_format = "dd.mm.yyyy"\n',
    survey__csv=survey(clean=0) + "P01,18.05.2026,clean\n",
)
add(
    "dates_in_a_wrong_order_declared",
    PROJECT + 'date_format = "mm.dd.yyyy"\n',
    survey__csv=survey(clean=0) + "P01,18.05.2026,clean\n",
)
add("dates_in_words", survey__csv=survey("P26,May 18 2026,clean"))
add("dates_that_do_not_exist", survey__csv=survey("P26,2026-02-30,clean"))
add("dates_blank", survey__csv=survey("P26,,clean"))
add("dates_before_1900", survey__csv=survey("P26,1026-05-18,clean"))
add("dates_far_ahead", survey__csv=survey("P26,2062-05-18,clean"))
add(
    "dates_after_as_of",
    PROJECT.replace("[project]", "[project]\nas_of = 2026-06-01"),
    survey__csv=survey("P26,2026-07-13,clean"),
)
add("dates_with_a_clock", survey__csv=survey("P26,2026-05-18T10:15:00+02:00,clean"))
add("dates_as_numbers_in_text", survey__csv=survey("P26,46160,clean"))
add("dates_of_planting_that_do_not_exist", inventory__csv=with_column("planted_on", {5: "2019-02-30"}, "2019-04-08"))
add("dates_of_planting_ahead", inventory__csv=with_column("planted_on", {5: "2027-04-08"}, "2019-04-08"))
add("dates_none_at_all", survey__csv="plant_id,inspected_on,status\n")
add("dates_column_missing", survey__csv="plant_id,status\nP01,clean\n")
WIDE = PROJECT + '[inputs.surveys.dates]\n"MAY26" = 2026-05-18\n"JUL26" = 2026-07-13\n'
add("wide_table", WIDE, survey__csv="plant_id,MAY26,JUL26\nP01,clean,infected lab\nP02,,suspect\n")
add("wide_table_column_missing", WIDE, survey__csv="plant_id,MAY26\nP01,clean\n")

BEDS = with_column("bed_id", dict.fromkeys(range(1, 11), "B1"))
BED = "bed_id,inspected_on,n_inspected,n_infected\n" + "B1,2026-05-18,10,1\n" * 20
add("beds_counted", inventory__csv=BEDS, survey__csv=BED)
add("beds_with_more_than_they_hold", inventory__csv=BEDS, survey__csv=BED + "B1,2026-05-19,11,1\n")
add("beds_with_a_thousand_million", inventory__csv=BEDS, survey__csv=BED + "B1,2026-05-19,1000000000,1\n")
add("beds_with_a_negative_count", inventory__csv=BEDS, survey__csv=BED + "B1,2026-05-19,10,-1\n")
add("beds_unknown", inventory__csv=BEDS, survey__csv=BED + "B9,2026-05-19,10,1\n")

add("counts_of_a_thousand_million", inventory__csv=with_column("count", {5: "1000000000"}))
add("counts_negative", inventory__csv=with_column("count", {5: "-4"}))
add("counts_of_nothing", inventory__csv=with_column("count", {5: "0"}))
add("counts_in_parts", inventory__csv=with_column("count", {5: "2.5"}))
add("counts_of_a_bed", inventory__csv=with_column("count", {5: "12"}))
add("sizes_negative", inventory__csv=with_column("height_m", {5: "-1"}))
add("sizes_of_a_kilometre", inventory__csv=with_column("spread_m", {5: "1000"}))
add("sizes_unknown", inventory__csv=with_column("size_class", {5: "XXL"}))
add("sizes_in_lower_case", inventory__csv=with_column("size_class", {5: "xl"}, "m"))
add("susceptibility_negative", inventory__csv=with_column("susceptibility", {5: "-0.5"}))
add("susceptibility_not_a_number", inventory__csv=with_column("susceptibility", {5: "nan"}))

WORK = "plant_id,done_on,done,roots_complete,regrowth_on\n" + "P02,2026-06-01,yes,yes,\n" * 20
LOG = with_block("work_log", "work.csv")
add("work_in_order", LOG, work__csv=WORK)
add("work_without_a_date", LOG, work__csv=WORK + "P03,,yes,yes,\n")
add("work_with_regrowth_before_removal", LOG, work__csv=WORK + "P03,2026-06-01,yes,yes,2026-05-01\n")
add("work_on_an_unknown_plant", LOG, work__csv=WORK + "P99,2026-06-01,yes,yes,\n")
add("work_with_an_unknown_word", LOG, work__csv=WORK + "P03,2026-06-01,perhaps,yes,\n")
