"""Lets the planner play a small case of the exact solver: state in, move out.

A failed test leaves each hypothesis with the chance that the mends so far have not solved it. The
answers still speak of what was wrong at first, so each hypothesis is split here into what may be
wrong now: rows with the same answers and fewer causes.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable
from functools import cached_property, lru_cache

import numpy as np

from bot.core.choose import AccessStep, Act, Choice, Fix, Problem, choose
from tests.core.exact import Array, Move, SmallAct, SmallCase, State


class Played:
    """One small case as decisions of the planner; `sweep=False` hides which acts are looks."""

    def __init__(self, case: SmallCase, *, sweep: bool = True) -> None:
        self.case = case
        self.sweep = sweep
        self.fixes = tuple(
            Fix(f"fix-{n}", fix.minutes, (n,), fix.holds, self._ids(fix.need), case.proof)
            for n, fix in enumerate(case.fixes)
        )
        self.left_after = lru_cache(maxsize=None)(self._left_after)
        self.choices: dict[State, Choice] = {}

    def _ids(self, need: int) -> frozenset[str]:
        return frozenset(f"step-{bit}" for bit in range(len(self.case.opening)) if need >> bit & 1)

    @cached_property
    def steps(self) -> tuple[AccessStep, ...]:
        prices = zip(self.case.opening, self.case.closing, strict=True)
        return tuple(AccessStep(f"step-{n}", *price) for n, price in enumerate(prices))

    def _left_after(self, mends: tuple[int, ...]) -> tuple[Array, Array, Array, tuple[Act, ...]]:
        """After these mends failed: row's hypothesis, its share, causes still there, all acts."""
        parts = []
        for h, causes in enumerate(self.case.sets):
            for size in range(1, len(causes) + 1):
                for still in itertools.combinations(causes, size):
                    share = np.prod([self._stays(c, mends[c], c in still) for c in causes])
                    if share > 0:
                        parts.append((h, share, still))
        member = np.zeros((len(parts), len(self.fixes)), dtype=bool)
        for row, (_, _, still) in enumerate(parts):
            member[row, list(still)] = True
        hypothesis = np.array([h for h, _, _ in parts])
        acts = tuple(self._act(n, act, hypothesis) for n, act in enumerate(self.case.acts))
        return hypothesis, np.array([share for _, share, _ in parts]), member, acts

    def _stays(self, cause: int, mends: int, still: bool) -> float:
        stays = (1 - self.case.fixes[cause].holds) ** mends
        return stays if still else 1 - stays

    def _act(self, number: int, act: SmallAct, hypothesis: Array) -> Act:
        known = act.likelihood[:-1] / (1 - act.dont_know) if act.dont_know else act.likelihood
        looks = act.looks if self.sweep else ()
        need = self._ids(act.need)
        told = known[:, hypothesis]
        return Act(f"act-{number}", act.minutes, told, need, act.closed_only, act.dont_know, looks=looks)

    def problem(self, state: State, answered: Array) -> Problem:
        """The decision in one state; `answered` (H,) are the weights before the mends count."""
        answers, mends, standing = state
        hypothesis, share, member, acts = self.left_after(mends)
        return Problem(
            member=member,
            weights=answered[hypothesis] * share,
            actions=tuple(act for act, told in zip(acts, answers, strict=True) if told < 0),
            fixes=self.fixes,
            steps=self.steps,
            hand_over=self.case.hand_over,
            proof=self.case.proof,
            open=self._ids(standing),
            remedied=frozenset(c for c, n in enumerate(mends) if n >= self.case.fixes[c].tries),
        )

    def choice(self, state: State, answered: Array) -> Choice:
        """The planner's choice in one state, worked out once."""
        if state not in self.choices:
            self.choices[state] = choose(self.problem(state, answered))
        return self.choices[state]

    def move(self, state: State, answered: Array) -> Move:
        """The planner as a policy of the exact solver."""
        choice = self.choice(state, answered)
        return as_move(choice.kind, choice.ids)


Policy = Callable[[State, Array], Move]


def as_move(kind: str, ids: tuple[str, ...]) -> Move:
    numbers = tuple(int(name.rsplit("-", 1)[1]) for name in ids)
    return {"act": "ask", "sweep": "ask", "fix": "mend", "repair": "mend"}.get(kind, "hand over"), numbers
