"""Where to look next."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from spreadmap.decisions.looking import Looks, order_by_worth, reached, walk
from spreadmap.decisions.onward import touching_weight
from spreadmap.decisions.places import work_places
from spreadmap.decisions.reasons import chance_words
from spreadmap.dispersal.spread import Spread, unit_density
from spreadmap.engine import Engine
from spreadmap.outbreak.exposure import candidates, ranks
from spreadmap.pressure import pressure_at_points
from spreadmap.records.sources import receiving_weight, receptors_of, size_factor
from spreadmap.values.arrays import BoolArray, FloatArray, IntArray
from spreadmap.values.inventory import Inventory, ScreenSegments, Sources
from spreadmap.values.plan import InspectionList
from spreadmap.values.rates import Rates
from spreadmap.values.results import Exposure, HiddenFirstForm
from spreadmap.values.settings import InspectionSettings, Settings
from spreadmap.values.surveys import PlantState
from spreadmap.values.words import Status

TOUCHING, TO_TEST, OTHER = 0, 1, 2
ONWARD_RTOL = 0.01
"""Error allowed in what plants would send onward [-]: it is multiplied by weights that are known far less well."""
NEVER_DAYS = 365.0
"""How long ago a plant counts as last seen that nobody ever inspected [d]; our choice. Nearer ones are overdue longer."""


def interval_days(hidden: HiddenFirstForm, settings: InspectionSettings) -> IntArray:
    """Return how often each plant is looked at, by its distance from a confirmed plant, shape (n,) [d]."""
    distance = hidden.distance_to_confirmed_m
    return np.where(
        distance <= settings.near_m,
        settings.interval_near_days,
        np.where(distance <= settings.middle_m, settings.interval_middle_days, settings.interval_far_days),
    ).astype(np.int64)


def onward_if_infected(
    inventory: Inventory,
    state: PlantState,
    spread: Spread,
    screens: ScreenSegments,
    settings: Settings,
    engine: Engine,
    healthy: FloatArray | None = None,
    rates: Rates | None = None,
) -> FloatArray:
    """Return what every standing host that is not confirmed would send to healthy ones, shape (n,) [units of pressure].

    To first order: what two plants send to a third adds up. `healthy` is how surely each plant is still healthy, (n,) [-];
    without it suspects alone count in part. With fitted rates, what goes to touching plants by contact comes besides, as
    so much pressure as would bring it about through the air.
    """
    among = np.flatnonzero(candidates(state))
    weight = receiving_weight(inventory, state, settings.sources)
    size = size_factor(inventory, settings.sources)
    if healthy is not None:
        weight = np.where(weight > 0, inventory.susceptibility * size * np.nan_to_num(healthy), 0.0)
    plants = receptors_of(inventory, weight > 0, settings.sources)
    sources = Sources(
        easting=inventory.easting[among],
        northing=inventory.northing[among],
        strength=size[among],
        plant=among,
    )
    sums = pressure_at_points(
        plants,
        sources,
        spread,
        engine,
        screens=screens,
        receptor_weight=weight[weight > 0],
        settings=replace(settings.pressure, rtol=max(settings.pressure.rtol, ONWARD_RTOL)),
    )
    sent = np.zeros(len(among)) if sums.sent is None else sums.sent
    if rates is not None and rates.per_day_m2 > 0:
        touched = touching_weight(sources, plants, weight[weight > 0], settings.inspection.touching_m)
        sent = sent + rates.contact_per_day / rates.per_day_m2 * size[among] * touched
    result = np.zeros(len(inventory))
    result[among] = sent / unit_density(spread.kernel)
    return result


def rank_inspections(
    inventory: Inventory,
    state: PlantState,
    exposure: Exposure,
    hidden: HiddenFirstForm,
    settings: Settings,
    as_of: dt.date,
    next_survey_on: dt.date | None = None,
    *,
    weight: FloatArray | None = None,
    onward: FloatArray | None = None,
    drawn: IntArray | None = None,
    chance: FloatArray | None = None,
    to_test: Sequence[int] = (),
) -> InspectionList:
    """Return the standing hosts that are not confirmed, in the order in which they should be looked at.

    A look is worth the weight of the plant's being hidden times what it would send onward, per person-minute with the
    way to its bed; what the eye notices is the same share for all and moves nobody. Without a weight of its own the
    relative infection pressure stands for it, and plants that touch a confirmed one come first, because contact is not
    part of that. Next come suspects and the plants that a fit alone makes worth taking out, because a test settles them.
    Equal ones keep the order of the inventory.

    Hours of the next survey reach plants drawn at random first, then a share of them those whose interval by distance
    has run out, then those at which a minute is worth most. A plant is due after the interval of its distance, counted
    from its last inspection, and at once where there was none or where a test is to be made. What the hours of the next
    survey reach is due on its day at the latest.

    Parameters
    ----------
    inventory, state : n plants and what is known of them
    exposure, hidden : pressure with its scale run; touching plants and distances
    settings : Settings
    as_of : date
        No plant is due before this day.
    next_survey_on : date, optional
        Day of the next survey.
    weight : array, shape (n,), optional
        How much speaks for each plant's being infected and showing it, in any unit, contact counted. [-]
    onward : array, shape (n,), optional
        What each plant would send to healthy ones, in any unit; the same for all where it is not given. [-]
    drawn : array of positions, optional
        Plants drawn at random.
    chance : array, shape (n,), optional
        Chance of being infected by a fit, to be told; none is told in relative mode. [-]
    to_test : positions
        Plants without a finding that a fit makes worth taking out.

    Returns
    -------
    InspectionList
        `rank_low`, `rank_high`, `rank_holds` compare the order with those of the scale run: in each of these the
        pressures are dealt out anew by the ranks of that run, and weights change as they do.

    References
    ----------
    None: our choice.
    """
    among = candidates(state)
    plants = np.flatnonzero(among)
    look, design = settings.inspection, settings.survey
    survey_on = np.datetime64(as_of if next_survey_on is None else next_survey_on)
    weights = (exposure.pressure if weight is None else np.nan_to_num(weight))[plants]
    sends = np.ones(len(plants)) if onward is None else onward[plants]
    is_tested = (state.status[plants] == Status.SUSPECT.value) | np.isin(plants, np.asarray(to_test, dtype=np.int64))
    group = np.where(is_tested, TO_TEST, OTHER)
    if weight is None:
        group[hidden.is_touching[plants]] = TOUCHING
    looks = Looks(
        worth=weights * sends,
        minutes=np.full(len(plants), look.minutes_per_plant),
        place=work_places(inventory)[0][plants],
        group=group,
        reach_minutes=design.minutes_per_place,
    )
    days = interval_days(hidden, look)[plants]
    last = state.last_inspected_on[plants]
    since = np.where(np.isnat(last), NEVER_DAYS, (survey_on - last).astype(np.float64))
    is_random = np.isin(plants, [] if drawn is None else drawn)
    is_overdue = since >= days
    within = reached(looks, is_random, since / days, 60.0 * look.hours_per_survey, design.overdue_share)
    site = np.unique(inventory.site_id[plants].astype(str), return_inverse=True)[1]
    steps = walk(looks, within, inventory.easting[plants], inventory.northing[plants], site)
    order, added, table = _over_scales(looks, weights, sends, exposure, among)
    reach, today = int(within.sum()), np.datetime64(as_of)
    due = np.where(np.isnat(last), today, np.maximum(last + days.astype("timedelta64[D]"), today))
    due = np.where(is_tested, today, due)
    if next_survey_on is not None:
        due = np.where(within, np.minimum(due, survey_on), due)
    most = float(looks.worth.max(initial=0.0))
    listed = plants[order]
    return InspectionList(
        plant=listed,
        pressure=exposure.pressure[listed],
        is_touching=hidden.is_touching[listed],
        distance_m=hidden.distance_to_confirmed_m[listed],
        interval_days=days[order],
        due_on=due[order],
        person_minutes=looks.minutes,
        within_hours=within[order],
        rank_low=table.min(axis=0),
        rank_high=table.max(axis=0),
        rank_holds=np.all((table <= reach) == (table[0] <= reach), axis=0),
        reason=np.array(
            [
                _reason(state, exposure, hidden, plant, is_asked, chance)
                for plant, is_asked in zip(listed.tolist(), is_tested[order].tolist(), strict=True)
            ],
            dtype=object,
        ),
        worth=100.0 * looks.worth[order] / most if most > 0 else np.zeros(len(order)),
        set_up_minutes=added,
        is_random=is_random[order],
        is_overdue=is_overdue[order],
        walk=steps[order],
    )


def _over_scales(
    looks: Looks, weights: FloatArray, sends: FloatArray, exposure: Exposure, among: BoolArray
) -> tuple[IntArray, FloatArray, IntArray]:
    """Return the order, the minutes for reaching places that each plant adds, and ranks in it and in the scale run."""
    everyone = np.arange(len(looks))
    opened = np.zeros(int(looks.place.max()) + 1 if len(looks) else 0, dtype=np.bool_)
    order, added = order_by_worth(looks, everyone, opened)
    own = ranks(exposure.pressure, among)[among]
    pressure = exposure.pressure[among]
    falling = np.sort(pressure)[::-1]
    table = np.empty((1 + len(exposure.scale_rank), len(looks)), dtype=np.int64)
    table[0, order] = everyone + 1
    for row, scale in zip(table[1:], exposure.scale_rank[:, among], strict=True):
        # Only ranks of that run are known: the pressures of the map are dealt out by them, and weights follow pressures.
        dealt = falling[scale - 1] if len(looks) else pressure
        moved = np.divide(dealt, pressure, out=np.ones(len(looks)), where=(pressure > 0) & (scale != own))
        other, _ = order_by_worth(replace(looks, worth=weights * moved * sends), everyone, opened)
        row[other] = everyone + 1
    return order, added, table[:, order]


def _reason(
    state: PlantState,
    exposure: Exposure,
    hidden: HiddenFirstForm,
    plant: int,
    is_tested: bool,
    chance: FloatArray | None,
) -> str:
    """Return in words why a plant is looked at, with a chance only where a fit gave one."""
    parts = []
    distance, pressure = hidden.distance_to_confirmed_m[plant], exposure.pressure[plant]
    if hidden.is_touching[plant]:
        parts.append("touches a confirmed plant")
    elif np.isfinite(distance):
        parts.append(f"{distance:.0f} m from the nearest confirmed plant")
    if state.status[plant] == Status.SUSPECT.value:
        parts.append(f"suspect on {state.status_on[plant]}, take a sample")
    if chance is not None and np.isfinite(chance[plant]):
        told = f"infected with a chance of {chance_words(float(chance[plant]))} by the fitted model"
        is_asked = is_tested and state.status[plant] != Status.SUSPECT.value
        parts.append(f"no finding, {told}: take a sample" if is_asked else told)
    if state.inspections[plant] == 0:
        parts.append("never inspected")
    if pressure > 0:
        parts.append(f"relative infection pressure {_plain(float(pressure))}")
        wild = exposure.from_reservoirs[plant] / pressure
        if wild >= 0.5:
            parts.append(f"{100 * wild:.0f} % of it from wild stands")
    text = "; ".join(parts)
    return f"{text[:1].upper()}{text[1:]}." if text else "Regular interval."


def _plain(pressure: float) -> str:
    """Return a pressure with two or more digits, never in powers of ten."""
    if pressure < 0.01:
        return "below 0.01"
    return f"{pressure:.2f}" if pressure < 1 else f"{pressure:.1f}" if pressure < 10 else f"{pressure:.0f}"
