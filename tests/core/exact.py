"""Exact solver of small troubleshooting problems, and exact price of any policy on them.

For tests and benchmarks only; it shares no code with the planner.

Model. Hypotheses are sets of causes with weights. An act (question or look) has a likelihood for
each outcome, "don't know" being one of them. A remedy session mends some causes, closes the bike
and tests it; it succeeds if every cause that is there was mended and every mend held. Hand-over
ends the job at any time. A state is (answer of each act or none, how often each cause was mended,
what stands open).

Backward induction runs on *unnormalised* values, mass times price, so nothing is divided:

    U(s) = min over  mass * (hand-over + closing),
                     mass * cost of act + sum over outcomes U(s + outcome),
                     mass * cost of session + U(s + mended, closed)

where mass(s) = sum of weight * likelihood of all answers * (1 - chance that the mends so far
solved it). After a failed test only the *numbers* of mends matter, not their order. All states
with the same acts asked stand in one array (outcome of 1st act asked, outcome of 2nd, ..., mends,
open set), so the induction goes over the sets of acts, largest first.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
State = tuple[tuple[int, ...], tuple[int, ...], int]  # answers (-1: not asked), mends, open bits
Move = tuple[str, tuple[int, ...]]  # ("ask", (act,)) | ("mend", causes) | ("hand over", ())


@dataclass(frozen=True)
class SmallAct:
    """`likelihood` (outcomes, H) adds up to 1 over outcomes; `need` are access bits, parents in.

    With `dont_know` over 0 the last outcome is "don't know", of that chance whatever is wrong.
    `looks` (cause, catches, false alarm) say the same once more, for planners that want to know.
    """

    minutes: float
    likelihood: Array
    need: int = 0
    closed_only: bool = False
    dont_know: float = 0.0
    looks: tuple[tuple[int, float, float], ...] = ()


@dataclass(frozen=True)
class SmallFix:
    """Mends one cause; `holds` is the chance that it takes; `tries` how often it may be done."""

    minutes: float
    holds: float = 1.0
    need: int = 0
    tries: int = 1


@dataclass(frozen=True)
class SmallCase:
    """`sets` are the hypotheses as tuples of causes; cause c is mended by `fixes[c]`.

    `session`: most causes mended between two tests (0: any number). `test_open`: a mend shows at
    once whether it helped, with nothing closed (the assumption under which a simple order is best).
    """

    sets: tuple[tuple[int, ...], ...]
    weights: Array
    acts: tuple[SmallAct, ...]
    fixes: tuple[SmallFix, ...]
    opening: tuple[float, ...] = ()
    closing: tuple[float, ...] = ()
    hand_over: float = 1e6
    proof: float = 0.0
    session: int = 0
    test_open: bool = False

    def bits(self, mask: int, prices: tuple[float, ...]) -> float:
        return sum(price for bit, price in enumerate(prices) if mask >> bit & 1)

    def to_open(self, need: int, standing: int) -> float:
        return self.bits(need & ~standing, self.opening)

    def to_close(self, standing: int) -> float:
        return self.bits(standing, self.closing)

    @cached_property
    def stands(self) -> tuple[int, ...]:
        """Every set of access that can stand open, 0 first."""
        found = {0}
        for job in (*self.acts, *self.fixes):
            found |= {standing | job.need for standing in found}
        return tuple(sorted(found))

    @cached_property
    def mends(self) -> tuple[tuple[int, ...], ...]:
        """Every number of mends of each cause, least first."""
        return tuple(itertools.product(*(range(fix.tries + 1) for fix in self.fixes)))

    @cached_property
    def sessions(self) -> tuple[tuple[int, ...], ...]:
        """Every choice of causes for one session."""
        most = self.session or len(self.fixes)
        causes = range(len(self.fixes))
        return tuple(s for size in range(1, most + 1) for s in itertools.combinations(causes, size))

    @cached_property
    def unsolved(self) -> Array:
        """(mends, H): chance that the mends so far have not solved it."""
        table = np.empty((len(self.mends), len(self.sets)))
        for m, mends in enumerate(self.mends):
            gone = [1 - (1 - fix.holds) ** n for fix, n in zip(self.fixes, mends, strict=True)]
            table[m] = [1 - np.prod([gone[cause] for cause in causes]) for causes in self.sets]
        return table

    def mend(self, causes: tuple[int, ...], standing: int) -> tuple[float, int]:
        """Minutes of a session and what stands open after it."""
        need = 0
        for cause in causes:
            need |= self.fixes[cause].need
        minutes = sum(self.fixes[cause].minutes for cause in causes) + self.to_open(need, standing)
        if self.test_open:
            return minutes + self.proof, standing | need
        return minutes + self.to_close(standing | need) + self.proof, 0

    def ask(self, act: int, standing: int) -> tuple[float, int]:
        """Minutes of an act and what stands open after it."""
        job = self.acts[act]
        if job.closed_only:
            return job.minutes + self.to_close(standing), 0
        return job.minutes + self.to_open(job.need, standing), standing | job.need

    @cached_property
    def states(self) -> int:
        """How many states the induction visits."""
        answers = int(np.prod([len(act.likelihood) + 1 for act in self.acts], dtype=float))
        return answers * len(self.mends) * len(self.stands)


class _Induction:
    """Tables that do not depend on the answers, and one step of the induction."""

    def __init__(self, case: SmallCase) -> None:
        self.case = case
        place = {standing: n for n, standing in enumerate(case.stands)}
        self.closing = np.array([case.to_close(standing) for standing in case.stands])
        asks = [[case.ask(act, o) for o in case.stands] for act in range(len(case.acts))]
        self.ask_minutes = [np.array([minutes for minutes, _ in ask]) for ask in asks]
        self.ask_next = [np.array([place[after] for _, after in ask]) for ask in asks]
        mends = [[case.mend(causes, o) for o in case.stands] for causes in case.sessions]
        self.mend_minutes = [np.array([minutes for minutes, _ in mend]) for mend in mends]
        self.mend_next = [np.array([place[after] for _, after in mend]) for mend in mends]
        self.number = {mends: n for n, mends in enumerate(case.mends)}

    def mass(self, asked: tuple[int, ...]) -> Array:
        """(outcome of each act asked..., mends)."""
        weights = self.case.weights
        for act in asked:
            weights = weights[..., None, :] * self.case.acts[act].likelihood
        mass: Array = weights @ self.case.unsolved.T
        return mass

    def values(self, asked: tuple[int, ...], above: Mapping[tuple[int, ...], Array]) -> Array:
        """(outcomes..., mends, open sets) from the tables with one act more."""
        case, mass = self.case, self.mass(asked)
        values: Array = mass[..., None] * (case.hand_over + self.closing)
        for act in set(range(len(case.acts))) - set(asked):
            more = tuple(sorted((*asked, act)))
            answered = above[more].sum(axis=more.index(act))[..., self.ask_next[act]]
            np.minimum(values, mass[..., None] * self.ask_minutes[act] + answered, out=values)
        for mends in reversed(case.mends):
            self._mend(values, mass, mends)
        return values

    def _mend(self, values: Array, mass: Array, mends: tuple[int, ...]) -> None:
        here = self.number[mends]
        tries = [fix.tries for fix in self.case.fixes]
        for n, causes in enumerate(self.case.sessions):
            if any(mends[cause] >= tries[cause] for cause in causes):
                continue
            after = self.number[tuple(m + (c in causes) for c, m in enumerate(mends))]
            price = mass[..., here, None] * self.mend_minutes[n]
            price += values[..., after, :][..., self.mend_next[n]]
            np.minimum(values[..., here, :], price, out=values[..., here, :])


def solve(case: SmallCase) -> float:
    """Least expected minutes from the start, nothing open and nothing asked."""
    induction = _Induction(case)
    acts = range(len(case.acts))
    above: dict[tuple[int, ...], Array] = {}
    for size in range(len(case.acts), -1, -1):
        above = {asked: induction.values(asked, above) for asked in itertools.combinations(acts, size)}
    return float(above[()][0, 0]) / float(case.weights.sum())


def price_of(
    case: SmallCase, policy: Callable[[State, Array], Move], lightest: float = 0.0
) -> tuple[float, int]:
    """Exact expected minutes of a policy, and how many states it was asked in.

    `policy` gets the state and the weights (H,) that the answers leave, failed mends not counted.
    Branches whose chance is under `lightest` are charged hand-over and closing.
    """
    total = float(case.weights.sum())
    number = {mends: n for n, mends in enumerate(case.mends)}
    memo: dict[State, float] = {}

    def value(state: State, answered: Array) -> float:
        if state not in memo:
            memo[state] = _priced(state, answered)
        return memo[state]

    def _priced(state: State, answered: Array) -> float:
        answers, mends, standing = state
        mass = float(answered @ case.unsolved[number[mends]])
        kind, ids = policy(state, answered) if mass > lightest * total else ("hand over", ())
        if kind == "hand over":
            return mass * (case.hand_over + case.to_close(standing))
        if kind == "mend":
            minutes, after = case.mend(ids, standing)
            done = tuple(m + (c in ids) for c, m in enumerate(mends))
            return mass * minutes + value((answers, done, after), answered)
        minutes, after = case.ask(ids[0], standing)
        assert answers[ids[0]] < 0, "an act was put twice"
        rest = 0.0
        for outcome, likelihood in enumerate(case.acts[ids[0]].likelihood):
            told = (*answers[: ids[0]], outcome, *answers[ids[0] + 1 :])
            rest += value((told, mends, after), answered * likelihood)
        return mass * minutes + rest

    start: State = ((-1,) * len(case.acts), (0,) * len(case.fixes), 0)
    return value(start, case.weights) / total, len(memo)
