"""Another hour meter or odometer in a typed line: what the old one showed, and what the new one shows."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator

from bot.core.book_clauses import HOURS_FILLER
from bot.core.book_distance import possible as possible_km
from bot.core.book_distance import span_km, told_distances
from bot.core.book_draft import Draft, Troubled
from bot.core.book_entries import Meter, Odometer
from bot.core.book_hours import possible, told_times
from bot.core.book_terms import KINDS, words
from bot.core.units import Found

Span = tuple[float, float]

# The words that say which kind of line it is; which oil it was, and what else stands among them, is kept.
_SAYING = words(
    "oil filter and the my its all new fresh change changed swapped replaced renewed dropped drained did done"
    " was service of put in out an a hour hours meter metre counter another fitted reset zeroed has been got"
    " is set back odometer odo speedo speedometer mileage km"
)


def take_saying(page: Draft, kind: str) -> None:
    said = KINDS[kind].search(page.plain)
    for match in re.finditer(r"[^\W_]+", said.group()) if said else ():
        if said and match.group() in _SAYING:
            page.take(said.start() + match.start(), said.start() + match.end())


_OLD = re.compile(
    r"\b(?:the )?(?:old|former|last)(?: (?:one|meter))? (?:showed|shows|stopped at|stood at|read|had) ?$"
)
_SHOWS = re.compile(
    r"\b(?:(?:the )?new(?: one)? )?(?:shows?|reads?|starts at|set to|to|now|is|=)(?: now| about)? ?$"
)
_AT = re.compile(r"\b(?:at|from|on) ?$")
_ZERO = re.compile(r"\b(?:reset|zeroed|zero|set back|back to zero)\b")


def meter(page: Draft) -> Meter:
    """What the new one shows, and the old one's last reading: 'reset at 501 h' is of the old one."""
    old, shows = _fitted(page, "meter", told_times, _of_hours)
    return Meter(hours=old, shows=shows, note=page.rest(HOURS_FILLER))


def odometer(page: Draft) -> Odometer:
    """The same in kilometres."""
    old, shows = _fitted(page, "odometer", _distances, lambda found: possible_km(span_km(found), page.far))
    return Odometer(km=old, shows=shows, note=page.rest(HOURS_FILLER))


def _of_hours(found: Found) -> Span:
    return possible((found.quantity.low, found.quantity.high))


def _distances(page: Draft) -> Iterator[Found]:
    """What may be shown by an odometer: also a bare number."""
    return told_distances(page, bare=True)


def _fitted(
    page: Draft, kind: str, figures: Callable[[Draft], Iterator[Found]], meant: Callable[[Found], Span]
) -> tuple[Span | None, float]:
    """What the old one showed last, if told, and what the new one shows."""
    zero = bool(_ZERO.search(page.plain))
    take_saying(page, kind)
    told = [_reading(page, given) for given in figures(page)]
    shows = _first(page, told, ("shows",), meant)
    known = zero or shows is not None
    old = _first(page, told, ("old", "at") if known else ("old",), meant)
    if not known:
        shows = _first(page, told, ("at", ""), meant)
    if shows is None and not zero:
        raise Troubled("shows" if kind == "meter" else "shows_km")
    page.take_all(_ZERO)
    return old, shows[0] if shows else 0.0


_Reading = tuple[str, int, Found]


def _reading(page: Draft, given: Found) -> _Reading:
    """Which meter a figure is of ("old", "shows", "at": whichever the other is not, or ""), from where on."""
    before = page.left[: given.start]
    found = [(word, each.search(before)) for word, each in (("old", _OLD), ("shows", _SHOWS), ("at", _AT))]
    word, match = next(((word, match) for word, match in found if match), ("", None))
    return word, match.start() if match else given.start, given


def _first(
    page: Draft, told: list[_Reading], wanted: tuple[str, ...], meant: Callable[[Found], Span]
) -> Span | None:
    """The first figure told in one of these ways, taken."""
    for word, start, given in told:
        if word in wanted:
            page.take(start, given.end)
            return meant(given)
    return None
