"""The arrays that all leaf plans of one problem live on: what mends what, what sees what, behind what."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bot.core.covers import Covers
from bot.core.kept import Kept
from bot.core.problem import Array, Fix, Problem

Whole = NDArray[np.intp]

TINY = 1e-300  # a mass that is nothing, so that it can be divided by


@dataclass(frozen=True, eq=False)
class Rows:
    """Situations to price: what is open (B, S) as 0/1, looks just used (B, any) or -1, and masses.

    `total` and `gone` (nothing wrong any more) are (B,); `chance` and `alone` are the mass in which
    each cause is there, and is there alone, (B, C); `able` (B, remedies) is 1 where a remedy may be done
    and 0 where the chances forbid it; `solves` is what each remedy solves by itself; `work` (B,
    remedies) its minutes with the parts that would be bought for nothing.
    """

    weights: Array
    open: Array
    asked: Whole
    total: Array
    gone: Array
    chance: Array
    alone: Array
    able: Array
    solves: Array
    work: Array


_COVERS: Kept[Covers] = Kept(4)  # the steps of a flow are the same for one bike, whatever is open


class Tables:
    """What can be laid out once for a problem, whatever the rows to be priced."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        self.covers = _COVERS.of((problem.steps,), lambda: Covers(problem))
        self.fixes = tuple(fix for fix in problem.fixes if _may_mend(problem, fix))
        looks = [act for act in problem.actions if act.looks and not act.closed_only]
        self.looks = tuple(looks) if self.fixes else ()
        self.may_prove = problem.empty >= 0 and not (problem.barred_run or problem.barred_proof)
        self.member = problem.member.astype(float)
        self._lay_out_fixes()
        self._lay_out_solved()
        self._lay_out_looks()

    def _lay_out_fixes(self) -> None:
        causes = self.problem.member.shape[1]
        self.fix_of = np.full(causes, -1, dtype=np.intp)
        self.hold = np.zeros(causes)
        for n, fix in enumerate(self.fixes):
            for cause in set(fix.causes) - self.problem.remedied:
                self.fix_of[cause] = n
                self.hold[cause] = fix.holds
        self.work = np.array([fix.minutes for fix in self.fixes], dtype=float)
        self.wasted = np.array([fix.wasted for fix in self.fixes], dtype=float)
        self.proof = np.array([fix.proof_minutes for fix in self.fixes], dtype=float)
        self.fix_needs = self.covers.table(self.fixes)
        self.around = self.proof + self.fix_needs @ self.covers.both  # the run, and the covers from closed
        self.mends = np.zeros((causes, len(self.fixes)))
        known = self.fix_of >= 0
        self.mends[known, self.fix_of[known]] = self.hold[known]
        self.belongs = (self.mends.T > 0).astype(float)  # (remedies, causes)
        self.conditional = [(n, fix) for n, fix in enumerate(self.fixes) if fix.least > 0 or fix.unless]
        # Causes side by side by their remedy, the remedies, and where each one's causes begin.
        causes_of = np.flatnonzero(known)
        self.mendable = causes_of[np.argsort(self.fix_of[known], kind="stable")]
        self.mending, self.starts = np.unique(self.fix_of[self.mendable], return_index=True)

    def _lay_out_solved(self) -> None:
        """Which weights a remedy solves by itself, and which only together with another one."""
        size = self.problem.member.sum(axis=1)
        self.lone = np.flatnonzero(size == 1)
        pairs = np.flatnonzero(size == 2)
        causes = np.nonzero(self.problem.member[pairs])[1].reshape(-1, 2)
        fixes = self.fix_of[causes]
        share = self.hold[causes].prod(axis=1)
        same = (fixes[:, 0] == fixes[:, 1]) & (fixes[:, 0] >= 0)
        self.twins = pairs[same]  # both causes go with one remedy
        self.twin_mends = np.zeros((len(self.twins), len(self.fixes)))
        self.twin_mends[np.arange(len(self.twins)), fixes[same, 0]] = share[same]
        mended = (fixes >= 0).all(axis=1) & ~same
        self._lay_out_pairs(pairs[mended], np.sort(fixes[mended], axis=1), share[mended])

    def _lay_out_pairs(self, rows: Whole, fixes: Whole, share: Array) -> None:
        """For each two remedies the rows they solve together, as wide as the longest list needs.

        Place 0 stands for two remedies that solve nothing together.
        """
        count = len(self.fixes)
        keys, key, often = np.unique(fixes @ [count, 1], return_inverse=True, return_counts=True)
        self.together = np.zeros((count, count), dtype=np.intp)
        first, second = keys // max(count, 1), keys % max(count, 1)
        self.together[first, second] = self.together[second, first] = np.arange(1, len(keys) + 1)
        order = np.argsort(key, kind="stable")
        nth = np.arange(len(key)) - (np.cumsum(often) - often)[key[order]]
        width = int(often.max(initial=0))
        self.pair_rows = np.zeros((width, len(keys) + 1), dtype=np.intp)
        self.pair_share = np.zeros((width, len(keys) + 1))
        self.pair_rows[nth, key[order] + 1] = rows[order]
        self.pair_share[nth, key[order] + 1] = share[order]

    def _lay_out_looks(self) -> None:
        shape = (len(self.looks), self.problem.member.shape[1])
        self.catches, self.alarms = np.zeros(shape), np.zeros(shape)
        for n, act in enumerate(self.looks):
            for cause, catches, alarm in act.looks:
                if self.fix_of[cause] >= 0:
                    self.catches[n, cause] = catches * (1 - act.dont_know)
                    self.alarms[n, cause] = alarm * (1 - act.dont_know)
        self.look_minutes = np.array([act.minutes for act in self.looks], dtype=float)
        self.look_needs = self.covers.table(self.looks)
        if self.looks:
            self._lay_out_sweeps()

    def _lay_out_sweeps(self) -> None:
        """What a sweep pays: minutes of the covers for each look and each cause's remedy, and its own."""
        self.look_work = (self.look_needs * self.covers.both).T
        self.fix_work = (self.fix_needs * self.covers.both)[self.fix_of].T
        self.fix_own = (self.work + self.proof)[self.fix_of]
        self.fix_wasted = self.wasted[self.fix_of]

    def rows(self, weights: Array, standing: Array, asked: Whole) -> Rows:
        """Situations with their masses, worked out once for all plans."""
        total = weights.sum(axis=1)
        gone = weights[:, self.problem.empty] if self.problem.empty >= 0 else np.zeros_like(total)
        alone = weights[:, self.lone] @ self.member[self.lone]
        chance = weights @ self.member
        able = self._able(chance, total)
        solves = (alone @ self.mends + weights[:, self.twins] @ self.twin_mends) * able
        work = self.work + self.wasted * (1 - self._likeliest(chance) / np.maximum(total, TINY)[:, None])
        return Rows(weights, standing, asked, total, gone, chance, alone, able, solves, work)

    def _likeliest(self, chance: Array) -> Array:
        """(B, remedies): mass in which the likeliest cause of each remedy is there."""
        most = np.zeros((len(chance), len(self.fixes)))
        if len(self.mendable):
            most[:, self.mending] = np.maximum.reduceat(chance[:, self.mendable], self.starts, axis=1)
        return most

    def _able(self, chance: Array, total: Array) -> Array:
        """(B, remedies): 1, or 0 where the chances of a row forbid a remedy."""
        able = np.ones((len(total), len(self.fixes)))
        for n, fix in self.conditional:
            if fix.least > 0:
                able[:, n] *= chance[:, list(fix.causes)].max(axis=1) >= fix.least * total
            if fix.unless:
                able[:, n] *= chance[:, sorted(fix.unless)].max(axis=1) <= fix.most * total
        return able

    def joint(self, rows: Rows, one: Whole, other: Whole, only: Whole | None = None) -> Array:
        """Mass that remedies `one` and `other` solve only together; shapes as they broadcast.

        Whether they may be done is not looked at here. `only`: of these rows, all of them without it.
        """
        places = self.together[one, other]
        number = (np.arange(len(rows.weights)) if only is None else only).reshape(-1, 1)
        mass = np.zeros(places.shape)
        for row, share in zip(self.pair_rows, self.pair_share, strict=True):
            mass += rows.weights[number, row[places]] * share[places]
        return mass


def _may_mend(problem: Problem, fix: Fix) -> bool:
    """A remedy counts if something of it is not done yet and its proof may be run."""
    barred = problem.barred_run and fix.needs_running and not fix.clears_stop
    return not barred and not set(fix.causes) <= problem.remedied
