"""How common each cause is, once cases have come out: the author's shares, and what was confirmed since.

The model
=========
Of the cases of a flow each has one main fault: one of its causes, or something that is not in the list.
How often each of them is the one is a set of shares that add up to 100. What the author wrote is taken
as `WORTH` cases that came out just so, and every confirmed case counts as one more: a Dirichlet with the
author's shares as its prior. Each share by itself is then Beta(a, b), with a = the cause's cases and b =
all others', the author's among both: its mean, and the middle `LEVEL` of it, are what is shown.

Only how common the causes are is learned so. How often a cause shows a sign stays as the author wrote it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from bot.core.counts import share_below
from bot.core.family import Array
from bot.core.flow import Flow

# Cases of its own with which a club weighs as much as the author. With far fewer, three odd cases would
# turn a trade's experience over; with far more, years of a club's cases would say nothing. A judgement,
# no source.
WORTH = 20.0
LEVEL = 0.95
UNLISTED = ""  # stands among the causes for what is not in the list
LEAST = 0.1  # of 100: nothing is ever taken for impossible
TENTHS = 10  # steps in one of 100: one decimal
HALVINGS = 50  # of the span in which a limit is sought: more change no figure


# --- one share ------------------------------------------------------------------------------


def quantile(chance: float, a: float, b: float) -> float:
    """The x with P(X <= x) = chance, for X ~ Beta(a, b) with a and b above 0; by bisection, within 1e-15."""
    low, high = 0.0, 1.0
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        low, high = (middle, high) if share_below(middle, a, b) < chance else (low, middle)
    return (low + high) / 2


def interval(a: float, b: float, level: float = LEVEL) -> tuple[float, float]:
    """The middle `level` of Beta(a, b)."""
    tail = (1 - level) / 2
    return quantile(tail, a, b), quantile(1 - tail, a, b)


# --- all shares of a flow ---------------------------------------------------------------------


@dataclass(frozen=True)
class Learned:
    """A cause ("": not in the list): its share in the file and here with its limits, of 100; its cases."""

    cause: str
    file: float
    here: float
    low: float
    high: float
    cases: int


def written(flow: Flow) -> dict[str, float]:
    """What the file says of each cause, in its order, and last of what is not in the list; of 100."""
    return {**{id: cause.share for id, cause in flow.causes.items()}, UNLISTED: flow.unlisted.share}


def weights(author: Flow, cases: Mapping[str, int]) -> Array:
    """The author's shares as `WORTH` cases, and the cases that came out; in the author's order."""
    shares = np.array([max(LEAST, share) for share in written(author).values()])
    return np.asarray(WORTH * shares / shares.sum() + [cases.get(id, 0) for id in written(author)])


def learned(
    flow: Flow, author: Flow, cases: Mapping[str, int], causes: Iterable[str] | None = None
) -> tuple[Learned, ...]:
    """What cases say of each cause (or of these), beside the file in use.

    `author`: the flow as its author wrote it, with the same causes; `cases`: confirmed, by cause.
    """
    file, worth = written(flow), weights(author, cases)
    total = float(worth.sum())
    at = dict(zip(written(author), worth.tolist(), strict=True))
    found = []
    for cause in file if causes is None else causes:
        low, high = interval(at[cause], total - at[cause])
        mean = 100 * at[cause] / total
        found.append(Learned(cause, file[cause], mean, 100 * low, 100 * high, cases.get(cause, 0)))
    return tuple(found)


def differing(flow: Flow, author: Flow, cases: Mapping[str, int], most: int) -> tuple[Learned, ...]:
    """The causes whose new share lies farthest from the one in use, the farthest first."""
    file, new = written(flow), shares(author, cases)
    apart = sorted((id for id in file if new[id] != file[id]), key=lambda id: -abs(new[id] - file[id]))
    return learned(flow, author, cases, apart[:most])


# --- new shares -----------------------------------------------------------------------------


def shares(author: Flow, cases: Mapping[str, int]) -> dict[str, float]:
    """The shares to write: of 100 with at most one decimal, together exactly 100, none below `LEAST`."""
    steps = apportioned(weights(author, cases), 100 * TENTHS)
    return {id: step / TENTHS for id, step in zip(written(author), steps, strict=True)}


def apportioned(wanted: Sequence[float] | Array, steps: int, least: int = 1) -> list[int]:
    """Whole steps in proportion to what is wanted, at least `least` each; together `steps`.

    By the divisor method of Sainte-Lague once each has its least, as seats are given to parties: unlike
    plain rounding it adds up, and unlike largest remainders it never takes a step from whose wanted part
    alone has grown (Balinski and Young 1982, Fair Representation). Of two alike the first comes first.
    """
    parts = np.asarray(wanted, dtype=float)
    given = np.full(len(parts), least)
    for _ in range(steps - least * len(parts)):
        given[np.argmax(parts / (given + 0.5))] += 1
    return given.tolist()


def conditional(author: Flow, new: Mapping[str, float]) -> dict[tuple[str, str, str], float]:
    """Every `share_if` (cause, trait, answer), moved along with its cause's share.

    The odds compare causes by share / (100 - share), so what a trait does to that is kept: a share that
    the trait doubles there is doubled still. Rounded as shares are; these need not add up.
    """
    return {
        (id, trait, answer): _moved(share, cause.share, new[id])
        for id, cause in author.causes.items()
        for trait, by_answer in cause.share_if.items()
        for answer, share in by_answer.items()
    }


def _moved(share: float, before: float, after: float) -> float:
    odds = _ratio(share) * _ratio(after) / _ratio(before)
    return min(100 - LEAST, max(LEAST, round(100 * odds / (1 + odds), 1)))


def _ratio(share: float) -> float:
    return share / (100 - share)
