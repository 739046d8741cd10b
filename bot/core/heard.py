"""Phrases heard in a free message, and whether the words about them deny or doubt them.

The longest phrase wins its words, and only then is it seen whether it is denied: "not magnetic" as
a phrase of its own must not be read as "magnetic" with a "not" before it.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence, Set
from dataclasses import dataclass
from typing import NamedTuple

from bot.core.forms import FORM, likeness, number_only, slip, thing
from bot.core.spoken import Spoken, Word, fold, shadows, tokens, words

GAP = 3  # small words that may stand between the words of one phrase
REACH = 4  # words before a phrase in which a "not" still denies it
SOON = 4  # words after a phrase in which a "needed" still puts it off
DOUBT = 6  # words before a phrase in which an "if" still makes it doubtful

Value = tuple[str, str]  # ask id, value id


class Phrase(NamedTuple):
    """One way to tell something, with the values it tells. `turned`: its two words in the other order."""

    words: tuple[str, ...]
    values: tuple[Value, ...]
    free: bool = False  # two telling words or more: then small words may come and go between them
    turned: bool = False


@dataclass(frozen=True)
class Phrases:
    """Phrases by their first word, and those words by their shadows and by what they stand for."""

    first: Mapping[str, tuple[Phrase, ...]]
    shadows: Mapping[str, frozenset[str]]
    things: Mapping[str, frozenset[str]]


class Match(NamedTuple):
    """A phrase in a message, with how far its words are from those said."""

    start: int
    end: int  # words of the text, end left out
    slips: int
    phrase: Phrase
    hits: tuple[int, ...]  # the words that are the phrase's own

    def place(self, speech: Speech) -> tuple[int, int]:
        """Its first and last word among all words of the message."""
        return speech.kept[self.start], speech.kept[self.end - 1]


def collect(told: Iterable[tuple[str, Value]], spoken: Spoken) -> Phrases:
    """Phrases with the values they tell; articles do not matter, and one phrase may tell several."""
    values: dict[tuple[str, ...], dict[Value, None]] = {}
    for phrase, value in told:
        said = _bare(tokens(phrase), spoken)
        if said:
            values.setdefault(said, {})[value] = None
    phrases = [Phrase(said, tuple(owners), _free(said, spoken)) for said, owners in values.items()]
    turned = [_turned(each, spoken) for each in phrases]
    phrases += [each for each in turned if each is not None and each.words not in values]
    first: dict[str, tuple[Phrase, ...]] = {}
    shaded: dict[str, set[str]] = {}
    things: dict[str, set[str]] = {}
    for each in phrases:
        head = each.words[0]
        first[head] = (*first.get(head, ()), each)
        things.setdefault(thing(head, spoken), set()).add(head)
        for shadow in shadows(head):
            shaded.setdefault(shadow, set()).add(head)
    return Phrases(first, _frozen(shaded), _frozen(things))


def _frozen(sets: Mapping[str, set[str]]) -> dict[str, frozenset[str]]:
    return {key: frozenset(each) for key, each in sets.items()}


def _telling(said: Iterable[str], spoken: Spoken) -> tuple[str, ...]:
    """The words that say something by themselves."""
    idle = {*spoken.loose, *spoken.joints, *spoken.small, *spoken.negation}
    return tuple(word for word in said if word not in idle)


def _free(said: Sequence[str], spoken: Spoken) -> bool:
    return len(_telling(said, spoken)) > 1


def _bare(said: Sequence[str], spoken: Spoken) -> tuple[str, ...]:
    """Without articles, and without small words at its beginning where enough is left."""
    kept = tuple(word for word in said if word not in spoken.articles)
    while _free(kept, spoken) and kept[0] in spoken.loose:
        kept = kept[1:]
    return kept


def _turned(phrase: Phrase, spoken: Spoken) -> Phrase | None:
    """'slipping clutch' for 'clutch slips': two telling words and nothing that gives them an order."""
    said = tuple(word for word in phrase.words if word not in spoken.loose)
    if len(said) != 2 or len(_telling(said, spoken)) != 2:
        return None
    return Phrase((said[1], said[0]), phrase.values, True, True)


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
    found = [m for i in range(len(said)) for m in _at(said, i, phrases, speech.spoken) if _whole(speech, m)]
    found.sort(key=lambda match: (-len(match.hits), match.slips, match.start))
    taken: set[int] = set()
    kept: list[Match] = []
    for match in found:
        if not set(match.hits) & taken:
            taken |= set(match.hits)
            kept += [match] if _only(match, found) else []
    return kept


def _only(match: Match, found: Sequence[Match]) -> bool:
    """Whether nothing else is as near: one slip from "light" and from "tight" is neither."""
    return not any(
        (each.hits, each.slips) == (match.hits, match.slips) and each.phrase.values != match.phrase.values
        for each in found
    )


def _at(said: Sequence[str], i: int, phrases: Phrases, spoken: Spoken) -> Iterator[Match]:
    near = {meant for shadow in shadows(said[i]) for meant in phrases.shadows.get(shadow, ())}
    near |= phrases.things.get(thing(said[i], spoken), frozenset())
    for phrase in (each for first in sorted(near) for each in phrases.first[first]):
        followed = _follow(said, i, phrase, spoken)
        if followed is not None:
            hits, off = followed
            yield Match(i, hits[-1] + 1, off, phrase, hits)


def _follow(
    said: Sequence[str], i: int, phrase: Phrase, spoken: Spoken
) -> tuple[tuple[int, ...], int] | None:
    """The places of a phrase's words from word `i` on, and how far off they are.

    A small word of a free phrase may be missing, and up to `GAP` small words may stand between its
    words in turn; a phrase that is turned round must be together.
    """
    hits: list[int] = []
    off, gap = int(phrase.turned), 0
    left = list(phrase.words)
    while left:
        near = _near(said[i], left[0], phrase, spoken) if i < len(said) else None
        if near is not None:
            hits.append(i)
            off, i, left = off + near, i + 1, left[1:]
        elif phrase.free and left[0] in spoken.loose:
            off, left = off + 1, left[1:]
        elif phrase.free and not phrase.turned and hits and gap < GAP and _idle(said[i : i + 1], spoken):
            off, i, gap = off + 1, i + 1, gap + 1
        else:
            return None
    return tuple(hits), off


def _idle(said: Sequence[str], spoken: Spoken) -> bool:
    return bool(said) and said[0] in (*spoken.loose, *spoken.padding)


def _near(said: str, meant: str, phrase: Phrase, spoken: Spoken) -> int | None:
    """How far a word said is from a phrase's word; words that only join must be the same."""
    if said == meant:
        return 0
    if phrase.free:
        return likeness(said, meant, spoken) if _telling((meant,), spoken) else slip(said, meant)
    return FORM if number_only(said, meant, spoken) else slip(said, meant)


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


def intended(speech: Speech, start: int, end: int) -> bool:
    """'needs a rebuild', 'going to fit a new clutch', 'new clutch on order': meant, and not done."""
    places = _before(speech, start, DOUBT)
    if _runs(speech, places, speech.spoken.intent) - _runs(speech, places, speech.spoken.mere):
        return True
    after = end + 1
    while after < len(speech.all) and after - end <= SOON and not _breaks(speech, after):
        after += 1
    return bool(_runs(speech, range(end + 1, after), speech.spoken.ahead))


def partial(speech: Speech, start: int) -> bool:
    """'most of it', 'a few of the bits' before a phrase: it is not told of the whole."""
    return bool(_runs(speech, _before(speech, start, REACH), speech.spoken.part_of))
