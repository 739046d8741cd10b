"""Sets of causes that are thought possible, and which sets become which when a cause goes or comes."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import combinations
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Numbers = NDArray[np.intp]

LARGEST = 3  # causes in one set once something was mended; never more


@dataclass(frozen=True, eq=False)
class Family:
    """The cause sets that are thought possible.

    `member` is (rows, causes): who is in each set. `unlisted` is the row of "something not in this
    list" or -1. `shares` are the causes' shares, by which the unlisted row shows signs.
    """

    causes: tuple[str, ...]
    member: Flags
    unlisted: int = -1
    shares: tuple[float, ...] = ()
    at: Mapping[str, int] = field(init=False)
    empty: int = field(init=False)  # the row where nothing is wrong, or -1

    def __post_init__(self) -> None:
        object.__setattr__(self, "at", {cause: k for k, cause in enumerate(self.causes)})
        bare = [int(k) for k in np.flatnonzero(~self.member.any(axis=1)) if k != self.unlisted]
        object.__setattr__(self, "empty", bare[0] if bare else -1)
        self.member.flags.writeable = False

    @property
    def rows(self) -> int:
        return int(self.member.shape[0])


def family_of(
    causes: Sequence[str],
    sizes: Iterable[int] = (1, 2),
    alone: frozenset[str] = frozenset(),
    unlisted: bool = False,
    shares: tuple[float, ...] = (),
) -> Family:
    """All sets of the given sizes, smaller sets first. Causes in `alone` join no other cause."""
    sets = [
        picked
        for size in sizes
        for picked in combinations(range(len(causes)), size)
        if size < 2 or not any(causes[k] in alone for k in picked)
    ]
    member = np.zeros((len(sets) + unlisted, len(causes)), dtype=bool)
    for row, picked in enumerate(sets):
        member[row, list(picked)] = True
    return Family(tuple(causes), member, len(sets) if unlisted else -1, shares)


# --- causes that go and come ----------------------------------------------------------------


class Move(NamedTuple):
    """Rows that may lose or gain a cause, and the rows of the (larger) family that they become."""

    family: Family
    source: Numbers
    target: Numbers


def _move(family: Family, source: Numbers, become: Flags) -> Move:
    """The family with the rows of `become` added where they are new; old rows keep their place."""
    at = {row.tobytes(): k for k, row in enumerate(family.member) if k != family.unlisted}
    fresh: list[Flags] = []
    target = np.empty(len(source), dtype=np.intp)
    for n, row in enumerate(become):
        key = row.tobytes()
        if key not in at:
            at[key] = family.rows + len(fresh)
            fresh.append(row)
        target[n] = at[key]
    if not fresh:
        return Move(family, source, target)
    member = np.vstack([family.member, *fresh])
    return Move(Family(family.causes, member, family.unlisted, family.shares), source, target)


@lru_cache(maxsize=128)
def going(family: Family, cause: int) -> Move:
    """Each set that has the cause loses it."""
    source = np.flatnonzero(family.member[:, cause])
    become = family.member[source].copy()
    become[:, cause] = False
    return _move(family, source, become)


@lru_cache(maxsize=128)
def coming(family: Family, cause: int, alone: tuple[int, ...]) -> Move:
    """The cause comes to each set that lacks it and has room.

    A cause that stands alone comes to the empty set only, and gives way to any that joins it.
    """
    stays = family.member.copy()
    stays[:, list(alone)] = False
    able = ~family.member[:, cause]
    able &= ~family.member.any(axis=1) if cause in alone else stays.sum(axis=1) < LARGEST
    if family.unlisted >= 0:
        able[family.unlisted] = False
    source = np.flatnonzero(able)
    become = stays[source]
    become[:, cause] = True
    return _move(family, source, become)
