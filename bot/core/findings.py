"""What was found and done in a case, in the order of its entries, and the one value a sign has by it.

Everything here is plain values. `odds.py` walks a `History`; the talk makes one from its entries.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

from bot.core.flow import Answer, Flow, Graded, Look, Note, Number, One, Range, Several, Trait, Traits

# Who says it; the higher one wins within a slice.
BOOK, TOLD, ASKED, LOOKED, MECHANIC = 0, 1, 2, 3, 4

# The mark or result that means "damaged, but something else".
OTHER = "other"
TRAIT = "trait:"
SAID = "said:"  # an answer without signs, beside others that have some, is an observable of its own
TRAIT_SLIP = 0.03  # people slip on these as on any other question

Claims = Mapping[str, frozenset[int]]  # observable -> places on its scale that are claimed (0 = absent)


# --- what people say ------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Answered:
    """One answer: its id, or for a number without a graded sign the index of its range as text."""

    answer: str


@dataclass(frozen=True, slots=True)
class Marked:
    """The marks that were ticked; all others are denied. `OTHER` may be among them.

    `partly`: marks told unprompted, which say nothing of the others.
    """

    marks: frozenset[str]
    partly: bool = False


@dataclass(frozen=True, slots=True)
class Stepped:
    """The steps (or class ids) of a graded sign that the answer covers; a vague one covers several."""

    steps: frozenset[str]


@dataclass(frozen=True, slots=True)
class Looked:
    """The result of a look; `other` means damaged, but not what was looked for."""

    result: Literal["good", "bad", "other"]


@dataclass(frozen=True, slots=True)
class NotSure:
    """Asked and not known: kept, but without a voice."""


Value = Answered | Marked | Stepped | Looked | NotSure


@dataclass(frozen=True, slots=True)
class Finding:
    """An answer as the case holds it. `seq` is the number of its entry, one for each."""

    ask: str
    value: Value
    rank: int = ASKED
    round: int = 0
    seq: int = 0
    pieces: tuple[int, int | None] | None = None  # of a question that counts pieces: how many, a span


@dataclass(frozen=True, slots=True)
class Shed:
    """Pieces that a bike was counted to shed over running hours, in the least case; see `shedding.py`."""

    pieces: float
    hours: float
    spread: float = 1.0


@dataclass(frozen=True, slots=True)
class Mended:
    """A remedy was done. `confirmed`: every closing point was said to be right.

    `badly`: the `ask_after` points that were answered badly. `shed`: what came before it, if counted.
    """

    remedy: str
    confirmed: bool = False
    badly: frozenset[str] = frozenset()
    seq: int = 0
    shed: Shed | None = None


@dataclass(frozen=True, slots=True)
class Ran:
    """Running hours since the step before."""

    hours: float
    seq: int = 0


@dataclass(frozen=True, slots=True)
class Said:
    """The rider's own word about the complaint after a repair."""

    word: Literal["gone", "same", "came_back"]
    seq: int = 0


@dataclass(frozen=True, slots=True)
class Confirmed:
    """A mechanic was sure of a cause ("": of one that the flow does not know), and how he came to be."""

    cause: str
    how: Literal["seen", "measured", "gone_after_repair", "judged"]
    seq: int = 0


Step = Finding | Mended | Ran | Said | Confirmed
History = tuple[Step, ...]


@dataclass(frozen=True, slots=True)
class Known:
    """The value a sign has now: shown or not, or the steps it may be at.

    `seq` is the entry that holds it, `lost` are the entries that said something else. A silent
    sign (see `Sign.silent_while`) has value None when nothing was said of it.
    """

    value: bool | frozenset[str] | None
    seq: int = -1
    lost: tuple[int, ...] = ()
    silent: bool = False


def tell_traits(flow: Flow, traits: Traits, seq: int = 0) -> tuple[Finding, ...]:
    """Findings for the known traits whose answers speak about signs, all from entry `seq`."""
    speaking = (
        (trait, answer)
        for trait, answer in traits.items()
        if trait in flow.traits and answer in flow.traits[trait].answers
    )
    return tuple(
        Finding(TRAIT + trait, Answered(answer), ASKED, 0, seq)
        for trait, answer in speaking
        if flow.traits[trait].answers[answer].shows or flow.traits[trait].answers[answer].denies
    )


# --- what an answer claims ------------------------------------------------------------------


class Pinned:
    """A flow as the key of a memo: the same object is the same key.

    The memo keeps the flow alive through this, so that its id cannot pass to another flow.
    """

    __slots__ = ("flow",)

    def __init__(self, flow: Flow) -> None:
        self.flow = flow

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Pinned) and other.flow is self.flow

    def __hash__(self) -> int:
        return id(self.flow)


@dataclass(frozen=True, eq=False)
class Choices:
    """A question of which exactly one answer is true: label by label what each one claims."""

    slip: float
    labels: tuple[str, ...]
    claims: tuple[Claims, ...]

    @property
    def observables(self) -> tuple[str, ...]:
        return tuple(dict.fromkeys(name for claims in self.claims for name in claims))


@dataclass(frozen=True, eq=False)
class Marks:
    """A question of any number of marks: mark by mark the observable it ticks."""

    slip: float
    ticks: Mapping[str, str]

    @property
    def observables(self) -> tuple[str, ...]:
        return tuple(dict.fromkeys(self.ticks.values()))


Reading = Choices | Marks


def scale(flow: Flow, observable: str) -> int:
    """How many places the observable's scale has: 2 for shown or not, or its number of steps."""
    sign = flow.signs.get(observable)
    return 2 if sign is None or sign.steps is None else len(sign.steps)


def shown(flow: Flow, observable: str) -> frozenset[int]:
    """Shown: any place but the lowest."""
    return frozenset(range(1, scale(flow, observable)))


ABSENT = frozenset({0})


def _claims(flow: Flow, answer: Answer | Range) -> Claims:
    said = {sign: shown(flow, sign) for sign in answer.shows}
    return said | dict.fromkeys(answer.denies, ABSENT)


def _of_answers(flow: Flow, slip: float, answers: Mapping[str, Answer]) -> Choices:
    return Choices(slip, tuple(answers), tuple(_claims(flow, a) for a in answers.values()))


def _of_graded(flow: Flow, ask: Graded) -> Choices:
    """The first class stands for the first step, and so on."""
    if len(ask.classes) != scale(flow, ask.sign):
        raise ValueError(f"sign {ask.sign} has not as many steps as its question has classes")
    places = range(len(ask.classes))
    return Choices(ask.slip, tuple(ask.classes), tuple({ask.sign: frozenset({k})} for k in places))


def _of_number(flow: Flow, ask: Number) -> Choices:
    if ask.sign is None:
        labels = tuple(str(k) for k in range(len(ask.ranges)))
        return Choices(ask.slip, labels, tuple(_claims(flow, r) for r in ask.ranges))
    steps = flow.signs[ask.sign].steps or ()
    labels = tuple(dict.fromkeys(r.step or "" for r in ask.ranges))
    if not set(labels) <= set(steps):
        raise ValueError(f"a range for sign {ask.sign} names none of its steps")
    return Choices(ask.slip, labels, tuple({ask.sign: frozenset({steps.index(s)})} for s in labels))


def _of_look(name: str, ask: Look) -> Choices:
    bad, other = f"{name}.bad", f"{name}.{OTHER}"
    if not ask.other_damage:
        return Choices(ask.slip, ("good", "bad"), ({bad: ABSENT}, {bad: frozenset({1})}))
    claims = ({bad: ABSENT, other: ABSENT}, {bad: frozenset({1}), other: ABSENT}, {other: frozenset({1})})
    return Choices(ask.slip, ("good", "bad", OTHER), claims)


def _of_several(name: str, ask: Several) -> Marks:
    """A mark that finds causes is an observable of its own; else it is its sign."""
    ticks = {m: f"{name}.{m}" if mark.finds else mark.shows or "" for m, mark in ask.marks.items()}
    if ask.other_damage:
        ticks[OTHER] = f"{name}.{OTHER}"
    return Marks(ask.slip, {m: seen for m, seen in ticks.items() if seen})


@lru_cache(maxsize=4096)
def _reading(pinned: Pinned, ask: str) -> Reading | None:
    flow = pinned.flow
    if ask.startswith(TRAIT):
        trait: Trait = flow.traits[ask.removeprefix(TRAIT)]
        return _of_answers(flow, TRAIT_SLIP, trait.answers)
    match flow.asking(ask):
        case One() as one:
            return _of_answers(flow, one.slip, one.answers)
        case Several() as several:
            return _of_several(ask, several)
        case Graded() as graded:
            return _of_graded(flow, graded)
        case Number() as number:
            return _of_number(flow, number)
        case Look() as look:
            return _of_look(ask, look)
        case Note():
            return None


def reading(flow: Flow, ask: str) -> Reading | None:
    """How the answers of a question, check or `trait:<id>` are read; None for a note.

    KeyError when there is no such question; ValueError when classes or ranges do not fit the sign.
    """
    return _reading(Pinned(flow), ask)


@lru_cache(maxsize=64)
def _others(pinned: Pinned) -> frozenset[str]:
    asks = pinned.flow.asks.items()
    return frozenset(f"{name}.{OTHER}" for name, ask in asks if getattr(ask, "other_damage", False))


def others(flow: Flow) -> frozenset[str]:
    """The observables that all mean one thing: damage that no cause of the flow accounts for."""
    return _others(Pinned(flow))


def chosen(flow: Flow, finding: Finding) -> tuple[str, ...]:
    """The labels of a `Choices` question that the finding covers. KeyError for an unknown one."""
    choices, wanted = reading(flow, finding.ask), set[str]()
    match finding.value:
        case Answered(answer):
            wanted = {answer}
        case Looked(result):
            wanted = {result}
        case Stepped(steps):
            wanted = {_label(flow, finding.ask, step) for step in steps}
        case Marked():
            choices = None
    if not isinstance(choices, Choices) or not wanted <= set(choices.labels):
        raise KeyError(f"{finding.value} is no answer of {finding.ask}")
    return tuple(label for label in choices.labels if label in wanted)


def _label(flow: Flow, name: str, step: str) -> str:
    """A class of a graded question may be told by its own id or by the step it stands for."""
    ask = flow.asking(name)
    if isinstance(ask, Graded) and step not in ask.classes:
        steps = flow.signs[ask.sign].steps or ()
        return tuple(ask.classes)[steps.index(step)] if step in steps else step
    return step


def claims(flow: Flow, finding: Finding) -> Claims:
    """What the finding says of each observable; nothing for a note, "not sure" or a span of all steps.

    KeyError when the value is no answer of the question.
    """
    return _claimed(Pinned(flow), finding.ask, finding.value)


@lru_cache(maxsize=4096)
def _claimed(pinned: Pinned, name: str, value: Value) -> Claims:
    flow, finding = pinned.flow, Finding(name, value)
    ask = reading(flow, name)
    if ask is None or isinstance(value, NotSure):
        return {}
    if isinstance(ask, Marks):
        if not isinstance(value, Marked):
            raise KeyError(f"{value} is no answer of {name}")
        ticked = {ask.ticks[m] for m in value.marks if m in ask.ticks}
        spoken = [seen for seen in ask.observables if seen in ticked or not value.partly]
        return {seen: shown(flow, seen) if seen in ticked else ABSENT for seen in spoken}
    labels = chosen(flow, finding)
    parts = [said for label, said in zip(ask.labels, ask.claims, strict=True) if label in labels]
    shared = [seen for seen in ask.observables if all(seen in part for part in parts)]
    if labels and ask.observables and not any(parts):
        return {f"{SAID}{name}": frozenset({ask.labels.index(labels[0])})}
    joined = {seen: frozenset[int]().union(*(part[seen] for part in parts)) for seen in shared}
    return {seen: places for seen, places in joined.items() if 0 < len(places) < scale(flow, seen)}
