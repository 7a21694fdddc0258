"""Days from infection to symptoms of rose rosette, and the curves that were made from them.

- Allington, W. B., Staples, R. & Viehmeyer, G. (1968), J Econ Entomol 61:1132-1140, abstract (read): 30 to 146 days from
  mites to symptoms.
- A trade magazine by a university pathologist, greenhousemag.com/article/rose-rosette-can-fool-you (read): 17 to 279
  days.
- Byrne et al. 2017, poster abstract (read): infections can stay latent for at least 12 months.

That a range is the middle 90 or 95 % of a log-normal is our assumption; medians, spreads and shares are computed from
it (25 digits, beforehand).
"""

import math

import pytest

from spreadmap.biology.latency import (
    SHORTER_LATENCY,
    USUAL_LATENCY,
    Latency,
    day_of_share,
    lognormal_from_range,
    share_showing,
)

ALLINGTON = lognormal_from_range(30.0, 146.0, 0.90)
WIDER = lognormal_from_range(17.0, 279.0, 0.95)


def test_range_of_allington_as_the_middle_nine_tenths():
    assert ALLINGTON.median_d == pytest.approx(66.18, abs=0.005)
    assert ALLINGTON.spread == pytest.approx(0.4810, abs=5e-5)
    assert ALLINGTON.mean_d() == pytest.approx(74.30, abs=0.005)
    later = 1 - share_showing(ALLINGTON, [60.0, 90.0, 180.0, 365.0])
    assert later.tolist() == [
        pytest.approx(0.581, abs=5e-4),
        pytest.approx(0.261, abs=5e-4),
        pytest.approx(0.0188, abs=5e-5),
        pytest.approx(1.9e-4, abs=5e-6),
    ]


def test_the_ends_of_both_ranges_come_back():
    assert day_of_share(ALLINGTON, [0.05, 0.95]) == pytest.approx([30.0, 146.0])
    assert day_of_share(WIDER, [0.025, 0.975]) == pytest.approx([17.0, 279.0])


def test_named_curves_are_the_ranges_rounded():
    assert USUAL_LATENCY.family == SHORTER_LATENCY.family == "lognormal"
    assert USUAL_LATENCY.median_d == round(WIDER.median_d)
    assert SHORTER_LATENCY.median_d == round(ALLINGTON.median_d)
    assert SHORTER_LATENCY.spread == round(ALLINGTON.spread, 2)
    # 0.7139 is carried as 0.71
    assert USUAL_LATENCY.spread == pytest.approx(WIDER.spread, abs=0.005)
    assert day_of_share(USUAL_LATENCY, [0.025, 0.975]) == pytest.approx([17.0, 279.0], rel=0.02)


def test_half_and_nineteen_in_twenty():
    # median, and median exp(1.644854 spread), worked by hand
    assert day_of_share(USUAL_LATENCY, [0.5, 0.95]) == pytest.approx([69.0, 69 * math.exp(1.6448536 * 0.71)], rel=1e-6)
    assert day_of_share(SHORTER_LATENCY, [0.5, 0.95]) == pytest.approx(
        [66.0, 66 * math.exp(1.6448536 * 0.48)], rel=1e-6
    )


def test_a_thin_tail_denies_the_reports_of_a_year_and_a_mixture_does_not():
    thin = 1 - float(share_showing(SHORTER_LATENCY, 365.0))
    assert thin < 3e-4
    # shares of the tail are an assumption: one plant in twenty with a median of a year
    tailed = Latency(
        family="lognormal", median_d=66.0, spread=0.48, tail_share=0.05, tail_median_d=365.0, tail_spread=0.5
    )
    assert 1 - float(share_showing(tailed, 365.0)) == pytest.approx(0.95 * thin + 0.05 / 2)
