"""The lists of the page: plain tables whose first cell is a button that moves the map."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence

import numpy as np

from spreadmap.review.hidden_words import hidden_cell, hidden_head
from spreadmap.review.language import Words, sentence
from spreadmap.review.markup import Html, join, tag
from spreadmap.review.reasons import look_reason
from spreadmap.review.words import name_of, status_word
from spreadmap.values.inventory import Inventory
from spreadmap.values.plan import BEARINGS, Ring, Zones
from spreadmap.values.results import SurveyResult, SystemResult, Triage

INSPECTION_ROWS = 50
MOST_REACH_ROWS = 60
FIRST_ROWS = 12

Bounds = tuple[float, float, float, float]
"""South, west, north, east [deg]."""


def table(
    caption: str,
    heads: Sequence[object],
    rows: Sequence[Html],
    *,
    first: int | None = None,
    kind: str,
) -> Html:
    """Return a table with a caption, column headers with scope, and rows that are made already."""
    head = tag("tr", *(tag("th", name, scope="col") for name in heads))
    return tag(
        "div",
        tag(
            "table",
            tag("caption", caption),
            tag("thead", head),
            tag("tbody", *rows),
            class_=kind,
            data_first=first,
        ),
        class_="table",
    )


def plant_button(say: Words, label: str, row: int) -> Html:
    """Return a button that shows a plant on the map."""
    return tag("button", label, type="button", class_="go", data_row=row, title=say("map.show"))


def place_words(say: Words, inventory: Inventory, site_names: Mapping[str, str], row: int) -> str:
    """Return bed and site of a plant."""
    bed, site = inventory.bed_id[row], inventory.site_id[row]
    parts = [say("lists.bed", name=bed) if bed else "", site_names.get(site, site)]
    return ", ".join(text for text in parts if text)


def plant_head(say: Words, inventory: Inventory, site_names: Mapping[str, str], row: int) -> Html:
    """Return the head of a row about one plant: a button that shows it on the map, and where it stands."""
    place = tag("span", place_words(say, inventory, site_names, row), class_="under")
    return tag("th", plant_button(say, str(inventory.plant_id[row]), row), place, scope="row")


def rank_range(low: int, high: int) -> str:
    """Return best and worst rank over the scale run."""
    return str(low) if low == high else f"{low}–{high}"


def site_names(result: SurveyResult) -> dict[str, str]:
    """Return the name of every site by its key."""
    sites = result.inputs.sites
    return {str(key): str(name or key) for key, name in zip(sites.site_id, sites.name, strict=True)}


def inspection_table(say: Words, system: SystemResult, result: SurveyResult) -> Html:
    """Return the first plants of the inspection list."""
    look, inventory, names = system.plan.inspection, result.inputs.inventory, site_names(result)
    rows = []
    for index in range(min(len(look), INSPECTION_ROWS)):
        plant = int(look.plant[index])
        ranks = rank_range(int(look.rank_low[index]), int(look.rank_high[index]))
        weak = None if look.rank_holds[index] else tag("span", say("lists.weak"), class_="under")
        rows.append(
            tag(
                "tr",
                tag("td", index + 1, class_="number"),
                plant_head(say, inventory, names, plant),
                tag("td", status_word(say, system.state.status[plant], ""), class_="word"),
                tag(
                    "td",
                    str(look.due_on[index]),
                    tag("span", say("lists.every", n=int(look.interval_days[index])), class_="under"),
                    class_="date",
                ),
                tag("td", ranks, weak, class_="number"),
                hidden_cell(say, system, plant),
                tag("td", look_reason(say, system, look, index), class_="why"),
            )
        )
    heads = [
        say("lists.order"),
        say("removal.head_plant"),
        say("lists.status"),
        say("lists.due"),
        say("lists.rank_range"),
        hidden_head(say, system.unseen),
        say("removal.head_why"),
    ]
    caption = say("inspection.caption", hosts=len(look))
    return table(caption, [head for head in heads if head], rows, first=FIRST_ROWS, kind="inspection")


def ring_name(say: Words, ring: Ring) -> str:
    """Return focus and name of a ring."""
    return f"{ring.focus}\u00a0·\u00a0{say(f'ring.{ring.name}')}"


def ring_button(say: Words, ring: Ring, bounds: Mapping[tuple[int, str], Bounds]) -> Html | str:
    """Return a button that shows a ring, or its name where the page has no shape for it."""
    label = ring_name(say, ring)
    box = bounds.get((ring.focus, ring.name))
    if box is None:
        return label
    corners = json.dumps([[box[0], box[1]], [box[2], box[3]]])
    return tag("button", label, type="button", class_="go", data_bounds=corners, title=say("map.show"))


def ring_table(say: Words, zones: Zones, bounds: Mapping[tuple[int, str], Bounds]) -> Html:
    """Return the rings of all foci."""
    rows = [
        tag(
            "tr",
            tag("th", ring_button(say, ring, bounds), scope="row"),
            tag(
                "td",
                say.part(ring.share),
                tag("span", f"{say.part(ring.host_share)}; {say.part(ring.infection_share)}", class_="under"),
                class_="span",
            ),
            tag(
                "td",
                say.area(ring.area_m2),
                tag("span", f"{say.area(ring.area_low_m2)} – {say.area(ring.area_high_m2)}", class_="under"),
                class_="span",
            ),
            tag("td", f"{say.plain_length(ring.reach_far_m)} / {say.length(ring.reach_near_m)}", class_="number"),
            tag("td", say.amount(ring.plants_inside), class_="number"),
            tag("td", say("unit.days", n=ring.inspect_every_days), class_="number"),
            tag(
                "td",
                ", ".join(ring.sites_inside) or "–",
                tag("span", ", ".join(ring.owners_inside), class_="under"),
                class_="why",
            ),
        )
        for ring in zones.rings
    ]
    names = ("ring", "share", "area", "reach", "hosts", "every", "sites")
    heads = [say(f"ring.head_{name}") for name in names]
    return table(say("ring.caption"), heads, rows, first=9, kind="rings")


def reach_table(say: Words, zones: Zones) -> Html:
    """Return how far each ring runs from the middle of its focus in sixteen bearings."""
    rows = [
        tag(
            "tr",
            tag("th", ring_name(say, ring), scope="row"),
            *(tag("td", say.plain_length(reach), class_="number") for reach in ring.reach_by_bearing_m),
        )
        for ring in zones.rings[:MOST_REACH_ROWS]
    ]
    bearings = [say(f"bearing.{name.lower()}") for name in BEARINGS]
    caption = say("ring.reach_caption", unit=say.length_unit)
    made = table(caption, (say("ring.head_ring"), *bearings), rows, first=3, kind="reach")
    left = len(zones.rings) - len(rows)
    return join(made, tag("p", say("ring.further", n=left))) if left else made


def line_table(say: Words, zones: Zones) -> Html:
    """Return the lines of the rules of thumb with their sources."""
    rows = [
        tag(
            "tr",
            tag("th", sentence(say.phrase(line.name)), scope="row"),
            tag("td", say.length(line.distance_m), class_="number"),
            tag("td", say.told(line.advice), class_="why"),
            tag("td", ", ".join(line.reservoirs_inside) or say("lists.none"), class_="word"),
            tag("td", say.told(line.source), class_="why"),
        )
        for line in zones.lines
    ]
    heads = [say(f"lines.head_{name}") for name in ("line", "distance", "what", "wild", "source")]
    return table(say("lines.caption"), heads, rows, kind="lines")


def triage_table(say: Words, triage: Sequence[Triage]) -> Html:
    """Return counts of every pest system."""
    rows = [
        tag(
            "tr",
            tag(
                "th",
                sentence(name_of(say, item)),
                tag("span", tag("i", say.phrase(item.system.scientific_name)), class_="under"),
                scope="row",
            ),
            *(
                tag("td", say.amount(count), class_="number")
                for count in (item.infected, item.suspect, item.clean, item.not_inspected, item.hosts)
            ),
        )
        for item in triage
    ]
    heads = [say(f"findings.head_{name}") for name in ("pest", "confirmed", "suspect", "clean", "never", "hosts")]
    return table(say("findings.caption"), heads, rows, kind="triage")


def dates_of(say: Words, system: SystemResult) -> str:
    """Return the dates on which the holes of this week's work are looked at again."""
    removal = system.plan.removal
    within = removal.within_hours
    if not within.any():
        return ""
    first: np.ndarray = removal.regrowth_on[within][0]
    return ", ".join(say.day(value) for value in first)
