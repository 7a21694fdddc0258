"""Delimited text: encodings, separators, decimal commas, ragged rows, quotes, headers, signs that cannot be seen."""

from hostile.case_files import CRS, EAST, HEADER, INVENTORY, NORTH, add, inventory_from, row, with_column, with_row

ACCENTS = with_row(1, f"P01,Rosa gallica Évêque,{EAST + 3},{NORTH}")
RAGGED = with_row(5, row(5) + ",more")

add("text_utf_8", inventory__csv=ACCENTS)
add("text_utf_8_with_mark", inventory__csv=ACCENTS.encode("utf-8-sig"))
add("text_utf_16_little_with_mark", inventory__csv=b"\xff\xfe" + ACCENTS.encode("utf-16-le"))
add("text_utf_16_big_with_mark", inventory__csv=b"\xfe\xff" + ACCENTS.encode("utf-16-be"))
add("text_utf_16_without_mark", inventory__csv=ACCENTS.encode("utf-16-le"))
add("text_utf_16_big_without_mark", inventory__csv=ACCENTS.encode("utf-16-be"))
add("text_utf_16_cut_in_a_letter", inventory__csv=ACCENTS.encode("utf-16")[:-1])
add("text_utf_32", inventory__csv=ACCENTS.encode("utf-32"))
add("text_windows_1252", inventory__csv=ACCENTS.encode("cp1252"))
add("text_two_encodings", inventory__csv=ACCENTS.encode() + "P31,Évêque,,\n".encode("cp1252"))
add("text_of_no_known_encoding", inventory__csv=INVENTORY.encode() + b"P31,\x81,,\n")
add("text_zero_byte", inventory__csv=INVENTORY.encode().replace(b"P05", b"P0\x00"))
add("text_zeros_only", inventory__csv=b"\x00" * 500)
add("text_semicolons", inventory__csv=INVENTORY.replace(",", ";"))
add("text_tabs", inventory__csv=INVENTORY.replace(",", "\t"))
add("text_upright_strokes", inventory__csv=INVENTORY.replace(",", "|"))
add("text_carets", inventory__csv=INVENTORY.replace(",", "^"))
add("text_separator_line", inventory__csv="sep=;\n" + INVENTORY.replace(",", ";"))
add("text_wrong_separator_declared", inventory_from("inventory.csv", crs=True, more='separator = ";"\n'))
add("text_decimal_comma_with_semicolons", inventory__csv=INVENTORY.replace(",", ";").replace(".", ","))
QUOTED = INVENTORY.replace(f"{NORTH}", f'"{NORTH}"'.replace(".", ","))
add("text_decimal_comma_between_commas", inventory__csv=QUOTED)
add("text_decimal_comma_in_one_row", inventory__csv=with_row(5, f'P05,Rosa hybrida,"700015,0",{NORTH}'))
add("text_thousands_apart", inventory__csv=with_row(5, f'P05,Rosa hybrida,"700,015.0",{NORTH}'))
add("text_row_too_long", inventory__csv=RAGGED)
add("text_row_too_short", inventory__csv=with_row(5, "P05,Rosa hybrida"))
add("text_many_ragged_rows", inventory__csv=RAGGED.replace(row(6), "P06").replace(row(7), "P07"))
add("text_empty_cells_behind", inventory__csv=INVENTORY.replace("\n", ",,\n"))
add("text_quote_never_closed", inventory__csv=with_row(5, f'P05,"Rosa hybrida,{EAST},{NORTH}'))
add("text_quote_closed_rows_later",
    inventory__csv=with_row(5, f'P05,"Rosa,{EAST},{NORTH}').replace(row(9), f'P09,Rosa",{EAST + 27},{NORTH}'))  # fmt: skip
add("text_quote_closed_one_row_later",
    inventory__csv=with_row(5, f'P05,"Rosa,{EAST},{NORTH}').replace(row(6), f'P06,Rosa",{EAST + 18},{NORTH}'))  # fmt: skip
add("text_quotes_not_doubled", inventory__csv=with_row(5, f'P05,"Rosa "old" hybrida",{EAST + 15},{NORTH}'))
add("text_quote_in_the_middle", inventory__csv=with_row(5, f'P05,Rosa 5" pot,{EAST + 15},{NORTH}'))
add(
    "text_note_of_several_lines", inventory__csv=with_column("note", {5: '"beside the kerb\nsecond line, by the gate"'})
)
add("text_cell_of_two_megabytes", inventory__csv=with_column("note", {5: '"' + "x" * 2**21 + '"'}))
add("text_windows_line_ends", inventory__csv=INVENTORY.replace("\n", "\r\n"))
add("text_old_line_ends", inventory__csv=INVENTORY.replace("\n", "\r"))
add("text_mixed_line_ends", inventory__csv=INVENTORY.replace("\n", "\r\n", 9))
add("text_without_last_line_end", inventory__csv=INVENTORY.rstrip("\n"))
add("text_blank_lines_between", inventory__csv=INVENTORY.replace("\n", "\n\n"))
add("text_blank_lines_on_top", inventory__csv="\n,,,\n" + INVENTORY)
add("text_nothing", inventory__csv=b"")
add("text_blank_lines_only", inventory__csv="\n \n,,\n")
add("text_header_only", inventory__csv=HEADER + "\n")
add("text_header_missing", inventory__csv=INVENTORY.partition("\n")[2])
add("text_title_above_header", inventory__csv="Roses of the town\n" + INVENTORY)
add("text_header_twice_used", inventory__csv=INVENTORY.replace("host", "easting", 1))
STREET = with_column("street", {}, "Elm")
add("text_header_twice_unused", inventory__csv=STREET.replace("street", "street,street", 1).replace(",Elm", ",Elm,Oak"))
add(
    "text_header_blank_and_filled",
    inventory__csv=with_column("x", {}, "?").replace(",x\n", ",,\n", 1).replace(",?", ",?,1"),
)
add(
    "text_header_blank_between",
    inventory__csv=INVENTORY.replace("host,", "host,,", 1).replace("hybrida,", "hybrida,old,"),
)
add("text_header_capitals_and_spaces", inventory__csv=INVENTORY.replace(HEADER, " PLANT_ID , Host, EASTING ,Northing"))
add("text_header_with_spaces_for_strokes", inventory__csv=INVENTORY.replace("plant_id", "Plant ID", 1))
add("text_header_in_two_spellings", inventory__csv=INVENTORY.replace("plant_id,host", "Plant ID,Plant-ID", 1))
add("text_header_misspelt", inventory__csv=INVENTORY.replace("plant_id", "plnat_id", 1))
MAPPED = '[inputs.inventory.columns]\nplant_id = "Rose Nr"\n'
add("text_mapped_column_missing", inventory_from("inventory.csv", crs=True, more=MAPPED),
    inventory__csv=INVENTORY.replace("plant_id", "Rose No", 1))  # fmt: skip
add("text_too_many_columns", inventory__csv=",".join(f"c{number}" for number in range(3000)) + "\n")
add("text_control_characters", inventory__csv=with_column("note", {5: "\x1b[31mred\x1b[0m", 6: "bell\x07"}))
add("text_letters_turned_round", inventory__csv=with_column("owner", {5: "\u202etiurf\u202c"}))
add("text_control_characters_in_header", inventory__csv=with_column("\x1b[2Jnote", {}))
add(
    "text_templates",
    inventory__csv=with_column("note", {1: "{{7*7}}", 2: "${jndi:ldap://x}", 3: "{% include 'x' %}", 4: "%s%n"}),
)
add("text_scripts", inventory__csv=with_column("note", {1: "<script>alert(1)</script>", 2: "javascript:alert(1)"}))
add(
    "text_formulas",
    inventory__csv=with_column("note", {1: "=1+1", 2: "=cmd|' /C calc'!A0", 3: "@SUM(A1)", 4: "+1", 5: "-2"}),
)
add("text_page_named_csv", inventory__csv="<!DOCTYPE html><html><body>Please log in</body></html>")
add("text_workbook_named_csv", inventory__csv=b"PK\x03\x04" + b"\x00" * 40)
add("text_json_in_csv", inventory__csv='{"plants": [1, 2, 3]}')
add("text_named_tsv", inventory_from("inventory.tsv", crs=True), inventory__tsv=INVENTORY.replace(",", "\t"))
assert CRS in inventory_from("inventory.csv", crs=True)
