"""What is wrong now, with what probability: prior, answers, repairs and running time as one filter.

The model
=========
**Rows.** A row is a set of causes that are all there at once: one cause, or two; one more row is
"something not in this list" (`unlisted`), always by itself. Sets of three or more are left out of
the prior: with six in a hundred cases having two faults they are too rare to change an answer, and
what the limit costs is measured in the tests. Within these rows everything is exact: no sampling,
no single-fault shortcut, one weight a row.

**Before any answer.** `share` says of how many in 100 cases a cause is the main fault, which fixes
how the causes compare, r = share / (100 - share), but not how often two come together. One number
L scales them all: a set weighs the product of L*r over its causes. `paired` says how many cases
have two faults, and since the sets of one weigh L*A in all and the sets of two L*L*B,

    L*L*B / (L*A + L*L*B) = p     gives     L = p / (1 - p) * A / B.

L belongs to the flow. What is known of a bike drops the causes it excludes and may change a share,
but not L: a bike without a starter clutch does not have two faults more often for that.

**Answers.** A sign is shown by a set unless the background and every cause in the set fail to show
it (noisy-or; for a graded sign the highest step that anything reaches, noisy-max). Links are net:
"with only this wrong, how often do you see it?". An answer is a claim on some signs, and every
question is turned into true probabilities over its answers for each row (see `chances.py`), so that
an expected value over answers is a real expectation. Nothing is ever quite 0 or 1: one wrong answer
must not rule a cause out for ever. What is not in the list shows signs as the listed causes do on
average, by share; it neither wins by luck nor dies by background, and no look finds or clears it.

**One sign, one value** (see `evidence.py`). Two questions about one sign are one observation. Within
a slice, from one repair to the next, the better word wins and the other is kept without a voice.

**Repairs.** The weights are of what is wrong *now*, and a repair is a step on them. A cause that
the remedy mends goes from each set that has it with chance `holds`; what the work may leave behind
comes to each set that lacks it; the empty set, nothing wrong any more, becomes a row. Answers given
before have already acted and are not applied again: they were about the bike as it was. Answers
after it act on the rows as they are then. So "the noise is gone" speaks for the empty set, a new
noise speaks for what the work left, and a clean second look for the repair, all by the same sums.
The chance that the fault is gone is the weight of the empty set.

What gathers while the engine runs (pieces in the oil: `gathers` of a sign) says the less the shorter
the run was: a clean look after twenty minutes hardly speaks for the repair, clean hours do. All its
chances are taken over the hours since the last look for it, by the rate model (see `chances.Rows`).
Where this bike's own pieces were counted before the repair, its own rate takes the place of that of
bikes at large, for the sets in which what was mended is there again (see `shedding.py`).

While it runs after a repair, the redone joint may come loose: with `comes_back` = p in ten hours,
each set lacking the mended cause gets it with 1 - (1 - p) ** (hours / 10). Where one remedy mends
several causes, p is shared out among them by how likely each was there, since only what was there
and was redone can come loose. From then on a new look is a new observation of a bike that may have
changed, and acts beside the earlier one; without a repair a new look only replaces the old.

A set never holds more than three causes, and grows to three only here. A cause that is `alone`
(ordinary running-in fines) is a name for "nothing else": it comes only to the empty set, and a
cause that joins it takes its place.

**A cause that a mechanic confirmed** is a look of a very sure kind (`SURE`): he says so of nearly every
cause that is there, and hardly ever of one that is not. Like any look it can be taken back, and like
any look it makes nothing certain. Confirmed after its repair, it speaks of the bike before that repair.

**Why.** `explain` gives Good's weight of evidence, 10*log10 of the factor on the odds, in decibans:
in the order heard, which adds up but depends on the order, and for each entry what its taking away
would change, which does not depend on order but does not add up.

Nothing is stored: all of this is replayed from the entries. Only tables that depend on the flow and
the bike's traits alone are remembered.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from copy import copy
from dataclasses import dataclass
from functools import cached_property, lru_cache, partial
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from bot.core.chances import Table, likelihood, rows_of, weigh
from bot.core.evidence import Hearing, Part, Voice, known_signs, parts
from bot.core.family import Array, Family, Flags, Move, coming, family_of, going
from bot.core.findings import Confirmed, History, Mended, Pinned, Ran
from bot.core.flow import Cause, Flow, Remedy, Traits, fits
from bot.core.kept import Kept
from bot.core.shedding import Shedding, found, gathers

__all__ = [
    "Beliefs", "Family", "Table", "Weighed", "explain", "family_of", "known_signs", "likelihood",
    "posterior", "prior", "scale_of_odds", "weights_of",
]  # fmt: skip

CONFIRMED = 4.0  # every closing point confirmed divides the odds of each `may_leave` by this
BADLY = 4.0  # every `ask_after` point answered badly multiplies the odds of `comes_back` by this
RUN_IN = 10.0  # hours that `comes_back` speaks of
ALIKE = 9  # digits of a chance that two machines agree on

# How often a mechanic says that he is sure of a cause: when it is there, and when it is not. What he saw or
# measured is surer than what he concluded. Common practice, no source.
CONFIRMS = 0.95
SURE = {"seen": 0.001, "measured": 0.001, "gone_after_repair": 0.01, "judged": 0.01}

# What a rider says of the complaint after a repair when (nothing is wrong, what was mended is there
# again, only what the work left is there, another fault is there). A wrong word is said .03 of the
# time; what was mended is "same" or "came back" alike; another fault was there all the time; what
# the work left says nothing of the old complaint.
SAYS = {
    "gone": (0.94, 0.03, 0.485, 0.03),
    "same": (0.03, 0.485, 0.485, 0.94),
    "came_back": (0.03, 0.485, 0.03, 0.03),
}


@dataclass(frozen=True, eq=False)
class Beliefs:
    """A weight for each row of a family; the weights need not add up to 1.

    `shedding`: what this bike was counted to shed before a repair that is to be proved. `hours`: run since
    the last look for what gathers; None where that was as long as the strengths speak of.
    """

    family: Family
    weights: Array
    shedding: Shedding | None = None
    hours: float | None = None

    @cached_property
    def total(self) -> float:
        return float(self.weights.sum())

    @cached_property
    def chances(self) -> Array:
        """P(row), (rows,)."""
        return self.weights / self.total

    def of(self, cause: str) -> float:
        """P(the cause is there), alone or with another; 0 for one that the bike's traits exclude."""
        k = self.family.at.get(cause)
        return 0.0 if k is None else float(self.weights @ self.family.member[:, k]) / self.total

    @property
    def marginals(self) -> Array:
        """P(cause is there) for each cause, (causes,)."""
        return np.asarray(self.weights @ self.family.member / self.total)

    @property
    def pairs(self) -> Array:
        """P(both are there), (causes, causes); the diagonal holds the marginals."""
        member = self.family.member.astype(float)
        return np.asarray(member.T @ (member * self.weights[:, None]) / self.total)

    def _row(self, row: int) -> float:
        return float(self.weights[row]) / self.total if row >= 0 else 0.0

    @property
    def fixed(self) -> float:
        """P(nothing is wrong any more)."""
        return self._row(self.family.empty)

    @property
    def unlisted(self) -> float:
        """P(it is something that the flow does not know)."""
        return self._row(self.family.unlisted)


# --- before any answer ----------------------------------------------------------------------


def weights_of(odds: Mapping[str, float], family: Family) -> Array:
    """Weight of each row: the product of its causes' odds; 1 for the row without causes."""
    logs = np.log([odds[cause] for cause in family.causes])
    return np.asarray(np.exp(family.member.astype(float) @ logs))


def _ratio(share: float) -> float:
    return share / (100 - share)


@lru_cache(maxsize=64)
def _scale(pinned: Pinned) -> float:
    flow = pinned.flow
    pairing = [_ratio(c.share) for c in flow.causes.values() if not c.alone]
    ones = sum(_ratio(c.share) for c in flow.causes.values()) + _ratio(flow.unlisted.share)
    twos = (sum(pairing) ** 2 - sum(r * r for r in pairing)) / 2
    p = flow.paired / 100
    return p / (1 - p) * ones / twos if len(pairing) > 1 else 1.0


def scale_of_odds(flow: Flow) -> float:
    """The number L that makes sets of two hold `paired` in 100; 1 where no two causes can pair."""
    return _scale(Pinned(flow))


def _share(cause: Cause, traits: Traits) -> float:
    """The share by the first trait of `share_if` that is known and speaks of it."""
    for trait, shares in cause.share_if.items():
        if traits.get(trait) in shares:
            return shares[traits[trait]]
    return cause.share


@lru_cache(maxsize=64)
def _prior(pinned: Pinned, shares: tuple[tuple[str, float], ...]) -> Beliefs:
    flow = pinned.flow
    factor = scale_of_odds(flow)
    alone = frozenset(name for name, _ in shares if flow.causes[name].alone)
    names, numbers = tuple(name for name, _ in shares), tuple(share for _, share in shares)
    family = family_of(names, (1, 2), alone, unlisted=True, shares=numbers)
    weights = weights_of({name: factor * _ratio(share) for name, share in shares}, family)
    weights[family.unlisted] = factor * _ratio(flow.unlisted.share)
    weights.flags.writeable = False
    return Beliefs(family, weights)


def prior(flow: Flow, traits: Traits) -> Beliefs:
    """What is likely before any answer, for a bike of which these traits are known."""
    return _prior(Pinned(flow), _shares(Pinned(flow), tuple(traits.items())))


@lru_cache(maxsize=64)
def _shares(pinned: Pinned, told: tuple[tuple[str, str], ...]) -> tuple[tuple[str, float], ...]:
    """The causes that these traits leave, with their shares."""
    traits = dict(told)
    fitting = ((n, c) for n, c in pinned.flow.causes.items() if fits(c.only_when, traits))
    return tuple((name, _share(cause, traits)) for name, cause in fitting)


# --- repairs and running --------------------------------------------------------------------


def _shift(now: Beliefs, move: Move, chance: float) -> Beliefs:
    weights = np.zeros(move.family.rows)
    weights[: now.family.rows] = now.weights
    moved = now.weights[move.source] * chance
    weights[move.source] -= moved
    np.add.at(weights, move.target, moved)
    return Beliefs(move.family, weights)


def _only(family: Family, row: int) -> Flags:
    """That row and no other; none for -1."""
    return np.asarray(np.arange(family.rows) == row)


def times_odds(chance: float, factor: float) -> float:
    """The chance whose odds are so many times those of this one."""
    odds = chance / (1 - chance) * factor
    return odds / (1 + odds)


class _Filter:
    """The beliefs on their way through a history, and what was mended or may have been left."""

    def __init__(self, flow: Flow, start: Beliefs) -> None:
        self.flow, self.now = flow, start
        self.loose: dict[int, float] = {}  # mended cause -> chance to come back in ten hours
        self.left: set[int] = set()
        self.shedding: Shedding | None = None
        self.hours: float | None = None  # in which something could gather, since the last look for it
        causes = start.family.causes
        self.alone = tuple(k for k, name in enumerate(causes) if flow.causes[name].alone)

    def weigh(self, chance: Array) -> None:
        weights = self.now.weights * chance
        top = weights.max()
        self.now = Beliefs(self.now.family, weights / top if top < 1e-100 else weights)

    def look(self, voices: tuple[Voice, ...], hours: float | None) -> None:
        """All that was found in one stretch. `hours`: in which something could gather, if it ran."""
        rows, oil = rows_of(self.flow, self.now.family, hours), list[tuple[Voice, Array]]()
        for voice in voices:
            chance = weigh(rows, voice)
            if chance is None:
                continue
            if self.shedding and hours and any(gathers(self.flow, seen) for seen in voice.own):
                oil.append((voice, chance))
            else:
                self.weigh(chance)
        if oil and self.shedding and hours:
            self._look_at_oil(self.shedding, oil, hours)

    def _look_at_oil(self, own: Shedding, oil: list[tuple[Voice, Array]], hours: float) -> None:
        """By this bike's own count, where the look says how many pieces came."""
        chance = np.prod([chance for _, chance in oil], axis=0)
        pieces = found(self.flow, (voice for voice, _ in oil))
        if pieces is not None:
            family = self.now.family
            chance = own.beside(family, chance, own.factor(self.flow, family, pieces, hours))
            self.shedding = own.looked(pieces, hours)
        self.weigh(chance)

    def mend(self, step: Mended) -> None:
        remedy = self.flow.remedies[step.remedy]
        causes = self.now.family.causes
        mended = [k for k, name in enumerate(causes) if self.flow.causes[name].remedy == step.remedy]
        before = self.now.marginals[mended]
        for k in mended:
            self.now = _shift(self.now, going(self.now.family, k), remedy.holds)
        self._leave(remedy, step.confirmed)
        self.shedding = Shedding(step.shed, tuple(mended)) if step.shed else None
        back = times_odds(remedy.comes_back, BADLY ** len(step.badly))
        parts = before / before.sum() if before.sum() > 0 else before
        self.loose |= {k: back * float(part) for k, part in zip(mended, parts, strict=True)}

    def _leave(self, remedy: Remedy, confirmed: bool) -> None:
        """What the work itself may have left behind."""
        at = self.now.family.at
        left = {at[name]: chance for name, chance in remedy.may_leave.items() if name in at}
        for k, may in left.items():
            chance = times_odds(may, 1 / CONFIRMED) if confirmed else may
            self.now = _shift(self.now, coming(self.now.family, k, self.alone), chance)
        self.left |= left.keys()

    def run(self, hours: float) -> None:
        for k, chance in sorted(self.loose.items()):
            back = -math.expm1(math.log1p(-chance) * hours / RUN_IN)
            self.now = _shift(self.now, coming(self.now.family, k, self.alone), back)

    def hear(self, word: str) -> None:
        """The rider's own word after a repair, as one of three answers."""
        fixed, again, left, other = SAYS[word]
        member = self.now.family.member
        chance = np.full(len(member), other)
        old = np.delete(member, list(self.left), axis=1).any(axis=1)
        chance[member.any(axis=1) & ~old] = left
        chance[member[:, list(self.loose)].any(axis=1)] = again
        if self.now.family.empty >= 0:
            chance[self.now.family.empty] = fixed
        self.weigh(chance)

    def confirm(self, step: Confirmed) -> None:
        """A mechanic's word that a cause is there, or ("") that it is none of the list."""
        family = self.now.family
        if step.cause and step.cause not in family.at:
            return  # the bike's traits exclude it: no row speaks of it
        there = family.member[:, family.at[step.cause]] if step.cause else _only(family, family.unlisted)
        self.weigh(np.where(there, CONFIRMS, SURE[step.how]))

    def hear_part(self, part: Part) -> _Filter:
        """Another filter, which has gone on through one more slice."""
        on = copy(self)
        on.loose, on.left = dict(self.loose), set(self.left)
        for hearing in part.hearings:
            on.hear_all(hearing)
        return on

    def hear_all(self, heard: Hearing) -> None:
        """One stretch, and what ended it."""
        self.look(heard.voices, self.hours)
        for step in heard.sure:
            self.confirm(step)
        if heard.said:
            self.hear(heard.said.word)
        if isinstance(heard.end, Mended):
            self.mend(heard.end)
        elif isinstance(heard.end, Ran):
            self.run(heard.end.hours)
        self._gather(heard)

    def _gather(self, heard: Hearing) -> None:
        """What was looked for is gone with the look; the repair itself begins with clean oil."""
        if isinstance(heard.end, Mended):
            self.hours = None
        elif isinstance(heard.end, Ran):
            looked = any(gathers(self.flow, seen) for voice in heard.voices for seen in voice.own)
            before = 0.0 if looked or self.hours is None else self.hours
            self.hours = before + heard.end.hours


_THROUGH: Kept[_Filter] = Kept(32)


def _through(flow: Flow, start: Beliefs, told: tuple[Part, ...]) -> _Filter:
    """The beliefs after these slices, from where a history with the same slices before had come to."""
    if not told:
        return _Filter(flow, start)
    make = partial(_hear_last, flow, start, told)
    return _THROUGH.of((flow, start, told[-1]), make)


def _hear_last(flow: Flow, start: Beliefs, told: tuple[Part, ...]) -> _Filter:
    return _through(flow, start, told[:-1]).hear_part(told[-1])


def posterior(flow: Flow, traits: Traits, history: History) -> Beliefs:
    """What is wrong now, by all that was found and done. KeyError for ids the flow does not have."""
    end = _through(flow, prior(flow, traits), parts(flow, history))
    return Beliefs(end.now.family, end.now.weights, end.shedding, end.hours)


# --- why ------------------------------------------------------------------------------------


class Weighed(NamedTuple):
    """What one entry did to a cause's odds, in decibans: when it was heard, after those before it."""

    seq: int
    decibans: float


def decibans(beliefs: Beliefs, cause: str) -> float:
    """10*log10 of the odds that the cause is there."""
    there = beliefs.family.member[:, beliefs.family.at[cause]]
    for_it, against = float(beliefs.weights[there].sum()), float(beliefs.weights[~there].sum())
    return 10 * (math.log10(max(for_it, 1e-300)) - math.log10(max(against, 1e-300)))


def explain(flow: Flow, traits: Traits, history: History, causes: Iterable[str]) -> dict[str, list[Weighed]]:
    """By cause: what each step of a history did to its odds, in order.

    The `decibans` column adds up from the prior odds to the posterior ones (I. J. Good's weight of
    evidence). KeyError when the traits exclude a cause.
    """
    wanted = tuple(causes)
    if not wanted:
        return {}
    grown = [posterior(flow, traits, history[:n]) for n in range(len(history) + 1)]
    return {cause: _weighed(history, [decibans(beliefs, cause) for beliefs in grown]) for cause in wanted}


def _weighed(history: History, upto: Sequence[float]) -> list[Weighed]:
    steps = zip(history, pairwise(upto), strict=True)
    return [Weighed(step.seq, after - before) for step, (before, after) in steps]
