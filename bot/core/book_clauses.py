"""A message for the book parted into lines: its clauses, and which kind of line each belongs to."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field

from bot.core.book_distance import take_km
from bot.core.book_draft import Draft, Troubled
from bot.core.book_entries import Find
from bot.core.book_finds import take_finds
from bot.core.book_hours import PRICE, has_ppm, take_duration, take_hours
from bot.core.book_terms import (
    CHANGED,
    CLEANED_IT,
    DENIED,
    FILLER,
    KINDS,
    LOOKED,
    LOOKED_FOR,
    OIL_WAY,
    PLANNED,
    WEAK_WORK,
    words,
)

_BREAK = re.compile(
    r"[;!?]|,(?!\d)|\.(?!\d)| - "
    r"|(?<!\bpart)(?<!\bwork)(?<!\bnote)(?<!reading)(?<!hours)(?<!meter)(?<!\bodo):(?= )"
)
_FAR = re.compile(r"\b(?:odometer|odo|speedo)\b")
_AND = re.compile(r" (?:and then|and|then|plus|&|\+) ")
OWN = ("part", "ride")  # each clause is a line of its own
HOURS_FILLER = FILLER | words(
    "about around now meter clock shows reads reading stands hour hours odometer odo"
)


@dataclass
class Group:
    """Clauses of one line."""

    kind: str
    clauses: list[tuple[int, int]] = field(default_factory=list)


def groups(page: Draft) -> list[Group]:
    """The lines that a message holds, in order; kind "" when it holds none that is known.

    Raises Troubled for work that is only planned.
    """
    clauses = [(clause, kind_of(page.cut([clause]))) for clause in _clauses(page)]
    if any(kind in ("oil_change", "work", "way", "weak") and _planned(page, c) for c, kind in clauses):
        raise Troubled("planned")
    kinds = _settled([kind for _, kind in clauses])
    out: list[Group] = []
    early: list[tuple[int, int]] = []
    for (clause, _), kind in zip(clauses, kinds, strict=True):
        same = next((group for group in out if group.kind == kind and kind not in OWN), None)
        if kind and same is None:
            out.append(Group(kind, [*early, clause]))
            early = []
        elif out:
            (same or out[-1]).clauses.append(clause)
        else:
            early.append(clause)
    return out or [Group("", early)]


def _planned(page: Draft, clause: tuple[int, int]) -> bool:
    return bool(PLANNED.search(page.plain[clause[0] : clause[1]]))


# --- clauses ---------------------------------------------------------------------------------


def _clauses(page: Draft) -> Iterator[tuple[int, int]]:
    start = 0
    for match in _BREAK.finditer(page.left):
        yield from _parted(page, start, match.start())
        start = match.end()
    yield from _parted(page, start, len(page.left))


def _parted(page: Draft, start: int, end: int) -> Iterator[tuple[int, int]]:
    """A clause in two at an 'and' that has a line of its own on either side."""
    if not page.left[start:end].strip():
        return
    cuts = list(_AND.finditer(page.left, start, end))
    begin, kind = start, _kind_in(page, start, cuts[0].start()) if cuts else ""
    for i, cut in enumerate(cuts):
        upto = cuts[i + 1].start() if i + 1 < len(cuts) else end
        following = _kind_in(page, cut.end(), upto)
        if _two_lines(kind, following):
            yield begin, cut.start()
            begin, kind = cut.end(), following
        elif not kind:
            kind = _kind_in(page, begin, upto)
    yield begin, end


def _kind_in(page: Draft, start: int, end: int) -> str:
    return kind_of(page.cut([(start, end)]))


def _two_lines(first: str, second: str) -> bool:
    lines = {first, second} - {"weak", "hours"}
    if "" in lines or not lines:
        return False
    return len(lines) == 2 or (first == second and first in OWN)


# --- kinds -----------------------------------------------------------------------------------


def kind_of(page: Draft) -> str:
    """What a clause is for; "" when it does not say, "way" for work on screen, filter or plug."""
    said = page.left
    for fitted in ("meter", "odometer"):
        if _said(said, fitted):
            return fitted
    if PRICE.search(said) and not CHANGED.search(said):
        return "part" if _words_beside_price(page) else "price"
    if _said(said, "oil_change"):
        return "oil_change"
    if _said(said, "lab") or has_ppm(said):
        return "lab"
    if _said(said, "ride") and take_duration(page.cut([(0, len(said))])):
        return "ride"
    return _seen(page) or _worked(page)


def _said(said: str, kind: str) -> bool:
    match = KINDS[kind].search(said)
    return bool(match) and not DENIED.search(said[: match.start() if match else 0])


def _words_beside_price(page: Draft) -> bool:
    bare = page.cut([(0, len(page.left))])
    bare.take_all(PRICE)
    try:
        take_km(bare)
        take_hours(bare)
    except Troubled:
        return True
    return bool(bare.rest())


def _seen(page: Draft) -> str:
    said = page.left
    worked = _said(said, "work") and not LOOKED.search(said)
    if worked and (OIL_WAY.search(said) or CLEANED_IT.search(said)):
        return "way"
    if not worked:
        found = take_finds(page.cut([(0, len(said))]))
        looked = bool(LOOKED.search(said)) + bool(OIL_WAY.search(said))
        told = found is not None and (looked or not all(map(_vague, found)))
        if looked == 2 or LOOKED_FOR.search(said) or told:
            return "look"
    return ""


def _vague(find: Find) -> bool:
    """'deep sand' of a ride, 'hard plastic' of a part: no number, and nobody looked."""
    return find.count == (0, None) and find.form != ""


def _worked(page: Draft) -> str:
    said = page.left
    if _is_reading(page.cut([(0, len(said))])):
        return "hours"
    if _said(said, "work"):
        return "work"
    return "weak" if WEAK_WORK.search(said) else ""


def _is_reading(page: Draft) -> bool:
    """Nothing but readings: 'hours 72.4', 'it is at 72 h now', '1240 km'."""
    plain = page.left
    marked = re.search(r"\b(?:h|hrs?|hours?|meter|clock|reading)\b|\d ?h\b|\d:\d\d", plain)
    try:
        far = take_km(page)
        told = far is not None or bool(marked)
        return told and (take_hours(page) or far) is not None and not page.rest(HOURS_FILLER)
    except Troubled:
        return bool(marked or _FAR.search(plain))


def _settled(kinds: list[str]) -> list[str]:
    """Kinds beside each other: looks belong to an oil change, a bare reading to any line there is."""
    for i, kind in enumerate(kinds):
        if kind == "price":  # 'a chain, 79 euro' is one part in two clauses
            kinds[i] = ""
            if i and kinds[i - 1] in ("", "weak", "work"):
                kinds[i - 1] = "part"
    has = set(kinds)
    strong = has - {"", "hours", "weak", "way"}
    return [_beside(kind, has, strong) for kind in kinds]


def _beside(kind: str, has: set[str], strong: set[str]) -> str:
    if kind in ("look", "way") and "oil_change" in has:
        return "oil_change"
    if kind == "way":
        return "look" if "look" in has else "work"
    if kind == "weak":
        return "" if strong or "way" in has else "work"
    return "" if kind == "hours" and strong else kind
