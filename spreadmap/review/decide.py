"""Tools of the removal list: the cut-off by crew hours, filters, and decisions that the next run reads."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np

from spreadmap.review.markup import Html, tag
from spreadmap.review.tables import FIRST_ROWS, site_names
from spreadmap.review.words import EVIDENCE_WORDS, crew_hours_used, day, hours
from spreadmap.values.arrays import to_date
from spreadmap.values.plan import RemovalCurve
from spreadmap.values.results import SurveyResult, SystemResult
from spreadmap.values.words import Decision, Mode

HEAD = ("plant_id", "decided_on", "decision", "until", "reason")
"""Columns of the table of decisions, as the inputs call them."""
DECISION_WORDS = {
    Decision.OPEN.value: "not decided",
    Decision.ACCEPT.value: "accepted",
    Decision.PUT_OFF.value: "put off",
    Decision.REFUSE.value: "refused",
}
FILTERS = (("site", "Site"), ("owner", "Owner"), ("evidence", "Evidence"), ("date", "Confirmed on"))
MOST_DATES = 40
"""Above so many days the filter by date goes by month."""
STEPS_PER_HOUR = 2
NOT_STATED = "not stated"


def removal_columns(system: SystemResult, result: SurveyResult) -> dict[str, list[str]]:
    """Return for each filter the word of every plant on the removal list."""
    removal, state, inventory = system.plan.removal, system.state, result.inputs.inventory
    names, rows = site_names(result), removal.plant.tolist()
    found = state.first_found_on[removal.plant]
    by_month = len(np.unique(found[~np.isnat(found)])) > MOST_DATES

    def date(value: np.datetime64) -> str:
        when = to_date(value)
        if when is None:
            return NOT_STATED
        return f"{when:%B %Y}" if by_month else day(when)

    return {
        "site": [names.get(str(inventory.site_id[row]), str(inventory.site_id[row])) or NOT_STATED for row in rows],
        "owner": [str(inventory.owner[row]) or NOT_STATED for row in rows],
        "evidence": [
            EVIDENCE_WORDS.get(str(state.evidence[row]), str(state.evidence[row])) or NOT_STATED for row in rows
        ],
        "date": [date(value) for value in found],
    }


def in_order(name: str, words: list[str], system: SystemResult) -> list[str]:
    """Return the different words of a filter: dates in the order of time, all others by the alphabet."""
    if name != "date":
        return sorted(set(words))
    found = system.state.first_found_on[system.plan.removal.plant]
    return list(dict.fromkeys(words[index] for index in np.argsort(found, kind="stable").tolist()))


def most_hours(system: SystemResult, weekly: float) -> float:
    """Return the end of the slider: the hours of the whole list, at least the week's."""
    hours_of_list = system.plan.removal.cumulative_hours
    longest = float(hours_of_list.max()) if len(hours_of_list) else 0.0
    return max(math.ceil(longest * STEPS_PER_HOUR) / STEPS_PER_HOUR, weekly)


def removal_tools(key: str, system: SystemResult, result: SurveyResult) -> Html:
    """Return slider, figure, filters and the button that saves, for the section `key`."""
    weekly, columns = result.settings.removal.crew_hours_per_week, removal_columns(system, result)
    most = most_hours(system, weekly)
    selects = []
    for name, label in FILTERS:
        words = in_order(name, columns[name], system)
        options = [tag("option", f"all {len(words)}" if len(words) > 1 else "all", value="")]
        options += [tag("option", word, value=index) for index, word in enumerate(words)]
        control = tag("select", *options, data_filter=name, autocomplete="off")
        selects.append(tag("label", tag("span", label), control))
    slider = tag(
        "input", type="range", id=f"{key}-hours", min=0, max=f"{most:g}", step=f"{1 / STEPS_PER_HOUR:g}",
        value=f"{weekly:g}", data_hours=True, autocomplete="off",
    )  # fmt: skip
    return tag(
        "div",
        tag(
            "div",
            tag("label", "Crew hours", for_=f"{key}-hours"),
            curve_picture(system.plan.removal.curve, most),
            slider,
            tag("p", tag("span", "0 h"), tag("span", hours(most)), class_="ends", aria_hidden="true"),
            tag("p", f"{hours(crew_hours_used(system.plan.removal))} of crew time.", class_="figure", data_figure=True,
                role="status"),
            tag("button", f"Back to the week's {hours(weekly)}", type="button", data_week=True, class_="small"),
            class_="cut",
        ),
        tag(
            "div",
            tag("p", "Show only", class_="lead"),
            *selects,
            tag("button", "Show all", type="button", data_clear=True, class_="small"),
            tag("p", data_shown=True, role="status"),
            class_="filters",
        ),
        tag(
            "div",
            tag("button", "Save decisions", type="button", data_save=True, class_="save"),
            tag(
                "p",
                "Accept, put off or refuse each plant in the list; a table for the next run is saved on this machine.",
                data_saved=True, role="status",
            ),
            class_="saving",
        ),
        class_="tools",
    )  # fmt: skip


def curve_picture(curve: RemovalCurve | None, most: float) -> Html | None:
    """Return what hours avoid, as a line with its range, as wide as the slider; nothing where no curve was reckoned."""
    if curve is None or len(curve) < 2 or most <= 0:
        return None

    def points(values: np.ndarray) -> list[str]:
        return [
            f"{1000 * x / most:.1f} {100 - 96 * min(1.0, max(0.0, y)):.1f}"
            for x, y in zip(curve.hours.tolist(), values.tolist(), strict=True)
        ]

    band = " L".join(["0 100", *points(curve.high), *reversed(points(curve.low))])
    line = " L".join(["0 100", *points(curve.share)])
    return Html(
        '<svg class="avoids" viewBox="0 0 1000 100" preserveAspectRatio="none" aria-hidden="true">'
        f'<path class="band" d="M{band}Z"/><path class="line" d="M{line}"/>'
        '<g class="here"><path d="M0 0V100"/></g></svg>'
    )


def controls_of(system: SystemResult, result: SurveyResult) -> Callable[[int], Html]:
    """Return what makes the controls of a row of the removal list: the decision, why, and until when.

    Reason and day are those of the table that was read, in the manager's own words.
    """
    removal, latest = system.plan.removal, latest_decisions(result)

    def controls(index: int) -> Html:
        plant, decided = int(removal.plant[index]), str(removal.decision[index])
        key = str(result.inputs.inventory.plant_id[plant])
        until, reason = latest.get(key, ("", "")) if decided else ("", "")
        options = [
            tag("option", word, value=value, selected=value == decided or None)
            for value, word in DECISION_WORDS.items()
        ]
        return tag(
            "span",
            tag("select", *options, aria_label=f"Decision on {key}", autocomplete="off"),
            tag(
                "input", type="text", value=reason, placeholder="Reason", maxlength=200,
                aria_label=f"Reason for {key}", data_reason=True, autocomplete="off", hidden=not decided,
            ),
            tag(
                "input", type="date", value=until if decided == Decision.PUT_OFF.value else "",
                aria_label=f"{key} is put off until", data_until=True, autocomplete="off",
                hidden=decided != Decision.PUT_OFF.value,
            ),
            class_="decide",
            data_decide=plant,
        )  # fmt: skip

    return controls


def latest_decisions(result: SurveyResult) -> dict[str, tuple[str, str]]:
    """Return for every plant that was decided on until when and why, by the last decision on it."""
    kept = result.inputs.decisions
    return {
        str(kept.plant_id[index]): (iso(kept.until[index]), str(kept.reason[index]))
        for index in np.argsort(kept.decided_on, kind="stable").tolist()
    }


def iso(value: np.datetime64) -> str:
    """Return a day as ISO text; nothing for no date."""
    return "" if np.isnat(value) else str(value.astype("datetime64[D]"))


def removal_values(key: str, system: SystemResult, result: SurveyResult) -> dict[str, Any]:
    """Return what the script of one removal list needs."""
    removal, columns = system.plan.removal, removal_columns(system, result)
    curve, weekly = removal.curve, result.settings.removal.crew_hours_per_week
    coded = {}
    for name, words in columns.items():
        place = {word: index for index, word in enumerate(in_order(name, words, system))}
        coded[name] = {"index": [place[word] for word in words]}
    planned = int((removal.week > 0).sum())
    is_relative = system.face.mode is Mode.RELATIVE
    return {
        "key": key,
        "plants": removal.plant.tolist(),
        "hours": [round(value, 6) for value in removal.cumulative_hours[:planned].tolist()],
        "within": int(removal.within_hours.sum()),
        "week": weekly,
        "most": most_hours(system, weekly),
        "first": FIRST_ROWS,
        "share": [] if curve is None else rounded(curve.share),
        "low": [] if curve is None else rounded(curve.low),
        "high": [] if curve is None else rounded(curve.high),
        "infections": None if curve is None or is_relative else rounded(curve.infections),
        "until": day(result.inputs.horizon_on),
        "columns": coded,
    }


def rounded(values: np.ndarray) -> list[float]:
    """Return numbers with four digits behind the point."""
    return [round(value, 4) for value in values.tolist()]


def decision_values(result: SurveyResult) -> dict[str, Any]:
    """Return what the script of the decisions needs: keys of listed plants, decisions that stand, dates, names."""
    inputs, kept = result.inputs, result.inputs.decisions
    latest = {str(kept.plant_id[index]): index for index in np.argsort(kept.decided_on, kind="stable").tolist()}
    listed = sorted({int(plant) for system in result.systems for plant in system.plan.removal.plant})
    return {
        "asOf": inputs.as_of.isoformat(),
        "identity": f"{inputs.name} {inputs.as_of.isoformat()}",
        "file": f"decisions_{inputs.as_of.isoformat()}.csv",
        "head": list(HEAD),
        "keys": {str(plant): str(inputs.inventory.plant_id[plant]) for plant in listed},
        "kept": [
            [
                key,
                iso(kept.decided_on[index]),
                str(kept.decision[index]),
                iso(kept.until[index]),
                str(kept.reason[index]),
            ]
            for key, index in latest.items()
        ],
    }
