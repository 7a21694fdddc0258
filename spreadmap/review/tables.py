"""The lists of the page: plain tables whose first cell is a button that moves the map."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence

import numpy as np

from spreadmap.review.markup import Html, join, tag
from spreadmap.review.words import amount, area, day, hours, part, sentence, status_word
from spreadmap.values.inventory import Inventory
from spreadmap.values.plan import BEARINGS, RemovalList, Ring, Zones
from spreadmap.values.results import SurveyResult, SystemResult, Triage

MOST_REMOVAL_ROWS = 400
INSPECTION_ROWS = 50
MOST_REACH_ROWS = 60
FIRST_ROWS = 12

Bounds = tuple[float, float, float, float]
"""South, west, north, east [deg]."""


def table(caption: str, heads: Sequence[object], rows: Sequence[Html], *, first: int | None = None, kind: str) -> Html:
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


def plant_button(label: str, row: int) -> Html:
    """Return a button that shows a plant on the map."""
    return tag("button", label, type="button", class_="go", data_row=row, title="Show on the map")


def place_words(inventory: Inventory, site_names: Mapping[str, str], row: int) -> str:
    """Return bed and site of a plant."""
    bed, site = inventory.bed_id[row], inventory.site_id[row]
    parts = [f"bed {bed}" if bed else "", site_names.get(site, site)]
    return ", ".join(text for text in parts if text)


def plant_head(inventory: Inventory, site_names: Mapping[str, str], row: int) -> Html:
    """Return the head of a row about one plant: a button that shows it on the map, and where it stands."""
    place = tag("span", place_words(inventory, site_names, row), class_="under")
    return tag("th", plant_button(str(inventory.plant_id[row]), row), place, scope="row")


def rank_range(low: int, high: int) -> str:
    """Return best and worst rank over the scale run."""
    return str(low) if low == high else f"{low}–{high}"


def site_names(result: SurveyResult) -> dict[str, str]:
    """Return the name of every site by its key."""
    sites = result.inputs.sites
    return {str(key): str(name or key) for key, name in zip(sites.site_id, sites.name, strict=True)}


SYNTHETIC = " Position is synthetic: find out which plant of the bed it is."


def planned_words(removal: RemovalList, index: int) -> tuple[str, Html]:
    """Return the day of work with its order in the day, and the first days on which it may be and on which to replant."""
    first = join(
        *(
            tag("span", words, tag("span", str(when), class_="whole"), class_="under")
            for words, when in (
                ("not before ", removal.earliest_on[index]),
                ("replant from ", removal.replant_from[index]),
            )
        )
    )
    if np.isnat(removal.planned_on[index]):
        return "no day yet", first
    return f"{removal.planned_on[index]}, no. {removal.day_order[index]}", first


def rank_words(removal: RemovalList, index: int) -> str:
    """Return the range of ranks, marked where the plant changes sides of the cut-off within it."""
    said = rank_range(int(removal.rank_low[index]), int(removal.rank_high[index]))
    return said if removal.rank_holds[index] else f"{said} (does not hold)"


def decision_words(removal: RemovalList, index: int) -> str:
    """Return what a manager decided and why, or nothing."""
    decided = str(removal.decision[index])
    if not decided:
        return ""
    why = f": {removal.decision_reason[index]}" if removal.decision_reason[index] else ""
    return f" Manager: {decided.replace('_', ' ')}{why}."


def removal_table(system: SystemResult, result: SurveyResult, controls: Callable[[int], Html] | None = None) -> Html:
    """Return the removal list with a line where the crew hours end; `controls` gives what a row can be answered with."""
    removal, inventory, names = system.plan.removal, result.inputs.inventory, site_names(result)
    shown, currency = min(len(removal), MOST_REMOVAL_ROWS), result.settings.costs.currency
    rows = []
    for index in range(shown):
        plant = int(removal.plant[index])
        if index and removal.within_hours[index - 1] and not removal.within_hours[index]:
            weekly = result.settings.removal.crew_hours_per_week
            rows.append(
                tag("tr", tag("td", f"Here the week's {hours(weekly)} of crew time end", colspan=5), class_="cut-off")
            )
        minutes = amount(removal.person_minutes[index])
        if removal.set_up_minutes[index] > 0:
            minutes += f" + {amount(removal.set_up_minutes[index])}"
        rows.append(
            tag(
                "tr",
                tag("td", index + 1, tag("span", rank_words(removal, index), class_="under"), class_="number order"),
                plant_head(inventory, names, plant),
                tag(
                    "td",
                    minutes,
                    tag("span", f"{amount(removal.cost[index])} {currency}", class_="under"),
                    class_="number",
                ),
                tag("td", *planned_words(removal, index), class_="date"),
                tag(
                    "td",
                    removal.reason[index],
                    decision_words(removal, index),
                    SYNTHETIC if inventory.is_synthetic[plant] else "",
                    controls(index) if controls is not None else None,
                    class_="why",
                ),
                class_=None if removal.within_hours[index] else "beyond",
                data_at=index,
            )
        )
    heads = ("Order, its range", "Plant, bed, site", "Person-minutes + set-up, cost", "Planned", "Why here")
    made = table("In the order in which they come out", heads, rows, first=FIRST_ROWS, kind="removal")
    if shown < len(removal):
        more = f"{amount(len(removal) - shown)} further plants stand in the removal list of the delivery."
        return join(made, tag("p", more))
    if not removal.within_hours.all():
        note = "Plants beyond the crew hours are not printed here; they stand in the removal list of the delivery."
        return join(made, tag("p", note, class_="print-only"))
    return made


def inspection_table(system: SystemResult, result: SurveyResult) -> Html:
    """Return the first plants of the inspection list."""
    look, inventory, names = system.plan.inspection, result.inputs.inventory, site_names(result)
    rows = []
    for index in range(min(len(look), INSPECTION_ROWS)):
        plant = int(look.plant[index])
        rows.append(
            tag(
                "tr",
                tag("td", index + 1, class_="number"),
                plant_head(inventory, names, plant),
                tag("td", status_word(system.state.status[plant], ""), class_="word"),
                tag(
                    "td",
                    str(look.due_on[index]),
                    tag("span", f"every {look.interval_days[index]} d", class_="under"),
                    class_="date",
                ),
                tag("td", rank_range(int(look.rank_low[index]), int(look.rank_high[index])), class_="number"),
                tag("td", look.reason[index], class_="why"),
            )
        )
    heads = ("Order", "Plant, bed, site", "Status", "Due", "Rank range", "Why here")
    caption = f"Where to look first, of {amount(len(look))} standing hosts not confirmed"
    return table(caption, heads, rows, first=FIRST_ROWS, kind="inspection")


def ring_button(ring: Ring, bounds: Mapping[tuple[int, str], Bounds]) -> Html | str:
    """Return a button that shows a ring, or its name where the page has no shape for it."""
    label = f"{ring.focus}\u00a0·\u00a0{ring.name}"
    box = bounds.get((ring.focus, ring.name))
    if box is None:
        return label
    corners = json.dumps([[box[0], box[1]], [box[2], box[3]]])
    return tag("button", label, type="button", class_="go", data_bounds=corners, title="Show on the map")


def ring_table(zones: Zones, bounds: Mapping[tuple[int, str], Bounds]) -> Html:
    """Return the rings of all foci."""
    rows = [
        tag(
            "tr",
            tag("th", ring_button(ring, bounds), scope="row"),
            tag(
                "td",
                part(ring.share),
                tag("span", f"{part(ring.host_share)}; {part(ring.infection_share)}", class_="under"),
                class_="span",
            ),
            tag(
                "td",
                area(ring.area_m2),
                tag("span", f"{area(ring.area_low_m2)} – {area(ring.area_high_m2)}", class_="under"),
                class_="span",
            ),
            tag("td", f"{amount(ring.reach_far_m)} / {amount(ring.reach_near_m)} m", class_="number"),
            tag("td", amount(ring.plants_inside), class_="number"),
            tag("td", f"{ring.inspect_every_days} d", class_="number"),
            tag(
                "td",
                ", ".join(ring.sites_inside) or "–",
                tag("span", ", ".join(ring.owners_inside), class_="under"),
                class_="why",
            ),
        )
        for ring in zones.rings
    ]
    heads = (
        "Focus · ring",
        "Arrivals; on hosts; new infections",
        "Area and its range",
        "Reach, far / near",
        "Hosts inside",
        "Inspect every",
        "Sites crossed, owners",
    )
    return table("Rings round each focus until the next survey", heads, rows, first=9, kind="rings")


def reach_table(zones: Zones) -> Html:
    """Return how far each ring runs from the middle of its focus in sixteen bearings."""
    rows = [
        tag(
            "tr",
            tag("th", f"{ring.focus}\u00a0·\u00a0{ring.name}", scope="row"),
            *(tag("td", amount(reach), class_="number") for reach in ring.reach_by_bearing_m),
        )
        for ring in zones.rings[:MOST_REACH_ROWS]
    ]
    caption = "How far the rings run from the middle of their focus, by bearing [m]"
    made = table(caption, ("Focus · ring", *BEARINGS), rows, first=3, kind="reach")
    left = len(zones.rings) - len(rows)
    return join(made, tag("p", f"{amount(left)} further rings stand in ring_reach.csv.")) if left else made


def line_table(zones: Zones) -> Html:
    """Return the lines of the rules of thumb with their sources."""
    rows = [
        tag(
            "tr",
            tag("th", sentence(line.name), scope="row"),
            tag("td", f"{amount(line.distance_m)} m", class_="number"),
            tag("td", line.advice, class_="why"),
            tag("td", ", ".join(line.reservoirs_inside) or "none", class_="word"),
            tag("td", line.source, class_="why"),
        )
        for line in zones.lines
    ]
    heads = ("Line", "Distance", "What to do inside", "Wild stands inside", "Where the rule comes from")
    return table("Lines of the rules of thumb", heads, rows, kind="lines")


def triage_table(triage: Sequence[Triage]) -> Html:
    """Return counts of every pest system."""
    rows = [
        tag(
            "tr",
            tag(
                "th",
                sentence(item.system.common_name),
                tag("span", tag("i", item.system.scientific_name), class_="under"),
                scope="row",
            ),
            *(
                tag("td", amount(count), class_="number")
                for count in (item.infected, item.suspect, item.clean, item.not_inspected, item.hosts)
            ),
        )
        for item in triage
    ]
    heads = ("Pest", "Confirmed", "Suspect", "Clean", "Never inspected", "Standing hosts")
    return table("Plants on record on the date of this memo", heads, rows, kind="triage")


def dates_of(system: SystemResult) -> str:
    """Return the dates on which the holes of this week's work are looked at again."""
    removal = system.plan.removal
    within = removal.within_hours
    if not within.any():
        return ""
    first = removal.regrowth_on[within][0]
    return ", ".join(day(value) for value in first)
