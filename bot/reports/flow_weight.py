"""Which causes an answer speaks for or against: how much likelier a bike with that cause gives it.

The comparison is with a bike that has none of the listed causes, one cause at a time, by the same rules
as in `core/chances.py` (noisy-or for plain signs, the highest step for graded ones). It is made for a
picture, so what two signs of one answer share is not looked into.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from bot.core.flow import Asked_, Cause, Finds, Flow, Graded, Look, Number, One, Several

CLEAR = 2.0  # so many times likelier, or less likely, before a cause is named
LEAST = 0.001

Factors = dict[str, float]  # cause -> how many times likelier with it than with none


@dataclass(frozen=True)
class Saying:
    """One answer of a question or side of a look, and what it does."""

    label: str
    factors: Factors = field(default_factory=dict)
    finds: tuple[Finds, ...] = ()
    tells: tuple[str, ...] = ()  # as a stop rule may name it: a sign, `sign: step` as "sign:step", `look.bad`
    opens: tuple[str, ...] = ()

    @property
    def speaks_for(self) -> tuple[str, ...]:
        """Causes, the likeliest first."""
        return tuple(c for c, f in sorted(self.factors.items(), key=lambda x: -x[1]) if f >= CLEAR)

    @property
    def speaks_against(self) -> tuple[str, ...]:
        return tuple(c for c, f in sorted(self.factors.items(), key=lambda x: x[1]) if f <= 1 / CLEAR)


def sayings(flow: Flow, id: str) -> tuple[Saying, ...]:
    """The answers of a question or check in their order; a note has none."""
    ask = flow.asking(id)
    if isinstance(ask, One):
        return tuple(
            _said(flow, answer.label, answer.shows, answer.denies, answer.opens)
            for answer in ask.answers.values()
        )
    if isinstance(ask, Several):
        marks = (
            _found(flow, f"{id}.{name}", m.label, m.finds, (m.shows,) if m.shows else ())
            for name, m in ask.marks.items()
        )
        return (*marks, Saying(ask.none_of_these.label))
    if isinstance(ask, Look):
        good = Saying(ask.good.label, _cleared(ask.finds), tells=(f"{id}.good",))
        return (_found(flow, f"{id}.bad", ask.bad.label, ask.finds, ()), good)
    return _on_a_scale(flow, ask)


def _on_a_scale(flow: Flow, ask: Asked_) -> tuple[Saying, ...]:
    if isinstance(ask, Graded):
        return tuple(_stepped(flow, ask.sign, name, step.label) for name, step in ask.classes.items())
    if not isinstance(ask, Number):
        return ()
    found, low = list[Saying](), ask.allowed[0]
    for part in ask.ranges:
        label = f"{low:g} to {part.upto if part.upto is not None else ask.allowed[1]:g} {ask.unit}"
        low = part.upto if part.upto is not None else low
        if ask.sign and part.step:
            found.append(_stepped(flow, ask.sign, part.step, label))
        else:
            found.append(_said(flow, label, part.shows, part.denies, ()))
    return tuple(found)


def _said(
    flow: Flow, label: str, shows: Sequence[str], denies: Sequence[str], opens: tuple[str, ...]
) -> Saying:
    parts = [*(_shown(flow, sign, True) for sign in shows), *(_shown(flow, sign, False) for sign in denies)]
    return Saying(label, _product(parts), tells=tuple(shows), opens=opens)


def _found(flow: Flow, name: str, label: str, finds: tuple[Finds, ...], shows: Sequence[str]) -> Saying:
    looked = {found.cause: found.catches / max(found.false_alarm, LEAST) for found in finds}
    factors = _product([looked, *(_shown(flow, sign, True) for sign in shows)])
    return Saying(label, factors, finds, (*shows, name))


def _cleared(finds: Iterable[Finds]) -> Factors:
    return {found.cause: (1 - found.catches) / (1 - found.false_alarm) for found in finds}


def _stepped(flow: Flow, sign: str, step: str, label: str) -> Saying:
    steps = flow.signs[sign].steps or ()
    n = steps.index(step) if step in steps else 0
    base = flow.signs[sign].background
    none = base if isinstance(base, tuple) else ()
    at = _at(none, n)
    factors = {
        id: _reached(none, strength, n) / max(at, LEAST)
        for id, cause in flow.causes.items()
        if isinstance(strength := cause.shows.get(sign), tuple)
    }
    told = tuple(f"{sign}:{lower}" for lower in steps[: n + 1])  # a rule means that step or above
    return Saying(label, factors, tells=(*told, *((sign,) if n else ())))


def _at(strength: Sequence[float], n: int) -> float:
    return strength[n] / max(sum(strength), LEAST) if n < len(strength) else LEAST


def _reached(none: Sequence[float], own: Sequence[float], n: int) -> float:
    """The chance that the higher of the two is step n."""

    def upto(k: int) -> float:
        if k < 0:
            return 0.0
        return sum(none[: k + 1]) / max(sum(none), LEAST) * sum(own[: k + 1]) / max(sum(own), LEAST)

    return upto(n) - upto(n - 1)


def _shown(flow: Flow, sign: str, there: bool) -> Factors:
    base = flow.signs[sign].background if sign in flow.signs else None
    if not isinstance(base, float):
        return {}
    return {id: _factor(cause, sign, base, there) for id, cause in flow.causes.items()}


def _factor(cause: Cause, sign: str, base: float, there: bool) -> float:
    own = cause.shows.get(sign, 0.0)
    link = own if isinstance(own, float) else 0.0
    return (1 - (1 - base) * (1 - link)) / base if there else 1 - link


def _product(parts: Iterable[Mapping[str, float]]) -> Factors:
    out: Factors = {}
    for part in parts:
        for cause, factor in part.items():
            out[cause] = out.get(cause, 1.0) * factor
    return out
