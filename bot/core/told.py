"""What riders tell unasked: signs found in free words, and the flow that the words speak of.

A false finding costs more than a missed one, since a missed one is asked later. So whatever is
doubted ("not sure if"), asked ("does it knock?"), denied with no answer to deny it, or told both
ways is left out.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence, Set
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

from bot.core.desk import Card
from bot.core.findings import Pinned
from bot.core.flow import Answer, Asked_, Flow, Graded, Look, Number, One, Several
from bot.core.heard import (
    BREAK,
    Match,
    Phrases,
    Speech,
    Value,
    between,
    collect,
    denied,
    doubted,
    hear,
    intended,
    matches,
    partial,
)
from bot.core.spoken import ENGLISH, Spoken, off, tokens
from bot.core.units import Quantity, alike, convert, quantities

NONE_OF_THESE = "none_of_these"  # value id of that answer; no answer of a flow can have an underscore
TRAIT = "trait:"  # before the id of a trait, as in findings
NEAR = 6  # words around a quantity in which its question must be spoken of
CLEAR = 1.5  # times the second flow's score that the first must have
NEAR_TOLD = 14  # words around it in which something told still says what it is about
FULL_STOP = re.compile(r"[.;!?\n]")
LOOSE = 0.6  # worth of words that are all there but apart, against the phrase itself


@dataclass(frozen=True)
class Told:
    """A finding in a rider's own words.

    `negated`: the words denied a sign, and `value_ids` is the answer that denies it too. For a
    number `value_ids` is empty and `quantity` is in the question's unit. For a question of kind
    several the marks told are collected; marks that are not told are not denied by it.
    """

    ask: str
    value_ids: tuple[str, ...]
    negated: bool
    phrase: str
    quantity: Quantity | None = None


class Hint(NamedTuple):
    """A number question: its unit and the words that must stand near a quantity."""

    ask: str
    unit: str
    words: frozenset[str]


@dataclass(frozen=True)
class Index:
    """All that may be told for one flow. `opposites`: a value and the one that denies it."""

    phrases: Phrases
    opposites: Mapping[Value, str]
    several: frozenset[str]
    one: frozenset[str]
    numbers: tuple[Hint, ...]


# --- building --------------------------------------------------------------------------------


def index(flow: Flow, spoken: Spoken = ENGLISH) -> Index:
    """Every told_as phrase of the flow's questions, checks and traits, and its number questions."""
    return _index(Pinned(flow), spoken)


@lru_cache(maxsize=32)  # a flow is the same at every turn of all its cases
def _index(pinned: Pinned, spoken: Spoken) -> Index:
    flow, asks = pinned.flow, pinned.flow.asks
    return Index(
        collect([*_of_asks(flow), *_of_traits(flow)], spoken),
        opposites=dict(_opposites(flow)),
        several=frozenset(ask for ask, each in asks.items() if isinstance(each, Several)),
        one=frozenset(ask for ask, each in asks.items() if isinstance(each, One)),
        numbers=tuple(_hint(ask, each, spoken) for ask, each in asks.items() if isinstance(each, Number)),
    )


def _of_asks(flow: Flow) -> Iterator[tuple[str, Value]]:
    for ask_id, ask in flow.asks.items():
        for value, phrases in _values(ask):
            yield from ((phrase, (ask_id, value)) for phrase in phrases)


def _of_traits(flow: Flow) -> Iterator[tuple[str, Value]]:
    for trait_id, trait in flow.traits.items():
        for value, answer in trait.answers.items():
            yield from ((phrase, (TRAIT + trait_id, value)) for phrase in answer.told_as)


def _values(ask: Asked_) -> Iterator[tuple[str, tuple[str, ...]]]:
    """Each value of a question with the ways to tell it."""
    if isinstance(ask, One):
        yield from ((value, answer.told_as) for value, answer in ask.answers.items())
    elif isinstance(ask, Several):
        yield from ((value, mark.told_as) for value, mark in ask.marks.items())
        yield NONE_OF_THESE, ask.none_of_these.told_as
    elif isinstance(ask, Graded):
        yield from ((value, grade.told_as) for value, grade in ask.classes.items())
    elif isinstance(ask, Look):
        yield from (("good", ask.good.told_as), ("bad", ask.bad.told_as))


def _opposites(flow: Flow) -> Iterator[tuple[Value, str]]:
    for ask, each in flow.asks.items():
        if isinstance(each, One):
            yield from _denials(ask, each.answers)
        elif isinstance(each, Look):
            yield (ask, "bad"), "good"
            if not each.other_damage:  # else what is not good may be damage of another kind
                yield (ask, "good"), "bad"
    for trait, about in flow.traits.items():
        yield from _denials(TRAIT + trait, about.answers)


def _denials(ask: str, answers: Mapping[str, Answer]) -> Iterator[tuple[Value, str]]:
    """For each answer that shows signs, the one answer that denies them all, where there is just one."""
    for value, answer in answers.items():
        shown = set(answer.shows)
        deny = [other for other, each in answers.items() if shown and shown <= set(each.denies)]
        if len(deny) == 1:
            yield (ask, value), deny[0]


def _hint(ask_id: str, ask: Number, spoken: Spoken) -> Hint:
    said = {*tokens(ask.ask), *tokens(ask.short or "")}
    told = {word for word in said if len(word) > 3 and word not in spoken.small and not alike(word, ask.unit)}
    return Hint(ask_id, ask.unit, frozenset(told))


# --- listening -------------------------------------------------------------------------------


def listen(text: str, index: Index, spoken: Spoken = ENGLISH) -> tuple[Told, ...]:
    """What a free message tells, in the order told; nothing that is doubted, asked or told both ways."""
    speech = hear(text, spoken)
    found = [match for match in matches(speech, index.phrases) if not _unsure(speech, match, index)]
    spent = _spent(speech, found)
    heard: list[tuple[int, Told]] = []
    void: set[Value] = set()  # denied, with no answer to deny it: then it is not told elsewhere either
    for match in found:
        negated = _negated(speech, match, spent)
        void |= {value for value in match.phrase.values if negated and value not in index.opposites}
        heard += [(match.start, told) for told in _meant(speech, match, negated, index.opposites)]
    sure = [each for each in heard if (each[1].ask, each[1].value_ids[0]) not in void]
    told = sorted([*sure, *_numbers(speech, index, found)], key=lambda each: each[0])
    return tuple(_settled([each for _, each in told], index))


def _unsure(speech: Speech, match: Match, index: Index) -> bool:
    """Doubted, only meant to be done, or said of a part where there is one answer for the whole.

    "Most of it sticks to the magnet" is not all of it; but "a few flakes on the plug" were on the plug.
    """
    place, phrase = match.place(speech), match.phrase
    whole = any(ask in index.one for ask, _ in phrase.values) and phrase.words[0] not in speech.spoken.joints
    return doubted(speech, *place) or intended(speech, *place) or (whole and partial(speech, place[0]))


def _meant(speech: Speech, match: Match, negated: bool, opposites: Mapping[Value, str]) -> Iterator[Told]:
    """What a match tells: itself, or when it is denied its opposite, or nothing."""
    first, last = match.place(speech)
    said = speech.text[speech.all[first].start : speech.all[last].end]
    for ask, value in match.phrase.values:
        told = opposites.get((ask, value)) if negated else value
        if told is not None:
            yield Told(ask, (told,), negated, said)


def _negated(speech: Speech, match: Match, spent: Set[int]) -> bool:
    """Whether it is denied; a phrase with a denial of its own is taken as it is."""
    own = any(word in speech.spoken.negation for word in match.phrase.words)
    return not own and denied(speech, *match.place(speech), spent)


def _spent(speech: Speech, found: Sequence[Match]) -> frozenset[int]:
    """The places of all words that belong to a phrase."""
    return frozenset(speech.kept[i] for match in found for i in match.hits)


def _numbers(speech: Speech, index: Index, found: Sequence[Match]) -> Iterator[tuple[int, Told]]:
    """Quantities whose unit only one number question has, where words of that question stand near."""
    for each in quantities(speech.text, None, speech.spoken):
        given = each.quantity
        fitting = [hint for hint in index.numbers if given.unit and alike(given.unit, hint.unit)]
        if len(fitting) != 1:
            continue
        first = next(i for i, word in enumerate(speech.all) if word.end > each.start)
        last = max(i for i, word in enumerate(speech.all) if word.start < each.end)
        unsure = doubted(speech, first, last) or denied(speech, first, last) or intended(speech, first, last)
        if not unsure and _spoken_of(speech, fitting[0], (first, last), found):
            place = sum(1 for i in speech.kept if i < first)
            yield place, _measured(fitting[0], given, speech.text[each.start : each.end])


def _spoken_of(speech: Speech, hint: Hint, place: tuple[int, int], found: Sequence[Match]) -> bool:
    """Two words of the question near the quantity, or its only one.

    "5 h ago" speaks of "since", and what was told of a question in the same sentence speaks of the
    words of that question's id: "new clutch, 5 h ago" of hours since work, by recent-work.
    """
    first, last = place
    clause = _around(speech, first, last, NEAR, BREAK)
    said = {speech.all[i].text for i in clause if not first <= i <= last}
    sentence = _around(speech, first, last, NEAR_TOLD, FULL_STOP)
    told = [match for match in found if set(match.place(speech)) <= set(sentence)]
    said |= {word for match in told for ask, _ in match.phrase.values for word in tokens(ask)}
    after = tuple(word.text for word in speech.all[last + 1 : last + 3])
    ago = any(after[: len(each)] == each for each in map(tokens, speech.spoken.ago))
    said |= set(speech.spoken.since) if ago else set()
    near = {meant for meant in hint.words if any(off(word, meant) is not None for word in said)}
    return bool(near) and len(near) >= min(2, len(hint.words))


def _around(speech: Speech, first: int, last: int, reach: int, stop: re.Pattern[str]) -> range:
    """The places of up to `reach` words on either side, as far as no stop parts them."""
    start, end = first, last
    while start > 0 and first - start < reach and not stop.search(between(speech, start - 1, start)):
        start -= 1
    while end + 1 < len(speech.all) and end - last < reach and not stop.search(between(speech, end, end + 1)):
        end += 1
    return range(start, end + 1)


def _measured(hint: Hint, given: Quantity, said: str) -> Told:
    ends = [convert(end, given.unit, hint.unit) for end in (given.low, given.high)]
    low, high = (end if end is not None else 0.0 for end in ends)
    return Told(hint.ask, (), False, said, Quantity(low, high, hint.unit))


def _settled(heard: Sequence[Told], index: Index) -> Iterator[Told]:
    """One Told a question: marks collected, the same thing told twice once, both ways not at all."""
    by_ask: dict[str, list[Told]] = {}
    for told in heard:
        by_ask.setdefault(told.ask, []).append(told)
    for ask, all_told in by_ask.items():
        ids = tuple(dict.fromkeys(value for told in all_told for value in told.value_ids))
        if ask not in index.several:
            if len({(told.value_ids, told.quantity) for told in all_told}) == 1:
                yield max(all_told, key=lambda told: len(told.phrase))
        elif NONE_OF_THESE not in ids or len(ids) == 1:
            phrase = ", ".join(dict.fromkeys(told.phrase for told in all_told))
            yield Told(ask, ids, False, phrase)


# --- false cures and the choice of a flow ------------------------------------------------------


def tried(text: str, flow: Flow, spoken: Spoken = ENGLISH) -> tuple[str, ...]:
    """Ids of the false cures that a message says were tried, in the order told."""
    speech = hear(text, spoken)
    found = _cures(speech, flow)
    sure = [match for match in found if not doubted(speech, *match.place(speech))]
    spent = _spent(speech, found)
    return _named(match for match in sure if not _negated(speech, match, spent))


def wondered(text: str, flow: Flow, spoken: Spoken = ENGLISH) -> tuple[str, ...]:
    """Ids of the false cures that a message asks about: 'can't I just file the fingers?'"""
    speech = hear(text, spoken)
    asks = speech.text.rstrip().endswith("?") or any(
        tokens(begin) == tuple(word.text for word in speech.all[: len(tokens(begin))])
        for begin in spoken.wondering
    )
    return _named(_cures(speech, flow)) if asks else ()


def _cures(speech: Speech, flow: Flow) -> list[Match]:
    told = [(phrase, ("", cure)) for cure, each in flow.false_cures.items() for phrase in each.told_as]
    return sorted(matches(speech, collect(told, speech.spoken)))


def _named(said: Iterable[Match]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(cure for match in said for _, cure in match.phrase.values))


@dataclass(frozen=True)
class Picked:
    """The flow that a message clearly speaks of, or None, and all that it may, best first."""

    flow: str | None
    ranked: tuple[tuple[str, float], ...]


def pick(text: str, cards: Sequence[Card], spoken: Spoken = ENGLISH) -> Picked:
    """Which flow a rider's first words speak of.

    Each phrase said counts its words; a phrase whose telling words are all there, but apart, counts
    `LOOSE` of them. The first is clear when it has `CLEAR` times the second's score. What is only
    asked or doubted ("metal in the oil?") picks a flow all the same; what is denied does not. What the
    riders of one flow say ("crashed it") speaks of that flow, where another only hears it as an answer.
    """
    speech = hear(text, spoken)
    said = frozenset().union(*(_said(card, spoken) for card in cards)) if cards else frozenset()
    scores = [(card.flow, _score(speech, card, said - _said(card, spoken))) for card in cards]
    ranked = sorted((each for each in scores if each[1] > 0), key=lambda each: -each[1])
    clear = bool(ranked) and (len(ranked) == 1 or ranked[0][1] >= CLEAR * ranked[1][1])
    return Picked(ranked[0][0] if clear else None, tuple(ranked))


@lru_cache(maxsize=256)
def _phrases(card: Card, spoken: Spoken) -> Phrases:
    return collect(((phrase, ("", "")) for phrase in (card.title, *card.riders_say, *card.told_as)), spoken)


@lru_cache(maxsize=256)
def _said(card: Card, spoken: Spoken) -> frozenset[tuple[str, ...]]:
    """What its riders say, and its title, in the words that count."""
    own = collect(((phrase, ("", "")) for phrase in (card.title, *card.riders_say)), spoken)
    return frozenset(phrase.words for phrases in own.first.values() for phrase in phrases)


def _score(speech: Speech, card: Card, of_others: frozenset[tuple[str, ...]]) -> float:
    found = matches(speech, _phrases(card, speech.spoken))
    spent = _spent(speech, found)
    own = (match for match in found if match.phrase.words not in of_others)
    exact = sum(len(match.hits) for match in own if not _negated(speech, match, spent))
    apart = max((_apart(speech, phrase) for phrase in (card.title, *card.riders_say)), default=0)
    return max(float(exact), LOOSE * apart)


def _apart(speech: Speech, phrase: str) -> int:
    """How many telling words a phrase has when all of two or more stand in the text undenied, else 0."""
    telling = [word for word in tokens(phrase) if word not in speech.spoken.small]
    places = [place for word in telling for place in _first(speech, word)]
    if len(telling) < 2 or len(places) < len(telling):
        return 0
    spent = frozenset(places)
    return 0 if any(denied(speech, place, place, spent) for place in places) else len(telling)


def _first(speech: Speech, meant: str) -> list[int]:
    """The place of the first word that is this one, in a list; empty when there is none."""
    return [i for i, word in enumerate(speech.all) if off(word.text, meant) is not None][:1]
