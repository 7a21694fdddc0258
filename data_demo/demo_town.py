"""The invented town of Tallowmere: its river, sites, beds, plants, wild stands and screens.

Everything is laid out in a frame of its own, metres east and north of the town's south-west corner, and shifted
into UTM zone 14 north at the end. No place, street or park of this name is meant.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry import LineString, Point, Polygon, box

CRS = "EPSG:32614"
ORIGIN_EASTING, ORIGIN_NORTHING = 713_000.0, 4_086_000.0
"""South-west corner of the town in UTM 14N [m], open country."""
CENTRAL_MERIDIAN_DEG = -99.0

PARKS = "City parks department"
SCHOOL = "Millpond School"
PRIVATE = "Thistledown Court residents' association"

RIVER = np.array([(-600, 470), (-100, 420), (250, 330), (520, 300), (800, 420), (1050, 640), (1300, 760), (2100, 800)])
"""Corners of the river's middle line, flowing eastward [m]."""

SIZE_FACTOR = {"S": 0.5, "M": 1.0, "L": 2.0, "XL": 4.0}


@dataclass(frozen=True)
class Site:
    """A piece of ground with one owner."""

    key: str
    name: str
    owner: str
    access: str
    set_up: str
    is_private: bool
    outline: Polygon


SITES = (
    Site("S01", "Heron Landing", PARKS, "open", "bed", False, box(290, 322, 640, 505)),
    Site("S02", "Lantern Garden", PARKS, "gate, opens at 07:00", "bed", False, box(695, 565, 795, 665)),
    Site("S03", "Quillback Road medians", PARKS, "open", "traffic", False,
         Polygon([(566, 540), (586, 540), (652, 960), (630, 960)])),
    Site("S04", "Sallow Parade medians", PARKS, "open", "traffic", False,
         Polygon([(845, 560), (860, 545), (1095, 725), (1080, 742)])),
    Site("S05", "Thistledown Court", PRIVATE, "ask before entering", "bed", True, box(385, 610, 525, 730)),
    Site("S06", SCHOOL, SCHOOL, "after school hours", "bed", False, box(965, 870, 1125, 1000)),
    Site("S07", "Pennywhistle Green", PARKS, "open", "bed", False, box(780, 980, 935, 1095)),
    Site("S08", "Upper Common", PARKS, "open", "bed", False, box(220, 850, 420, 1000)),
    Site("S09", "Long Meadow", PARKS, "open", "bed", False, box(1180, 860, 1460, 1300)),
)  # fmt: skip


@dataclass(frozen=True)
class Bed:
    """A bed of straight rows: its middle, the bearing of its rows, how many rows and plants, and their spacing [m]."""

    key: str
    site: str
    middle: tuple[float, float]
    bearing_deg: float
    rows: int
    per_row: int
    spacing_m: float
    row_gap_m: float
    taxon: str
    planted_on: str


BEDS = (
    Bed("B01", "S01", (415, 366), 96, 5, 34, 1.00, 1.4, "Rosa × hybrida", "2019-04-08"),
    Bed("B02", "S01", (482, 424), 70, 4, 36, 1.05, 1.4, "Rosa × hybrida", "2019-04-09"),
    Bed("B03", "S01", (585, 468), 60, 5, 30, 1.10, 1.5, "Rosa rugosa", "2017-10-20"),
    Bed("B05", "S03", (583, 600), 9, 2, 80, 0.95, 1.2, "Rosa × hybrida", "2021-03-29"),
    Bed("B06", "S03", (604, 735), 9, 2, 80, 0.95, 1.2, "Rosa × hybrida", "2021-03-30"),
    Bed("B07", "S03", (629, 895), 9, 2, 80, 0.95, 1.2, "Rosa × hybrida", "2021-03-31"),
    Bed("B08", "S04", (898, 593), 53, 2, 76, 0.90, 1.2, "Rosa × hybrida", "2022-04-04"),
    Bed("B09", "S04", (1040, 700), 53, 2, 76, 0.90, 1.2, "Rosa × hybrida", "2022-04-05"),
    Bed("B10", "S05", (432, 655), 90, 4, 36, 1.10, 1.5, "Rosa × hybrida", "2016-05-02"),
    Bed("B11", "S05", (488, 706), 0, 3, 30, 1.15, 1.5, "Rosa × alba", "2014-10-27"),
    Bed("B12", "S06", (1040, 930), 80, 4, 40, 1.05, 1.4, "Rosa rugosa", "2018-04-16"),
    Bed("B13", "S07", (856, 1040), 90, 5, 48, 1.00, 1.4, "Rosa × hybrida", "2020-04-14"),
)

GARDEN_KEY, GARDEN_SITE, GARDEN_MIDDLE = "B04", "S02", (745.0, 615.0)
GARDEN_RADII_M = (5.0, 6.5, 8.0, 10.0, 11.5, 13.0, 15.0, 16.5)
GARDEN_TAXA = ("Rosa × hybrida", "Rosa × alba", "Rosa gallica", "Rosa × hybrida")

COUNTED_KEY, COUNTED_SITE, COUNTED_PLANTS = "B14", "S08", 180
COUNTED_OUTLINE = Polygon([(300, 912), (332, 916), (331, 925), (299, 921)])

SUSCEPTIBILITY = {"Rosa × hybrida": 1.0, "Rosa × alba": 0.8, "Rosa gallica": 0.9, "Rosa rugosa": 0.7}


@dataclass(frozen=True)
class Stand:
    """Wild roses outside the inventory: an outline with plants per 100 m², or a point with a count."""

    key: str
    place: Polygon | Point
    plants: int
    per_100_m2: float
    chance_infected: float
    note: str


STANDS = (
    Stand("W1", Polygon([(345, 319), (400, 313), (470, 308), (472, 318), (402, 325), (347, 331)]), 0, 4.0, 0.15,
          "north bank below Heron Landing"),
    Stand("W2", Polygon([(560, 296), (640, 326), (700, 352), (694, 364), (632, 338), (556, 306)]), 0, 3.0, 0.10,
          "south bank, mown once a year"),
    Stand("W3", Polygon([(880, 520), (940, 572), (934, 580), (872, 527)]), 0, 2.0, 0.05, "bank along Sallow Parade"),
    Stand("W4", Point(330, 840), 6, 0.0, 0.05, "old hedge corner on Upper Common"),
)  # fmt: skip

SCREENS = (
    ("H1", LineString([(395, 392), (440, 387), (470, 400)]), 1.9, "2025-03-20", "tall grass between long bed and lawn"),
    ("H2", LineString([(690, 590), (697, 640), (703, 660)]), 1.9, "2024-04-02", "tall grass, west side of the garden"),
    ("H3", LineString([(390, 640), (470, 640)]), 1.0, "2015-11-10", "low box hedge"),
)
SCREEN_FACTOR, SCREEN_LEAST_HEIGHT_M = 0.5, 1.8

TREES = (
    ("Acer saccharinum", 95), ("Acer rubrum", 70), ("Tilia cordata", 40), ("Quercus macrocarpa", 40),
    ("Malus ioensis", 30), ("Viburnum prunifolium", 25),
)  # fmt: skip
STREETS = (
    ("Quillback Road", (556, 530), (640, 1080)),
    ("Sallow Parade", (830, 535), (1120, 760)),
    ("Thistledown Lane", (370, 740), (560, 745)),
    ("Millpond Walk", (950, 1015), (1180, 1010)),
    ("Pennywhistle Street", (760, 970), (940, 972)),
    ("Upper Lane", (200, 835), (440, 1010)),
)


@dataclass(frozen=True)
class Plants:
    """Plants as columns of one length; `easting`, `northing` in UTM 14N [m]."""

    plant_id: np.ndarray
    easting: np.ndarray
    northing: np.ndarray
    taxon: np.ndarray
    size: np.ndarray
    bed: np.ndarray
    site: np.ndarray
    planted_on: np.ndarray
    note: np.ndarray

    def __len__(self) -> int:
        """Return the number of plants."""
        return len(self.plant_id)


def to_utm(geometry: shapely.Geometry) -> shapely.Geometry:
    """Return a shape of the town's own frame in UTM 14N."""
    return shapely.transform(geometry, lambda xy: xy + np.array([ORIGIN_EASTING, ORIGIN_NORTHING]))


def owner_of(site: str) -> str:
    """Return the owner of a site."""
    return next((each.owner for each in SITES if each.key == site), PARKS)


def rows_of_bed(bed: Bed) -> np.ndarray:
    """Return the places of a bed's plants, every second row shifted by half a spacing, shape (n, 2) [m]."""
    angle = np.deg2rad(bed.bearing_deg)
    along, across = np.array([np.sin(angle), np.cos(angle)]), np.array([np.cos(angle), -np.sin(angle)])
    row, place = np.indices((bed.rows, bed.per_row))
    step = (place - (bed.per_row - 1) / 2 + 0.5 * (row % 2)) * bed.spacing_m
    side = (row - (bed.rows - 1) / 2) * bed.row_gap_m
    return np.array(bed.middle) + (step[..., None] * along + side[..., None] * across).reshape(-1, 2)


def rings_of_garden() -> tuple[np.ndarray, np.ndarray]:
    """Return the places of the rose garden, concentric rings cut by four paths, and the quarter each belongs to."""
    places, quarters = [], []
    for radius in GARDEN_RADII_M:
        turn = np.arange(0, 2 * np.pi, 1.05 / radius)
        to_path = np.abs((turn + np.pi / 4) % (np.pi / 2) - np.pi / 4) * radius
        turn = turn[to_path > 1.2]
        places.append(np.array(GARDEN_MIDDLE) + radius * np.c_[np.sin(turn), np.cos(turn)])
        quarters.append((turn // (np.pi / 2)).astype(int))
    return np.vstack(places), np.concatenate(quarters)


def plant_roses(random: np.random.Generator) -> Plants:
    """Return every single rose of the beds with rows and of the garden."""
    places, taxa, beds, sites, dates = [], [], [], [], []
    garden, quarter = rings_of_garden()
    for bed in BEDS:
        spots = rows_of_bed(bed)
        places.append(spots)
        taxa += [bed.taxon] * len(spots)
        beds += [bed.key] * len(spots)
        sites += [bed.site] * len(spots)
        dates += [bed.planted_on] * len(spots)
    places.append(garden)
    taxa += [GARDEN_TAXA[each] for each in quarter]
    beds += [GARDEN_KEY] * len(garden)
    sites += [GARDEN_SITE] * len(garden)
    dates += ["2012-04-23"] * len(garden)
    spots = np.vstack(places)
    order = np.argsort(np.array(beds), kind="stable")
    count = len(spots)
    wobble = random.normal(0, 0.06, (count, 2))
    size = random.choice(["S", "M", "L", "XL"], count, p=[0.2, 0.5, 0.25, 0.05])
    note = np.full(count, "", dtype=object)
    note[random.choice(count, 6, replace=False)] = [
        "irrigation valve beside it", "lamp cable", "grafted stem", 'label reads "Été"', "staked", "under a bench",
    ]  # fmt: skip
    return Plants(
        plant_id=np.array([f"R{number:04d}" for number in range(1, count + 1)], dtype=object),
        easting=np.round(ORIGIN_EASTING + (spots + wobble)[order, 0], 2),
        northing=np.round(ORIGIN_NORTHING + (spots + wobble)[order, 1], 2),
        taxon=np.array(taxa, dtype=object)[order],
        size=size.astype(object),
        bed=np.array(beds, dtype=object)[order],
        site=np.array(sites, dtype=object)[order],
        planted_on=np.array(dates, dtype=object)[order],
        note=note,
    )


def plant_counted_bed(random: np.random.Generator) -> Plants:
    """Return the plants of the bed of which the inventory knows outline and count only, where they really stand."""
    west, south, east, north = COUNTED_OUTLINE.bounds
    spots = random.uniform((west, south), (east, north), (4000, 2))
    spots = spots[shapely.contains_xy(COUNTED_OUTLINE, spots[:, 0], spots[:, 1])]
    kept: list[np.ndarray] = []
    for spot in spots:
        if len(kept) < COUNTED_PLANTS and all(np.hypot(*(spot - other)) > 0.75 for other in kept):
            kept.append(spot)
    places = np.array(kept)
    count = len(places)
    return Plants(
        plant_id=np.array([f"{COUNTED_KEY} plant {number}" for number in range(1, count + 1)], dtype=object),
        easting=ORIGIN_EASTING + places[:, 0],
        northing=ORIGIN_NORTHING + places[:, 1],
        taxon=np.full(count, "Rosa × hybrida", dtype=object),
        size=np.full(count, "M", dtype=object),
        bed=np.full(count, COUNTED_KEY, dtype=object),
        site=np.full(count, COUNTED_SITE, dtype=object),
        planted_on=np.full(count, "2023-04-11", dtype=object),
        note=np.full(count, "", dtype=object),
    )


def plant_trees(random: np.random.Generator) -> Plants:
    """Return the ornamentals: trees and shrubs along the streets and on Long Meadow."""
    taxa = np.array([taxon for taxon, count in TREES for _ in range(count)], dtype=object)
    taxa = taxa[random.permutation(len(taxa))]
    places, note = [], []
    per_street = 32
    for name, start, end in STREETS:
        share = (np.arange(per_street) + 0.5) / per_street
        line = np.array(start) + share[:, None] * (np.array(end) - np.array(start))
        places.append(line + random.normal(0, 1.2, (per_street, 2)))
        note += [name] * per_street
    rest = len(taxa) - per_street * len(STREETS)
    places.append(random.uniform((1190, 870), (1450, 1290), (rest, 2)))
    note += ["Long Meadow"] * rest
    spots = np.vstack(places)
    site = np.array(["S09" if each == "Long Meadow" else "" for each in note], dtype=object)
    return Plants(
        plant_id=np.array([f"T-{number:03d}" for number in range(1, len(taxa) + 1)], dtype=object),
        easting=ORIGIN_EASTING + spots[:, 0],
        northing=ORIGIN_NORTHING + spots[:, 1],
        taxon=taxa,
        size=random.choice(["L", "XL"], len(taxa), p=[0.4, 0.6]).astype(object),
        bed=np.full(len(taxa), "", dtype=object),
        site=site,
        planted_on=np.full(len(taxa), "", dtype=object),
        note=np.array(note, dtype=object),
    )


def join(first: Plants, second: Plants) -> Plants:
    """Return the plants of both, in this order."""
    names = Plants.__dataclass_fields__
    return Plants(**{name: np.concatenate([getattr(first, name), getattr(second, name)]) for name in names})
