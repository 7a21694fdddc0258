"""Tools of the removal list: the cut-off by crew hours, filters, and decisions that the next run reads."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from spreadmap.review.language import Words
from spreadmap.review.markup import Html, tag
from spreadmap.review.tables import site_names
from spreadmap.review.words import crew_hours_used
from spreadmap.values.arrays import to_date
from spreadmap.values.plan import RemovalCurve, RemovalList
from spreadmap.values.results import SurveyResult, SystemResult
from spreadmap.values.words import Decision, Evidence, Mode

HEAD = ("plant_id", "decided_on", "decision", "until", "reason")
"""Columns of the table of decisions, as the inputs call them."""
DECISIONS = {
    Decision.OPEN.value: "open",
    Decision.ACCEPT.value: "accept",
    Decision.PUT_OFF.value: "put_off",
    Decision.REFUSE.value: "refuse",
}
"""Decisions by the names of their words."""
FILTERS = ("site", "owner", "evidence", "date")
MOST_DATES = 40
"""Above so many days the filter by date goes by month."""
STEPS_PER_HOUR = 2


def removal_columns(say: Words, system: SystemResult, result: SurveyResult) -> dict[str, list[str]]:
    """Return for each filter the word of every plant on the removal list."""
    removal, state, inventory = system.plan.removal, system.state, result.inputs.inventory
    names, rows = site_names(result), removal.plant.tolist()
    found = state.first_found_on[removal.plant]
    by_month = len(np.unique(found[~np.isnat(found)])) > MOST_DATES
    unknown = say("tools.not_stated")
    evidence = {each.value: say(f"evidence.{each.value}") if each.value else unknown for each in Evidence}

    def date(value: np.datetime64) -> str:
        when = to_date(value)
        if when is None:
            return unknown
        return say("date.month", month=say.month(when.month), year=str(when.year)) if by_month else say.day(when)

    return {
        "site": [names.get(str(inventory.site_id[row]), str(inventory.site_id[row])) or unknown for row in rows],
        "owner": [str(inventory.owner[row]) or unknown for row in rows],
        "evidence": [evidence.get(str(state.evidence[row]), str(state.evidence[row])) for row in rows],
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


def removal_tools(say: Words, key: str, system: SystemResult, result: SurveyResult) -> Html:
    """Return slider, figure, filters and the button that saves, for the section `key`."""
    weekly = result.settings.removal.crew_hours_per_week
    most = most_hours(system, weekly)
    used = say("tools.used", hours=say.hours(crew_hours_used(system.plan.removal)))
    slider = tag(
        "input", type="range", id=f"{key}-hours", min=0, max=f"{most:g}", step=f"{1 / STEPS_PER_HOUR:g}",
        value=f"{weekly:g}", data_hours=True, autocomplete="off",
    )  # fmt: skip
    return tag(
        "div",
        tag(
            "div",
            tag("label", say("tools.hours"), for_=f"{key}-hours"),
            curve_picture(system.plan.removal.curve, most),
            slider,
            tag("p", tag("span", say.hours(0)), tag("span", say.hours(most)), class_="ends", aria_hidden="true"),
            tag("p", used, class_="figure", data_figure=True, role="status"),
            tag("button", say("tools.week", hours=say.hours(weekly)), type="button", data_week=True, class_="small"),
            class_="cut",
        ),
        tag(
            "div",
            tag("p", say("tools.only"), class_="lead"),
            *filter_controls(say, system, result),
            tag("button", say("tools.clear"), type="button", data_clear=True, class_="small"),
            tag("p", data_shown=True, role="status"),
            class_="filters",
        ),
        tag(
            "div",
            tag("button", say("tools.save"), type="button", data_save=True, class_="save"),
            tag("p", say("tools.how"), data_saved=True, role="status"),
            class_="saving",
        ),
        class_="tools",
    )


def filter_controls(say: Words, system: SystemResult, result: SurveyResult) -> list[Html]:
    """Return one choice for each filter."""
    columns, made = removal_columns(say, system, result), []
    for name in FILTERS:
        words = in_order(name, columns[name], system)
        first = say("tools.all_count", n=len(words)) if len(words) > 1 else say("tools.all")
        options = [tag("option", first, value="")]
        options += [tag("option", word, value=index) for index, word in enumerate(words)]
        control = tag("select", *options, data_filter=name, autocomplete="off")
        made.append(tag("label", tag("span", say(f"tools.{name}")), control))
    return made


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


@dataclass(frozen=True, slots=True)
class Controls:
    """What makes the controls of a row of the removal list: the decision, why, and until when."""

    say: Words
    removal: RemovalList
    keys: np.ndarray
    latest: dict[str, tuple[str, str]]

    def given(self, index: int) -> tuple[str, str, str]:
        """Return the decision that stands, its reason in the manager's own words, and until when it puts off."""
        decided = str(self.removal.decision[index])
        if not decided:
            return "", "", ""
        until, reason = self.latest.get(str(self.keys[self.removal.plant[index]]), ("", ""))
        return decided, reason, until if decided == Decision.PUT_OFF.value else ""

    def __call__(self, index: int) -> Html:
        """Return the controls of one row."""
        say, plant = self.say, int(self.removal.plant[index])
        key, (decided, reason, until) = str(self.keys[plant]), self.given(index)
        options = [
            tag("option", say(f"tools.{name}"), value=value, selected=value == decided or None)
            for value, name in DECISIONS.items()
        ]
        return tag(
            "span",
            tag("select", *options, aria_label=say("tools.decision_on", key=key), autocomplete="off"),
            tag(
                "input", type="text", value=reason, placeholder=say("tools.reason"), maxlength=200,
                aria_label=say("tools.reason_for", key=key), data_reason=True, autocomplete="off", hidden=not decided,
            ),
            tag(
                "input", type="date", value=until, aria_label=say("tools.until", key=key), data_until=True,
                autocomplete="off", hidden=decided != Decision.PUT_OFF.value,
            ),
            class_="decide",
            data_decide=plant,
        )  # fmt: skip


def controls_of(say: Words, system: SystemResult, result: SurveyResult) -> Controls:
    """Return what makes the controls of a row of one system's list."""
    return Controls(say, system.plan.removal, result.inputs.inventory.plant_id, latest_decisions(result))


def manager_words(say: Words, removal: RemovalList, index: int) -> str:
    """Return what a manager decided and why, or nothing."""
    decided = str(removal.decision[index])
    if not decided:
        return ""
    why = f": {removal.decision_reason[index]}" if removal.decision_reason[index] else ""
    return say("removal.manager", decision=say(f"tools.{DECISIONS[decided]}"), why=why)


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


def removal_values(say: Words, key: str, system: SystemResult, result: SurveyResult) -> dict[str, Any]:
    """Return what the script of one removal list needs besides its rows."""
    removal, columns = system.plan.removal, removal_columns(say, system, result)
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
        "share": [] if curve is None else rounded(curve.share),
        "low": [] if curve is None else rounded(curve.low),
        "high": [] if curve is None else rounded(curve.high),
        "infections": None
        if curve is None or is_relative
        else {
            "cases": rounded(curve.infections),
            "low": rounded(curve.infections_low),
            "high": rounded(curve.infections_high),
        },
        "until": say.day(result.inputs.horizon_on),
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
