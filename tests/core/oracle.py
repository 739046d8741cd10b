"""The odds once more by plain enumeration over sets of causes, sharing no code with the odds.

Sets are frozensets of names, `UNLISTED` is the set of what the flow does not know. Signs are worked
out by going through every way in which the background and each cause may or may not show them; the
scale of the prior odds is found by halving an interval. For flows where each sign is told by one
question only, each question is answered once between two repairs, and all signs change with each look.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping

from bot.core.findings import Answered, Finding, History, Looked, Marked, Mended, Ran, Said, Stepped
from bot.core.flow import Finds, Flow, Graded, Look, Number, One, Remedy, Several, Traits

Set = frozenset[str]
UNLISTED: Set = frozenset({"?"})
NOTHING: Set = frozenset()


def causes(flow: Flow, traits: Traits) -> dict[str, float]:
    """Share of each cause that the traits allow."""
    out = {}
    for name, cause in flow.causes.items():
        if any(t in traits and traits[t] not in ok for t, ok in cause.only_when.items()):
            continue
        out[name] = cause.share
        for trait, other in cause.share_if.items():
            out[name] = other.get(traits.get(trait, ""), out[name])
    return out


def _sets(flow: Flow, shares: Mapping[str, float], factor: float) -> dict[Set, float]:
    out = {frozenset({n}): factor * s / (100 - s) for n, s in shares.items()}
    for a, b in itertools.combinations(shares, 2):
        if not flow.causes[a].alone and not flow.causes[b].alone:
            out[frozenset({a, b})] = out[frozenset({a})] * out[frozenset({b})]
    out[UNLISTED] = factor * flow.unlisted.share / (100 - flow.unlisted.share)
    return out


def factor(flow: Flow) -> float:
    """The scale at which sets of two hold `paired` in 100, by halving."""
    shares = {n: c.share for n, c in flow.causes.items()}
    low, high = 0.0, 1e6
    for _ in range(200):
        middle = (low + high) / 2
        sets = _sets(flow, shares, middle)
        twos = sum(w for s, w in sets.items() if len(s) == 2)
        low, high = (middle, high) if twos / sum(sets.values()) < flow.paired / 100 else (low, middle)
    return low if sum(not c.alone for c in flow.causes.values()) > 1 else 1.0


# --- signs ----------------------------------------------------------------------------------


def _steps(of_100: tuple[float, ...]) -> list[float]:
    whole = [max(n / sum(of_100), 0.001) for n in of_100]
    return [n / sum(whole) for n in whole]


def sign(flow: Flow, shares: Mapping[str, float], name: str, here: Set) -> list[float]:
    """P(each step of the sign); a plain one has the steps absent and shown."""
    if here == UNLISTED:
        alone = [(sign(flow, shares, name, frozenset({n})), s) for n, s in shares.items()]
        whole = sum(shares.values())
        return [sum(a[k] * s for a, s in alone) / whole for k in range(len(alone[0][0]))]
    model = flow.signs[name]
    sources = [model.background, *(flow.causes[c].shows[name] for c in here if name in flow.causes[c].shows)]
    draws = [_steps(s) if isinstance(s, tuple) else [1 - s, s] for s in sources]
    out = [0.0] * len(draws[0])
    for reached in itertools.product(*(range(len(d)) for d in draws)):
        chance = 1.0
        for draw, step in zip(draws, reached, strict=True):
            chance *= draw[step]
        out[max(reached)] += chance
    return out


def bad(finds: tuple[Finds, ...], here: Set) -> float:
    """P(a look is bad)."""
    leak = max(f.false_alarm for f in finds)
    good = 1 - leak
    for f in finds:
        if f.cause in here:
            good *= (1 - f.catches) / (1 - leak)
    return 1 - good


def other(here: Set) -> float:
    return 0.5 if here == UNLISTED else 0.02


# --- answers --------------------------------------------------------------------------------


def answer(flow: Flow, shares: Mapping[str, float], finding: Finding, here: Set) -> float:
    """P(this answer | set), by the question's kind."""
    ask, value = flow.asking(finding.ask), finding.value

    def of(name: str) -> list[float]:
        return sign(flow, shares, name, here)

    if isinstance(ask, Several) and isinstance(value, Marked):
        chance = 1.0
        for name, mark in ask.marks.items():
            shown = bad(mark.finds, here) if mark.finds else of(str(mark.shows))[1]
            told = (1 - ask.slip) * shown + ask.slip / 2
            chance *= told if name in value.marks else 1 - told
        if ask.other_damage:
            told = (1 - ask.slip) * other(here) + ask.slip / 2
            chance *= told if "other" in value.marks else 1 - told
        return chance
    if isinstance(ask, Look) and isinstance(value, Looked):
        elsewhere = other(here) if ask.other_damage else 0.0
        shown = bad(ask.finds, here)
        plain = {"good": (1 - elsewhere) * (1 - shown), "bad": (1 - elsewhere) * shown, "other": elsewhere}
        return (1 - ask.slip) * plain[value.result] + ask.slip / (3 if ask.other_damage else 2)
    if isinstance(ask, Graded | Number) and isinstance(value, Stepped):
        names = list(ask.classes) if isinstance(ask, Graded) else list(flow.signs[str(ask.sign)].steps or ())
        steps = of(str(ask.sign))
        return sum((1 - ask.slip) * steps[names.index(s)] + ask.slip / len(names) for s in value.steps)
    assert isinstance(ask, One | Number)
    assert isinstance(value, Answered)
    answers = dict(ask.answers) if isinstance(ask, One) else {str(k): r for k, r in enumerate(ask.ranges)}
    weights = {}
    for name, said in answers.items():
        weights[name] = 1.0
        for s in said.shows:
            weights[name] *= sum(of(s)[1:])
        for s in said.denies:
            weights[name] *= of(s)[0]
    return (1 - ask.slip) * weights[value.answer] / sum(weights.values()) + ask.slip / len(answers)


# --- repairs --------------------------------------------------------------------------------


def _odds(chance: float, factor: float) -> float:
    return chance * factor / (1 - chance + chance * factor)


def _arrive(flow: Flow, here: Set, cause: str) -> Set | None:
    """What a set becomes when a cause comes to it; None when it cannot come."""
    if here == UNLISTED or cause in here:
        return None
    if flow.causes[cause].alone:
        return frozenset({cause}) if here == NOTHING else None
    stays = frozenset(c for c in here if not flow.causes[c].alone)
    return stays | {cause} if len(stays) < 3 else None


def _come(flow: Flow, sets: Mapping[Set, float], cause: str, chance: float) -> dict[Set, float]:
    out: dict[Set, float] = {}
    for here, weight in sets.items():
        then = _arrive(flow, here, cause)
        moved = weight * chance if then is not None else 0.0
        out[here] = out.get(here, 0.0) + weight - moved
        if then is not None:
            out[then] = out.get(then, 0.0) + moved
    return out


def _outcomes(here: Set, mended: Set, holds: float) -> Iterator[tuple[Set, float]]:
    """Every way in which the mended causes of a set may or may not be gone."""
    there = sorted(here & mended)
    for gone in itertools.product([True, False], repeat=len(there)):
        chance = 1.0
        for went in gone:
            chance *= holds if went else 1 - holds
        yield here - {c for c, went in zip(there, gone, strict=True) if went}, chance


class Enumeration:
    """Weights of all sets on their way through a history."""

    def __init__(self, flow: Flow, traits: Traits) -> None:
        self.flow, self.shares = flow, causes(flow, traits)
        self.sets = _sets(flow, self.shares, factor(flow))
        self.loose: dict[str, float] = {}
        self.left: set[str] = set()

    def there(self, cause: str) -> float:
        return sum(w for s, w in self.sets.items() if cause in s) / sum(self.sets.values())

    def hear(self, finding: Finding) -> None:
        self.sets = {s: w * answer(self.flow, self.shares, finding, s) for s, w in self.sets.items()}

    def mend(self, step: Mended) -> None:
        work: Remedy = self.flow.remedies[step.remedy]
        mended = frozenset(n for n in self.shares if self.flow.causes[n].remedy == step.remedy)
        before = {c: self.there(c) for c in mended}
        after: dict[Set, float] = {}
        for here, weight in self.sets.items():
            for then, chance in _outcomes(here, mended, work.holds):
                after[then] = after.get(then, 0.0) + weight * chance
        self.sets = after
        for cause in (c for c in work.may_leave if c in self.shares):
            chance = work.may_leave[cause]
            chance = _odds(chance, 1 / 4) if step.confirmed else chance
            self.sets = _come(self.flow, self.sets, cause, chance)
            self.left.add(cause)
        back = _odds(work.comes_back, 4.0 ** len(step.badly))
        for cause in mended:
            self.loose[cause] = back * before[cause] / (sum(before.values()) or 1.0)

    def run(self, hours: float) -> None:
        for cause in self.flow.causes:
            if cause in self.loose:
                back = 1 - (1 - self.loose[cause]) ** (hours / 10)
                self.sets = _come(self.flow, self.sets, cause, back)

    def word(self, said: str) -> None:
        columns = ["gone", "same", "came_back"]
        for here in self.sets:
            if here == NOTHING:
                row = [0.94, 0.03, 0.03]
            elif here != UNLISTED and here & self.loose.keys():
                row = [0.03, 0.485, 0.485]
            elif here != UNLISTED and here <= self.left:
                row = [0.485, 0.485, 0.03]
            else:
                row = [0.03, 0.94, 0.03]
            self.sets[here] *= row[columns.index(said)]


def enumerate_posterior(flow: Flow, traits: Traits, history: History) -> dict[Set, float]:
    """P(set) after a history."""
    through = Enumeration(flow, traits)
    for step in history:
        if isinstance(step, Finding):
            through.hear(step)
        elif isinstance(step, Mended):
            through.mend(step)
        elif isinstance(step, Ran):
            through.run(step.hours)
        elif isinstance(step, Said):
            through.word(step.word)
    whole = sum(through.sets.values())
    return {here: weight / whole for here, weight in through.sets.items()}
