"""Survey sizes of ISPM 31, Methodologies for sampling of consignments (FAO/IPPC 2008).

The tables themselves were not read; these cells are computed from the definitions with exact arithmetic and agree with
the tables as they are remembered. A star marks lots times level rounded down to whole plants (from memory).
"""

import pytest

from spreadmap.decisions.survey_sizes import infected_of, survey_size, survey_size_of_large_lot

LEVELS = (0.05, 0.02, 0.01, 0.005, 0.001)
NINETY_FIVE = """
25 24* - - - -
50 39* 48 - - -
100 45 78 95 - -
200 51 105 155 190 -
300 54 117 189 285* -
400 55 124 211 311 -
500 56 129 225 388* -
600 56 132 235 379 -
700 57 134 243 442* -
800 57 136 249 421 -
900 57 137 254 474* -
1000 57 138 258 450 950
2000 58 143 277 517 1553
3000 58 145 284 542 1895
5000 59 147 290 564 2253
10000 59 148 294 581 2588
20000 59 148 296 589 2781
50000 59 149 298 595 2907
100000 59 149 298 596 2950
200000 59 149 298 597 2972
"""
NINETY_NINE = """
25 25* - - - -
50 45* 50 - - -
100 59 90 99 - -
200 73 136 180 198 -
300 78 160 235 297* -
400 81 174 273 360 -
500 83 183 300 450* -
600 84 190 321 470 -
700 85 195 336 549* -
800 85 199 349 546 -
900 86 202 359 615* -
1000 86 204 368 601 990
2000 88 216 410 737 1800
3000 89 220 425 792 2353
5000 89 223 438 840 3009
10000 90 226 448 878 3689
20000 90 227 453 898 4112
50000 90 228 457 911 4398
100000 90 228 458 915 4499
200000 90 228 458 917 4551
"""
EFFICACY_95 = """
1 59 149 299 598 2995
0.99 60 150 302 604 3025
0.95 62 157 314 630 3152
0.9 66 165 332 665 3328
0.85 69 175 351 704 3523
0.8 74 186 373 748 3744
0.75 79 199 398 798 3993
0.5 119 299 598 1197 5990
0.25 239 598 1197 2396 11982
0.1 598 1497 2995 5990 29956
"""
EFFICACY_99 = """
1 90 228 459 919 4603
0.95 95 241 483 968 4846
0.9 101 254 510 1022 5115
0.8 113 286 574 1149 5755
0.5 182 459 919 1840 9209
0.1 919 2301 4603 9209 46050
"""


def cells(table):
    for line in table.split("\n"):
        first, *given = line.split() or [None]
        for level, cell in zip(LEVELS, given, strict=bool(given)):
            yield float(first), level, cell


@pytest.mark.parametrize(("confidence", "table"), [(0.95, NINETY_FIVE), (0.99, NINETY_NINE)])
def test_every_cell_of_the_finite_tables(confidence, table):
    told = 0
    for lot, level, cell in cells(table):
        plants = int(lot)
        wanted = None if cell == "-" else int(cell.rstrip("*"))
        assert survey_size(plants, level, confidence) == wanted, (plants, level)
        assert cell.endswith("*") == (wanted is not None and abs(infected_of(plants, level) - plants * level) > 1e-9)
        told += 1
    assert told == 100


@pytest.mark.parametrize(("confidence", "table"), [(0.95, EFFICACY_95), (0.99, EFFICACY_99)])
def test_every_cell_of_the_large_lot_tables(confidence, table):
    for efficacy, level, cell in cells(table):
        assert survey_size_of_large_lot(level, confidence, efficacy) == int(cell), (efficacy, level)


@pytest.mark.parametrize(("confidence", "size"), [(0.8, 161), (0.9, 230), (0.999, 688)])
def test_other_confidences_at_one_per_cent(confidence, size):
    assert survey_size_of_large_lot(0.01, confidence) == size


def test_the_finite_table_is_not_monotone_in_the_lot_where_infected_plants_are_rounded_down():
    assert survey_size(500, 0.005, 0.95) == 388
    assert survey_size(600, 0.005, 0.95) == 379
