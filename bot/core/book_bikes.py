"""Which bike words for the book are about, by its name among them, and the words without that name."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from typing import NamedTuple

from bot.core.book_lines import is_book_talk, is_reading
from bot.core.book_terms import KNOWN, METALS
from bot.core.desk import BikeCard
from bot.core.offers import Chosen, Reading
from bot.core.spoken import ENGLISH, fold, slips, tokens
from bot.core.talk import Talk

NEW = "new:"  # before the name of a bike that the record has yet to make
_NAMED = re.compile(
    r"^\s*(?!(?:change|correct)\b)([^\W\d_][\w .'-]{0,23}?)\s*:\s*(.+)$", re.DOTALL | re.IGNORECASE
)
_METAL = re.compile("|".join(METALS.values()))
_OWN = r"(?:['’]s)?(?!\w)"


class Addressed(NamedTuple):
    """`bike`: the known one that is meant, or None; `new`: the name of one that is not known yet.

    `text`: the words without the name. `ahead`: whether they begin with it.
    """

    bike: BikeCard | None
    new: str
    text: str
    ahead: bool = False

    @property
    def id(self) -> str:
        """The bike's id, or the mark of a new one; "" when none is meant."""
        return self.bike.id if self.bike else f"{NEW}{self.new}" if self.new else ""


def addressed(talk: Talk, text: str) -> Addressed:
    """The bike that is named, else that of the case, else the only one; for a mechanic that of the case."""
    bikes = talk.desk.bikes
    here = [bike for bike in bikes if bike.id == talk.state.bike]
    if talk.holds:
        mine = next(_called(text, here), None)
        return mine or Addressed(here[0] if here else None, "", text)
    named = _longest(list(_called(text, bikes)))
    if len(named) == 1:
        return named[0]
    if new := _new(text, bikes):
        return new
    found = here or (list(bikes) if len(bikes) == 1 else [])
    return Addressed(found[0] if found else None, "", text)


def picked(bikes: Sequence[BikeCard], said: str, reading: Reading) -> BikeCard | None:
    """The one of these bikes that was chosen, by its place or its name; None for another name."""
    id = reading.id if isinstance(reading, Chosen) else ""
    place = said.strip("#.() ")
    known = [b for b in bikes if b.id == id or b.is_called(said)]
    known += [b for n, b in enumerate(bikes, 1) if place == str(n)]
    return known[0] if known else None


def is_line(said: Addressed) -> bool:
    """Whether the words are a line of the book. A name before them says so where they only might be one."""
    return is_book_talk(said.text, ENGLISH) or (said.ahead and is_reading(said.text, ENGLISH))


# --- known bikes -----------------------------------------------------------------------------


def _called(text: str, bikes: Sequence[BikeCard]) -> Iterator[Addressed]:
    """Each bike whose name stands among the words."""
    plain = fold(text) if len(fold(text)) == len(text) else text
    for bike in bikes:
        if _is_all(text, bike.nickname):
            yield Addressed(bike, "", "", True)
            continue
        found = [match.span() for shape in _shapes(bike.nickname) for match in shape.finditer(plain)]
        if found:
            yield Addressed(bike, "", _less(text, found), min(found)[0] == 0)


def _is_all(text: str, name: str) -> bool:
    """Nothing but the name, one slip forgiven: of Pepper, Peper."""
    said = tokens(text)
    said = said[1:] if said[:1] and said[0] in ("for", "of") else said
    return said == tokens(name) or slips(said, tokens(name)) is not None


def _shapes(name: str) -> Iterator[re.Pattern[str]]:
    """Where a name may stand; one that may be a figure or a word of the book, only where nothing else can."""
    said = r"[\s-]+".join(re.escape(word) for word in re.split(r"[\s-]+", fold(name).strip()))
    yield re.compile(rf"^\W*{said}{_OWN}\s*:\s*", re.IGNORECASE)
    yield re.compile(rf"\bfor (?:the |my )?{said}{_OWN}[\s:,.-]*", re.IGNORECASE)
    if not any(word in KNOWN or word.isdecimal() or _METAL.fullmatch(word) for word in tokens(name)):
        yield re.compile(rf"(?:\b(?:of|on) )?(?:\b(?:the|my) )?(?<!\w){said}{_OWN}[\s:,.-]*", re.IGNORECASE)


def _less(text: str, places: Sequence[tuple[int, int]]) -> str:
    """The words without these; what a comma parted stays parted."""
    out, at = "", 0
    for start, end in sorted(places):
        if start >= at:
            out += text[at:start] + (", " if "," in text[start:end] and out + text[at:start] else " ")
        at = max(at, end)
    return (out + text[at:]).replace(" ,", ",").strip(" ,:")


def _longest(named: Sequence[Addressed]) -> list[Addressed]:
    """Of Pepper and Pepper Two the one whose name holds the other's."""

    def within(one: Addressed, other: Addressed) -> bool:
        mine, theirs = (fold(each.bike.nickname) if each.bike else "" for each in (one, other))
        return mine != theirs and mine in theirs

    return [one for one in named if not any(within(one, other) for other in named)]


# --- a new one -------------------------------------------------------------------------------


def _new(text: str, bikes: Sequence[BikeCard]) -> Addressed | None:
    """'Goat: hours 9' where no Goat is known: a new bike, and the line without its name."""
    named = _NAMED.match(text)
    if named is None or any(is_book_talk(f"{named[1]}{rest}", ENGLISH) for rest in (" 1 h", ": x")):
        return None
    said = Addressed(None, " ".join(named[1].split()), named[2], True)
    return said if is_line(said) and not any(bike.is_called(said.new) for bike in bikes) else None
