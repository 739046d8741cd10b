"""The day a line tells: ISO, '12 May', 'yesterday', 'last Sunday', '3 days ago'."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from datetime import date, datetime, timedelta

from bot.core.book_draft import Draft, Troubled
from bot.core.spoken import ENGLISH

SOON = 92  # days: a day without a year that lies no further ahead is to come, else it was last year
_MONTHS = (
    "jan(?:uary)?|feb(?:ruary)?|mar(?:ch)?|apr(?:il)?|may|june?|july?|aug(?:ust)?|sept?(?:ember)?"
    "|oct(?:ober)?|nov(?:ember)?|dec(?:ember)?"
)
_NAMES = ["jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec"]
_DAYS = ["monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday"]
_DAY = r"(?:[12]\d|3[01]|0?[1-9])"
_TH, _ON = "(?:st|nd|rd|th)?", r"(?:\bon (?:the )?)?"
_NUMBER = "|".join(["a", "one", *(word for word, n in ENGLISH.numbers.items() if 1 < n <= 12)])
_PAST = {
    "today": 0, "tonight": 0, "just now": 0, "this": 0, "yesterday": 1, "last night": 1, "the day before": 2,
}  # fmt: skip

Reading = Callable[[re.Match[str], date], date]


def _numbered(match: re.Match[str], today: date) -> date:
    return _day(match.group(), int(match["y"]), int(match["m"]), int(match["d"]))


def _dotted(match: re.Match[str], today: date) -> date:
    day, month = int(match["d"]), int(match["m"])
    if match["sep"] == "/" and day <= 12 and month <= 12 and day != month:
        raise Troubled("day_first", said=_bare(match.group()))
    if match["sep"] == "/" and month > 12:
        day, month = month, day
    return _in_year(match, today, month, day)


def _named(match: re.Match[str], today: date) -> date:
    return _in_year(match, today, _NAMES.index(match["name"][:3]) + 1, int(match["d"]))


def _in_year(match: re.Match[str], today: date, month: int, day: int) -> date:
    """The year told, else this one, or the last when that lies too far ahead."""
    said = match.group().strip(" ,.")
    if match["y"]:
        year = int(match["y"])
        return _day(said, year + 2000 if year < 100 else year, month, day)
    if (month, day) == (2, 29):  # the last one there was
        return max(date(y, 2, 29) for y in range(today.year - 8, today.year + 1) if _has_29(y, today))
    found = _day(said, today.year, month, day)
    return _day(said, today.year - 1, month, day) if (found - today).days > SOON else found


def _has_29(year: int, today: date) -> bool:
    leap = year % 4 == 0 and (year % 100 != 0 or year % 400 == 0)
    return leap and date(year, 2, 29) <= today


def _day(said: str, year: int, month: int, day: int) -> date:
    try:
        return date(year, month, day)
    except ValueError:
        raise Troubled("no_date", said=_bare(said)) from None


def _bare(said: str) -> str:
    return said.strip(" ,.").removeprefix("on ").removeprefix("the ")


def _ago(match: re.Match[str], today: date) -> date:
    told = match["n"]
    number = int(told) if told.isdecimal() else int({"a": 1.0, **ENGLISH.numbers}[told])
    return today - timedelta(days=min(number, 9999) * (7 if match["unit"].startswith("week") else 1))


def _weekday(match: re.Match[str], today: date) -> date:
    """The last one that is over; 'on Sunday' said on a Sunday is today."""
    back = (today.weekday() - _DAYS.index(match["name"])) % 7
    return today - timedelta(days=back or (7 if match["which"] == "last" else 0))


def _said(match: re.Match[str], today: date) -> date:
    return today - timedelta(days=next(n for word, n in _PAST.items() if match["word"].startswith(word)))


def _ahead(match: re.Match[str], today: date) -> date:
    raise Troubled("future", day=match.group().strip())


_FORMS: Mapping[re.Pattern[str], Reading] = {
    re.compile(pattern): read
    for pattern, read in {
        rf"{_ON}\b(?P<y>\d{{4}})-(?P<m>\d\d?)-(?P<d>\d\d?)\b": _numbered,
        rf"{_ON}\b(?P<d>\d\d?)(?P<sep>[./])(?P<m>\d\d?)(?P=sep)(?P<y>\d{{4}}|\d\d)\b": _dotted,
        r"\bon (?:the )?(?P<d>\d\d?)(?P<sep>[./])(?P<m>\d\d?)\b(?P<y>(?!))?(?!\d| ?h)\.?": _dotted,
        rf"{_ON}(?<![\d.,])\b(?P<d>{_DAY}){_TH}(?: of)? (?P<name>{_MONTHS})\b\.?"
        r"(?:,? (?P<y>20\d\d))?\b": _named,
        rf"{_ON}\b(?P<name>{_MONTHS})\.? (?:the )?(?P<d>{_DAY}){_TH}\b(?![.,]\d| ?h\b)"
        r"(?:,? (?P<y>20\d\d)\b)?": _named,
        rf"\b(?P<n>\d{{1,4}}|{_NUMBER}) (?P<unit>days?|weeks?) ago\b": _ago,
        rf"\b(?:(?P<which>last|on|this|past) )(?P<name>{'|'.join(_DAYS)})\b": _weekday,
        r"\b(?P<word>today|tonight|just now|this (?:morning|afternoon|evening)|yesterday|last night"
        r"|the day before yesterday)\b": _said,
        r"\btomorrow\b": _ahead,
    }.items()
}


def take_date(page: Draft, now: datetime) -> str | None:
    """The day told, in ISO, and its words taken; None when there is none.

    Raises Troubled for a day to come, one there is not, one that can be read two ways, and two days. A
    day ahead of UTC is let pass, since it is tomorrow already in half of the world.
    """
    today = now.date()
    found: set[date] = set()
    for pattern, read in _FORMS.items():
        for match in page.take_all(pattern):
            found.add(day := read(match, today))
            if day > today + timedelta(days=1):
                raise Troubled("future", day=day.isoformat())
    if len(found) > 1:
        raise Troubled("two_dates", first=min(found).isoformat(), second=max(found).isoformat())
    return found.pop().isoformat() if found else None
