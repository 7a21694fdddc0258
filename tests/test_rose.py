"""The rose of the wind: a drawing on the page and a picture beside it."""

import io
import re
from dataclasses import replace

import numpy as np
import pytest
from made_results import made_result
from PIL import Image

from spreadmap.review.language import Words
from spreadmap.review.rose import rose_words, wedge, wind_rose, wind_rose_png

EN = Words("en", "metric")


@pytest.fixture(scope="module")
def result():
    return made_result()


def test_a_wedge_points_toward_where_air_moves():
    # sector 0 is north: up on a screen, so y is negative; sector 4 is east
    north = [float(value) for value in re.findall(r"-?\d+\.\d+", wedge(0, 10))]
    assert north[1] < -9
    assert abs(north[0]) < 3
    east = [float(value) for value in re.findall(r"-?\d+\.\d+", wedge(4, 10))]
    assert east[0] > 9
    assert abs(east[1]) < 3


def test_the_rose_names_its_largest_sector_and_the_calm_share(result):
    shares = np.full(16, 0.05)
    shares[12] = 0.21
    drawing = wind_rose(EN, replace(result.systems[0].climate, sector_share=shares, calm_share=0.04))
    assert "most often west (21 %), calm 4 %" in drawing
    assert drawing.count("<path") == 16
    every = np.zeros(16)
    every[8] = 0.5
    both = wind_rose(EN, replace(result.systems[0].climate, sector_share=shares, sector_share_all_hours=every))
    assert both.count('class="fly"') == 16
    assert both.count('class="all"') == 1
    assert "the dashed outline is every hour" in both
    assert "Dashed: all hours, south 50 %" in rose_words(
        EN, replace(result.systems[0].climate, sector_share=shares, sector_share_all_hours=every)
    )


def test_the_picture_of_the_rose_is_the_same_bytes_and_takes_any_title(result):
    climate = replace(
        result.systems[0].climate, sector_share=np.full(16, 0.06), sector_share_all_hours=np.full(16, 0.05)
    )
    picture = wind_rose_png(EN, climate, r"Town $\frac{ & <b>")
    assert picture.startswith(b"\x89PNG")
    assert picture == wind_rose_png(EN, climate, r"Town $\frac{ & <b>")
    with (
        Image.open(io.BytesIO(picture)) as both,
        Image.open(io.BytesIO(wind_rose_png(EN, replace(climate, sector_share_all_hours=np.zeros(16)), "Town"))) as one,
    ):
        assert both.size[0] > 1.5 * one.size[0]
    nothing = replace(climate, sector_share=np.zeros(16), sector_share_all_hours=np.zeros(16))
    assert wind_rose_png(EN, nothing, "Town") == b""
