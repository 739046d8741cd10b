"""Reading a typed line of the book; what is not understood stays with it as a note."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from datetime import datetime
from typing import Any

from bot.core.book_clauses import HOURS_FILLER, Group, groups
from bot.core.book_dates import take_date
from bot.core.book_draft import Draft, Trouble, Troubled, draft
from bot.core.book_entries import Find, Hours, Lab, Look, Meter, Note, OilChange, Part, Ride, Work
from bot.core.book_finds import PLACE_WORDS, take_finds
from bot.core.book_hours import (
    check_reading,
    possible,
    take_duration,
    take_hours,
    take_on_oil,
    take_ppm,
    take_price,
    told_times,
)
from bot.core.book_terms import ASKS, COMPLAINT, KINDS, LOOKED, MENDED, OPENED, words
from bot.core.spoken import ENGLISH, LONGEST, Spoken
from bot.core.units import Found

Span = tuple[float, float]
EDGES = words("a an the my i we and then at of with on to was is did have has from today") | {""}
_NOTE = re.compile(r"^\W*(?:note|remark|memo)s? ?(?::|-|=) ?")

_KEPT = re.compile(r"\bkept as a note ?:")


def read_line(
    text: str, spoken: Spoken, now: datetime, last_reading: Span | None = None
) -> list[Any] | Trouble:
    """The lines that a message holds, each one of book_entries.Line; or why it cannot be written.

    `last_reading`: what the hour meter showed last, a span when told as 'about'. Hours and the day are
    told once for all lines of a message; a ride takes only its own. A text that is no line of any kind
    is a note. Never raises.
    """
    page = draft(text, spoken)
    try:
        return _read(page, now, last_reading)
    except Troubled as trouble:
        return Trouble(trouble.key, trouble.values, text)


def _read(page: Draft, now: datetime, last: Span | None) -> list[Any]:
    if not page.plain.strip(" ;"):
        raise Troubled("empty")
    if len(page.text) > LONGEST:
        raise Troubled("long", longest=str(LONGEST))
    if note := _NOTE.match(page.plain):
        return _noted(page, note.end())
    page.take_all(_KEPT)
    day = take_date(page, now)
    found = groups(page)
    if found[0].kind == "":
        return [Note(note=_whole(page, found[0]), date=day)]
    lines = [_LINES[group.kind](page.cut(sorted(group.clauses))) for group in found]
    return _checked(_shared(lines, day), now, last)


def _noted(page: Draft, start: int) -> list[Any]:
    said = page.text[page.back[start - 1][1] :].strip()
    if not said:
        raise Troubled("empty")
    return [Note(note=said)]


def _whole(page: Draft, group: Group) -> str:
    said = [page.said(start, end).strip() for start, end in group.clauses]
    return ", ".join(each for each in said if each)


def _shared(lines: list[Any], day: str | None) -> list[Any]:
    """The day, and the reading if there is just one, given to all lines that told none."""
    told = {line.hours for line in lines if line.hours and not isinstance(line, Meter | Ride)}
    hours = told.pop() if len(told) == 1 else None
    out = []
    for line in lines:
        more: dict[str, Any] = {"date": day} if day else {}
        if hours and not line.hours and not isinstance(line, Meter | Ride):
            more["hours"] = hours
        out.append(line.model_copy(update=more))
    return out


def _checked(lines: list[Any], now: datetime, last: Span | None) -> list[Any]:
    fitted = any(isinstance(line, Meter) for line in lines)
    for line in lines:
        if line.hours and (not fitted or isinstance(line, Meter)):
            past = bool(line.date) and line.date < now.date().isoformat()
            check_reading(line.hours, last, falls=not past)
    return lines


# --- each kind -------------------------------------------------------------------------------

_SPEC = re.compile(r"\b(?:sae ?)?(\d\d?) ?w ?-? ?(\d\d)\b")
_FILTER_KEPT = re.compile(
    r"\b(?:(?:not|no|same|kept|old|left|without)(?: the| a| new| change| changed)* filter"
    r"|filter (?:was |is )?(?:not (?:changed|replaced|done|new)|kept|left|stayed|stays|next time))\b"
)
_FILTER = re.compile(
    r"(?:\b(?:and|with|new|the|a|changed|replaced|oil|plus|&|\+) )*(?<!in the )(?<!in )(?<!on )\bfilter\b"
    r"(?! (?:clean|was clean|is clean|had|full))"
    r"(?: (?:was |were )?(?:changed|replaced|new|too|as well|also|done))*"
)
_SCREEN_LEFT = re.compile(
    r"\b(?:(?:screen|strainer) (?:was )?(?:not (?:cleaned|done|touched)|left(?: alone)?)"
    r"|(?:not|didnt|did not) (?:clean|cleaned|touch)(?: the)? (?:screen|strainer))\b"
)
_SCREEN = re.compile(
    r"(?:\b(?:and|the|oil) )*\b(?:(?:cleaned|washed|rinsed)(?: out)?(?: the| my| oil)* (?:screens?|strainer)"
    r"|(?:screens?|strainer)(?: was| were)? (?:cleaned|washed|rinsed)(?: too| as well| out)?)\b"
)
_LEFT = re.compile(r"\b(?:not cleaned|left (?:it|them)(?: in| there)?|put (?:it |them )?back)\b")
_CLEANED = re.compile(
    r"\b(?:cleaned|washed|wiped)(?: up| out| off)?"
    r"(?: it| them| the| all| everything| screen| plug| pan| magnet| and)*\b"
    r"|\b(?:screen|plug|pan|magnet) (?:was )?(?:cleaned|wiped|washed)\b"
)


def _oil_change(page: Draft) -> OilChange:
    spec = page.take_all(_SPEC)
    kept = page.take_all(_FILTER_KEPT)
    left = page.take_all(_SCREEN_LEFT)
    cleaned = page.take_all(_SCREEN)
    found = take_finds(page)
    changed = [] if kept else page.take_all(_FILTER)
    _take_saying(page, "oil_change")
    page.take_all(_OIL_FIRST)
    hours = take_hours(page)
    page.take_all(_SPARE)
    return OilChange(
        hours=hours,
        oil=f"{spec[0][1]}W-{spec[0][2]}" if spec else "",
        filter="kept" if kept else "changed" if changed else "",
        screen="left" if left else "cleaned" if cleaned else "",
        found=found,
        note=page.rest(),
    )


_OIL_FIRST = re.compile(r"^\W*oil\b")
_SPARE = re.compile(
    r"\b(?:oil|change|changed|new|fresh|found|did|service|only|with|just)\b(?= *(?:[¦;,.]|$))"
    r"|(?<=¦) *\bchange\b"
)


# The words that say which kind of line it is; which oil it was, and what else stands among them, is kept.
_SAYING = words(
    "oil filter and the my its all new fresh change changed swapped replaced renewed dropped drained did done"
    " was service of put in out an a hour hours meter metre counter another fitted reset zeroed has been got"
    " is set back"
)


def _take_saying(page: Draft, kind: str) -> None:
    said = KINDS[kind].search(page.plain)
    for match in re.finditer(r"[^\W_]+", said.group()) if said else ():
        if said and match.group() in _SAYING:
            page.take(said.start() + match.start(), said.start() + match.end())


def _look(page: Draft) -> Look:
    left = page.take_all(_LEFT)
    cleaned = [] if left else page.take_all(_CLEANED)
    found = take_finds(page)
    hours = take_hours(page)
    page.take_all(LOOKED)
    if found and len({find.where for find in found} - {""}) == 0:
        found = _placed(page, found)
    return Look(
        hours=hours,
        cleaned="left" if left else "cleaned" if cleaned else "",
        found=found,
        note=page.rest(),
    )


def _placed(page: Draft, found: tuple[Find, ...]) -> tuple[Find, ...]:
    """'checked the screen, 2 flakes': they were in it."""
    for where, said in PLACE_WORDS.items():
        if where and page.take_all(re.compile(rf"\b(?:{said})\b")):
            return tuple(find.model_copy(update={"where": where}) for find in found)
    return found


def _hours(page: Draft) -> Any:
    hours = take_hours(page)
    if hours is None:
        return Note(note=page.text.strip())
    return Hours(hours=hours, note=page.rest(HOURS_FILLER))


_OLD = re.compile(
    r"\b(?:the )?(?:old|former|last)(?: (?:one|meter))? (?:showed|shows|stopped at|stood at|read|had) ?$"
)
_SHOWS = re.compile(
    r"\b(?:(?:the )?new(?: one)? )?(?:shows?|reads?|starts at|set to|to|now|is|=)(?: now| about)? ?$"
)
_AT = re.compile(r"\b(?:at|from|on) ?$")
_ZERO = re.compile(r"\b(?:reset|zeroed|zero|set back|back to zero)\b")


def _meter(page: Draft) -> Meter:
    """What the new one shows, and the old one's last reading: 'reset at 501 h' is of the old one."""
    zero = bool(_ZERO.search(page.plain))
    _take_saying(page, "meter")
    told = [_reading(page, given) for given in told_times(page)]
    shows = _first(page, told, ("shows",))
    known = zero or shows is not None
    old = _first(page, told, ("old", "at") if known else ("old",))
    if not known:
        shows = _first(page, told, ("at", ""))
    if shows is None and not zero:
        raise Troubled("shows")
    page.take_all(_ZERO)
    return Meter(hours=old, shows=shows[0] if shows else 0.0, note=page.rest(HOURS_FILLER))


_Reading = tuple[str, int, Found]


def _reading(page: Draft, given: Found) -> _Reading:
    """Which meter a figure is of ("old", "shows", "at": whichever the other is not, or ""), from where on."""
    before = page.left[: given.start]
    found = [(word, each.search(before)) for word, each in (("old", _OLD), ("shows", _SHOWS), ("at", _AT))]
    word, match = next(((word, match) for word, match in found if match), ("", None))
    return word, match.start() if match else given.start, given


def _first(page: Draft, told: list[_Reading], wanted: tuple[str, ...]) -> Span | None:
    """The first figure told in one of these ways, taken."""
    for word, start, given in told:
        if word in wanted:
            page.take(start, given.end)
            return possible((given.quantity.low, given.quantity.high))
    return None


_LABEL = re.compile(r"^\W*(?:parts?|work) ?(?::|-|=)")
_ENGINE = re.compile(r"\b(?:the )?engine (?:was )?(?P<no>not )?opened\b")


def _part(page: Draft) -> Part:
    page.take_all(_LABEL)
    price = take_price(page)
    hours = take_hours(page)
    amount, currency = price or (None, "")
    return Part(hours=hours, what=page.rest(EDGES), price=amount, currency=currency)


def _work(page: Draft) -> Work:
    page.take_all(_LABEL)
    hours = take_hours(page)
    told = _ENGINE.search(page.left)
    opened = told["no"] is None if told else bool(OPENED.search(page.plain))
    if told and _ENGINE.sub("", page.left).strip(" ¦;"):
        page.take(*told.span())
    return Work(hours=hours, what=page.rest(EDGES), opened=opened)


def _ride(page: Draft) -> Ride:
    ridden = take_duration(page)
    hours = take_hours(page)
    page.take_all(re.compile(r"\b(?:rode|ridden|ride|riding)\b"))
    return Ride(hours=hours, ridden=ridden or (0.0, 0.0), ride=page.rest())


_LAB = re.compile(r"\b(?:lab|laboratory|ppm|oil (?:analysis|sample|report)|report|results?|says|shows)\b")


def _lab(page: Draft) -> Lab:
    on_oil = take_on_oil(page)
    ppm = take_ppm(page)
    if not ppm:
        raise Troubled("no_ppm")
    page.take_all(_LAB)
    hours = take_hours(page)
    return Lab(hours=hours, ppm=ppm, on_oil=on_oil, note=page.rest())


_LINES: Mapping[str, Callable[[Draft], Any]] = {
    "oil_change": _oil_change, "look": _look, "hours": _hours, "meter": _meter, "part": _part,
    "work": _work, "ride": _ride, "lab": _lab,
}  # fmt: skip


# --- for the book, or a complaint? -----------------------------------------------------------


def is_book_talk(text: str, spoken: Spoken = ENGLISH) -> bool:
    """Whether a message that answers no question is meant for the book, and is no complaint.

    It must state what was done or read with a figure, a day or the like; whatever asks, complains or
    plans is none. When in doubt it is none: a complaint taken for a line of the book would go unheard.
    """
    page = draft(text, spoken)
    if _NOTE.match(page.plain):
        return True
    if len(text) > LONGEST or ASKS.search(page.plain) or _complains(page.plain):
        return False
    try:
        dated = take_date(page, _SOME_DAY) is not None
    except Troubled as trouble:
        dated = trouble.key != "future"
    try:
        told = [_firm(page.cut(sorted(group.clauses)), group.kind, dated) for group in groups(page)]
        return any(told) and None not in told
    except Troubled as trouble:
        return trouble.key not in ("planned", "shows", "no_ppm")


def is_reading(text: str, spoken: Spoken = ENGLISH) -> bool:
    """Whether a message holds nothing but what a meter shows, also one told as 'about'."""
    page = draft(text, spoken)
    try:
        take_date(page, _SOME_DAY)
        return {group.kind for group in groups(page)} == {"hours"} and not ASKS.search(page.plain)
    except Troubled:
        return False


_SOME_DAY = datetime.fromisoformat("2100-01-01T00:00:00+00:00")  # no day that a rider tells is ahead of it


def _complains(said: str) -> bool:
    """A word of trouble, unless it was mended: 'fixed the leak'."""
    return any(not MENDED.search(said[: match.start()]) for match in COMPLAINT.finditer(said))


def _firm(page: Draft, kind: str, dated: bool) -> bool | None:
    """Whether a line of this kind says enough to be meant as one; None for metal that nobody counted."""
    if not kind:
        return False
    line = _LINES[kind](page)
    timed = bool(line.hours) or dated
    if isinstance(line, OilChange):
        other = bool(line.filter or line.screen or line.oil)
        return (timed or other or line.found is not None) and (bool(line.hours) or _plain(line.found))
    if isinstance(line, Look):
        return (bool(line.hours) and line.found is not None) if _plain(line.found) else None
    if isinstance(line, Hours):
        return line.hours[0] == line.hours[1] or bool(_OF_METER.search(page.plain))
    return timed if isinstance(line, Work) else not isinstance(line, Note)


_OF_METER = re.compile(r"\b(?:meter|clock|reading)\b|^\W*hours\b")


def _plain(found: tuple[Find, ...] | None) -> bool:
    """Counted, or clean, or not spoken of; 'lots of metal' is a complaint."""
    return all(find.count[1] is not None for find in found or ())
