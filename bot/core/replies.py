"""One reply held against its offer: its words, and who owns which way to say an answer."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from bot.core.offers import Ambiguous, Chosen, Offer, Reading, Ticked
from bot.core.spoken import Spoken, Word, tokens

Phrase = tuple[str, ...]


@dataclass(frozen=True)
class Reply:
    """All that one reply is read against."""

    said: Phrase
    marks: tuple[Word, ...]
    folded: str
    offer: Offer
    owned: Mapping[Phrase, tuple[str, ...]]  # ways to say an answer -> the answers that own it
    controls: Mapping[str, tuple[str, ...]]
    spoken: Spoken


# --- ways to say an answer -------------------------------------------------------------------


def ways(offer: Offer, spoken: Spoken) -> dict[Phrase, tuple[str, ...]]:
    """All ways to say an answer, each with the answers that own it."""
    said: dict[Phrase, tuple[str, ...]] = {}
    for answer in offer.numbered:
        for phrase in {tokens(each) for each in (answer.label, answer.short, *answer.words)} - {()}:
            said[phrase] = (*said.get(phrase, ()), answer.id)
    own = _agreed(offer, said, spoken)
    for ids, phrases in own:
        for phrase in map(tokens, phrases):
            said.setdefault(phrase, ids)
    return said


def _agreed(
    offer: Offer, said: Mapping[Phrase, tuple[str, ...]], spoken: Spoken
) -> list[tuple[tuple[str, ...], tuple[str, ...]]]:
    """All ways to say yes go to the answer that owns one of them; likewise no."""
    yes = _owner(said, spoken.yes)
    no = _owner(said, spoken.no)
    if offer.kind == "confirm" and len(offer.answers) > 1:
        ids = [answer.id for answer in offer.answers]
        yes = yes or (("yes",) if "yes" in ids else (ids[0],))
        no = no or (("no",) if "no" in ids else (ids[1],))
        return [(yes, (*spoken.yes, *spoken.agree)), (no, (*spoken.no, *spoken.refuse))]
    if offer.none_of_these and not no:
        no = (offer.none_of_these.id,)
        return [(no, (*spoken.no, *spoken.zero)), *([(yes, spoken.yes)] if yes else [])]
    return [(ids, phrases) for ids, phrases in ((yes, spoken.yes), (no, spoken.no)) if ids]


def _owner(said: Mapping[Phrase, tuple[str, ...]], phrases: Iterable[str]) -> tuple[str, ...]:
    found = {owner: None for phrase in phrases for owner in said.get(tokens(phrase), ())}
    return tuple(found) if len(found) == 1 else ()


def stripped(said: Phrase, spoken: Spoken, wide: bool) -> Phrase:
    """Without 'sorry' and 'please', and, where only answers are meant, without 'I think it is'."""
    loose = {*spoken.polite, *(spoken.filler if wide else ())}
    start, end = 0, len(said)
    while start < end and said[start] in loose:
        start += 1
    while end > start and said[end - 1] in loose:
        end -= 1
    return said[start:end]


def chosen(talk: Reply, ids: Iterable[str]) -> Reading:
    """One answer, or the question which of them was meant, in the order offered."""
    wanted = set(ids)
    found = [answer.id for answer in talk.offer.numbered if answer.id in wanted]
    if len(found) != 1:
        return Ambiguous(tuple(found))
    if talk.offer.kind != "several":
        return Chosen(found[0])
    none = talk.offer.none_of_these is not None and talk.offer.none_of_these.id == found[0]
    return Ticked(frozenset() if none else frozenset(found), none)
