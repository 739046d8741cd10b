"""Reading a typed line of the book; what is not understood stays with it as a note."""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Mapping
from datetime import datetime
from typing import Any

from bot.core.book_clauses import HOURS_FILLER, Group, groups
from bot.core.book_dates import take_date
from bot.core.book_distance import check_distance, take_km, told_distances
from bot.core.book_draft import Draft, Trouble, Troubled, draft
from bot.core.book_entries import (
    Distance,
    Find,
    Hours,
    Lab,
    Look,
    Meter,
    Note,
    Odometer,
    OilChange,
    Part,
    Ride,
    Work,
)
from bot.core.book_finds import PLACE_WORDS, take_finds
from bot.core.book_hours import (
    check_reading,
    take_duration,
    take_hours,
    take_on_oil,
    take_ppm,
    take_price,
)
from bot.core.book_meters import meter, odometer, take_saying
from bot.core.book_terms import ASKS, COMPLAINT, IN_OIL, KINDS, LOOKED, MENDED, OPENED, words
from bot.core.spoken import ENGLISH, LONGEST, Spoken

Span = tuple[float, float]
EDGES = words("a an the my i we and then at of with on to was is did have has from today") | {""}
_NOTE = re.compile(r"^\W*(?:note|remark|memo)s? ?(?::|-|=) ?")

_KEPT = re.compile(r"\bkept as a note ?:")


def read_line(
    text: str,
    spoken: Spoken,
    now: datetime,
    last_reading: Span | None = None,
    last_km: Span | None = None,
    far: str = "km",
) -> list[Any] | Trouble:
    """The lines that a message holds, each one of book_entries.Line; or why it cannot be written.

    `last_reading`, `last_km`: what the meters showed last, spans when told as 'about'. `far`: the unit of
    a distance that is told without one. Readings and the day are told once for all lines of a message; a
    ride takes only its own. A text that is no line of any kind is a note. Never raises.
    """
    page = draft(text, spoken, far)
    try:
        return _read(page, now, {"hours": last_reading, "km": last_km})
    except Troubled as trouble:
        return Trouble(trouble.key, trouble.values, text)


def _read(page: Draft, now: datetime, last: Mapping[str, Span | None]) -> list[Any]:
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
    return _checked(_shared(lines, day), now, last, page.far)


def _noted(page: Draft, start: int) -> list[Any]:
    said = page.text[page.back[start - 1][1] :].strip()
    if not said:
        raise Troubled("empty")
    return [Note(note=said)]


def _whole(page: Draft, group: Group) -> str:
    said = [page.said(start, end).strip() for start, end in group.clauses]
    return ", ".join(each for each in said if each)


def _shared(lines: list[Any], day: str | None) -> list[Any]:
    """The day, and the readings if there is just one of a kind, given to all lines that told none."""
    more: dict[str, Any] = {"date": day} if day else {}
    given = {of: _told_once(lines, of) for of in ("hours", "km")}
    out = []
    for line in lines:
        own = isinstance(line, _OWN)
        lacks = {of: span for of, span in given.items() if span and not own and not getattr(line, of)}
        out.append(line.model_copy(update={**more, **lacks}))
    return out


_OWN = (Meter, Odometer, Ride)  # what they read is of them alone


def _told_once(lines: list[Any], of: str) -> Span | None:
    told = {getattr(line, of) for line in lines if getattr(line, of) and not isinstance(line, _OWN)}
    return told.pop() if len(told) == 1 else None


def _checked(lines: list[Any], now: datetime, last: Mapping[str, Span | None], far: str) -> list[Any]:
    kinds = {type(line) for line in lines}
    for line in lines:
        _check(line, now, last, far, kinds - {type(line)})
    return lines


def _check(
    line: Any, now: datetime, last: Mapping[str, Span | None], far: str, beside: Collection[type]
) -> None:
    """What a line reads must fit to what its meter showed last, unless another meter is told of beside it."""
    past = bool(line.date) and line.date < now.date().isoformat()
    if line.hours and Meter not in beside:
        check_reading(line.hours, last["hours"], falls=not past)
    if line.km and Odometer not in beside:
        check_distance(line.km, last["km"], not past, far)


def misfit(
    line: Any, now: datetime, last_reading: Span | None, last_km: Span | None, far: str = "km"
) -> Trouble | None:
    """Why a line that was read before its bike was known does not fit this bike; None when it does."""
    try:
        _check(line, now, {"hours": last_reading, "km": last_km}, far, ())
    except Troubled as trouble:
        return Trouble(trouble.key, trouble.values, "")
    return None


def _readings(page: Draft, named: bool = False) -> dict[str, Any]:
    """What the meters showed: the kilometres first, for a bare number may be hours."""
    km = take_km(page, named)
    return {"km": km, "hours": take_hours(page)}


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
    take_saying(page, "oil_change")
    page.take_all(_OIL_FIRST)
    readings = _readings(page)
    page.take_all(_SPARE)
    return OilChange(
        **readings,
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


def _look(page: Draft) -> Look:
    left = page.take_all(_LEFT)
    cleaned = [] if left else page.take_all(_CLEANED)
    found = take_finds(page)
    readings = _readings(page)
    page.take_all(LOOKED)
    if found and len({find.where for find in found} - {""}) == 0:
        found = _placed(page, found)
    return Look(
        **readings,
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
    readings = _readings(page)
    if readings["hours"] is None and readings["km"] is None:
        return Note(note=page.text.strip())
    kind = Distance if readings["hours"] is None else Hours
    return kind(**readings, note=page.rest(HOURS_FILLER))


_LABEL = re.compile(r"^\W*(?:parts?|work) ?(?::|-|=)")
_ENGINE = re.compile(r"\b(?:the )?engine (?:was )?(?P<no>not )?opened\b")


def _part(page: Draft) -> Part:
    page.take_all(_LABEL)
    price = take_price(page)
    readings = _readings(page)
    amount, currency = price or (None, "")
    return Part(**readings, what=page.rest(EDGES), price=amount, currency=currency)


def _work(page: Draft) -> Work:
    page.take_all(_LABEL)
    readings = _readings(page)
    told = _ENGINE.search(page.left)
    opened = told["no"] is None if told else bool(OPENED.search(page.plain))
    if told and _ENGINE.sub("", page.left).strip(" ¦;"):
        page.take(*told.span())
    return Work(**readings, what=page.rest(EDGES), opened=opened)


def _ride(page: Draft) -> Ride:
    ridden = take_duration(page)
    readings = _readings(page, named=True)
    page.take_all(re.compile(r"\b(?:rode|ridden|ride|riding)\b"))
    return Ride(**readings, ridden=ridden or (0.0, 0.0), ride=page.rest())


_LAB = re.compile(r"\b(?:lab|laboratory|ppm|oil (?:analysis|sample|report)|report|results?|says|shows)\b")


def _lab(page: Draft) -> Lab:
    on_oil = take_on_oil(page)
    ppm = take_ppm(page)
    if not ppm:
        raise Troubled("no_ppm")
    page.take_all(_LAB)
    readings = _readings(page)
    return Lab(**readings, ppm=ppm, on_oil=on_oil, note=page.rest())


_LINES: Mapping[str, Callable[[Draft], Any]] = {
    "oil_change": _oil_change, "look": _look, "hours": _hours, "meter": meter, "odometer": odometer,
    "part": _part, "work": _work, "ride": _ride, "lab": _lab,
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
    if _is_far_ride(page.cut([(0, len(page.plain))])):
        return True
    try:
        told = [_firm(page.cut(sorted(group.clauses)), group.kind, dated) for group in groups(page)]
        return any(told) and None not in told
    except Troubled as trouble:
        return trouble.key not in ("planned", "shows", "shows_km", "no_ppm")


REMARK = 3  # words beside how far a ride went that are no complaint; our own line


def _is_far_ride(page: Draft) -> bool:
    """'rode 60 km today, enduro': no reading, and kept as a note."""
    if not page.take_all(KINDS["ride"]):
        return False
    gone = list(told_distances(page))
    for found in gone:
        page.take(found.start, found.end)
    return len(gone) == 1 and len(page.rest().split()) <= REMARK and not IN_OIL.search(page.plain)


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
    if kind not in ("oil_change", "look") and IN_OIL.search(page.plain) and not _plain(_finds(page)):
        return None
    line = _LINES[kind](page)
    timed = bool(line.hours or line.km) or dated
    if isinstance(line, OilChange):
        other = bool(line.filter or line.screen or line.oil)
        return (timed or other or line.found is not None) and (
            bool(line.hours or line.km) or _plain(line.found)
        )
    if isinstance(line, Look):
        return (bool(line.hours or line.km) and line.found is not None) if _plain(line.found) else None
    if isinstance(line, Hours | Distance):
        low, high = line.km if isinstance(line, Distance) else line.hours
        return low == high or bool(_OF_METER.search(page.plain))
    return timed if isinstance(line, Work) else not isinstance(line, Note)


def _finds(page: Draft) -> tuple[Find, ...] | None:
    return take_finds(page.cut([(0, len(page.plain))]))


_OF_METER = re.compile(r"\b(?:meter|clock|reading|odometer|odo|mileage)\b|^\W*hours\b")


def _plain(found: tuple[Find, ...] | None) -> bool:
    """Counted, or clean, or not spoken of; 'lots of metal' is a complaint."""
    return all(find.count[1] is not None for find in found or ())
