"""A pest system: which mite (and pathogen) on which hosts, when, and what the finding justifies."""

from __future__ import annotations

from dataclasses import dataclass

from spreadmap.values.words import Verdict


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """A window of the season, as first and last (month, day) of an ordinary year, with what it is for."""

    name: str
    begins: tuple[int, int]
    ends: tuple[int, int]
    advice: str
    status: str
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PestSystem:
    """One pest system, read from one TOML file.

    `host_genera` are genus names. `flight_weight` has twelve numbers, January first: relative numbers of mites in
    the air [-]. `look_alikes` are pairs "what it may be: how to tell". `verdict_reason` is one sentence.
    """

    key: str
    common_name: str
    scientific_name: str
    eppo_code: str
    pathogen: str
    vector: str
    host_genera: tuple[str, ...]
    symptom_words: tuple[str, ...]
    verdict: Verdict
    verdict_reason: str
    flight_weight: tuple[float, ...]
    flight_weight_status: str
    flight_weight_source: str
    windows: tuple[Window, ...]
    look_alikes: tuple[str, ...]
    caution: str
    sources: tuple[str, ...]

    def __post_init__(self) -> None:
        """Check the twelve monthly weights."""
        if len(self.flight_weight) != 12 or min(self.flight_weight) < 0:
            msg = f"{self.key}: flight_weight needs twelve numbers, none below zero"
            raise ValueError(msg)

    @property
    def is_mapped(self) -> bool:
        """Return whether this system gets maps and a removal list: only where whole plants come out with roots."""
        return self.verdict is Verdict.REMOVE_WITH_ROOTS
