"""How likely each sign and each answer is for every set of causes: noisy-or, noisy-max, five kinds of ask.

Rows are sets of causes (`family.py`); all tables here are (something, rows).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

import numpy as np

from bot.core.evidence import Given, Voice, given
from bot.core.family import Array, Family, Flags
from bot.core.findings import Choices, Known, Marks, Pinned, chosen, others, reading, scale, shown
from bot.core.flow import Finds, Flow, Look, Several, Strength

LEAST = 1e-6  # nothing that gathers is quite impossible or certain
FLOOR = 0.001  # no step of a graded sign is quite impossible
LIKELIEST = 64  # mark sets told apart when a `several` question is looked ahead at
# Damage of another kind: how often something unlisted shows it, and everything else does.
OTHER_BY_UNLISTED, OTHER_BY_REST = 0.50, 0.02
NONE, LUMPED = "none_of_these", "any_other"  # no id can hold an underscore


# --- how sets of causes show signs ----------------------------------------------------------


def noisy_or(background: Array, links: Array, member: Flags) -> Array:
    """P(shown | set) for S signs: `background` (S,), net `links` (S, causes) -> (S, rows).

    Jaakkola and Jordan 1999 (QMR-DT, JAIR 10): absent with (1 - leak) * prod(1 - q).
    """
    silent = np.log1p(-background)[:, None] + np.log1p(-links) @ member.T.astype(float)
    return np.asarray(-np.expm1(silent))


def noisy_max(background: Array, links: Array, member: Flags) -> Array:
    """P(step | set) for one graded sign: `background` (n,), `links` (causes, n) -> (n, rows).

    A cause without a link stands wholly on the first step. The highest step that anything
    reaches is the one that is seen, so the chances "at most step k" multiply.
    """
    own = np.log(np.maximum(np.cumsum(links, axis=1), 1e-300))
    base = np.log(np.maximum(np.cumsum(background), 1e-300))
    upto = np.exp(base[:, None] + own.T @ member.T.astype(float))
    upto[-1] = 1.0
    return np.diff(upto, axis=0, prepend=0.0)


def net(catches: float, leak: float) -> float:
    """The net link of a cause that is caught with chance `catches` in all, leak included."""
    return max(0.0, 1 - (1 - catches) / (1 - leak))


def _graded(sign: str, steps: int, strength: Strength) -> Array:
    if not isinstance(strength, tuple) or len(strength) != steps:
        raise ValueError(f"sign {sign} is graded: each strength needs {steps} numbers 'of 100'")
    of_100 = np.maximum(np.asarray(strength, dtype=float) / sum(strength), FLOOR)
    return np.asarray(of_100 / of_100.sum())


def _plain(sign: str, strength: Strength) -> float:
    if isinstance(strength, tuple):
        raise ValueError(f"sign {sign} has no steps: its strength is one chance")
    return strength


def _looks(flow: Flow) -> dict[str, tuple[Finds, ...]]:
    """Every look result: `check.bad` of a look, `check.mark` of a mark that finds causes."""
    out: dict[str, tuple[Finds, ...]] = {}
    for name, ask in flow.asks.items():
        if isinstance(ask, Look):
            out[f"{name}.bad"] = ask.finds
        elif isinstance(ask, Several):
            out |= {f"{name}.{mark}": m.finds for mark, m in ask.marks.items() if m.finds}
    return out


@dataclass(frozen=True, eq=False)
class Links:
    """A flow's links by observable: shown or not with (background, links), graded ones apart."""

    plain: tuple[str, ...]
    background: Array
    links: Array
    looks: Flags  # which of the plain ones are results of looks
    graded: Mapping[str, tuple[Array, Array]]


@lru_cache(maxsize=64)
def _links(pinned: Pinned, causes: tuple[str, ...]) -> Links:
    flow, looks = pinned.flow, _looks(pinned.flow)
    signs = [name for name, sign in flow.signs.items() if sign.steps is None]
    plain = (*signs, *looks)
    background, links = np.zeros(len(plain)), np.zeros((len(plain), len(causes)))
    for s, sign in enumerate(signs):
        background[s] = _plain(sign, flow.signs[sign].background)
        links[s] = [_plain(sign, flow.causes[c].shows.get(sign, 0.0)) for c in causes]
    for s, finds in enumerate(looks.values(), len(signs)):
        background[s] = leak = max(f.false_alarm for f in finds)
        for f in finds:
            if f.cause in causes:
                links[s, causes.index(f.cause)] = net(f.catches, leak)
    is_look = np.arange(len(plain)) >= len(signs)
    graded = {name: _steps(flow, name, causes) for name, sign in flow.signs.items() if sign.steps}
    return Links(plain, background, links, is_look, graded)


def _steps(flow: Flow, sign: str, causes: tuple[str, ...]) -> tuple[Array, Array]:
    n = scale(flow, sign)
    links = np.zeros((len(causes), n))
    links[:, 0] = 1.0
    for k, cause in enumerate(causes):
        if sign in flow.causes[cause].shows:
            links[k] = _graded(sign, n, flow.causes[cause].shows[sign])
    return _graded(sign, n, flow.signs[sign].background), links


# --- answers --------------------------------------------------------------------------------


class Table(NamedTuple):
    """P(outcome | row) as (outcomes, rows), every column adding up to 1, and the outcomes' labels.

    A set of marks is labelled with its marks joined by "+", `NONE` when empty. `lumped` is the
    index of the outcome that stands for all rarer mark sets, or -1.
    """

    outcomes: Array
    labels: tuple[str, ...]
    lumped: int = -1


class Rows:
    """All chances for one family, worked out when first asked for.

    `hours`: running time in which gathering signs had time to gather, None: as long as their strengths
    say. Pieces come at a rate, so a sign that is absent with chance a over its own hours is absent with
    a ** (hours / own) over others, and a graded one is at most at a step likewise: exact where what
    gathers is counted by Poisson, whatever the rate.
    """

    def __init__(self, flow: Flow, family: Family, hours: float | None = None) -> None:
        self.flow, self.family, self.hours = flow, family, hours
        self._plain: dict[str, Array] = {}  # P(shown | row)
        self._steps: dict[str, Array] = {}  # P(step | row)
        self._parts: dict[tuple[str, frozenset[int]], Array] = {}
        self._sets: dict[tuple[float, tuple[str, ...]], tuple[Array, Array]] = {}
        self._tables: dict[tuple[str, tuple[tuple[str, frozenset[int] | None], ...]], Table] = {}
        self._fill(_links(Pinned(flow), family.causes))

    def _fill(self, links: Links) -> None:
        family = self.family
        chance = noisy_or(links.background, links.links, family.member)
        if family.unlisted >= 0:
            single = noisy_or(links.background, links.links, np.eye(len(family.causes), dtype=bool))
            average = single @ self._shares()
            chance[:, family.unlisted] = np.where(links.looks, links.background, average)
        for name, row in zip(links.plain, chance, strict=True):
            self._plain[name] = row
        for name, (background, own) in links.graded.items():
            self._steps[name] = self._graded(background, own)
        other = np.full(family.rows, OTHER_BY_REST)
        if family.unlisted >= 0:
            other[family.unlisted] = OTHER_BY_UNLISTED
        self._plain |= dict.fromkeys(others(self.flow), other)
        if self.hours is not None:
            self._gather(self.hours)

    def _gather(self, hours: float) -> None:
        for name, sign in self.flow.signs.items():
            if sign.gathers is None:
                continue
            times = hours / sign.gathers
            if name in self._steps:
                upto = np.minimum(np.cumsum(self._steps[name], axis=0), 1.0) ** times
                upto[-1] = 1.0
                self._steps[name] = np.maximum(np.diff(upto, axis=0, prepend=0.0), LEAST)
                self._steps[name] /= self._steps[name].sum(axis=0)
            else:
                self._plain[name] = np.clip(1 - (1 - self._plain[name]) ** times, LEAST, 1 - LEAST)

    def _shares(self) -> Array:
        """What is not in the list looks like what is: each cause counts by its share."""
        plain = [self.flow.causes[c].share for c in self.family.causes]
        shares = np.asarray(self.family.shares or plain, dtype=float)
        return np.asarray(shares / shares.sum())

    def _graded(self, background: Array, links: Array) -> Array:
        chance = noisy_max(background, links, self.family.member)
        if self.family.unlisted >= 0:
            single = noisy_max(background, links, np.eye(len(links), dtype=bool))
            chance[:, self.family.unlisted] = single @ self._shares()
        return chance

    def of(self, observable: str, places: frozenset[int]) -> Array:
        """P(the observable is at one of these places | row)."""
        key = (observable, places)
        if key not in self._parts:
            if observable in self._steps:
                self._parts[key] = self._steps[observable][sorted(places)].sum(axis=0)
            else:
                there = self._plain[observable]
                self._parts[key] = there if 0 not in places else 1 - there
        return self._parts[key]

    def answers(self, ask: str, choices: Choices, known: Given) -> Table:
        """P(answer | row) of a question with one true answer, beside what is known of its signs."""
        key = (ask, tuple((seen, known[seen]) for seen in choices.observables if seen in known))
        if key not in self._tables:
            if len(self._tables) > 1000:
                self._tables.clear()
            self._tables[key] = self._answers(choices, known)
        return self._tables[key]

    def _answers(self, choices: Choices, known: Given) -> Table:
        open_ = [
            (label, parts)
            for label, said in zip(choices.labels, choices.claims, strict=True)
            if (parts := _unsaid(said, known)) is not None
        ]
        if not open_:  # what is known fits no answer, so none of them can tell more
            open_ = [(label, []) for label in choices.labels]
        chance = np.ones((len(open_), self.family.rows))
        for row, (_, parts) in zip(chance, open_, strict=True):
            for seen, places, among in parts:
                row *= self.of(seen, places)
                if among is not None:
                    row /= self.of(seen, among)
        chance /= chance.sum(axis=0)
        outcomes = (1 - choices.slip) * chance + choices.slip / len(open_)
        outcomes.flags.writeable = False
        return Table(outcomes, tuple(label for label, _ in open_))

    def ticked(self, slip: float, observable: str, places: frozenset[int]) -> Array:
        """P(a mark is left as it was left | row)."""
        return (1 - slip) * self.of(observable, places) + slip / 2

    def mark_sets(self, marks: Marks, known: Given, weights: Array) -> Table:
        """The likeliest sets of marks that are still open, the rest lumped."""
        first = {seen: mark for mark, seen in reversed(list(marks.ticks.items())) if seen not in known}
        names = [mark for mark, seen in marks.ticks.items() if first.get(seen) == mark]
        half = len(names) // 2
        left, right = self._halves(marks.slip, tuple(marks.ticks[m] for m in names))
        order = np.argsort(-((left * weights) @ right.T), axis=None, kind="stable")[:LIKELIEST]
        i, j = np.unravel_index(np.sort(order), (len(left), len(right)))
        outcomes = left[i] * right[j]
        labels = _set_labels(tuple(names), tuple((i | j << half).tolist()))
        if len(labels) == len(left) * len(right):
            return Table(outcomes, labels)
        rest = np.maximum(1 - outcomes.sum(axis=0), 0.0)
        return Table(np.vstack([outcomes, rest]), (*labels, LUMPED), len(labels))

    def _halves(self, slip: float, signs: tuple[str, ...]) -> tuple[Array, Array]:
        """Chances of all patterns of the first half of some marks, and of the second half."""
        key = (slip, signs)
        if key not in self._sets:
            if len(self._sets) > 20:
                self._sets.clear()
            up = [self.ticked(slip, seen, shown(self.flow, seen)) for seen in signs]
            half, rows = len(up) // 2, self.family.rows
            self._sets[key] = _products(up[:half], rows), _products(up[half:], rows)
        return self._sets[key]


def _unsaid(
    said: Mapping[str, frozenset[int]], known: Given
) -> list[tuple[str, frozenset[int], frozenset[int] | None]] | None:
    """What an answer says beyond what is known: (sign, places, among these); None if it contradicts."""
    parts: list[tuple[str, frozenset[int], frozenset[int] | None]] = []
    for seen, places in said.items():
        if seen not in known:
            parts.append((seen, places, None))
            continue
        among = known[seen]
        if among is None or among <= places:
            continue
        if not among & places:
            return None
        parts.append((seen, among & places, among))
    return parts


def _products(up: list[Array], rows: int) -> Array:
    """Chances of all ticked-or-not patterns of some marks; bit k of the index is mark k."""
    out = np.ones((1, rows))
    for chance in up:
        out = np.vstack([out * (1 - chance), out * chance])
    return out


@lru_cache(maxsize=256)
def _set_labels(names: tuple[str, ...], sets: tuple[int, ...]) -> tuple[str, ...]:
    return tuple(_set_label(names, bits) for bits in sets)


def _set_label(names: tuple[str, ...], bits: int) -> str:
    return "+".join(name for k, name in enumerate(names) if bits >> k & 1) or NONE


@lru_cache(maxsize=24)
def _rows(pinned: Pinned, family: Family, hours: float | None) -> Rows:
    return Rows(pinned.flow, family, hours)


def rows_of(flow: Flow, family: Family, hours: float | None = None) -> Rows:
    """The chances of a family under a flow, remembered for the families used last."""
    gathers = hours is not None and any(sign.gathers for sign in flow.signs.values())
    return _rows(Pinned(flow), family, hours if gathers else None)


def likelihood(
    flow: Flow,
    family: Family,
    ask: str,
    known: Mapping[str, Known | bool | frozenset[str] | None] | None = None,
    weights: Array | None = None,
    hours: float | None = None,
) -> Table:
    """P(outcome | row) of a question, check or `trait:<id>`; one sure outcome for a note.

    `hours`: in which something had time to gather, as for `Rows`.

    `known` are the signs known now: answers that contradict them drop out, and of a known sign no
    more is learnt. For `several` the likeliest mark sets by `weights` (default: all rows alike)
    are told apart. KeyError when there is no such question.
    """
    asked = reading(flow, ask)
    if asked is None:
        return Table(np.ones((1, family.rows)), ("noted",))
    places = given(flow, known or {}, asked.observables)
    rows = rows_of(flow, family, hours)
    if isinstance(asked, Choices):
        return rows.answers(ask, asked, places)
    even = np.full(family.rows, 1 / family.rows)
    return rows.mark_sets(asked, places, even if weights is None else weights)


def weigh(rows: Rows, voice: Voice) -> Array | None:
    """P(this finding | row) as far as it speaks for itself; None when it says nothing of its own."""
    finding, own, known = voice
    if not own:
        return None
    asked = reading(rows.flow, finding.ask)
    if isinstance(asked, Marks):
        return _product(rows, (rows.ticked(asked.slip, seen, places) for seen, places in own.items()))
    if asked is None:
        return None
    table, labels = rows.answers(finding.ask, asked, known), chosen(rows.flow, finding)
    covered = [table.labels.index(label) for label in labels if label in table.labels]
    if covered:
        return np.asarray(table.outcomes[covered].sum(axis=0))
    # A better word overruled part of this answer: the rest of it is taken sign by sign.
    rest = _product(rows, (rows.of(seen, places) for seen, places in own.items()))
    return (1 - asked.slip) * rest + asked.slip / len(asked.labels)


def _product(rows: Rows, parts: Iterable[Array]) -> Array:
    out = np.ones(rows.family.rows)
    for part in parts:
        out = out * part
    return out
