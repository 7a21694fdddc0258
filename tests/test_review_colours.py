"""Colours of the page: far enough apart for eyes that see fewer of them, and on grey paper.

Eyes without one kind of cone are simulated in linear RGB with the matrices of Machado, Oliveira and Fernandes 2009,
A physiologically-based model for simulation of color vision deficiency, IEEE Transactions on Visualization and Computer
Graphics 15(6), 1291-1298, doi 10.1109/TVCG.2009.113, for severity 1.0; the digits are those that later works repeat.
Distances are those of CIELAB, 1976, with white D65; sRGB and CIELAB after IEC 61966-2-1 and CIE 15. About 2.3 is just
noticed; 10 is another colour at a glance.
"""

from itertools import combinations, pairwise

import numpy as np
import pytest
from made_page import made_rasters
from made_results import made_result

from spreadmap.review.plants_layer import MARKS

EYES = {
    "all": np.eye(3),
    "protan": np.array([
        [0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]
    ]),
    "deutan": np.array([
        [0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]
    ]),
    "tritan": np.array([
        [1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]
    ]),
}  # fmt: skip
TO_XYZ = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
WHITE = np.array([0.95047, 1.0, 1.08883])
SAME_GLANCE = 10.0
PAPER = "#e9e9e5"


def linear(colour: str) -> np.ndarray:
    """Return a colour in linear RGB, 0 to 1."""
    value = np.array([int(colour[at : at + 2], 16) for at in (1, 3, 5)]) / 255
    return np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)


def lab(rgb: np.ndarray) -> np.ndarray:
    """Return linear RGB in CIELAB."""
    share = TO_XYZ @ np.clip(rgb, 0, 1) / WHITE
    bent = np.where(share > (6 / 29) ** 3, np.cbrt(share), share / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * bent[1] - 16, 500 * (bent[0] - bent[1]), 200 * (bent[1] - bent[2])])


def apart(first: str, second: str, eyes: str) -> float:
    """Return the distance of two colours as some eyes see them."""
    see = EYES[eyes]
    return float(np.linalg.norm(lab(see @ linear(first)) - lab(see @ linear(second))))


def lightness(colour: str) -> float:
    return float(lab(linear(colour))[0])


def over(colour: str, share: float = 0.55, paper: str = PAPER) -> str:
    """Return a colour laid over the ground of the map as thinly as the surface is."""
    parts = [
        round(share * int(colour[at : at + 2], 16) + (1 - share) * int(paper[at : at + 2], 16)) for at in (1, 3, 5)
    ]
    return "#" + "".join(f"{part:02x}" for part in parts)


def test_the_measure_is_that_of_published_colours():
    # white and black are 100 apart; sRGB red is L 53.24, a 80.09, b 67.20 (CIELAB, D65)
    assert apart("#ffffff", "#000000", "all") == pytest.approx(100, abs=0.05)
    assert lab(linear("#ff0000")) == pytest.approx([53.24, 80.09, 67.20], abs=0.05)
    # each matrix leaves grey grey
    for eyes, matrix in EYES.items():
        assert matrix.sum(axis=1) == pytest.approx(np.ones(3), abs=2e-6), eyes


@pytest.mark.parametrize("eyes", EYES)
def test_marks_differ_in_shape_or_at_a_glance_in_colour(eyes):
    for first, second in combinations(MARKS, 2):
        if first.shape == second.shape:
            assert apart(first.colour, second.colour, eyes) >= SAME_GLANCE, (first.status, second.status)


@pytest.mark.parametrize("eyes", EYES)
def test_what_must_come_out_never_looks_like_what_is_clean(eyes):
    colour = {mark.status: mark.colour for mark in MARKS}
    assert len({mark.shape for mark in MARKS if mark.status in {"infected", "suspect", "clean"}}) == 3
    for first, second in combinations(("infected", "suspect", "clean"), 2):
        # confirmed and suspect, vermilion and orange, come nearest: 18.3 without the green cone
        assert apart(colour[first], colour[second], eyes) >= 1.5 * SAME_GLANCE


def test_on_grey_paper_marks_of_one_shape_differ_in_lightness():
    for first, second in combinations(MARKS, 2):
        if first.shape == second.shape:
            assert abs(lightness(first.colour) - lightness(second.colour)) >= 10, (first.status, second.status)


def test_marks_stand_off_the_ground():
    for mark in MARKS:
        assert abs(lightness(mark.colour) - lightness(PAPER)) >= 20, mark.status


def surface_colours() -> list[str]:
    raster = next(iter(made_rasters(made_result()).values()))
    return [over(entry.colour) for entry in raster.classes[1:]]


@pytest.mark.parametrize("eyes", EYES)
def test_neighbouring_classes_of_the_surface_differ_and_darken_upward(eyes):
    see = EYES[eyes]
    colours = [PAPER, *surface_colours()]
    light = [lab(see @ linear(colour))[0] for colour in colours]
    assert (np.diff(light) < -3).all(), light
    for first, second in pairwise(colours):
        assert apart(first, second, eyes) >= 5
