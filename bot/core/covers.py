"""Access steps as arrays: what a job must still open, what opening it gives, and what closing takes."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from bot.core.problem import Act, Array, Fix, Flags, Problem


class Covers:
    """The access steps of one problem; a set of them is a row of 0 and 1, (S,)."""

    def __init__(self, problem: Problem) -> None:
        self.at = {step.id: n for n, step in enumerate(problem.steps)}
        self.opening = np.array([step.open for step in problem.steps], dtype=float)
        self.closing = np.array([step.close for step in problem.steps], dtype=float)
        self.both = self.opening + self.closing
        self.after = self._links([step.after for step in problem.steps])
        self.gives = self._links([step.given_by for step in problem.steps]).T
        # With a step open, all it stands on is open too, and so is all that it gives.
        self.implies = _reach(self.after | self.gives).astype(float)
        self._behind = _reach(self.after)
        # Within one job a giver saves a step only if it does not itself stand on that step, and of
        # two that give each other one must be opened.
        mutual = np.tril(self.gives & self.gives.T, -1)
        self._saves = (self.gives & ~self._behind & ~mutual).astype(float)

    def _links(self, lists: Sequence[Iterable[str]]) -> Flags:
        links = np.zeros((len(lists), len(lists)), dtype=bool)
        for n, ids in enumerate(lists):
            for name in ids:
                if name in self.at:
                    links[n, self.at[name]] = True
        return links

    def table(self, jobs: Sequence[Act | Fix]) -> Array:
        """(jobs, S): all steps that each job has to open from closed.

        Raises ValueError for an access that the problem does not have.
        """
        wanted = np.zeros((len(jobs), len(self.at)))
        for n, job in enumerate(jobs):
            if not job.need <= self.at.keys():
                raise ValueError(f"'{job.id}' is behind unknown access {sorted(job.need - self.at.keys())}")
            wanted[n, [self.at[name] for name in job.need]] = 1.0
        behind = wanted @ self._behind > 0
        given = behind.astype(float) @ self._saves > 0
        needs: Array = (behind & ~given).astype(float)
        return needs

    def shut(self, standing: Array) -> Array:
        """1 where a step must still be opened, given what stands open (B, S)."""
        still: Array = 1.0 - (standing @ self.implies > 0)
        return still

    def row(self, ids: Iterable[str]) -> Array:
        """What is open, as 0/1 (S,); steps that this problem does not know need no closing."""
        standing = np.zeros(len(self.at))
        standing[[self.at[name] for name in ids if name in self.at]] = 1.0
        return standing


def _reach(links: Flags) -> Flags:
    """Everything that can be got to over `links`, the start included."""
    reach = links | np.eye(len(links), dtype=bool)
    for _ in range(max(1, len(links)).bit_length()):
        reach = (reach.astype(float) @ reach) > 0
    return reach
