"""One sign, one value, per slice: which finding speaks for it, and what is known beside it.

A slice runs from one repair to the next. Whatever lost, fell silent or was told before keeps its
place in the record and has no voice in the odds.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache, partial
from typing import NamedTuple

from bot.core.findings import (
    ABSENT,
    SAID,
    TRAIT,
    Claims,
    Confirmed,
    Finding,
    Known,
    Mended,
    Pinned,
    Ran,
    Said,
    Step,
    claims,
    others,
    reading,
    shown,
)
from bot.core.flow import Flow
from bot.core.kept import Kept

Given = Mapping[str, frozenset[int] | None]  # observable -> places known of it; None: it has no voice


@dataclass(frozen=True)
class Stretch:
    """What was found between two moments at which the bike may have changed.

    `end` is that moment: a repair, or running after one. Running before any repair changes nothing
    that the odds know of, so it ends no stretch.
    """

    findings: tuple[Finding, ...]
    said: Said | None
    end: Mended | Ran | None
    sure: tuple[Confirmed, ...] = ()


Slice = tuple[Stretch, ...]


def _cut(history: Iterable[Step]) -> list[list[Step]]:
    """The history cut at each repair; all slices but the last end with one."""
    out: list[list[Step]] = [[]]
    for step in history:
        out[-1].append(step)
        if isinstance(step, Mended):
            out.append([])
    return out


def _stretches(steps: Iterable[Step], mended: bool) -> Slice:
    """A slice cut at each running after a repair. `mended`: whether there was one before it."""
    out: list[Stretch] = []
    found: list[Finding] = []
    sure: list[Confirmed] = []
    said: Said | None = None
    for step in steps:
        if isinstance(step, Finding):
            found.append(step)
        elif isinstance(step, Confirmed):
            sure.append(step)
        elif isinstance(step, Said):
            said = step
        elif isinstance(step, Mended) or (mended and step.hours > 0):
            out.append(Stretch(tuple(found), said, step, tuple(sure)))
            found, sure, said = [], [], None
    if not out or not isinstance(out[-1].end, Mended):
        out.append(Stretch(tuple(found), said, None, tuple(sure)))
    return tuple(out)


# --- the value of a sign --------------------------------------------------------------------


class Vote(NamedTuple):
    """One finding's claim on one observable. `number` is the finding's place in its slice."""

    observable: str
    places: frozenset[int]
    finding: Finding
    number: int
    stretch: int


class Settled(NamedTuple):
    """The places that won, the number of the finding that speaks for them (-1: none), and who lost."""

    places: frozenset[int]
    speaker: int
    seq: int
    lost: tuple[int, ...]


def votes(flow: Flow, part: Slice) -> tuple[Vote, ...]:
    """Every claim made in a slice."""
    numbered = enumerate((k, f) for k, stretch in enumerate(part) for f in stretch.findings)
    return tuple(
        Vote(seen, places, finding, number, k)
        for number, (k, finding) in numbered
        for seen, places in claims(flow, finding).items()
    )


def changing(flow: Flow, observable: str) -> bool:
    """Whether a later look replaces an earlier one; results of looks always do."""
    return observable not in flow.signs or flow.signs[observable].changes == "each_look"


def _standing(flow: Flow, vote: Vote) -> tuple[int, ...]:
    said = vote.finding
    if changing(flow, vote.observable):
        return (vote.stretch, said.round, said.rank)
    return (said.rank,)


def _precedence(flow: Flow, vote: Vote) -> tuple[tuple[int, ...], int]:
    """Equal standing: the newest."""
    return _standing(flow, vote), vote.finding.seq


@lru_cache(maxsize=64)
def _order(pinned: Pinned) -> Mapping[str, int]:
    traits = [TRAIT + trait for trait in pinned.flow.traits]
    return {name: k for k, name in enumerate([*traits, *pinned.flow.asks])}


def _decide(flow: Flow, cast: list[Vote]) -> Settled:
    """The winner by precedence. Of equal words that agree with it, the one first in the flow speaks,
    so that the order in which people answered leaves no trace in the odds."""
    if len(cast) == 1:
        return Settled(cast[0].places, cast[0].number, cast[0].finding.seq, ())
    order = _order(Pinned(flow))
    winner = max(cast, key=lambda v: _precedence(flow, v))
    agreeing = [v for v in cast if v.places == winner.places]
    speaker = max(agreeing, key=lambda v: (_standing(flow, v), -order[v.finding.ask], v.finding.seq))
    lost = sorted(v.finding.seq for v in cast if not v.places & winner.places)
    return Settled(winner.places, speaker.number, winner.finding.seq, tuple(lost))


def _settle(flow: Flow, cast: Iterable[Vote], group: Callable[[Vote], int]) -> dict[tuple[int, str], Settled]:
    """One value for each observable in each group of votes."""
    boxes: dict[tuple[int, str], list[Vote]] = {}
    for vote in cast:
        boxes.setdefault((group(vote), vote.observable), []).append(vote)
    return {key: _decide(flow, box) for key, box in boxes.items()}


def _speak_once(flow: Flow, told: dict[tuple[int, str], Settled]) -> dict[tuple[int, str], Settled]:
    """Damage of another kind is one sign, wherever it was seen: seen once outweighs not seen elsewhere."""
    out = dict(told)
    for where in {group for group, _ in told}:
        same = [key for key in told if key[0] == where and key[1] in others(flow)]
        same.sort(key=lambda key: (told[key].places == ABSENT, key[1]))
        out |= {key: told[key]._replace(speaker=-1) for key in same[1:]}
    return out


# --- signs without a voice ------------------------------------------------------------------


def _shown(flow: Flow, cast: Iterable[Vote]) -> frozenset[str]:
    """What was shown in any round, even if a later round no longer shows it."""
    rounds = _settle(flow, cast, lambda v: v.finding.round)
    return frozenset(seen for (_, seen), told in rounds.items() if 0 not in told.places)


def _silent(flow: Flow, seen: frozenset[str]) -> frozenset[str]:
    """Signs that lost their voice to others that were shown in this case."""
    quiet = {name: sign.silent_while for name, sign in flow.signs.items() if sign.silent_while}
    return frozenset(name for name, louder in quiet.items() if seen.intersection(louder))


# --- what each finding adds -----------------------------------------------------------------


class Voice(NamedTuple):
    """A finding, what it alone speaks for, and what is known of the other signs it mentions."""

    finding: Finding
    own: Claims
    given: Given


class Hearing(NamedTuple):
    """The voices of one stretch; they act together, then `end` happens."""

    voices: tuple[Voice, ...]
    said: Said | None
    end: Mended | Ran | None
    sure: tuple[Confirmed, ...] = ()


class Part:
    """A slice as it is heard after those before it: what was ever shown, what lost its voice, what is told.

    `lasting`, `known_before`: what slices before told of signs that never change, as `hearings` and as
    `known_signs` take it.
    """

    def __init__(self, flow: Flow, before: Part | None, steps: Sequence[Step]) -> None:
        self.flow, self.slice = flow, _stretches(steps, mended=before is not None)
        cast = votes(flow, self.slice)
        self.seen: frozenset[str] = (before.seen if before else frozenset()) | _shown(flow, cast)
        self.quiet = _silent(flow, self.seen)
        self.lasting: Mapping[str, Settled] = before.lasting_after if before else {}
        self.known_before: Mapping[str, Settled] = before.known_after if before else {}
        grouped = _settle(flow, cast, lambda v: v.stretch if changing(flow, v.observable) else -1)
        self.told = self._mute(_speak_once(flow, grouped))
        self.now = {seen: told for (_, seen), told in _settle(flow, cast, lambda v: 0).items()}

    @property
    def known(self) -> dict[str, Settled]:
        """The value of each sign that was told in this slice, or before it and never changes."""
        return {**self.known_before, **self.now}

    @property
    def lasting_after(self) -> Mapping[str, Settled]:
        return self._keep(self.lasting, {seen: v for (where, seen), v in self.told.items() if where == -1})

    @property
    def known_after(self) -> Mapping[str, Settled]:
        return self._keep(self.known_before, self.now)

    def _keep(self, before: Mapping[str, Settled], told: Mapping[str, Settled]) -> Mapping[str, Settled]:
        lasting = {s: v for s, v in told.items() if not changing(self.flow, s)}
        return {**before, **{s: v._replace(speaker=-1) for s, v in lasting.items()}}

    def _mute(self, told: dict[tuple[int, str], Settled]) -> dict[tuple[int, str], Settled]:
        """A sign that never changes is no news when it is told again after a repair."""
        again = {
            key: value._replace(speaker=-1)
            for key, value in told.items()
            if key[1] in self.lasting and self.lasting[key[1]].places == value.places
        }
        return told | again

    @cached_property
    def hearings(self) -> tuple[Hearing, ...]:
        """Stretch by stretch what each finding adds.

        A sign has one value in a slice. Once something was mended the bike may change while it runs,
        so then a sign that changes with each look has one value for each stretch.
        """
        out, number = list[Hearing](), 0
        for k, stretch in enumerate(self.slice):
            now = {**self.lasting, **{s: v for (where, s), v in self.told.items() if where in (-1, k)}}
            numbered = enumerate(stretch.findings, number)
            voices = tuple(_voice(self.flow, self.quiet, now, n, finding) for n, finding in numbered)
            out.append(Hearing(voices, stretch.said, stretch.end, stretch.sure))
            number += len(stretch.findings)
        return tuple(out)


_PARTS: Kept[Part] = Kept(64)


def parts(flow: Flow, history: Iterable[Step]) -> tuple[Part, ...]:
    """The slices of a history as they are heard, in order; at least one.

    A part of the same steps after the same part is the very same one, so what was told before the last
    repair is not heard again with each answer after it.
    """
    out: list[Part] = []
    for steps in _cut(history):
        before = out[-1] if out else None
        out.append(_PARTS.of((flow, before, *steps), partial(Part, flow, before, steps)))
    return tuple(out)


def _voice(
    flow: Flow, quiet: frozenset[str], now: Mapping[str, Settled], number: int, finding: Finding
) -> Voice:
    said = claims(flow, finding)
    own = {s: p for s, p in said.items() if s not in quiet and now[s].speaker == number}
    ask = reading(flow, finding.ask)
    given: dict[str, frozenset[int] | None] = {}
    for seen in ask.observables if ask else ():
        if seen in quiet:
            given[seen] = None
        elif seen in now and seen not in own:
            given[seen] = now[seen].places
    return Voice(finding, own, given)


# --- what is known now ----------------------------------------------------------------------


def _public(flow: Flow, observable: str, places: frozenset[int]) -> bool | frozenset[str]:
    sign = flow.signs.get(observable)
    if sign is None or sign.steps is None:
        return 0 not in places
    return frozenset(sign.steps[k] for k in places)


def known_signs(flow: Flow, history: Iterable[Step]) -> dict[str, Known]:
    """The value of each sign, `check.bad`, `check.mark` and `check.other` that holds now.

    That is what was told since the last repair, and of signs that never change also what was told
    before. Silent signs are in it too, even those of which nothing was said.
    """
    last = parts(flow, history)[-1]
    now, quiet = last.known, last.quiet
    out = {
        seen: Known(_public(flow, seen, told.places), told.seq, told.lost, seen in quiet)
        for seen, told in now.items()
        if not seen.startswith(SAID)
    }
    return out | {sign: Known(None, silent=True) for sign in sorted(quiet - out.keys())}


def given(
    flow: Flow, known: Mapping[str, Known | bool | frozenset[str] | None], about: Iterable[str]
) -> Given:
    """Known values of some observables as places on their scales.

    A plain value stands for itself, None for a silent sign. Damage of another kind, once told of
    any check, is not asked of the others again.
    """
    elsewhere = others(flow)
    told = not elsewhere.isdisjoint(known)
    out: dict[str, frozenset[int] | None] = {}
    for seen in about:
        if told and seen in elsewhere:
            out[seen] = ABSENT
        elif seen in known:
            value = known[seen]
            plain = (None if value.silent else value.value) if isinstance(value, Known) else value
            out[seen] = None if plain is None else _places(flow, seen, plain)
    return out


def _places(flow: Flow, observable: str, value: bool | frozenset[str]) -> frozenset[int]:
    if isinstance(value, frozenset):
        steps = flow.signs[observable].steps or ()
        return frozenset(steps.index(step) for step in value)
    return shown(flow, observable) if value else ABSENT
