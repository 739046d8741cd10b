"""One act ahead, or two: every answer of every act priced by the cheapest leaf plan, all at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import permutations

import numpy as np

from bot.core.kept import Kept
from bot.core.leaf import Leaf, price
from bot.core.problem import Act, Array, Problem
from bot.core.tables import Tables, Whole

NOBODY = -1  # no act, in a line of acts

Play = tuple[int, int, int]  # first act, second act, what was answered to the first


class Stack:
    """Row 0 is the situation now; then come, for each act, a row for each answer and one for "don't know".

    `starts`, `sizes`: where the rows of each act are. `lines`: the act that each row was played by.
    """

    def __init__(self, weights: Array, acts: Sequence[Act]) -> None:
        self.sizes = np.array([len(act.outcomes) + 1 for act in acts], dtype=np.intp)
        self.starts = 1 + np.cumsum(self.sizes) - self.sizes
        owner = np.concatenate([[NOBODY], np.repeat(np.arange(len(acts)), self.sizes)])
        self.lines: Whole = np.stack([owner, np.full_like(owner, NOBODY)], axis=1)
        self.weights: Array = np.empty((len(owner), len(weights)))
        self.weights[0] = weights
        for act, start in zip(acts, self.starts, strict=True):
            answer(act, weights, self.weights[start : start + len(act.outcomes) + 1])


class Ground:
    """What of a site is the same whatever stands open on it.

    `rows`: the masses of a stack, with nothing open.
    """

    def __init__(self, problem: Problem, acts: Sequence[Act], stack: Stack) -> None:
        self.tables = Tables(problem)
        covers = self.tables.covers
        # A last row for "no act", so that NOBODY as an index finds it.
        self.needs = np.vstack([covers.table(acts), np.zeros((1, len(covers.at)))])
        self.closes = np.array([act.closed_only for act in acts] + [False], dtype=bool)
        place = {act.id: n for n, act in enumerate(self.tables.looks)}
        self.look_of = np.array([place.get(act.id, NOBODY) for act in acts] + [NOBODY], dtype=np.intp)
        self.own = np.array([act.minutes for act in acts] + [0.0])
        shut = np.zeros((len(stack.lines), len(covers.at)))
        self.rows = self.tables.rows(stack.weights, shut, self.look_of[stack.lines])


# A cover that comes off or goes on moves nothing else of a problem, and between two there is a choice each.
_STACKS: Kept[Stack] = Kept(1)
_GROUNDS: Kept[Ground] = Kept(2)  # here and at home


def _ground(problem: Problem, acts: tuple[Act, ...], stack: Stack) -> Ground:
    parts = (problem.member, problem.actions, problem.fixes, problem.steps, acts, stack)
    plain = (
        problem.hand_over, problem.proof, problem.empty, problem.unlisted, problem.remedied,
        problem.barred_run, problem.barred_proof,
    )  # fmt: skip
    return _GROUNDS.of(parts, lambda: Ground(problem, acts, stack), *plain)


class Site:
    """One problem as it stands, here or at home without limits, on which lines of acts are played.

    A line is one row of (B, 2) act numbers, `NOBODY` where there is none.
    """

    def __init__(self, problem: Problem, acts: tuple[Act, ...], stack: Stack) -> None:
        ground = _ground(problem, acts, stack)
        self.tables, self.needs, self.closes = ground.tables, ground.needs, ground.closes
        self.look_of, self.own, self.rows = ground.look_of, ground.own, ground.rows
        self.covers = self.tables.covers
        self.standing = self.covers.row(problem.open)

    def step(self, standing: Array, act: Whole) -> tuple[Array, Array]:
        """Minutes of one more act of each row, and what then stands open; (B,) and (B, S)."""
        opened = self.needs[act] * self.covers.shut(standing)
        closes = self.closes[act]
        pays = np.where(closes, standing @ self.covers.closing, opened @ self.covers.opening)
        after = np.where(closes[:, None], 0.0, np.maximum(standing, opened))
        return pays + self.own[act], after

    def leaf(self, weights: Array, lines: Whole) -> Leaf:
        """Leaf plans of rows (B, H) after these lines of acts."""
        rows = self.tables.rows(weights, self._after(lines), self.look_of[lines])
        return price(self.tables, rows)

    def leaf_of(self, stack: Stack) -> Leaf:
        """Leaf plans of the stack that the site was made for."""
        return price(self.tables, replace(self.rows, open=self._after(stack.lines)))

    def _after(self, lines: Whole) -> Array:
        """What stands open after these lines of acts, (B, S)."""
        standing = np.broadcast_to(self.standing, (len(lines), len(self.standing)))
        for act in lines.T:
            standing = self.step(standing, act)[1]
        return standing

    def costs(self, acts: Whole) -> tuple[Array, Array]:
        """Minutes to pay for each act now, and what it adds in the end, closing included."""
        standing = np.broadcast_to(self.standing, (len(acts), len(self.standing)))
        pays, after = self.step(standing, acts)
        return pays, pays + (after - standing) @ self.covers.closing


class Ahead:
    """All acts of one decision, played one step and, if asked for, two steps ahead.

    `leaves` are the plans of the rows of a `Stack`, here and, where limits left something out, at home.
    """

    def __init__(self, problem: Problem, acts: tuple[Act, ...]) -> None:
        self.acts = acts
        self.weights = problem.weights / problem.total
        stack = _STACKS.of((problem.weights, acts), lambda: Stack(self.weights, acts))
        homes = [problem] if problem.parked is None else [problem, problem.parked]
        self.sites = [Site(home, acts, stack) for home in homes]
        self.sizes, self.starts = stack.sizes, stack.starts
        self.leaves = [site.leaf_of(stack) for site in self.sites]
        self.values = _cheapest(self.leaves)

    def gains(self) -> list[tuple[float, float]]:
        """Net gain of each act against the best leaf plan now, and what it costs in all."""
        pays, costs = self.sites[0].costs(np.arange(len(self.acts)))
        gains = []
        for n, act in enumerate(self.acts):
            values = self.values[self.starts[n] : self.starts[n] + self.sizes[n]]
            lumped = float(act.outcomes[act.lumped] @ self.weights) if act.lumped >= 0 else 0.0
            net = float(self.values[0] - pays[n]) - expected(act, values, lumped)
            gains.append((net, float(costs[n])))
        return gains

    def pair_nets(self, short: Sequence[int]) -> list[float]:
        """Net gain of each act of a short list when another one of the list may follow it."""
        pays, _ = self.sites[0].costs(np.array(short, dtype=np.intp))
        followed = self._followed(short)
        nets = []
        for n, pay in zip(short, pays, strict=True):
            values = self.values[self.starts[n] : self.starts[n] + self.sizes[n]]
            best = np.minimum(values, followed[n])
            nets.append(float(self.values[0] - pay) - expected(self.acts[n], best, 0.0))
        return nets

    def _followed(self, short: Sequence[int]) -> dict[int, Array]:
        """For each first act, the price after each of its answers if the best second one follows."""
        followed = {one: np.full(self.sizes[one], np.inf) for one in short}
        plays = [(one, two, told) for one, two in permutations(short, 2) for told in range(self.sizes[one])]
        if not plays:
            return followed
        ends = np.cumsum([self.sizes[two] for _, two, _ in plays])
        stacked, lines = self._second_rows(plays, ends)
        values = _cheapest([site.leaf(stacked, lines) for site in self.sites])
        pays = self._second_pays(plays)
        for (one, two, told), end, pay in zip(plays, ends, pays, strict=True):
            mass = float(stacked[end - 1].sum())
            cost = mass * float(pay) + expected(self.acts[two], values[end - self.sizes[two] : end], 0.0)
            followed[one][told] = min(followed[one][told], cost)
        return followed

    def _second_rows(self, plays: Sequence[Play], ends: Whole) -> tuple[Array, Whole]:
        """Weights after each answer to the second act, and the line of acts of each row."""
        stacked = np.empty((int(ends[-1]), len(self.weights)))
        for (one, two, told), end in zip(plays, ends, strict=True):
            outcomes = self.acts[one].outcomes
            weights = self.weights * outcomes[told] if told < len(outcomes) else self.weights
            answer(self.acts[two], weights, stacked[end - self.sizes[two] : end])
        pairs = np.array([(one, two) for one, two, _ in plays], dtype=np.intp)
        return stacked, np.repeat(pairs, np.diff(ends, prepend=0), axis=0)

    def _second_pays(self, plays: Sequence[Play]) -> Array:
        site = self.sites[0]
        standing = np.broadcast_to(site.standing, (len(plays), len(site.standing)))
        _, after = site.step(standing, np.array([one for one, _, _ in plays]))
        return site.step(after, np.array([two for _, two, _ in plays]))[0]

    def behind_open(self) -> frozenset[str]:
        """Acts behind something that stands open, with nothing more to open for them."""
        site = self.sites[0]
        shut = site.covers.shut(site.standing[None])[0]
        near = zip(self.acts, site.needs[:-1], strict=True)
        return frozenset(act.id for act, need in near if need.any() and not (need * shut).any())


def answer(act: Act, weights: Array, into: Array) -> None:
    """The weights after each answer of an act, and after "don't know" in the last row."""
    np.multiply(act.outcomes, weights, out=into[:-1])
    into[-1] = weights


def expected(act: Act, values: Array, lumped: float) -> float:
    """What is to be expected after an act, from the values of its answers, "don't know" last.

    Rare answers that were lumped keep the value of "don't know", by the mass `lumped` they hold.
    """
    unsure = float(values[-1])
    answered = float(values[:-1].sum())
    if act.lumped >= 0:
        answered += unsure * lumped - float(values[act.lumped])
    return (1 - act.dont_know) * answered + act.dont_know * unsure


def _cheapest(leaves: Sequence[Leaf]) -> Array:
    """The cheapest of all plans, here or at home."""
    best: Array = np.min([leaf.best for leaf in leaves], axis=0)
    return best
