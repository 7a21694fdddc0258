"""What is known of every plant on one date, from all inspections and the work log."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field, replace

import numpy as np

from spreadmap.values.arrays import BoolArray, TextArray
from spreadmap.values.inventory import Inventory
from spreadmap.values.pest_system import PestSystem
from spreadmap.values.surveys import PlantState, Surveys, WorkLog
from spreadmap.values.words import Evidence, Method, RootsComplete, Status

SEVERITY = {Status.NOT_FOUND: 0, Status.CLEAN: 1, Status.SUSPECT: 2, Status.INFECTED: 3, Status.REMOVED: 4}
"""On one day the higher one is told last and counts: two people who disagree leave the plant in the worse state."""
WORK_DONE, ORDER_REOPENED, SPROUT_SEEN = 5, 6, 7
"""On one day, finished work is told after every inspection, an order opened again and a sprout after the work."""
NO_DAY = np.datetime64("NaT", "D")
WORST_FIRST = (Status.INFECTED, Status.SUSPECT, Status.REMOVED, Status.NOT_FOUND, Status.CLEAN)


@dataclass(slots=True)
class _Life:
    """What was told of one plant so far: its health, and apart from it whether it still stands."""

    health: Status = Status.NOT_INSPECTED
    evidence: str = ""
    health_on: np.datetime64 = NO_DAY
    found_on: np.datetime64 = NO_DAY
    inspected_on: np.datetime64 = NO_DAY
    inspections: int = 0
    gone: Status | None = None
    gone_on: np.datetime64 = NO_DAY
    removed_on: np.datetime64 = NO_DAY
    roots: str = ""
    regrowth: bool = False
    sprout_on: np.datetime64 = NO_DAY
    reopened_on: np.datetime64 = NO_DAY
    seen: Counter[str] = field(default_factory=Counter)

    def look(self, status: Status, evidence: str, tested: bool, day: np.datetime64) -> None:
        """Take in one inspection."""
        if status == Status.REMOVED:
            self.remove("", day)
            return
        self.inspections += 1
        self.inspected_on = day
        if status == Status.NOT_FOUND:
            if self.gone is None:
                self.gone, self.gone_on = status, day
            return
        if self.gone == Status.REMOVED:
            if status in (Status.INFECTED, Status.SUSPECT):
                self.sprout(day)
            self.seen["clean after removal"] += status == Status.CLEAN
            return
        self.gone, self.gone_on = None, NO_DAY
        if status == Status.CLEAN:
            self.look_clean(evidence, tested, day)
        elif status == Status.SUSPECT and self.health != Status.INFECTED:
            self.health, self.evidence, self.health_on = status, evidence, day
        elif status == Status.INFECTED:
            self.confirm(evidence, day)

    def look_clean(self, evidence: str, tested: bool, day: np.datetime64) -> None:
        """Take in an inspection that saw nothing, or a negative test."""
        if self.health == Status.INFECTED:
            if not tested:
                self.seen["confirmed looked clean"] += 1
                return
            if self.evidence == Evidence.LAB:
                self.seen["tests disagree"] += 1
                return
            self.seen["symptoms cleared by a test"] += 1
            self.found_on = NO_DAY
        elif self.health == Status.SUSPECT and not tested:
            self.seen["suspect looked clean"] += 1
            return
        self.health, self.evidence, self.health_on = Status.CLEAN, evidence, day

    def confirm(self, evidence: str, day: np.datetime64) -> None:
        """Take in a confirmation: the first one counts, until a test bears out what rested on symptoms."""
        if np.isnat(self.found_on):
            self.found_on = day
        better = self.health == Status.INFECTED and self.evidence != Evidence.LAB and evidence == Evidence.LAB
        if self.health != Status.INFECTED or better:
            self.health, self.evidence, self.health_on = Status.INFECTED, evidence, day

    def remove(self, roots: str, day: np.datetime64) -> None:
        """Take in a removal; digging out a sprout is one, too."""
        self.gone, self.gone_on, self.removed_on = Status.REMOVED, day, day
        self.roots, self.regrowth, self.reopened_on = roots, False, NO_DAY

    def sprout(self, day: np.datetime64) -> None:
        """Take in that something grows again where the plant was taken out."""
        if self.gone == Status.REMOVED:
            self.regrowth, self.sprout_on = True, day

    def reopen(self, day: np.datetime64) -> None:
        """Take in that the order was opened again: the work on a plant that was taken out is not finished."""
        if self.gone == Status.REMOVED:
            self.reopened_on = day

    @property
    def left_roots(self) -> bool:
        """Return whether a confirmed plant was taken out without all its roots, and nothing grew or was ordered since."""
        is_out = self.gone == Status.REMOVED and not np.isnat(self.found_on)
        some = self.roots in (RootsComplete.PARTLY, RootsComplete.NO)
        return bool(is_out and some and not self.regrowth and np.isnat(self.reopened_on))

    @property
    def status(self) -> tuple[Status, str, np.datetime64]:
        """Return status, what it rests on, and since when."""
        if self.gone is None:
            return self.health, self.evidence, self.health_on
        rests_on = Evidence.WORK_LOG if self.gone == Status.REMOVED else Evidence.VISUAL
        return self.gone, rests_on.value, self.gone_on


def hosts_of(inventory: Inventory, system: PestSystem) -> BoolArray:
    """Return which plants the system can live on, by the genus that begins the host's scientific name, shape (n,)."""
    genera = {genus.casefold() for genus in system.host_genera}
    first = {name: (name.split() or [""])[0].casefold() in genera for name in set(inventory.host.tolist())}
    return np.array([first[name] for name in inventory.host.tolist()], dtype=np.bool_)


def plant_state(
    inventory: Inventory, surveys: Surveys, work_log: WorkLog, system: PestSystem, as_of: np.datetime64
) -> tuple[PlantState, tuple[str, ...]]:
    """Return the state of every plant for one pest system on `as_of`, and sentences about contradictions.

    Parameters
    ----------
    inventory : Inventory, n plants
    surveys : Surveys
        All inspections; those of other systems and those after `as_of` are passed over. An empty `pest_system`
        counts for every system.
    work_log : WorkLog
    system : PestSystem
    as_of : `datetime64[D]`

    Returns
    -------
    PlantState, tuple of str

    Notes
    -----
    Everything is told in the order of the dates; each rule is bound by tests/test_state.py.

    - The later inspection counts; on one day the worse one does.
    - A confirmed plant stays infected when a later look sees nothing: there is no cure, and eyes miss about half.
      Only a negative test clears it, and only where the confirmation rested on symptoms.
    - A suspect is cleared by a negative test; a look that sees nothing leaves it a suspect.
    - A plant taken out stays out. When infected or suspect growth is seen there later, it has regrowth until the
      work log says that this was taken out, too; each sprout begins the checks for regrowth anew. A clean plant seen
      there is a contradiction.
    - An order that is opened again is due again until the work log says that it is done.
    - A plant that was not found does not stand; seen again, it stands with what was known of it before.
    - A plant put in the same place is another plant and needs a key of its own.

    References
    ----------
    None: our choice.
    """
    lives = _tell(inventory, surveys, work_log, system, as_of)
    status = [life.status for life in lives]

    def dates(values: list[np.datetime64]) -> np.ndarray:
        return np.array(values, dtype="datetime64[D]")

    is_host = hosts_of(inventory, system)
    state = PlantState(
        system_key=system.key,
        as_of=as_of,
        status=np.array([word.value for word, _, _ in status], dtype=object),
        evidence=np.array([rests_on for _, rests_on, _ in status], dtype=object),
        status_on=dates([day for _, _, day in status]),
        first_found_on=dates([life.found_on for life in lives]),
        last_inspected_on=dates([life.inspected_on for life in lives]),
        inspections=np.array([life.inspections for life in lives], dtype=np.int64),
        removed_on=dates([life.removed_on if life.gone == Status.REMOVED else NO_DAY for life in lives]),
        roots_complete=np.array([life.roots for life in lives], dtype=object),
        has_regrowth=np.array([life.regrowth for life in lives], dtype=np.bool_),
        is_standing=np.array([life.gone is None for life in lives], dtype=np.bool_),
        is_host=is_host,
        sprout_on=dates([life.sprout_on if life.gone == Status.REMOVED else NO_DAY for life in lives]),
        reopened_on=dates([life.reopened_on if life.gone == Status.REMOVED else NO_DAY for life in lives]),
    )
    undated = int(np.sum(work_log.done & np.isnat(work_log.done_on)))
    return state, _remarks(lives, is_host, undated, system)


def is_inspected_for(surveys: Surveys, system: PestSystem, as_of: np.datetime64) -> bool:
    """Return whether any inspection up to a date is one for this system."""
    asked = np.isin(surveys.pest_system.astype(str), [system.key, ""])
    return bool(np.any(asked & (surveys.inspected_on <= as_of)))


def uninspected_state(state: PlantState, inventory: Inventory, system: PestSystem) -> PlantState:
    """Return the state for a system nobody looked for, from that of another one of the same kind.

    Only the key and the hosts differ: what was taken out was taken out for all of them.
    """
    return replace(state, system_key=system.key, is_host=hosts_of(inventory, system))


def _tell(
    inventory: Inventory, surveys: Surveys, work_log: WorkLog, system: PestSystem, as_of: np.datetime64
) -> list[_Life]:
    """Tell inspections and work in the order of their dates; return what is then known of every plant."""
    lives = [_Life() for _ in range(len(inventory))]
    place = {key: index for index, key in enumerate(inventory.plant_id.tolist())}
    looks = np.flatnonzero((surveys.inspected_on <= as_of) & np.isin(surveys.pest_system.astype(str), [system.key, ""]))
    done = np.flatnonzero(work_log.done & (work_log.done_on <= as_of))
    sprouts = np.flatnonzero(work_log.regrowth_on <= as_of)
    severity = np.array([SEVERITY[Status(word)] for word in surveys.status[looks].tolist()], dtype=np.int64)
    reopened = np.flatnonzero(work_log.reopened_on <= as_of)
    work = ((done, WORK_DONE), (sprouts, SPROUT_SEEN), (reopened, ORDER_REOPENED))
    kind = np.concatenate([severity, *(np.full(len(rows), word) for rows, word in work)])
    day = np.concatenate([
        surveys.inspected_on[looks], work_log.done_on[done], work_log.regrowth_on[sprouts],
        work_log.reopened_on[reopened],
    ])  # fmt: skip
    row = np.concatenate([looks, *(rows for rows, _ in work)])
    for at in np.lexsort((row, kind, day)):
        where = int(row[at])
        table = surveys if kind[at] < WORK_DONE else work_log
        index = place.get(table.plant_id[where])
        if index is None:
            continue
        life = lives[index]
        if kind[at] == WORK_DONE:
            life.remove(work_log.roots_complete[where], day[at])
        elif kind[at] == SPROUT_SEEN:
            life.sprout(day[at])
        elif kind[at] == ORDER_REOPENED:
            life.reopen(day[at])
        else:
            evidence = surveys.evidence[where]
            tested = surveys.method[where] == Method.TEST or evidence == Evidence.LAB
            life.look(Status(surveys.status[where]), evidence, tested, day[at])
    return lives


def _remarks(lives: list[_Life], is_host: BoolArray, undated: int, system: PestSystem) -> tuple[str, ...]:
    """Return sentences about what contradicts itself or is missing in the records of one system."""

    def plants_with(what: str) -> int:
        return sum(life.seen[what] > 0 for life in lives)

    findings = (Status.INFECTED, Status.SUSPECT)
    lost = sum(life.gone == Status.NOT_FOUND and life.health == Status.INFECTED for life in lives)
    stray = sum(life.health in findings and not host for life, host in zip(lives, is_host, strict=True))
    silent = sum(life.gone == Status.REMOVED and life.roots == RootsComplete.UNKNOWN for life in lives)
    counted = (
        (plants_with("confirmed looked clean"), "confirmed plants looked clean later; they stay infected."),
        (
            plants_with("tests disagree"),
            "plants have a negative test after a positive one; they stay infected: test again.",
        ),
        (plants_with("symptoms cleared by a test"), "plants confirmed by symptoms were cleared by a later test."),
        (plants_with("suspect looked clean"), "suspect plants looked clean later; they stay suspect until tested."),
        (
            plants_with("clean after removal"),
            "plants were seen clean after their removal: check the work log, and give a new plant a key of its own.",
        ),
        (lost, "confirmed plants were not found later and no removal is on record: find out where they went."),
        (silent, "removals do not say whether the roots came out complete; they count as complete."),
        (
            sum(life.left_roots for life in lives),
            "removals of confirmed plants left roots in the ground and count as weak sources: look for sprouts, or open the "
            "order again.",
        ),
        (sum(life.regrowth for life in lives), "removed plants show regrowth and count as weak sources."),
        (
            sum(not np.isnat(life.reopened_on) for life in lives),
            "orders were opened again and are not done yet; their plants stand on the list until they are.",
        ),
        (stray, "findings stand on plants that are no known host: check the host."),
        (undated, "finished orders of the work log have no date and are passed over."),
    )
    return tuple(
        f"{system.common_name}, {count} {'case' if count == 1 else 'cases'}: {text}" for count, text in counted if count
    )


def confirmed(state: PlantState) -> BoolArray:
    """Return which plants are confirmed infected and still stand, shape (n,)."""
    return np.asarray((state.status == Status.INFECTED.value) & state.is_standing)


def sprouting(state: PlantState) -> BoolArray:
    """Return which removed plants show regrowth that was not taken out since, shape (n,)."""
    return np.asarray((state.status == Status.REMOVED.value) & state.has_regrowth)


def reopened(state: PlantState) -> BoolArray:
    """Return which removed plants have an order that was opened again, confirmed ones only, shape (n,)."""
    found = ~np.isnat(state.reopened_on) & ~np.isnat(state.first_found_on)
    return np.asarray((state.status == Status.REMOVED.value) & found)


def due_for_removal(state: PlantState) -> BoolArray:
    """Return which plants must come out: confirmed ones that stand, regrowth, and orders opened again, shape (n,)."""
    return confirmed(state) | sprouting(state) | reopened(state)


def weak_remains(state: PlantState) -> BoolArray:
    """Return which removed plants still send: regrowth, or roots of a confirmed plant in the ground, shape (n,).

    An order that was opened again counts as roots left in the ground.

    A plant that was taken out without ever having been confirmed leaves no source behind.
    """
    partly = np.isin(state.roots_complete.astype(str), [RootsComplete.PARTLY.value, RootsComplete.NO.value])
    was_found = ~np.isnat(state.first_found_on)
    removed = np.asarray(state.status == Status.REMOVED.value)
    return np.asarray(removed & ((partly & was_found) | state.has_regrowth)) | reopened(state)


def worst_status(states: list[PlantState], plants: int) -> TextArray:
    """Return the worst status of every plant over all systems, shape (plants,)."""
    words = np.full(plants, Status.NOT_INSPECTED.value, dtype=object)
    for status in reversed(WORST_FIRST):
        for state in states:
            words[state.status == status.value] = status.value
    return words
