"""What a typed line says was found in the oil: forms, counts, metals, the magnet, the biggest piece."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

from bot.core.book_draft import Draft
from bot.core.book_entries import Count, Find, Form, Magnet, Where
from bot.core.book_terms import BITS, FORMS, LOOKED, LOOKED_FOR, MANY, MASS, METALS, PINCH_OF_PIECES, SIZES
from bot.core.units import Found, alike, convert, quantities

NEAR = 48  # letters before a noun in which its number begins

_LIKE = rf"(?:(?:{SIZES}|{'|'.join(METALS.values())}) )*"
_OF = rf"(?:(?:{BITS}) of {_LIKE})?"
_OF_METAL = rf"(?: of {_LIKE}metal)?"
_THINGS: dict[str, str] = {
    "plastic": rf"(?:(?:{BITS}|strips?|chunks?|lumps?|slivers?|shards?) of {_LIKE})?plastic(?: (?:{BITS}))?",
    **{form: rf"{_OF}(?:metal )?(?:{pattern}){_OF_METAL}" for form, pattern in FORMS.items()},
    "other": rf"(?:metal )?(?:{BITS}){_OF_METAL}|metal|debris|stuff",
}
_NOUN = re.compile(r"\b(?:" + "|".join(f"(?P<{name}>{said})" for name, said in _THINGS.items()) + r")\b")
_BETWEEN = re.compile(rf"(?:[ ¦-]|\b(?:{SIZES})\b)*")
_NONE = re.compile(rf"\b(?:no|zero|without|not a|not any|not one)(?: (?:{SIZES}))* ?$")
_MANY = re.compile(rf"\b(?:(?:a )?(?P<many>{'|'.join(MANY)})(?: of)?|(?P<lot>a (?:whole )?lot of))[ ¦]*$")
_ONE = re.compile(r"\b(?:a|an|one|single)[ ¦]*$")
_TO = r"(?: to)?(?: the| a)? ?magnet"
_MAGNETS: dict[Magnet, re.Pattern[str]] = {
    "not": re.compile(
        r"\b(?:(?:is |are |was |were )?(?:not|non|un|isnt|arent|none(?: of (?:it|them))?)[ -]*(?:is |are )?"
        r"(?:at all )?magnetic|nonmagnetic|unmagnetic|non-? ?ferrous"
        rf"|(?:does|do|did) ?not (?:stick|cling){_TO}"
        rf"|(?:doesnt|dont|didnt|wont|not) (?:stick|sticking|cling){_TO}"
        r"|magnet (?:leaves|ignores|left|does ?not take|doesnt take)(?: (?:it|them))?)\b"
    ),
    "mixed": re.compile(
        rf"\b(?:(?:partly|half|some|part|mostly)(?: of (?:it|them))?(?: is| are)? magnetic|some stick{_TO}"
        r"|magnetic and not|mixed)\b"
    ),
    "magnetic": re.compile(
        rf"\b(?:(?:is |are |was |were )?magnetic|ferrous|(?:it |they )?(?:sticks?|stuck|clings?){_TO}"
        r"|magnet (?:takes|took|grabs|picks up|pulls)(?: (?:it|them))?)\b"
    ),
}
_ALL = re.compile(r"\b(?:all|both|everything)[ ¦]*$")
PLACE_WORDS: dict[Where, str] = {
    "screen": r"screen|strainer|gauze|mesh",
    "filter": "filter",
    "plug": r"(?:drain |sump |magnetic )?plug|magnet",
    "pan": r"pan|tray|bucket|bowl",
    "": r"oil|sump",
}
_WHERE = re.compile(
    r"\b(?:in|on|at|from|behind|around|inside)(?: the| my)?(?: oil)?[ ¦]+(?:"
    + "|".join(f"(?P<{place or 'oil'}>{said})" for place, said in PLACE_WORDS.items())
    + r")\b"
)
_WAY = "(?:filter|screen|strainer|plug|pan|magnet)"
_CLEAN = re.compile(
    rf"(?:\b(?:the )?(?:oil )?{_WAY}(?: and (?:the )?{_WAY})* )?"
    r"\b(?:(?:all |was |were |is |are )*(?:clean|spotless|all clear)(?! (?:pan|tray|rag|cloth|bucket|paper))"
    r"|no (?:more )?(?:metal|flakes?|pieces?|bits?|chips?|particles?|debris)|none"
    rf"|nothing(?: found| in (?:it|there|the (?:oil|{_WAY}))| on (?:it|the {_WAY})| at all| there)?)\b"
)
_BIGGEST = re.compile(
    r"\b(?:the )?(?:biggest|largest|longest|max|maximum|size|each|all)"
    r"(?: (?:one|piece|is|are|was|of|about|them))*[ :¦]*$"
)
_LONG = re.compile(r"^ ?(?:long|wide|big|across|each|or so|in size|at most|max)\b")
_SIDES = re.compile(r"\b\d+(?:[.,]\d+)? ?[x*×] ?(?=\d+(?:[.,]\d+)? ?(?:mm|cm|in)\b)")
# "1/16 in flakes" would be read as 1/16 "in flakes", and so would "0.2 in long" and "biggest 0.2 in magnetic"
_INCH = re.compile(
    r"\d/\d+ in\b|\d in(?= (?:long|wide|big|across|thick|or so|in size|at most)\b)"
    r"|\b(?:biggest|largest|longest|max|maximum)(?: (?:one|piece|is|are|was|of|about))* (?:\d*[.,])?\d+ in\b"
    r"(?! (?:the|my)\b)"
)
_LENGTHS = ("mm", "cm", "in")
_KEPT = re.compile(r"t(?:oo|ee)th")  # says more than "chunk" does


@dataclass
class _Thing:
    """One noun and what belongs to it. `start`: where its count and adjectives begin."""

    form: Form
    start: int
    end: int
    count: Count
    amount: str = ""
    told: dict[str, Any] = field(default_factory=dict)


def take_finds(page: Draft) -> tuple[Find, ...] | None:
    """What was found, its words taken; empty when it was clean, None when nothing is said of it."""
    page.take_all(LOOKED_FOR)
    nouns = [m for m in _NOUN.finditer(page.left) if not _used(page.left, m)]
    present = [m for m in nouns if not _NONE.search(page.left[: m.start()])]
    if not present:
        return _clean(page)
    page.take_all(re.compile(rf"{LOOKED.pattern}|\b(?:with|and)(?= ¦)"))
    sizes = _take_sizes(page)
    marks = [*_take_metals(page, present), *_take_magnets(page), *_take_places(page)]
    things = [_thing(page, match) for match in present]
    for thing in things:
        page.take(thing.start, thing.end)
    for at, name, value, everywhere in [*marks, *sizes]:
        for thing in things if everywhere else [_owner(things, at)]:
            _tell(thing, name, value)
    there = [thing for thing in things if thing.count != (0, 0) or thing.form == "paste"]
    return tuple(Find(form=t.form, count=t.count, amount=t.amount, **t.told) for t in there)


def _used(left: str, match: re.Match[str]) -> bool:
    """'metal flakes' and 'plastic bits' are one thing; 'sand' of a ride is none."""
    return match.group() == "stuff" and "metal" in left


def _clean(page: Draft) -> tuple[Find, ...] | None:
    said = page.take_all(_CLEAN)
    if said:
        page.take_all(LOOKED)
        page.take_all(_WHERE)
        page.take_all(re.compile(r"\b(?:found|and|was|it)\b(?= ?¦)"))
    return () if said else None


def _owner(things: Sequence[_Thing], at: int) -> _Thing:
    """The thing whose words these stand among, else the last before them, else the first."""
    among = [t for t in things if t.start <= at < t.end]
    before = [t for t in things if t.end <= at]
    return among[0] if among else before[-1] if before else things[0]


def _tell(thing: _Thing, name: str, value: Any) -> None:
    if name == "biggest":
        value = max(value, thing.told.get(name, 0.0))
    thing.told.setdefault(name, value)
    if name == "biggest":
        thing.told[name] = value


# --- the marks of a thing --------------------------------------------------------------------

Mark = tuple[int, str, Any, bool]  # where, which, what, of all things


def _everywhere(page: Draft, at: int) -> bool:
    said = _ALL.search(page.left[:at])
    if said:
        page.take(*said.span())
    return bool(said)


def _take_metals(page: Draft, nouns: Iterable[re.Match[str]]) -> list[Mark]:
    """The first metal told of a thing; a second one ('silver grey') stays in the note."""
    out: list[Mark] = []
    for metal, said in METALS.items():
        for match in re.finditer(rf"\b(?:{said})\b(?! ?\d)", page.left):
            out.append((match.start(), "metal", metal, _everywhere(page, match.start())))
            page.take(*match.span())
    return sorted(out, key=lambda mark: mark[0])


def _take_magnets(page: Draft) -> list[Mark]:
    out: list[Mark] = []
    for magnet, pattern in _MAGNETS.items():
        for match in page.take_all(pattern):
            out.append((match.start(), "magnet", magnet, _everywhere(page, match.start())))
    return out


def _take_places(page: Draft) -> list[Mark]:
    out: list[Mark] = []
    for match in page.take_all(_WHERE):
        place = match.lastgroup
        if place != "oil":
            out.append((match.start(), "where", place, False))
    return out


def _take_sizes(page: Draft) -> list[Mark]:
    """Every length, with 'biggest' and the like around it; of two sides the longer one counts."""
    out: list[Mark] = []
    for match in page.take_all(_SIDES):
        out += _sizes(match.start(), page.plain[match.start() : match.end()].rstrip(" x*×") + " mm")
    inches = _INCH.sub(lambda match: match.group()[:-3] + "in ", page.left)
    for found in reversed(list(quantities(inches, None, page.spoken))):
        given = found.quantity
        if given.unit not in _LENGTHS or given.low < 0:
            continue
        out += _marked(found)
        said = _BIGGEST.search(page.left[: found.start])
        more = _LONG.match(page.left[found.end :])
        page.take(said.start() if said else found.start, found.end + (more.end() if more else 0))
    return out


def _sizes(at: int, said: str) -> list[Mark]:
    return [(at, *mark[1:]) for found in quantities(said, None) for mark in _marked(found)]


def _marked(found: Found) -> list[Mark]:
    given = found.quantity
    end = given.high if math.isfinite(given.high) else given.low
    size = convert(end, given.unit, "mm")
    return [(found.start, "biggest", round(size, 4), False)] if size else []


# --- how many --------------------------------------------------------------------------------


def _thing(page: Draft, match: re.Match[str]) -> _Thing:
    name = match.lastgroup or ""
    form: Form = name if name != "other" else ""  # type: ignore[assignment]
    end = match.start() if _KEPT.search(match.group()) else match.end()
    before = page.left[: match.start()]
    start = match.start() - len(_adjectives(before))
    given = _before(page, start)
    if given is not None:
        return _numbered(page, _Thing(form, given.start, end, (0, None)), given)
    many = _MANY.search(page.left[:start])
    if many:
        return _Thing(form, many.start(), end, _open(form, MANY.get(many["many"] or "lots", 5)))
    one = _ONE.search(page.left[:start])
    return _Thing(form, one.start() if one else start, end, _unnumbered(form, match.group()))


def _adjectives(before: str) -> str:
    """The run of adjectives right before the noun."""
    for match in _BETWEEN.finditer(before):
        if match.end() == len(before):
            return match.group()
    return ""


def _before(page: Draft, at: int) -> Found | None:
    """The quantity that ends where the adjectives begin."""
    start = max(0, page.left.rfind(" ", 0, max(0, at - NEAR)))
    for near in quantities(page.left[start:at], "", page.spoken):
        found = Found(near.quantity, near.start + start, near.end + start)
        if not page.left[found.end : at].strip(" -") and not _named(page.left, found):
            return found
    return None


def _named(left: str, found: Found) -> bool:
    """A number that says when, and not how many: 'at 58 splinters'."""
    return not found.quantity.unit and bool(re.search(r"(?:\bat|@|\bhours?|\bmeter) ?$", left[: found.start]))


def _numbered(page: Draft, thing: _Thing, found: Found) -> _Thing:
    given = found.quantity
    if given.unit:
        if not (alike(given.unit, "ml") or alike(given.unit, "g")):
            return _Thing(thing.form, found.end, thing.end, _unnumbered(thing.form, ""))
        thing.amount = _words(page, found)
        thing.count = _open(thing.form, PINCH_OF_PIECES)
    elif thing.form != "paste":
        thing.count = pieces(abs(given.low), abs(given.high))
    else:
        thing.count, thing.amount = (0, 0), _words(page, found)
    return thing


def _words(page: Draft, found: Found) -> str:
    return page.said(found.start, found.end)


def _open(form: Form, low: int) -> Count:
    return (0, 0) if form == "paste" else (low, None)


def _unnumbered(form: Form, said: str) -> Count:
    """'a splinter' is one, 'splinters' are more than one, 'metal' is some."""
    last = said.partition(" of ")[0].split()[-1] if said else ""
    if form == "paste":
        return (0, 0)
    if last in MASS or last in ("stuff", "fines"):
        return (0, None)
    return (1, None) if last.endswith("s") or last == "teeth" else (1, 1)


def pieces(low: float, high: float) -> Count:
    """A span of whole pieces: 'over 60' is (60, None), 'about 3' is 2 to 4."""
    if not math.isfinite(high):
        return (math.ceil(low) - 1 if low > 0 else 0, None)
    least, most = math.ceil(low), math.floor(high)
    exact = low == high == least
    return (least, most) if least < most or exact else (math.floor(low), math.ceil(high))
