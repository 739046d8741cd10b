"""Imagined bikes of a flow: what is wrong with each, what it answers, what repairs and running do to it.

A bike is made from the flow's own numbers, by the same tables that the odds read (`odds.prior`,
`chances.Rows`): its causes by shares and pairs, its answers by links, catches, false alarms and slips,
beside what is known of the same signs by then. Each thing that is left to chance has a number between 0
and 1 of its own, a digest of seed, bike and thing, so that two versions of a flow meet the same bikes and
a bike answers the same whatever else is asked.

What the flow does not say is taken as simply as may be: of a trait that tells nothing of a cause each
answer is as common as any other; a harmless cause goes by the next look as often as the planner thinks;
all work is done well.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from bot.core import odds, plan
from bot.core.chances import Rows
from bot.core.evidence import changing, given
from bot.core.family import LARGEST, Family
from bot.core.findings import TRAIT, Choices, Known, Marks, reading, shown
from bot.core.flow import Flow, Trait, fits
from bot.core.state import State

Wrong = frozenset[str]
UNLISTED: Wrong = frozenset({"unlisted"})  # something that the flow does not know
NOTHING: Wrong = frozenset()
KEPT = 2000  # sets of causes whose tables are kept


def number(*key: object) -> float:
    """A number in [0, 1) that belongs to this key on every machine."""
    digest = hashlib.blake2b("/".join(map(str, key)).encode(), digest_size=8).digest()
    return int.from_bytes(digest, "big") / 2**64


class World:
    """All that bikes of one flow have in common: the tables of each set of causes, made when needed."""

    def __init__(self, flow: Flow) -> None:
        self.flow = flow
        self._rows: dict[tuple[Family, Wrong, float | None], Rows] = {}

    def rows(self, family: Family, wrong: Wrong, hours: float | None = None) -> Rows:
        """The chances of every answer when exactly this is wrong: a family of one row."""
        key = (family, wrong, hours)
        if key not in self._rows:
            if len(self._rows) >= KEPT:
                self._rows.clear()
            member = np.array([[cause in wrong for cause in family.causes]])
            at = 0 if wrong == UNLISTED else -1
            self._rows[key] = Rows(self.flow, Family(family.causes, member, at, family.shares), hours)
        return self._rows[key]

    def bike(self, seed: int, n: int) -> Bike:
        """The nth bike of a seed: what it is first, then what is wrong, then what tells of that."""
        flow, traits = self.flow, dict[str, str]()
        for name in flow.needs_traits:
            trait = flow.traits[name]
            if fits(trait.only_when, traits) and not _tells(trait):
                answers = list(trait.answers)
                traits[name] = answers[int(number(seed, n, "trait", name) * len(answers))]
        prior = odds.prior(flow, traits)
        bike = Bike(self, seed, n, prior.family, _drawn(prior, number(seed, n, "wrong")), traits)
        for name in flow.needs_traits:
            if name not in traits and fits(flow.traits[name].only_when, traits):
                traits[name] = bike.told_by_trait(name)
        return bike


def _tells(trait: Trait) -> bool:
    return any(answer.shows or answer.denies for answer in trait.answers.values())


def _drawn(prior: odds.Beliefs, chance: float) -> Wrong:
    """The set of causes at this place of the prior."""
    family, upto = prior.family, np.cumsum(prior.weights / prior.total)
    row = min(int(np.searchsorted(upto, chance, side="right")), family.rows - 1)
    held = zip(family.causes, family.member[row], strict=True)
    return UNLISTED if row == family.unlisted else frozenset(cause for cause, there in held if there)


@dataclass
class Bike:
    """One bike as it is now; repairs, waiting and running change it. `fault` is what it came with.

    `loose`: what was mended and may come loose, with the chance in ten running hours. `left`: what work
    may have left behind.
    """

    world: World
    seed: int
    n: int
    family: Family
    wrong: Wrong
    traits: dict[str, str]
    fault: Wrong = NOTHING
    loose: dict[str, float] = field(default_factory=dict)
    left: set[str] = field(default_factory=set)
    times: dict[str, int] = field(default_factory=dict)  # how often something was left to chance

    def __post_init__(self) -> None:
        self.fault = self.wrong

    @property
    def flow(self) -> Flow:
        return self.world.flow

    def chance(self, *what: object) -> float:
        """The number of one thing of this bike."""
        return number(self.seed, self.n, *what)

    def _next(self, *what: object) -> float:
        """The number of something that may happen again, each time another one."""
        key = "/".join(map(str, what))
        self.times[key] = self.times.get(key, 0) + 1
        return self.chance(*what, self.times[key])

    # --- what it answers ---------------------------------------------------------------------

    def is_sure(self, ask: str, part: str, not_sure: float) -> bool:
        """Whether the rider knows it at all."""
        return self.chance("sure", part, ask) >= not_sure

    def answer(self, ask: str, state: State) -> tuple[str, ...]:
        """What is seen now: an answer's id, a class, a step or range, good or bad, or marks (several)."""
        asked = reading(self.flow, ask)
        if asked is None:
            return ()
        known = given(self.flow, known_now(self.flow, state), asked.observables)
        rows, part = self._rows(state), f"{state.slice}.{state.round}"
        if isinstance(asked, Marks):
            return self._ticked(asked, rows, part, known)
        return (self._said(ask, rows, asked, known, self.chance("said", part, ask)),)

    def _rows(self, state: State) -> Rows:
        """The tables of what is wrong now, over the hours in which anything could gather."""
        hours = plan.beliefs(self.flow, state).hours if state.mended else None
        gathers = hours is not None and any(sign.gathers for sign in self.flow.signs.values())
        return self.world.rows(self.family, self.wrong, hours if gathers else None)

    def _said(
        self, ask: str, rows: Rows, asked: Choices, known: Mapping[str, frozenset[int] | None], at: float
    ) -> str:
        table = rows.answers(ask, asked, known)
        place = int(np.searchsorted(np.cumsum(table.outcomes[:, 0]), at, side="right"))
        return table.labels[min(place, len(table.labels) - 1)]

    def _ticked(
        self, marks: Marks, rows: Rows, part: str, known: Mapping[str, frozenset[int] | None]
    ) -> tuple[str, ...]:
        """Each sign is ticked at its first mark: as it is known, or as its own number has it."""
        ticked: dict[str, str] = {}
        for mark, seen in marks.ticks.items():
            there, told = shown(self.flow, seen), known.get(seen)
            likely = float(rows.ticked(marks.slip, seen, there)[0])
            is_there = told <= there if told is not None else self.chance("said", part, seen) < likely
            if is_there and seen not in ticked:
                ticked[seen] = mark
        return tuple(ticked.values())

    def told_by_trait(self, name: str) -> str:
        """The answer of a trait that tells of what is wrong, among those that its causes allow."""
        asked = reading(self.flow, TRAIT + name)
        assert isinstance(asked, Choices)
        rows = self.world.rows(self.family, self.wrong)
        wanted = [self.flow.causes[c].only_when for c in self.wrong if c in self.flow.causes]
        labels = [a for a in asked.labels if all(fits(only, self.traits | {name: a}) for only in wanted)]
        table = rows.answers(TRAIT + name, asked, {})
        weights = np.array([table.outcomes[table.labels.index(a), 0] for a in labels or table.labels])
        upto = np.cumsum(weights / weights.sum())
        place = int(np.searchsorted(upto, self.chance("trait", name), side="right"))
        return (labels or list(table.labels))[min(place, len(upto) - 1)]

    def says_gone(self, nth: int) -> bool:
        """What the rider says of the complaint after a repair, as often wrong as the odds think."""
        return self.chance("gone", nth) < odds.SAYS["gone"][self._standing()]

    def _standing(self) -> int:
        """Which column of `odds.SAYS`: fixed, mended and there again, left by the work, another fault."""
        if self.wrong == NOTHING:
            return 0
        if self.wrong & self.loose.keys():
            return 1
        return 2 if self.wrong <= self.left else 3

    # --- what happens to it ------------------------------------------------------------------

    def mend(self, remedy: str) -> Wrong:
        """Do the work well; what of it was needed."""
        work = self.flow.remedies[remedy]
        mends = [c for c in self.family.causes if self.flow.causes[c].remedy == remedy]
        aimed = frozenset(c for c in mends if c in self.wrong)
        self.wrong -= {c for c in sorted(aimed) if self._next("holds", c) < work.holds}
        for cause, may in work.may_leave.items():
            if cause not in self.family.at:
                continue
            self.left.add(cause)
            if self._next("leaves", remedy, cause) < odds.times_odds(may, 1 / odds.CONFIRMED):
                self._join(cause)
        there = sorted(aimed) or mends
        self.loose |= {cause: work.comes_back / len(there) for cause in there}
        return aimed

    def _join(self, cause: str) -> None:
        """A cause that is alone by its nature comes to nothing else, and gives way to any other."""
        if self.wrong == UNLISTED or cause in self.wrong:
            return
        others = frozenset(c for c in self.wrong if not self.flow.causes[c].alone)
        if self.flow.causes[cause].alone:
            self.wrong = self.wrong or frozenset({cause})
        elif len(others) < LARGEST:
            self.wrong = others | {cause}

    def run(self, hours: float) -> None:
        """What was mended may come loose while it runs."""
        for cause, chance in sorted(self.loose.items()):
            back = -math.expm1(math.log1p(-chance) * hours / odds.RUN_IN)
            if cause not in self.wrong and self._next("back", cause) < back:
                self._join(cause)

    def wait(self) -> None:
        """A look after more running: a harmless cause has gone by then, or not."""
        for cause in sorted(self.wrong):
            if self._is_harmless(cause) and self._next("goes", cause) < plan.WATCH_HOLDS:
                self.wrong -= {cause}

    def _is_harmless(self, cause: str) -> bool:
        """Whether it is only watched."""
        model = self.flow.causes.get(cause)
        return model is not None and model.remedy is None and model.second_look is not None

    @property
    def is_well(self) -> bool:
        """Whether nothing is wrong any more, or nothing but what may stay as it is."""
        return all(map(self._is_harmless, self.wrong))


def known_now(flow: Flow, state: State) -> dict[str, Known]:
    """What is known of each sign, without what an earlier look showed and a new one may show otherwise."""
    looks = {told.seq: (told.slice, told.round) for told in state.answers}
    now = (state.slice, state.round)
    return {
        seen: value
        for seen, value in plan.known_signs(flow, state).items()
        if not changing(flow, seen) or looks.get(value.seq, now) == now
    }
