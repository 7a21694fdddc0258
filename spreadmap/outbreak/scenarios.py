"""Courses of action held against each other: shares, paired differences, and which conclusions hold."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from spreadmap.outbreak.actions import LATER, LIST, NOTHING, RING, TWICE_CREW, TWICE_SURVEYS
from spreadmap.outbreak.ensemble import Period, survey_days
from spreadmap.outbreak.tallies import Totals, new_cases
from spreadmap.values.action import Action
from spreadmap.values.ahead import Comparison, NewCases, Scenario
from spreadmap.values.arrays import FloatArray, IntArray

PAIRS = ((LIST, NOTHING), (LIST, LATER), (TWICE_CREW, LIST), (TWICE_SURVEYS, LIST), (RING, LIST))
"""Which courses are compared: does the first leave fewer new cases than the second?"""
DOING = {
    NOTHING: "doing nothing",
    LIST: "taking the list out on its dates",
    LATER: "taking the list out later",
    TWICE_CREW: "taking the list out with twice the crew hours",
    TWICE_SURVEYS: "taking the list out and surveying twice as often",
    RING: "clearing the rings after the list",
}
ERRORS = 2.0
"""A difference counts as seen from this many standard errors of the drawn members on [-]."""
SURE = 0.95
"""Share of the members that must agree before a difference holds in calibrated mode [-]."""


def scenarios_of(
    actions: Sequence[Action], totals: Totals, period: Period, is_calibrated: bool, middle: Sequence[int]
) -> tuple[Scenario, ...]:
    """Return the scenario of every course; `middle` are the draws whose mean stands for all in relative mode."""
    survey = int(np.searchsorted(period.checks, period.survey_day))
    undone = totals.new[0, :, :, -1]
    found = []
    for number, action in enumerate(actions):
        mine = totals.new[number, :, :, -1]
        shares = _shares(undone, mine)
        share = _share_of(undone, mine) if is_calibrated else _share_of(undone[list(middle)], mine[list(middle)])
        low, high = np.quantile(shares, [0.05, 0.95]) if is_calibrated else (shares.min(), shares.max())
        numbers: dict[str, NewCases] = {}
        if is_calibrated:
            numbers = {
                "by_next_survey": new_cases(totals.new[number, :, :, survey]),
                "by_horizon": new_cases(mine),
                "avoided": new_cases(undone - mine),
            }
        out = action.taken_out & (action.removal_on < period.horizon)
        found.append(
            Scenario(
                key=action.key,
                says=action.says,
                taken_out=int(out.sum()),
                looks=len(survey_days(action, period.days)),
                share_avoided=share,
                share_low=float(min(low, share)),
                share_high=float(max(high, share)),
                **numbers,
            )
        )
    return tuple(found)


def _share_of(undone: IntArray, done: IntArray) -> float:
    """Return the share of new cases avoided [-]; zero where there are none."""
    total = float(undone.sum())
    return 1.0 - float(done.sum()) / total if total > 0 else 0.0


def _shares(undone: IntArray, done: IntArray) -> FloatArray:
    """Return the share avoided in every draw, shape (draws,) [-]."""
    return np.array([_share_of(before, after) for before, after in zip(undone, done, strict=True)])


def comparisons_of(
    actions: Sequence[Action], totals: Totals, period: Period, is_calibrated: bool
) -> tuple[Comparison, ...]:
    """Return the comparisons of `PAIRS` whose courses are among the actions."""
    place = {action.key: number for number, action in enumerate(actions)}
    doing = DOING | _put_off(actions)
    return tuple(
        compare(
            better, than, totals.new[place[better], :, :, -1], totals.new[place[than], :, :, -1], period, is_calibrated,
            doing,
        )
        for better, than in PAIRS
        if better in place and than in place
    )  # fmt: skip


def _put_off(actions: Sequence[Action]) -> dict[str, str]:
    """Return by how many weeks the list is put off, in words, where it is and anything is on it."""
    dates = {action.key: action.removal_on[action.taken_out] for action in actions if action.key in (LIST, LATER)}
    if len(dates) < 2 or not len(dates[LATER]):
        return {}
    weeks = round(float((dates[LATER].min() - dates[LIST].min()) / np.timedelta64(7, "D")))
    return {LATER: "a week later" if weeks == 1 else f"{weeks} weeks later"}


def compare(
    better: str, than: str, mine: IntArray, other: IntArray, period: Period, is_calibrated: bool,
    doing: Mapping[str, str] = DOING,
) -> Comparison:  # fmt: skip
    """Return what the members say of two courses; `mine` and `other` are new cases (draws, members)."""
    gain = other - mine
    ratios = np.array(
        [own.sum() / all_.sum() if all_.sum() else 1.0 for own, all_ in zip(mine, other, strict=True)], dtype=np.float64
    )
    if is_calibrated:
        holds, fails = bool((gain > 0).mean() > SURE), bool((gain < 0).mean() > SURE)
        avoided = new_cases(gain)
    else:
        error = gain.std(axis=1, ddof=1 if gain.shape[1] > 1 else 0) / np.sqrt(gain.shape[1])
        seen = ERRORS * error
        holds = bool(np.all((gain.mean(axis=1) > seen) & (gain.mean(axis=1) > 0)))
        fails = bool(np.all((-gain.mean(axis=1) > seen) & (gain.mean(axis=1) < 0)))
        avoided = None
    low, high = float(ratios.min()), float(ratios.max())
    is_same = not gain.any()
    begin = f"{doing[better]} instead of {doing[than]}"
    begin = begin[0].upper() + begin[1:]
    says = _calibrated_words(begin, avoided, holds, fails, is_same, period) if avoided is not None else (
        _relative_words(begin, holds, fails, is_same, low, high, period)
    )  # fmt: skip
    return Comparison(
        better=better, than=than, says=says, holds=holds, fails=fails, ratio_low=low, ratio_high=high, avoided=avoided
    )


def _day(period: Period) -> str:
    """Return the horizon in words."""
    day = period.horizon.astype("datetime64[D]").item()
    return f"{day.day} {day:%B %Y}"


def _calibrated_words(begin: str, avoided: NewCases, holds: bool, fails: bool, is_same: bool, period: Period) -> str:
    """Return a comparison with its numbers."""
    if is_same:
        return f"{begin} makes no difference by {_day(period)} in any member."
    numbers = f"{abs(avoided.expected):.0f} ({_range(avoided, avoided.expected < 0)}) new cases by {_day(period)}"
    verb = "avoids" if avoided.expected >= 0 else "adds"
    if holds or fails:
        return f"{begin} {verb} {numbers}; 90 % of the members lie in the range."
    return f"{begin} {verb} {numbers}: members disagree on whether there is a gain."


def _range(avoided: NewCases, turned: bool) -> str:
    """Return the middle 90 % of a difference, its sign turned where it is told as cases added."""
    low, high = (-avoided.high_90, -avoided.low_90) if turned else (avoided.low_90, avoided.high_90)
    return f"{low:.0f} to {high:.0f}"


def _relative_words(
    begin: str, holds: bool, fails: bool, is_same: bool, low: float, high: float, period: Period
) -> str:
    """Return a comparison in ratios, and over how much of the range it holds."""
    least, most = f"{100 * low:.0f}", f"{100 * high:.0f}"
    left = f"{least} %" if least == most else f"{least} to {most} %"
    if is_same:
        return f"{begin} makes no difference by {_day(period)} over all of the range."
    if holds:
        return f"{begin} leaves {left} of the new cases by {_day(period)}: fewer over all of the range."
    if fails:
        return f"{begin} makes {left} of the new cases by {_day(period)}: more over all of the range."
    return (
        f"{begin} leaves {left} of the new cases by {_day(period)}: whether that is a gain does not hold over all of the "
        "range."
    )
