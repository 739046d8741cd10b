"""Invented bikes for a shipped flow: what is wrong, what each look would say, whether each repair holds.

Common random numbers. Everything a bike may ever be asked is fixed by its name: each question, look,
repair and left-over has a number between 0 and 1 of its own, made from (seed, bike, what it is for) by
a digest. An answer is read off the flow's own chances for the true causes with that number, beside what
is known of the same signs by then, so two questions about one sign agree. So all policies meet the same
bikes, and a bike gives the same answer to the same question whichever policy puts it.

A bike follows the model the odds use, with one liberty: the run after a repair tells the truth. It is
over when nothing is wrong any more. What comes loose hours later lies outside the benchmark. What
gathers in the oil had only that run to gather in, so soon after a repair there is little to see.
"""

from __future__ import annotations

import hashlib
import random
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np

from bot.core import odds
from bot.core.chances import Rows
from bot.core.evidence import given
from bot.core.family import LARGEST, Family
from bot.core.findings import (
    Answered,
    Finding,
    History,
    Known,
    Looked,
    Marked,
    Marks,
    Mended,
    Ran,
    Stepped,
    Value,
    reading,
    shown,
)
from bot.core.flow import Asked_, Flow, Graded, Look, Number, Several

Wrong = frozenset[str]
UNLISTED: Wrong = frozenset({"something not in this list"})
NOTHING: Wrong = frozenset()
CONFIRMED = 4.0  # every closing point confirmed divides the odds of what the work may leave
HIDDEN_SIGNS = 6  # what a cause that the flow does not know shows
HIDDEN_STRENGTHS = (0.98, 0.91, 0.77, 0.70, 0.50, 0.26)

_BIKE = {"oil-layout": "shared", "starter": "both", "cooling": "liquid", "basket": "aluminium"}
FRAMES: Mapping[str, Mapping[str, str]] = {
    "A": _BIKE | {"clutch-cover-access": "outer"},
    "B": _BIKE | {"clutch-cover-access": "engine-out"},
}


def number(*key: object) -> float:
    """A number in [0, 1) that belongs to this key on every machine."""
    digest = hashlib.blake2b("/".join(map(str, key)).encode(), digest_size=8).digest()
    return int.from_bytes(digest, "big") / 2**64


class Truth:
    """What may be wrong with the bikes of one frame, by the flow that is true."""

    def __init__(self, flow: Flow, traits: Mapping[str, str]) -> None:
        self.flow = flow
        self.prior = odds.prior(flow, traits)
        self.causes = self.prior.family.causes
        self._rows: dict[tuple[Wrong, float | None], Rows] = {}

    @cached_property
    def upto(self) -> Any:
        return np.cumsum(self.prior.weights / self.prior.total)

    def draw(self, chance: float) -> Wrong:
        """The cause set at this place of the prior."""
        family = self.prior.family
        row = min(int(np.searchsorted(self.upto, chance, side="right")), family.rows - 1)
        held = zip(self.causes, family.member[row], strict=True)
        return UNLISTED if row == family.unlisted else frozenset(c for c, there in held if there)

    def rows(self, wrong: Wrong, hours: float | None = None) -> Rows:
        """The chances of every answer when exactly this is wrong: a family of one row.

        `hours`: in which what gathers had time to gather; None, as long as the strengths speak of.
        """
        if (wrong, hours) not in self._rows:
            member = np.array([[cause in wrong for cause in self.causes]])
            at = 0 if wrong == UNLISTED else -1
            family = Family(self.causes, member, at, self.prior.family.shares)
            self._rows[wrong, hours] = Rows(self.flow, family, hours)
        return self._rows[wrong, hours]


@dataclass
class Bike:
    """One bike as it is now; repairs change it."""

    truth: Truth
    name: tuple[object, ...]
    wrong: Wrong
    tries: dict[str, int] = field(default_factory=dict)

    def chance(self, *what: object) -> float:
        return number(*self.name, *what)

    def answer(
        self, ask: str, part: int, known: Mapping[str, Known], hours: float | None = None
    ) -> Value | None:
        """What the rider says in the `part`-th stretch between repairs; None for "not sure".

        `hours`: run since what gathers was last washed out; None before the first repair.
        """
        flow = self.truth.flow
        if self.chance("sure", part, ask) < flow.asking(ask).not_sure:
            return None
        asked = reading(flow, ask)
        assert asked is not None, f"{ask} is a note"
        places = given(flow, known, asked.observables)
        rows = self.truth.rows(self.wrong, hours)
        if isinstance(asked, Marks):
            return self._tick(asked, rows, part, ask, places)
        table = rows.answers(ask, asked, places)
        upto = np.cumsum(table.outcomes[:, 0])
        told = int(np.searchsorted(upto, self.chance("said", part, ask), side="right"))
        return value_of(flow.asking(ask), table.labels[min(told, len(table.labels) - 1)])

    def _tick(
        self, marks: Marks, rows: Rows, part: int, ask: str, places: Mapping[str, frozenset[int] | None]
    ) -> Marked:
        """Each sign is ticked at its first mark, as it is known or as its own number has it."""
        ticked = set[str]()
        for mark, seen in reversed(list(marks.ticks.items())):
            there, known = shown(self.truth.flow, seen), places.get(seen)
            likely = float(rows.ticked(marks.slip, seen, there)[0])
            is_there = known <= there if known is not None else self.chance("said", part, seen) < likely
            ticked -= {other for other in ticked if marks.ticks[other] == seen}
            ticked |= {mark} if is_there else set()
        return Marked(frozenset(ticked))

    def mend(self, remedy: str) -> bool:
        """Do the work, every closing point confirmed. Whether any of it was needed."""
        work = self.truth.flow.remedies[remedy]
        nth = self.tries[remedy] = self.tries.get(remedy, 0) + 1
        aimed = {c for c in self.wrong if c in self.truth.causes and self._remedy_of(c) == remedy}
        self.wrong -= {c for c in aimed if self.chance("holds", c, nth) < work.holds}
        for cause, may in work.may_leave.items():
            left = may / (may + CONFIRMED * (1 - may))
            if cause in self.truth.causes and self.chance("leaves", remedy, cause, nth) < left:
                self._join(cause)
        return bool(aimed)

    def _remedy_of(self, cause: str) -> str | None:
        return self.truth.flow.causes[cause].remedy

    def _join(self, cause: str) -> None:
        """A cause that is alone by its nature comes to nothing else, and gives way to any other."""
        if self.wrong == UNLISTED or cause in self.wrong:
            return
        others = frozenset(c for c in self.wrong if not self.truth.flow.causes[c].alone)
        if self.truth.flow.causes[cause].alone:
            self.wrong = self.wrong or frozenset({cause})
        elif len(others) < LARGEST:
            self.wrong = others | {cause}

    def watch(self, cause: str, holds: float) -> None:
        """Wait and look again: a harmless cause that is there alone has gone by then, or not."""
        nth = self.tries[f"watch:{cause}"] = self.tries.get(f"watch:{cause}", 0) + 1
        if self.wrong == {cause} and self.chance("holds", cause, nth) < holds:
            self.wrong = NOTHING


def gathered(flow: Flow, history: History) -> float | None:
    """Hours in which something could gather: run since the last look for it after the last repair.

    None until the bike has run after a repair.
    """
    hours: float | None = None
    mended = looked = False
    for step in history:
        if isinstance(step, Mended):
            hours, mended, looked = None, True, False
        elif isinstance(step, Finding):
            asked = reading(flow, step.ask)
            seen = asked.observables if asked else ()
            looked |= any(sign in flow.signs and flow.signs[sign].gathers for sign in seen)
        elif isinstance(step, Ran) and mended:
            hours = step.hours + (0.0 if looked or hours is None else hours)
            looked = False
    return hours


def value_of(ask: Asked_, label: str) -> Value:
    """The answer that a label stands for."""
    if isinstance(ask, Look):
        return Looked("good" if label == "good" else "bad" if label == "bad" else "other")
    if isinstance(ask, Graded) or (isinstance(ask, Number) and ask.sign is not None):
        return Stepped(frozenset({label}))
    return Answered(label)


def bike_of(truth: Truth, seeds: str, nth: int) -> Bike:
    """The nth bike of a seed set."""
    name = (seeds, nth)
    return Bike(truth, name, truth.draw(number(*name, "wrong")))


# --- what a planner may have wrong ----------------------------------------------------------------


def _off(rng: random.Random, chance: float) -> float:
    """A chance whose odds are doubled or halved."""
    odds_ = chance / (1 - chance) * rng.choice((0.5, 2.0))
    return odds_ / (1 + odds_)


def _strength_off(rng: random.Random, strength: float | tuple[float, ...]) -> float | tuple[float, ...]:
    if not isinstance(strength, tuple):
        return _off(rng, strength)
    weights = [of_100 * rng.choice((0.5, 2.0)) for of_100 in strength]
    return tuple(100 * weight / sum(weights) for weight in weights)


def priors_off(flow: Flow, rng: random.Random) -> Flow:
    """Every share's odds doubled or halved."""

    def off(share: float) -> float:
        return 100 * _off(rng, share / 100)

    causes = {}
    for name, cause in flow.causes.items():
        changed = {t: {a: off(s) for a, s in shares.items()} for t, shares in cause.share_if.items()}
        causes[name] = cause.model_copy(update={"share": off(cause.share), "share_if": changed})
    unlisted = flow.unlisted.model_copy(update={"share": off(flow.unlisted.share)})
    return flow.model_copy(update={"causes": causes, "unlisted": unlisted})


def links_off(flow: Flow, rng: random.Random) -> Flow:
    """The odds of every strength, background, catch and false alarm doubled or halved."""
    causes = {
        name: cause.model_copy(update={"shows": {s: _strength_off(rng, x) for s, x in cause.shows.items()}})
        for name, cause in flow.causes.items()
    }
    signs = {
        name: sign.model_copy(update={"background": _strength_off(rng, sign.background)})
        for name, sign in flow.signs.items()
    }
    checks = {name: _catches_off(check, rng) for name, check in flow.checks.items()}
    return flow.model_copy(update={"causes": causes, "signs": signs, "checks": checks})


def _finds_off(part: Any, rng: random.Random) -> Any:
    finds = tuple(
        f.model_copy(update={"catches": _off(rng, f.catches), "false_alarm": _off(rng, f.false_alarm)})
        for f in part.finds
    )
    return part.model_copy(update={"finds": finds})


def _catches_off(check: Asked_, rng: random.Random) -> Asked_:
    if isinstance(check, Look):
        changed: Look = _finds_off(check, rng)
        return changed
    if isinstance(check, Several):
        marks = {name: _finds_off(mark, rng) for name, mark in check.marks.items()}
        return check.model_copy(update={"marks": marks})
    return check


def minutes_off(flow: Flow, rng: random.Random) -> Flow:
    """Every minute of a question, look, access step, remedy and proof run doubled or halved."""

    def off(parts: Mapping[str, Any], *names: str) -> dict[str, Any]:
        changed = {}
        for id, part in parts.items():
            minutes = {name: getattr(part, name) * rng.choice((0.5, 2.0)) for name in names}
            changed[id] = part.model_copy(update=minutes)
        return changed

    remedies = off(flow.remedies, "minutes")
    for id, work in remedies.items():
        if work.proof is not None:
            run = off({"run": work.proof}, "minutes")["run"]
            remedies[id] = work.model_copy(update={"proof": run})
    return flow.model_copy(
        update={
            "questions": off(flow.questions, "minutes"),
            "checks": off(flow.checks, "minutes"),
            "access": off(flow.access, "open", "close"),
            "remedies": remedies,
        }
    )


def hidden_bike(flow: Flow, seeds: str, nth: int) -> Bike:
    """A bike with a cause that the flow does not have: a random mix of signs, no look, no remedy."""
    rng = random.Random(f"{seeds}/{nth}/hidden")
    plain = sorted(name for name, sign in flow.signs.items() if sign.steps is None)
    shows = {sign: rng.choice(HIDDEN_STRENGTHS) for sign in rng.sample(plain, HIDDEN_SIGNS)}
    like = next(iter(flow.causes.values()))
    only = like.model_copy(
        update={"shows": shows, "remedy": None, "second_look": None, "only_when": {}, "share_if": {}}
    )
    truth = Truth(flow.model_copy(update={"causes": {"hidden": only}}), {})
    return Bike(truth, (seeds, nth), frozenset({"hidden"}))
