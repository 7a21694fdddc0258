"""Plants on a canvas of their own: packed columns in, one script out."""

from __future__ import annotations

import base64
import json
import zlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from branca.element import Figure, MacroElement

from spreadmap.review.frame import PageFigure, Raw, ReviewMap, packed_text
from spreadmap.review.language import Words
from spreadmap.review.markup import script_text, script_value
from spreadmap.values.arrays import FloatArray, TextArray

NO_CLASS = 255
SYNTHETIC_BIT = 128
MICRODEGREE = 1e-6


@dataclass(frozen=True, slots=True)
class Mark:
    """How one status is drawn: `shape` is square, diamond, triangle, dot, ring, cross, plus or speck."""

    status: str
    shape: str
    colour: str
    is_urgent: bool = False


MARKS = (
    Mark("no_host", "speck", "#8d8d8d"),
    Mark("not_found", "plus", "#5a5a5a"),
    Mark("removed", "cross", "#1d1d1d"),
    Mark("not_inspected", "ring", "#6b6b6b"),
    Mark("clean", "dot", "#0072b2"),
    Mark("cosmetic", "bar", "#a3477f"),
    Mark("suspect", "triangle", "#e69f00", is_urgent=True),
    Mark("regrowth", "cross", "#d55e00", is_urgent=True),
    Mark("infected", "square", "#d55e00", is_urgent=True),
)
"""In the order of drawing: the last lies on top. Their words are those of `mark.<status>`."""
UNSEEN = "not_inspected"
"""Plants of this status stand on hatched ground, so that nobody takes them for clean ones."""
WORST_LAST = (
    "no_host", "not_found", "removed", "clean", "cosmetic", "not_inspected", "suspect", "regrowth", "infected"
)  # fmt: skip
"""What a square of many plants shows is the last of these inside it; a plant nobody looked at outweighs clean ones."""
CODE = {mark.status: code for code, mark in enumerate(MARKS)}


def deflated(data: bytes) -> str:
    """Return bytes as base64 of their zlib form, which a browser can unpack by itself."""
    return base64.b64encode(zlib.compress(data, 9)).decode("ascii")


def deflated_json(value: Any) -> str:
    """Return a value as JSON in ASCII, deflated."""
    text = json.dumps(value, ensure_ascii=True, sort_keys=True, separators=(",", ":"))
    return deflated(text.encode("ascii"))


def coded(words: Sequence[str]) -> dict[str, Any]:
    """Return a column of repeated words as a list of different words and one index per row."""
    different, index = np.unique(np.asarray(words, dtype=np.str_), return_inverse=True)
    return {"words": different.tolist(), "index": index.reshape(-1).tolist()}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlantPoints:
    """What the canvas draws, one item per plant of the inventory, and what a click shows.

    `pressure_class` is the position among `class_labels`, or `NO_CLASS`. `key` is the desk's own; `repeated` are
    columns of words that repeat, `sparse` texts of a few rows only, both in the order in which they are shown.
    """

    longitude: FloatArray
    latitude: FloatArray
    status: TextArray
    is_synthetic: np.ndarray
    pressure_class: np.ndarray
    class_labels: tuple[str, ...]
    key: TextArray
    repeated: Mapping[str, TextArray]
    sparse: Mapping[str, Mapping[int, str]]
    rank: Mapping[int, int]
    before: TextArray | None = None
    """The status of every plant at the survey before, in the words of `status`."""
    before_on: str = ""
    """The day of that state, as it is said."""

    def packed(self, say: Words) -> dict[str, Any]:
        """Return columns for the script: numbers and words, each deflated.

        Order of the numbers: longitude and latitude (int32 of 1e-6 degree), row (uint32), status, class (uint8) and,
        where there was a survey before, status then (uint8), each for all plants, in the order of drawing; all
        little-endian.
        """
        code = np.array([CODE[word] for word in self.status], dtype=np.uint8)
        row = np.argsort(code, kind="stable").astype("<u4")
        synthetic = np.where(self.is_synthetic, SYNTHETIC_BIT, 0).astype(np.uint8)
        before = b""
        if self.before is not None:
            then = np.array([CODE[word] for word in self.before], dtype=np.uint8) | synthetic
            before = then[row].tobytes()
        numbers = b"".join(
            (
                np.round(self.longitude[row] / MICRODEGREE).astype("<i4").tobytes(),
                np.round(self.latitude[row] / MICRODEGREE).astype("<i4").tobytes(),
                row.tobytes(),
                (code | synthetic)[row].tobytes(),
                self.pressure_class[row].astype(np.uint8).tobytes(),
                before,
            )
        )
        words = {
            "key": [str(word) for word in self.key],
            "repeated": [[name, coded([str(word) for word in column])] for name, column in self.repeated.items()],
            "sparse": [[name, {str(row): text for row, text in rows.items()}] for name, rows in self.sparse.items()],
        }
        return {
            "count": len(row),
            "numbers": deflated(numbers),
            "words": deflated_json(words),
            "marks": [
                {
                    "shape": mark.shape,
                    "colour": mark.colour,
                    "urgent": mark.is_urgent,
                    "hatched": mark.status == UNSEEN,
                    "label": say(f"mark.{mark.status}"),
                    "weight": WORST_LAST.index(mark.status) + 1,
                }
                for mark in MARKS
            ],
            "beforeOn": self.before_on if self.before is not None else "",
            "classLabels": list(self.class_labels),
            "rank": {str(plant): rank for plant, rank in self.rank.items()},
        }


class PlantsLayer(MacroElement):
    """One canvas for all plants, drawn by `assets/plants.js`."""

    def __init__(self, page: PageFigure, plants: PlantPoints, say: Words) -> None:
        super().__init__()  # type: ignore[no-untyped-call]
        self._name = "Plants"
        page.number(self)
        self.plants = plants
        self.say = say

    def render(self, **kwargs: Any) -> str:
        """Put the script into the page as raw text: no template ever sees what users wrote."""
        figure, parent = self.get_root(), self._parent
        if not isinstance(figure, Figure) or not isinstance(parent, ReviewMap):
            msg = "plants are rendered on a map inside a figure"
            raise TypeError(msg)
        script = script_text(packed_text("assets", "plants.js"))
        call = f"var {self.get_name()} = spreadmapPlants({parent.get_name()}, {script_value(self.plants.packed(self.say))});"
        figure.script.add_child(Raw(f"{script}\n{call}"), name=self.get_name())
        return ""
