"""Fits put down in a few words: draws that are all alike, or given one by one, and the states that go with them."""

import datetime as dt
from collections import Counter

import numpy as np

from spreadmap.values.fit import FitDraws, FitStates, HistoryFit


def states_of(*draws):
    """Return states from one {plant_id: day of infection} for each draw, which are all iterations there were."""
    keys = sorted({key for draw in draws for key in draw})
    rows = [(keys.index(key), day) for draw in draws for key, day in sorted(draw.items())]
    often = Counter(rows)
    return FitStates(
        plant_id=np.array(keys, dtype=object),
        first=np.concatenate([[0], np.cumsum([len(draw) for draw in draws])]),
        plant=np.array([plant for plant, _ in rows], dtype=np.int64),
        infected_on=np.array([day for _, day in rows], dtype="datetime64[D]"),
        share_plant=np.array([plant for plant, _ in often], dtype=np.int64),
        share_from=np.array([day for _, day in often], dtype="datetime64[D]") - np.timedelta64(3, "D"),
        share=np.array([count / len(draws) for count in often.values()]),
    )


def fit_with(states, ends_on, as_of, *, rate=1.0, contact=0.0, background=1e-9, scale=1.0, ends_at=0.0, **more):
    """Return an accepted fit with these states, the law of the settings times `scale`, and no wind of its own."""
    n = len(states)

    def column(value):
        return np.broadcast_to(np.asarray(value, dtype=float), n)

    draws = FitDraws(
        chain=np.zeros(n, dtype=int), rate_per_day_m2=column(rate), scale_factor=column(scale), wind_east=column(0),
        wind_north=column(0), background_per_day=column(background), contact_per_day=column(contact),
        shape_factor=column(1), began_days_before=column(100), infected=column(1), introduced=column(1), outside=column(0),
    )  # fmt: skip
    given = {
        "system_key": "rose_rosette", "as_of": dt.date.fromisoformat(as_of), "first_look": dt.date(2025, 1, 1),
        "last_look": dt.date.fromisoformat(as_of), "ends_on": dt.date.fromisoformat(ends_on), "ends_at": ends_at,
        "mode": "random", "iterations": 10**9, "noticed": 1, "new_cases": 30, "tracked": 10, "neglected": 0.0,
        "draws": draws, "states": states, "estimates": (), "accepted": True,
    }  # fmt: skip
    return HistoryFit(**(given | more))
