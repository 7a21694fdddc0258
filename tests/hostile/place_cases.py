"""Positions and coordinate reference systems: swapped, in the wrong unit, in words, far off, at the edge of the map."""

from hostile.case_files import (
    CRS,
    EAST,
    HEADER,
    IN_DEGREES,
    INVENTORY,
    NORTH,
    PROJECT,
    WITHOUT_CRS,
    add,
    row,
    with_row,
)
from pyproj import Transformer

FEET = 3937 / 1200
"""US survey feet in a metre, by definition."""
DEGREES_HEADER = "plant_id,host,longitude,latitude"


def degrees(crs: str = CRS, east: float = EAST, north: float = NORTH) -> list[tuple[float, float]]:
    """Return longitude and latitude of thirty plants."""
    way = Transformer.from_crs(crs, "EPSG:4326", always_xy=True)
    return [way.transform(east + 3 * number, north) for number in range(1, 31)]


def rows_of(pairs: list[tuple[object, object]], header: str = DEGREES_HEADER) -> str:
    """Return an inventory with these coordinates as they are."""
    return f"{header}\n" + "".join(f"P{n:02d},Rosa hybrida,{a},{b}\n" for n, (a, b) in enumerate(pairs, start=1))


def one(pair: tuple[object, object]) -> str:
    """Return an inventory in degrees of which the twentieth plant has other coordinates."""
    pairs: list[tuple[object, object]] = list(degrees())
    return rows_of([*pairs[:19], pair, *pairs[20:]])


def minutes(value: float, letters: str, form: str = "{d}°{m:.5f}'{letter}") -> str:
    """Return degrees and minutes in words."""
    whole, part = divmod(abs(value), 1)
    return form.format(d=int(whole), m=part * 60, letter=letters[value < 0])


def declared(crs: str) -> str:
    """Return the small project file with another declared CRS of the inventory."""
    return PROJECT.replace(f'file = "inventory.csv"\ncrs = "{CRS}"', f'file = "inventory.csv"\ncrs = "{crs}"')


def working(crs: str, of_file: str = "EPSG:4326") -> str:
    """Return a project file with another working CRS."""
    return declared(of_file).replace(f'name = "Testing"\ncrs = "{CRS}"', f'name = "Testing"\ncrs = "{crs}"')


def moved(crs: str, factor: float = 1.0) -> list[tuple[float, float]]:
    """Return the thirty plants in another CRS, times a factor."""
    way = Transformer.from_crs(CRS, crs, always_xy=True)
    return [tuple(factor * each for each in way.transform(EAST + 3 * n, NORTH)) for n in range(1, 31)]


PAIRS = degrees()
LON, LAT = PAIRS[19]
add("places_in_degrees", IN_DEGREES, inventory__csv=rows_of(PAIRS))
add("places_swapped", IN_DEGREES, inventory__csv=rows_of([(b, a) for a, b in PAIRS]))
add("places_swapped_in_one_row", IN_DEGREES, inventory__csv=one((LAT, LON)))
add("places_degrees_as_metres", inventory__csv=rows_of(PAIRS, HEADER))
add("places_degrees_as_metres_in_one_row", inventory__csv=with_row(20, f"P20,Rosa hybrida,{LON},{LAT}"))
add("places_metres_as_degrees", IN_DEGREES, inventory__csv=INVENTORY.replace(HEADER, DEGREES_HEADER))
add("places_metres_under_degrees", IN_DEGREES)
add("places_east_and_north_swapped", inventory__csv=rows_of([(NORTH, EAST + n) for n in range(30)], HEADER))
add("places_without_the_sign_of_west", IN_DEGREES, inventory__csv=rows_of([(-a, b) for a, b in PAIRS]))
add("places_without_the_sign_in_one_row", IN_DEGREES, inventory__csv=one((-LON, LAT)))
add("places_from_0_to_360", IN_DEGREES, inventory__csv=rows_of([(a + 360, b) for a, b in PAIRS]))
add(
    "places_in_degrees_and_minutes",
    IN_DEGREES,
    inventory__csv=rows_of([(minutes(a, "EW"), minutes(b, "NS")) for a, b in PAIRS]),
)
add("places_in_degrees_and_minutes_without_letter", IN_DEGREES,
    inventory__csv=one((minutes(LON, "EW", "{d}°{m:.5f}'"), minutes(LAT, "NS", "{d}°{m:.5f}'"))))  # fmt: skip
add("places_in_degrees_and_minutes_without_signs", IN_DEGREES, inventory__csv=one(("96 45.5 W", "36 50.5 N")))
add("places_in_degrees_with_the_wrong_letter", IN_DEGREES, inventory__csv=one(("96°45.5'N", "36°50.5'N")))
add("places_in_degrees_and_seventy_minutes", IN_DEGREES, inventory__csv=one(("96°70.5'W", "36°50.5'N")))
add("places_not_a_number", inventory__csv=with_row(20, f"P20,Rosa hybrida,nan,{NORTH}"))
add("places_infinite", inventory__csv=with_row(20, f"P20,Rosa hybrida,inf,{NORTH}"))
add("places_beyond_all_numbers", inventory__csv=with_row(20, f"P20,Rosa hybrida,1e999,{NORTH}"))
add("places_zero_zero", inventory__csv=with_row(20, "P20,Rosa hybrida,0,0"))
add("places_blank", inventory__csv=with_row(20, "P20,Rosa hybrida,,"))
add("places_with_a_unit", inventory__csv=with_row(20, f"P20,Rosa hybrida,{EAST} m,{NORTH}"))
add("places_with_strokes_in_numbers", inventory__csv=with_row(20, f"P20,Rosa hybrida,700_060.0,{NORTH}"))
add("places_in_other_digits", inventory__csv=with_row(20, f"P20,Rosa hybrida,٧٠٠٠٦٠,{NORTH}"))
add("places_as_powers_of_ten", inventory__csv=with_row(20, "P20,Rosa hybrida,7.0006e5,4.08e6"))
add("places_all_blank", inventory__csv=rows_of([("", "")] * 30, HEADER))
add("places_sixty_kilometres_off", inventory__csv=with_row(20, f"P20,Rosa hybrida,{EAST + 60_000},{NORTH}"))
add("places_on_another_continent", inventory__csv=with_row(20, f"P20,Rosa hybrida,{EAST},{-NORTH}"))
add("places_latitude_of_95", IN_DEGREES, inventory__csv=one((LON, 95)))
FIJI = [(179.99995 + 0.0000037 * n, -16.5) for n in range(30)]
WRAPPED = [(a - 360 if a > 180 else a, b) for a, b in FIJI]
add("places_on_both_sides_of_180_degrees", working("EPSG:3460"), inventory__csv=rows_of(WRAPPED))
add("places_near_the_pole", working("EPSG:32614"), inventory__csv=rows_of([(LON + n / 1e3, 89.9) for n in range(30)]))
add(
    "places_at_the_pole_in_polar_metres",
    working("EPSG:5041"),
    inventory__csv=rows_of([(LON + n / 1e3, 89.9) for n in range(30)]),
)
add(
    "places_at_the_edge_of_utm",
    working("EPSG:32633"),
    inventory__csv=rows_of(degrees("EPSG:32633", 515_000.0, 8_680_000.0)),
)

add("crs_missing", WITHOUT_CRS)
add("crs_unknown", declared("EPSG:999999"))
add("crs_as_a_string_of_parameters", declared("+proj=utm +zone=14"))
add("crs_as_an_address", declared("https://example.org/crs.wkt"))
add("crs_of_the_next_zone", declared("EPSG:32615"))
add("crs_of_the_other_half_of_the_earth", declared("EPSG:32714"))
add("crs_in_feet_declared", declared("EPSG:2267"), inventory__csv=rows_of(moved("EPSG:2267"), HEADER))
add("crs_in_feet_taken_for_metres", inventory__csv=rows_of(moved(CRS, FEET), HEADER))
add("crs_state_plane_metres", declared("EPSG:32124"), inventory__csv=rows_of(moved("EPSG:32124"), HEADER))
add("crs_state_plane_feet_taken_for_metres", declared("EPSG:32124"), inventory__csv=rows_of(moved("EPSG:2267"), HEADER))
add("crs_working_state_plane_metres", working("EPSG:32124", CRS))
add("crs_working_in_feet", working("EPSG:2267", CRS))
add("crs_working_in_degrees", working("EPSG:4326", CRS))
add("crs_working_of_web_maps", working("EPSG:3857", CRS))
add("crs_working_of_another_country", working("EPSG:27700", CRS))
add("crs_working_empty", working("", CRS))
SECOND = f'\n[[inputs.inventory]]\nfile = "second.csv"\ncrs = "{{}}"\n{PROJECT[PROJECT.index("[[inputs.surveys]]") :]}'
TWO = PROJECT[: PROJECT.index("[[inputs.surveys]]")] + SECOND
LATER = rows_of(moved("EPSG:32615"), HEADER).replace("\nP", "\nQ")
add("crs_of_two_files_differ", TWO.format("EPSG:32615"), second__csv=LATER)
add("crs_of_two_files_mixed_up", TWO.format(CRS), second__csv=LATER)
ALL_ON_ONE = rows_of([(EAST, NORTH)] * 30, HEADER)
add("places_all_on_one_spot", inventory__csv=ALL_ON_ONE)
add(
    "plants_only_one",
    inventory__csv=f"{HEADER}\n{row(1)}\n",
    survey__csv="plant_id,inspected_on,status\nP01,2026-05-18,infected\n",
)
ALL = "".join(f"P{number:02d},2026-05-18,{{}}\n" for number in range(1, 31))
add("plants_none_infected", survey__csv="plant_id,inspected_on,status\n" + ALL.replace("{}", "clean"))
add("plants_all_infected", survey__csv="plant_id,inspected_on,status\n" + ALL.replace("{}", "infected"))
add("plants_all_removed", survey__csv="plant_id,inspected_on,status\n" + ALL.replace("{}", "removed"))
