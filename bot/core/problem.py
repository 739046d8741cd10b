"""What the planner is given: one decision as plain arrays, with no flow, text or case in it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Act:
    """A question or check that may be put now, each at most once between two repairs.

    `minutes` holds money and message price already. `outcomes` is (n, H): P(answer | row), every
    column adding up to 1. `lumped` is the outcome that stands for the many rare ones and keeps the
    value that the plan has without an answer. `closed_only`: engine closed up and running.
    `looks` are direct inspections: (cause, chance to find it, false alarm).
    """

    id: str
    minutes: float
    outcomes: Array
    need: frozenset[str] = frozenset()
    closed_only: bool = False
    dont_know: float = 0.0
    lumped: int = -1
    looks: tuple[tuple[int, float, float], ...] = ()


@dataclass(frozen=True)
class Fix:
    """A remedy of one or more causes; each of them that is there goes with chance `holds`.

    `wasted`: minutes that its parts are worth, lost if none of its causes is there. (Parts that are
    needed cost the same at a workshop, so they speak for no plan.)
    `pseudo`: nothing is mended, the causes are harmless and end in a second look ("watch").
    `clears_stop`: doing it lifts the stop that bars running, so its own proof run is allowed.
    `least`: below this chance of its likeliest cause it is not to be done. `unless`: nor while one of
    these causes is likelier than `most`. Both are asked again after each answer that is looked ahead
    to, so a question that would open the way to a remedy is worth what it opens.
    """

    id: str
    minutes: float
    causes: tuple[int, ...]
    holds: float
    need: frozenset[str] = frozenset()
    proof_minutes: float = 0.0
    pseudo: bool = False
    clears_stop: bool = False
    wasted: float = 0.0
    least: float = 0.0
    unless: frozenset[int] = frozenset()
    most: float = 1.0

    @property
    def needs_running(self) -> bool:
        return self.pseudo or self.proof_minutes > 0


@dataclass(frozen=True)
class AccessStep:
    """Something that comes off first; `given_by`: any of these open gives this one too."""

    id: str
    open: float
    close: float
    after: tuple[str, ...] = ()
    given_by: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class Problem:
    """One decision. Minutes everywhere; weights need not add up to 1.

    `member` is (H, C): which causes each row holds now. Two rows may hold the same causes (their
    answers may differ). `empty` is the row where nothing is wrong any more, `unlisted` the row of
    what the flow does not know; -1 where there is none. `remedied`: causes whose remedy is not to
    be offered again. `parked`: the same decision without limits of place, tools and time, given
    only when something was left out for them.
    """

    member: Flags
    weights: Array
    actions: tuple[Act, ...]
    fixes: tuple[Fix, ...]
    steps: tuple[AccessStep, ...]
    hand_over: float
    proof: float
    open: frozenset[str] = frozenset()
    empty: int = -1
    unlisted: int = -1
    remedied: frozenset[int] = field(default_factory=frozenset)
    barred_run: bool = False
    barred_proof: bool = False
    parked: Problem | None = None

    def __post_init__(self) -> None:
        rows = self.member.shape[0]
        if self.weights.shape != (rows,) or not self.weights.sum() > 0:
            raise ValueError("weights must be one number for each row, and not all zero")
        for act in self.actions:
            if act.outcomes.ndim != 2 or act.outcomes.shape[1] != rows:
                raise ValueError(f"outcomes of '{act.id}' do not fit {rows} rows")
        _refuse_twice((step.id for step in self.steps), "access")
        _refuse_twice((cause for fix in self.fixes for cause in fix.causes), "remedied cause")

    @property
    def total(self) -> float:
        return float(self.weights.sum())


def _refuse_twice(names: Iterable[object], what: str) -> None:
    """The leaf plans count each remedy's causes once, so a cause belongs to one remedy only."""
    seen: set[object] = set()
    for name in names:
        if name in seen:
            raise ValueError(f"{what} {name!r} is given twice")
        seen.add(name)
