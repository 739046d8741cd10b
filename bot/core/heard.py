"""Phrases heard in a free message, and whether the words about them deny or doubt them.

The longest phrase wins its words, and only then is it seen whether it is denied: "not magnetic" as
a phrase of its own must not be read as "magnetic" with a "not" before it.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence, Set
from dataclasses import dataclass
from typing import NamedTuple

from bot.core.spoken import Spoken, Word, fold, shadows, slips, tokens, words

REACH = 4  # words before a phrase in which a "not" still denies it
DOUBT = 6  # words before a phrase in which an "if" still makes it doubtful

Value = tuple[str, str]  # ask id, value id


class Phrase(NamedTuple):
    """One way to tell something, with the values it tells."""

    words: tuple[str, ...]
    values: tuple[Value, ...]


@dataclass(frozen=True)
class Phrases:
    """Phrases by their first word, and those words by their shadows, to find them one slip away."""

    first: Mapping[str, tuple[Phrase, ...]]
    shadows: Mapping[str, frozenset[str]]


class Match(NamedTuple):
    """A phrase in a message, with how many of its words hold a slip."""

    start: int
    end: int  # words of the text, end left out
    slips: int
    phrase: Phrase

    def place(self, speech: Speech) -> tuple[int, int]:
        """Its first and last word among all words of the message."""
        return speech.kept[self.start], speech.kept[self.end - 1]


def collect(told: Iterable[tuple[str, Value]], spoken: Spoken) -> Phrases:
    """Phrases with the values they tell; articles do not matter, and one phrase may tell several."""
    values: dict[tuple[str, ...], dict[Value, None]] = {}
    for phrase, value in told:
        said = tuple(word for word in tokens(phrase) if word not in spoken.articles)
        if said:
            values.setdefault(said, {})[value] = None
    first: dict[str, tuple[Phrase, ...]] = {}
    shaded: dict[str, set[str]] = {}
    for said, owners in values.items():
        first[said[0]] = (*first.get(said[0], ()), Phrase(said, tuple(owners)))
        for shadow in shadows(said[0]):
            shaded.setdefault(shadow, set()).add(said[0])
    return Phrases(first, {shadow: frozenset(near) for shadow, near in shaded.items()})


@dataclass(frozen=True)
class Speech:
    """A message as words without articles, each with its place among all words."""

    text: str
    all: tuple[Word, ...]
    kept: tuple[int, ...]
    spoken: Spoken

    @property
    def words(self) -> tuple[str, ...]:
        return tuple(self.all[i].text for i in self.kept)


def hear(text: str, spoken: Spoken) -> Speech:
    """A message made ready to listen to."""
    folded = fold(text)
    said = words(folded)
    kept = tuple(i for i, word in enumerate(said) if word.text not in spoken.articles)
    return Speech(folded, said, kept, spoken)


def matches(speech: Speech, phrases: Phrases) -> list[Match]:
    """The matches that stand: longest first, then those with the fewest slips; overlaps dropped."""
    said = speech.words
    found = [match for i in range(len(said)) for match in _at(said, i, phrases) if _whole(speech, match)]
    found.sort(key=lambda match: (match.start - match.end, match.slips, match.start))
    taken: set[int] = set()
    kept: list[Match] = []
    for match in found:
        span = set(range(match.start, match.end))
        if not span & taken:
            taken |= span
            kept += [match] if _only(match, found) else []
    return kept


def _only(match: Match, found: Sequence[Match]) -> bool:
    """Whether no other phrase is as near: one slip from "light" and from "tight" is neither."""
    return not any(each[:3] == match[:3] and each.phrase != match.phrase for each in found)


def _at(said: Sequence[str], i: int, phrases: Phrases) -> Iterator[Match]:
    near = {meant for shadow in shadows(said[i]) for meant in phrases.shadows.get(shadow, ())}
    for phrase in (each for first in sorted(near) for each in phrases.first[first]):
        off = slips(tuple(said[i : i + len(phrase.words)]), phrase.words)
        if off is not None:
            yield Match(i, i + len(phrase.words), off, phrase)


def _whole(speech: Speech, match: Match) -> bool:
    """Whether no stop parts its words: 'no, oil light is on' does not hold 'no oil light'."""
    first, last = match.place(speech)
    return not any(BREAK.search(between(speech, i, i + 1)) for i in range(first, last))


def between(speech: Speech, i: int, j: int) -> str:
    """What is written between the end of one word and the beginning of another."""
    start = speech.all[i].end if i >= 0 else 0
    return speech.text[start : speech.all[j].start if j < len(speech.all) else len(speech.text)]


BREAK = re.compile(r"[,.;:!?\n()]| - ")


def _breaks(speech: Speech, i: int) -> bool:
    """Whether a clause begins with this word: a stop before it, 'but', 'and then', 'and it'."""
    here = [word.text for word in speech.all[i : i + 2]]
    if BREAK.search(between(speech, i - 1, i)) or here[0] in speech.spoken.turn:
        return True
    fresh = len(here) > 1 and here[1] in (*speech.spoken.pronouns, *speech.spoken.articles)
    return " ".join(here) in speech.spoken.turn or (here[0] in speech.spoken.and_ and fresh)


def _before(speech: Speech, start: int, reach: int) -> range:
    """The places of up to `reach` words before a phrase, in its own clause."""
    i = start
    while i > 0 and start - i < reach and not _breaks(speech, i):
        i -= 1
    return range(i, start)


def _runs(speech: Speech, places: range, phrases: Iterable[str]) -> set[int]:
    """The places that any of these phrases takes up."""
    out: set[int] = set()
    for phrase in map(str.split, phrases):
        for i in places:
            end = i + len(phrase)
            if end <= places.stop and [word.text for word in speech.all[i:end]] == phrase:
                out.update(range(i, end))
    return out


def denied(speech: Speech, start: int, end: int, spent: Set[int] = frozenset()) -> bool:
    """'not' and its like before the phrase in its clause, or 'no' as the answer after it.

    `spent`: places of words that belong to other phrases heard; the "won't" of "won't start" says
    nothing about what comes after it.
    """
    spoken, places = speech.spoken, _before(speech, start, REACH)
    free = set(places) - spent - _runs(speech, places, spoken.mere)  # "not only" denies nothing
    return any(_denies(speech, i) for i in free) or _refused(speech, end)


def _denies(speech: Speech, i: int) -> bool:
    """A word of denial; but the "no" of "no it sticks" answers something said before."""
    word, after = speech.all[i].text, speech.all[i + 1].text
    return word in speech.spoken.negation and not (
        word in speech.spoken.no and after in speech.spoken.pronouns
    )


def _refused(speech: Speech, end: int) -> bool:
    """'knocking: no', 'glitter - none' and 'sparks no,': the sheet-like way to deny."""
    if end + 1 >= len(speech.all) or speech.all[end + 1].text not in {*speech.spoken.no, *speech.spoken.zero}:
        return False
    ends = end + 2 >= len(speech.all) or bool(BREAK.search(between(speech, end + 1, end + 2)))
    return ends and not re.search(r"[.;!,\n]", between(speech, end, end + 1))


def doubted(speech: Speech, start: int, end: int) -> bool:
    """Doubt before it in its clause, a question that wants a yes or no, or 'stopped' right before."""
    places = _before(speech, start, DOUBT)
    if _runs(speech, places, speech.spoken.doubt):
        return True
    if places and speech.all[start - 1].text in speech.spoken.ended:
        return True
    return _asked(speech, start, end)


def _asked(speech: Speech, start: int, end: int) -> bool:
    """'Does it knock?' tells nothing; 'why does it knock?' does."""
    while end + 1 < len(speech.all) and not _breaks(speech, end + 1):
        end += 1
    if not between(speech, end, end + 1).strip().startswith("?"):
        return False
    places = _before(speech, start, len(speech.all))
    return not _runs(speech, range(places.start, end + 1), speech.spoken.asking)
