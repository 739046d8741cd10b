"""What a person's reply means, given what was offered: pure, quick, and never an exception."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Literal

from bot.core.spoken import ENGLISH, Spoken, Word, fold, off, slips, tokens, words
from bot.core.units import Quantity, convert, measure, quantities

Kind = Literal["one", "several", "graded", "number", "look", "pick", "confirm", "name", "done"]
Phrase = tuple[str, ...]
AMONG = 6  # words a message may have for its one bare number to be the measurement
LISTED = 24  # parts of a list looked at: twice the most marks there are
REST = 3  # words that may follow "change": more is a sentence about something else
TELLING = 4  # letters of a word out of a label that is enough to mean it
FEW = 2  # labels that such words may fit, to be asked which
PREFIX = 3  # letters that the beginning of a label must have


@dataclass(frozen=True)
class Offered:
    """One answer: `words` are further ways to say it while its question is open."""

    id: str
    label: str
    short: str = ""
    words: tuple[str, ...] = ()


@dataclass(frozen=True)
class Offer:
    """What was offered, in the order it was numbered.

    `unit`, `allowed`: of a number (or a graded amount). `upto`: the largest amount of each graded
    step, None for an open one. `none_of_these` is numbered after the marks of `several`.
    """

    kind: Kind
    answers: tuple[Offered, ...] = ()
    unit: str | None = None
    allowed: tuple[float, float] | None = None
    upto: tuple[float | None, ...] = ()
    none_of_these: Offered | None = None

    @property
    def numbered(self) -> tuple[Offered, ...]:
        """All that bears a number."""
        return (*self.answers, self.none_of_these) if self.none_of_these else self.answers


@dataclass(frozen=True)
class Chosen:
    """One answer."""

    id: str


@dataclass(frozen=True)
class Ticked:
    """The marks ticked; `none` when "none of these" was said."""

    ids: frozenset[str]
    none: bool = False


@dataclass(frozen=True)
class Measured:
    """A number or a span of it, in the offer's unit."""

    low: float
    high: float


@dataclass(frozen=True)
class Spanned:
    """The graded steps that a vague amount covers, two or more."""

    ids: tuple[str, ...]


@dataclass(frozen=True)
class Control:
    """A control word and what was said after it."""

    name: str
    rest: str = ""


@dataclass(frozen=True)
class OutOfRange:
    """A measurement outside what is possible, in the offer's unit."""

    value: float
    low: float
    high: float
    unit: str


@dataclass(frozen=True)
class WrongUnit:
    """A measurement in a unit that measures something else than was asked ("" for a count)."""

    said: str
    wanted: str


@dataclass(frozen=True)
class Ambiguous:
    """Answers that are equally near to what was said."""

    ids: tuple[str, ...]


@dataclass(frozen=True)
class Unclear:
    """Nothing that was offered."""


Reading = Chosen | Ticked | Measured | Spanned | Control | OutOfRange | WrongUnit | Ambiguous | Unclear


@dataclass(frozen=True)
class _Talk:
    """All that one reply is read against."""

    said: Phrase
    marks: tuple[Word, ...]
    folded: str
    offer: Offer
    owned: Mapping[Phrase, tuple[str, ...]]  # ways to say an answer -> the answers that own it
    controls: Mapping[str, tuple[str, ...]]
    spoken: Spoken


def read(
    text: str, offer: Offer | None, controls: Mapping[str, tuple[str, ...]], spoken: Spoken = ENGLISH
) -> Reading:
    """What a reply means. Only the first thousand characters are looked at.

    The order: an offered answer word for word, a control word for word, "2 is wrong" and the
    like, both again with slips forgiven, lists and amounts, then the beginning of a label.
    An answer that reads like a control word is the answer. `controls`: name -> phrases; "..." in
    a phrase stands for the rest ("change ..."), and a number may follow any of them. A `name` is
    read for its controls and answers only: the name itself is the caller's to take.
    """
    folded = fold(text)
    marks = words(folded)
    said = tuple(word.text for word in marks)
    if not said:
        return Unclear()
    offer = offer or Offer("name")
    talk = _Talk(said, marks, folded, offer, _ways(offer, spoken), controls, spoken)
    for reader in _ORDER:
        reading = reader(talk)
        if reading is not None:
            return reading
    return Unclear()


# --- ways to say an answer -------------------------------------------------------------------


def _ways(offer: Offer, spoken: Spoken) -> dict[Phrase, tuple[str, ...]]:
    ways: dict[Phrase, tuple[str, ...]] = {}
    for answer in offer.numbered:
        for phrase in {tokens(each) for each in (answer.label, answer.short, *answer.words)} - {()}:
            ways[phrase] = (*ways.get(phrase, ()), answer.id)
    own = _agreed(offer, ways, spoken)
    for ids, phrases in own:
        for phrase in map(tokens, phrases):
            ways.setdefault(phrase, ids)
    return ways


def _agreed(
    offer: Offer, ways: Mapping[Phrase, tuple[str, ...]], spoken: Spoken
) -> list[tuple[tuple[str, ...], tuple[str, ...]]]:
    """All ways to say yes go to the answer that owns one of them; likewise no."""
    yes = _owner(ways, spoken.yes)
    no = _owner(ways, spoken.no)
    if offer.kind == "confirm" and len(offer.answers) > 1:
        ids = [answer.id for answer in offer.answers]
        yes = yes or (("yes",) if "yes" in ids else (ids[0],))
        no = no or (("no",) if "no" in ids else (ids[1],))
        return [(yes, (*spoken.yes, *spoken.agree)), (no, (*spoken.no, *spoken.refuse))]
    if offer.none_of_these and not no:
        no = (offer.none_of_these.id,)
        return [(no, (*spoken.no, *spoken.zero)), *([(yes, spoken.yes)] if yes else [])]
    return [(ids, phrases) for ids, phrases in ((yes, spoken.yes), (no, spoken.no)) if ids]


def _owner(ways: Mapping[Phrase, tuple[str, ...]], phrases: Iterable[str]) -> tuple[str, ...]:
    found = {owner: None for phrase in phrases for owner in ways.get(tokens(phrase), ())}
    return tuple(found) if len(found) == 1 else ()


def _stripped(said: Phrase, spoken: Spoken, wide: bool) -> Phrase:
    """Without 'sorry' and 'please', and, where only answers are meant, without 'I think it is'."""
    loose = {*spoken.polite, *(spoken.filler if wide else ())}
    start, end = 0, len(said)
    while start < end and said[start] in loose:
        start += 1
    while end > start and said[end - 1] in loose:
        end -= 1
    return said[start:end]


def _chosen(talk: _Talk, ids: Iterable[str]) -> Reading:
    """One answer, or the question which of them was meant, in the order offered."""
    wanted = set(ids)
    found = [answer.id for answer in talk.offer.numbered if answer.id in wanted]
    if len(found) != 1:
        return Ambiguous(tuple(found))
    if talk.offer.kind != "several":
        return Chosen(found[0])
    none = talk.offer.none_of_these is not None and talk.offer.none_of_these.id == found[0]
    return Ticked(frozenset() if none else frozenset(found), none)


# --- the readers, in order -------------------------------------------------------------------


def _word_for_word(talk: _Talk) -> Reading | None:
    number = _position(talk)
    if number is not None and (either := _place_or_amount(talk, number)):
        return either
    numbered = {talk.offer.numbered[number].id} if number is not None else set()
    for said in (talk.said, _stripped(talk.said, talk.spoken, wide=True)):
        if said in talk.owned:
            return _chosen(talk, {*talk.owned[said], *numbered})
    return _chosen(talk, numbered) if numbered else None


_POSITION = re.compile(r"[(\[]?(?:#|no\.)?\s*(\d{1,3})\s*[.)\]:!]*")


def _position(talk: _Talk) -> int | None:
    """The place of a numbered answer: 2, "2.", #2, 2), (2), number 2, and two where no amount is asked."""
    if talk.offer.kind in ("number", "name"):
        return None
    said = _stripped(talk.said, talk.spoken, wide=False)
    found = _POSITION.fullmatch(talk.folded.strip())
    digits = found.group(1) if found else ""
    named = len(said) == 2 and said[0] in talk.spoken.number
    # "2.5" is two words and no answer; "2 please" is one word once the manners are off.
    if not digits and (named or len(said) == 1) and not re.search(r"\d[.,:/]\d", talk.folded):
        digits = said[-1]
    if digits in talk.spoken.numbers and not _stepped(talk.offer):  # "two" may be an amount
        digits = f"{talk.spoken.numbers[digits]:g}"
    place = int(digits) if digits.isdecimal() and len(digits) <= 3 else 0
    return place - 1 if 1 <= place <= len(talk.offer.numbered) else None


def _place_or_amount(talk: _Talk, place: int) -> Ambiguous | None:
    """A bare 4 at "how many pieces?" may be answer 4 or four pieces: where they differ, ask which."""
    bare = talk.folded.strip(" .!").isdecimal()
    if not bare or not _stepped(talk.offer) or talk.offer.unit:
        return None
    meant = talk.offer.numbered[place].id
    counted = _steps(talk, place + 1, place + 1)
    if not isinstance(counted, Chosen) or counted.id == meant:
        return None
    return Ambiguous((meant, counted.id))


def _control_word(talk: _Talk) -> Reading | None:
    for said in (talk.said, _stripped(talk.said, talk.spoken, wide=False)):
        for name, phrases in talk.controls.items():
            if said and any(said == tokens(phrase) for phrase in phrases if "..." not in phrase):
                return Control(name)
    return None


def _with_rest(talk: _Talk) -> Reading | None:
    """'change magnet', '2 is wrong', 'giving up costs 900': the longest phrase wins."""
    best: tuple[int, Control] | None = None
    for name, phrase, open_ in _rested(talk):
        rest = _rest(talk, phrase)
        if rest and (_allowed(talk, name, rest) if open_ else _numeric(talk, rest)):
            length = len(tokens(phrase))
            best = max(best or (0, Control("")), (length, Control(name, rest)), key=lambda each: each[0])
    return best[1] if best else None


def _rested(talk: _Talk) -> Iterable[tuple[str, str, bool]]:
    """Control names with their phrases, and whether words (and not only a number) may follow."""
    for name in {**talk.spoken.asides, **talk.controls}:
        given = talk.controls.get(name, ())
        mine = talk.spoken.asides.get(name, ()) if not any("..." in phrase for phrase in given) else ()
        yield from (
            (name, phrase if "..." in phrase else f"{phrase} ...", "..." in phrase)
            for phrase in (*given, *mine)
        )


def _rest(talk: _Talk, phrase: str) -> str:
    """What stands in the place of the dots, as written; "" when the phrase is not there."""
    before, _, after = phrase.partition("...")
    head, tail = tokens(before), tokens(after)
    marks = talk.marks
    end = len(marks) - len(tail)
    if end <= len(head) or talk.said[: len(head)] != head or talk.said[end:] != tail:
        return ""
    # The sign before it belongs to the rest too: #2, -5, ~40.
    start = marks[len(head) - 1].end if head else 0
    return talk.folded[start : marks[end - 1].end].strip(" .,:;!?")


def _allowed(talk: _Talk, name: str, rest: str) -> bool:
    """Whether the rest can be what this phrase speaks of; 'not loose' is no word about answer 'loose'."""
    if name == "wrong":
        return bool(re.fullmatch(r"(?:#|number )?\d{1,3}(?:(?:\s*,\s*|\s+and\s+|\s+)\d{1,3})*", rest))
    return len(tokens(rest)) <= REST


def _numeric(talk: _Talk, rest: str) -> bool:
    """Whether the rest is one number or quantity and nothing else, but for a small word: 'for 20 min'."""
    head = next((word.start for word in words(rest) if word.text not in talk.spoken.small), 0)
    bare = rest[head:].lstrip("# ")
    found = list(quantities(bare, "", talk.spoken))
    return (
        len(found) == 1
        and found[0].start == 0
        and found[0].end == len(bare)
        and any(map(str.isdecimal, bare))
    )


def _several(talk: _Talk) -> Reading | None:
    """'1 4', '1,4', '1 and 4', 'hairs, flakes', 'all of them'."""
    if talk.offer.kind != "several":
        return None
    said, ids = _stripped(talk.said, talk.spoken, wide=True), [answer.id for answer in talk.offer.answers]
    if said in map(tokens, talk.spoken.every) or (said in map(tokens, talk.spoken.both) and len(ids) == 2):
        return Ticked(frozenset(ids))
    parts = _parted(talk)
    if not 1 < len(parts) <= LISTED:
        return None
    readings = [read(part, talk.offer, {}, replace(talk.spoken, asides={})) for part in parts]
    together = _together(readings)
    return None if together == Unclear() else together


def _parted(talk: _Talk) -> list[str]:
    """The parts of a list; runs of numbers part at every space, words at commas and 'and'."""
    text = talk.folded.replace("#", " ")
    if "-" in text and re.search(r"\d\s*-\s*\d", text):
        return []  # "1-3" may mean two marks or three
    if re.fullmatch(r"[\d\s,.;/&+)(]+", text):
        return re.findall(r"\d+", text)
    both = "|".join(re.escape(word) for word in talk.spoken.and_ if word.isalpha())
    rough = re.split(rf"[,;/&+\n]|(?<!\w)(?:{both})(?!\w)", text)
    parts = [
        piece for part in rough for piece in (part.split() if re.fullmatch(r"[\d\s]+", part) else [part])
    ]
    return [part for part in parts if tokens(part)]


def _together(readings: list[Reading]) -> Reading:
    """All parts or nothing: half a list would deny what was not understood."""
    unsure = next((each for each in readings if isinstance(each, Ambiguous)), None)
    ticked = [each for each in readings if isinstance(each, Ticked)]
    if len(ticked) < len(readings):
        return unsure or Unclear()
    if any(each.none for each in ticked):
        return Ticked(frozenset(), True) if all(each.none for each in ticked) else Unclear()
    return Ticked(frozenset().union(*(each.ids for each in ticked)))


def _two_numbers(talk: _Talk) -> Reading | None:
    """'2 or 3' where one answer is wanted: ask which."""
    if talk.offer.kind in ("number", "name", "graded", "several"):
        return None
    loose = {*talk.spoken.and_, *talk.spoken.to}
    said = [word for word in talk.said if word not in loose]
    places = {int(word) for word in said if word.isdecimal() and len(word) < 4}
    listed = (
        len(said) > 1 and all(word.isdecimal() for word in said) and not re.search(r"\d[.:/]\d", talk.folded)
    )
    if not listed or not all(1 <= place <= len(talk.offer.answers) for place in places):
        return None
    return _chosen(talk, (talk.offer.answers[place - 1].id for place in places))


def _amount(talk: _Talk) -> Reading | None:
    """A measurement, in the unit asked for, within what is possible."""
    offer = talk.offer
    if offer.kind not in ("number", "graded") or (offer.kind == "graded" and not _stepped(offer)):
        return None
    unit = offer.unit or ""
    given = measure(talk.folded, unit, talk.spoken)
    if given is None or (not given.unit and len(talk.said) > AMONG):
        return None
    moved = _moved(given, unit)
    if moved is None:
        return WrongUnit(given.unit, unit)
    return _within(moved, offer) if offer.kind == "number" else _steps(talk, *moved)


def _stepped(offer: Offer) -> bool:
    return len(offer.upto) == len(offer.answers) and any(edge is not None for edge in offer.upto)


def _moved(given: Quantity, unit: str) -> tuple[float, float] | None:
    """Both ends in the wanted unit; a bare number is taken to be in it."""
    if not given.unit:
        return given.low, given.high
    ends = [convert(end, given.unit, unit) for end in (given.low, given.high)]
    return None if ends[0] is None or ends[1] is None else (ends[0], ends[1])


def _within(ends: tuple[float, float], offer: Offer) -> Reading:
    """The part of a span that is possible; out of range when none is, or an exact number is not."""
    low, high = ends
    least, most = offer.allowed or (-math.inf, math.inf)
    if high < least or low > most or low == math.inf:
        return OutOfRange(low if low > most else high, least, most, offer.unit or "")
    return Measured(max(low, least), min(high, most))


def _steps(talk: _Talk, low: float, high: float) -> Reading:
    """The steps that an amount covers: each reaches from above the last one's edge up to its own."""
    edges = [math.inf if edge is None else edge for edge in talk.offer.upto]
    below = [-math.inf, *edges[:-1]]
    if not talk.offer.unit and math.isfinite(high):
        high = max(low, math.floor(high))  # pieces come whole: less than 6 is 5 at most
    covered = [
        answer.id
        for answer, under, edge in zip(talk.offer.answers, below, edges, strict=True)
        if high > under and low <= edge
    ]
    if not covered:
        return Unclear()
    return Spanned(tuple(covered)) if len(covered) > 1 else Chosen(covered[0])


def _with_slips(talk: _Talk) -> Reading | None:
    """The nearest answer or control; at equal distance the answer."""
    near: dict[int, set[str]] = {}
    for said in {talk.said, _stripped(talk.said, talk.spoken, wide=True)} - {()}:
        for phrase, ids in talk.owned.items():
            off = slips(said, phrase)
            if off is not None:
                near.setdefault(off, set()).update(ids)
    control = _slipped_control(talk)
    if near and (control is None or min(near) <= control[0]):
        return _chosen(talk, near[min(near)])
    return control[1] if control else None


def _slipped_control(talk: _Talk) -> tuple[int, Control] | None:
    found = []
    for said in {talk.said, _stripped(talk.said, talk.spoken, wide=False)} - {()}:
        for name, phrases in talk.controls.items():
            offs = [slips(said, tokens(phrase)) for phrase in phrases if "..." not in phrase]
            found += [(off, -len(said), Control(name)) for off in offs if off is not None]
    best = min(found, key=lambda each: each[:2], default=None)
    return (best[0], best[2]) if best else None


def _beginning(talk: _Talk) -> Reading | None:
    """The first words of labels; of one only, or of few enough to ask which."""
    said = _stripped(talk.said, talk.spoken, wide=True)
    idle = {*talk.spoken.small, *talk.spoken.negation}
    if sum(map(len, said)) < PREFIX or said[-1].isdecimal() or idle.issuperset(said):
        return None
    begun = [a.id for a in talk.offer.numbered if any(_begins(said, tokens(t)) for t in (a.label, a.short))]
    if not begun or (len(begun) > 1 and len(begun) == len(talk.offer.numbered) > 2):
        return None
    return _chosen(talk, begun)


def _begins(said: Phrase, label: Phrase) -> bool:
    n = len(said)
    return n <= len(label) and said[:-1] == label[: n - 1] and label[n - 1].startswith(said[-1])


def _middle(talk: _Talk) -> Reading | None:
    """Words out of the middle of labels, all of them there; "small outer cover" is enough.

    A label that denies ("no knock") is not meant by words that do not.
    """
    said = _stripped(talk.said, talk.spoken, wide=True)
    idle = {*talk.spoken.small, *talk.spoken.negation}
    if not any(len(word) >= TELLING and word not in idle for word in said):
        return None
    found = [
        a.id for a in talk.offer.numbered if any(_holds(said, t, talk.spoken) for t in (a.label, a.short))
    ]
    return _chosen(talk, found) if 0 < len(found) <= FEW else None


def _holds(said: Phrase, label: str, spoken: Spoken) -> bool:
    there = tokens(label)
    denies = set(there) & set(spoken.negation)
    return denies <= set(said) and all(any(off(word, meant) is not None for meant in there) for word in said)


_ORDER: tuple[Callable[[_Talk], Reading | None], ...] = (
    _word_for_word,
    _control_word,
    _with_rest,
    _with_slips,
    _several,
    _two_numbers,
    _amount,
    _beginning,
    _middle,
)
