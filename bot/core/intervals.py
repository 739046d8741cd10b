"""Reminders in a rider's own words: the interval he wants, and what he answers to a reminder.

Pure readings of one message. Whoever calls them decides what a reading does; None means that the words
are about something else and belong to the talk.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from bot.core.reminders import Kind
from bot.core.spoken import fold
from bot.core.units import alike, convert, quantities

# What an interval may be; beyond it the words were a slip. Common practice, no source.
LIMITS: Mapping[str, tuple[float, float]] = {"h": (1.0, 500.0), "km": (50.0, 30_000.0), "days": (1.0, 1100.0)}
LATER_DAYS = 2.0  # what a bare "later" means; common practice, no source
LATEST_DAYS = 60.0


@dataclass(frozen=True)
class Interval:
    """How often a rider wants to be told of his oil; all None: not at all. `bike`: as he named it, or ""."""

    hours: float | None = None
    km: float | None = None
    days: float | None = None
    bike: str = ""

    @property
    def off(self) -> bool:
        return self.hours is None and self.km is None and self.days is None


@dataclass(frozen=True)
class Impossible:
    """An interval that cannot be taken: no unit, none at all, or (low, high) is what may be told."""

    why: Literal["unit", "none", "range", "foreign"]
    said: str
    low: float = 0.0
    high: float = 0.0
    unit: str = ""


@dataclass(frozen=True)
class Reminded:
    """What a rider was reminded of and has not answered yet."""

    bike: str
    nickname: str
    kind: Kind


@dataclass(frozen=True)
class Answer:
    """What he says to it. `about`: what of it he means. `days`: how long "later" is."""

    what: Literal["done", "later", "off"]
    about: tuple[Reminded, ...]
    days: float = 0.0


# --- the interval ---------------------------------------------------------------------------

_POLITE = r"(?:(?:please|pls|ok|okay|and|hi|hey) )*"
_ASK = (
    r"(?:(?:can|could|will|would) you )?(?:(?:i want|i'd like|i would like|set|make|put|have|give me|do|"
    r"change|i change|i do|renew|remind me(?: to| of| about)?)(?: to)?(?: change| renew| do| be told of)? )?"
)
_OIL = (
    r"(?:(?:the|my|a|new|fresh|engine|its|an) )*oil(?:s)?(?:[- ](?:change|changes|service|interval|intervals|"
    r"reminder|reminders|needs changing|wants changing|to be changed))*"
)
_CUE = r"(?: ?[:=,-] ?| (?:is |are |to |at |set |be |me |should be |about |at least |at most )*)"
_EVERY = r"(?:every|each|once|twice|per|weekly|monthly|yearly|annually)"
_NAMED = r"(?:(?:interval|intervals|reminder|reminders|change interval))"
_TOLD = re.compile(rf"{_POLITE}{_ASK}{_OIL}(?P<named>)?{_CUE}(?P<how>(?:after )?{_EVERY}\b.*)", re.DOTALL)
_INTERVAL = re.compile(
    rf"{_POLITE}{_ASK}(?:{_OIL}|{_NAMED} (?:for|of) (?:the |my )?oil){_CUE}(?P<how>.*\d.*)", re.DOTALL
)
_EVERY_FIRST = re.compile(
    rf"{_POLITE}(?:remind me )?(?P<how>{_EVERY}\b.*?),? (?:remind me )?"
    rf"(?:(?:of|about|for|change|to change|do) )*{_OIL}(?: change| reminder)?",
    re.DOTALL,
)
_OFF = re.compile(
    rf"{_POLITE}(?:(?:turn|switch|set) (?:off )?)?{_OIL}(?: every)?(?: to)?(?:[,:]? off| off please|: none)"
    rf"|{_POLITE}(?:stop|cancel|delete|end|drop|turn off|switch off|no more|no) (?:the |my |all |any )*"
    r"oil (?:change )?(?:reminder|reminders|reminding|interval)"
    rf"|{_POLITE}(?:do not|don't|dont|stop|never) remind(?:ing)? me (?:of|about|for|to change) "
    r"(?:the |my )?oil(?: change)?(?: any ?more| again)?"
)
_REMINDER_WORD = re.compile(r"\b(?:reminders?|reminding|remind|intervals?)\b")
_ON = re.compile(rf"{_POLITE}(?:turn on |switch on |start )?(?:{_OIL})(?: on)?")
_SECOND = re.compile(r"\b(?:every|each) (?:other|second|2nd) (hour|day|week|month|year)\b")
_ONE = re.compile(r"\b(?:every|each|per|once (?:a|an|per|every)) (hour|day|week|month|year)\b")
_TWICE = re.compile(r"\b(?:twice (?:a|per|every)) (year|month)\b")
_BOUNDS = re.compile(
    r"\b(?:about|around|roughly|approximately|approx|circa|ca|some|at most|at least|or so|or less|or more"
    r"|max|maximum)\b|~"
)
_ADVERBS = {
    "weekly": "1 week",
    "monthly": "1 month",
    "yearly": "1 year",
    "annually": "1 year",
    "daily": "1 day",
}
_UNITS = {"h": "h", "km": "km", "days": "d"}


def interval_told(text: str, names: Collection[str] = ()) -> Interval | Impossible | None:
    """ "oil every 8 h or 60 days", "oil reminder off". `names`: of the rider's bikes, which may stand by it.

    Of a span ("5 to 8 h") the lower end counts, for it is the careful one. None for other words.
    """
    said, bike = _without_name(" ".join(fold(text).split()).strip(" .!?"), names)
    if _OFF.fullmatch(said) and _REMINDER_WORD.search(said):
        return Interval(bike=bike)
    if _ON.fullmatch(said) and _REMINDER_WORD.search(said):
        return Impossible("none", said)
    found = _TOLD.fullmatch(said) or _EVERY_FIRST.fullmatch(said)
    if found is None and _REMINDER_WORD.search(said):
        found = _INTERVAL.fullmatch(said)
    return None if found is None else _read(found["how"], bike)


def _without_name(said: str, names: Collection[str]) -> tuple[str, str]:
    """The words without the bike's name in front ("Goat: ...", "Goat oil ...") or behind ("... for Goat")."""
    for name in sorted(names, key=len, reverse=True):
        folded = re.escape(" ".join(fold(name).split()))
        for shape in (
            rf"(?:for )?{folded}(?:'s)?[:,]? (?P<rest>.+)",
            rf"(?P<rest>.+?)[:,]? (?:(?:for|on|of) )?(?:the )?{folded}",
        ):
            if found := re.fullmatch(shape, said):
                return found["rest"], name
    return said, ""


def _read(how: str, bike: str) -> Interval | Impossible:
    how = " ".join(_BOUNDS.sub(" ", how).split())
    how = _SECOND.sub(r"every 2 \1", how)
    how = _TWICE.sub(lambda found: "6 months" if found[1] == "year" else "15 days", how)
    how = _ONE.sub(r"every 1 \1", how)
    for word, meant in _ADVERBS.items():
        how = re.sub(rf"\b{word}\b", meant, how)
    told: dict[str, float] = {}
    for found in quantities(how):
        amount, unit = found.quantity.low, found.quantity.unit
        part = next((part for part, of in _UNITS.items() if unit and alike(unit, of)), "")
        if not part:
            return Impossible("foreign" if unit else "unit", how[found.start : found.end])
        value = convert(amount, unit, _UNITS[part]) or 0.0
        low, high = LIMITS[part]
        if not low <= value <= high:
            return Impossible("range", how[found.start : found.end], low, high, part)
        told[part] = min(value, told.get(part, value))
    if not told:
        return Impossible("none", how)
    return Interval(told.get("h"), told.get("km"), told.get("days"), bike)


_ALL_OFF = re.compile(
    rf"{_POLITE}(?:(?P<kind>(?:second )?looks?) |all |the |my )*reminders?,? (?:are |is )?off"
    rf"|{_POLITE}(?:stop|cancel|turn off|switch off|no more|no) (?:the |my |all |any )*"
    r"(?:(?P<of>(?:second )?looks?) )?reminders?"
)


def off_told(text: str, names: Collection[str] = ()) -> tuple[tuple[Kind, ...], str] | None:
    """ "look reminder off", "Goat: look reminders off", "all reminders off": which kinds, and of which bike.

    The oil's alone is an interval, see `interval_told`. None for other words.
    """
    said, bike = _without_name(" ".join(fold(text).split()).strip(" .!"), names)
    found = _ALL_OFF.fullmatch(said)
    if found is None:
        return None
    return (("look",) if found["kind"] or found["of"] else ("oil", "look")), bike


# --- an answer to a reminder ----------------------------------------------------------------

_KINDS: Mapping[str, Kind] = {"oil": "oil", "look": "look", "looks": "look", "second look": "look"}
_WHAT: tuple[tuple[Literal["done", "later", "off"], str], ...] = (
    ("off", r"(?:reminders?|reminding)(?: is| are)? off|(?:turn|switch) off(?: the)?(?: reminders?)?|off"
            r"|(?:stop|cancel|no more)(?: the)?(?: reminders?| reminding(?: me)?)?"
            r"|(?:do not|don't|dont|stop) remind(?:ing)? me(?: again| any ?more)?"),
    ("done", r"(?:(?:it|that) is |it's |its |is |i have |i've |all |already |just )*"
             r"(?:done|did it|changed|looked(?: at it)?|finished|made)(?: it)?"
             r"(?: already| now| today| yesterday)?"),
    ("later", r"(?:remind me |ask me |ask |tell me )?(?:later|again|not now|not yet|snooze|tomorrow|"
              r"next week)(?: on| please)?(?: in)?(?P<span>.*)"),
    ("later", r"(?:remind me |ask me |ask |snooze |again |later )(?:again )?(?:in|for|after) (?P<span>.+)"),
)  # fmt: skip
_FIXED_SPANS = {"tomorrow": 1.0, "next week": 7.0}


def answer_told(text: str, reminded: Sequence[Reminded]) -> Answer | None:
    """ "done", "later", "later in 5 days", "off"; "Goat done" or "oil later" where it could be several.

    `reminded`: what the newest message to this rider reminded him of; with nothing in it bare words are
    the talk's, and all is None. `about` is all of it when he names nothing.
    """
    said = " ".join(fold(text).split()).strip(" .!,")
    if not reminded or said.endswith("?") or said.startswith("is "):
        return None
    rest, about = _meant(said, reminded)
    for what, shape in _WHAT:
        found = re.fullmatch(rf"{_POLITE}(?:{shape})(?: please| thanks| thank you)*", rest)
        if found is None:
            continue
        if what != "later":
            return Answer(what, about)
        days = _days(rest, found["span"])
        return None if days is None else Answer("later", about, days)
    return None


def _meant(said: str, reminded: Sequence[Reminded]) -> tuple[str, tuple[Reminded, ...]]:
    """The words without bike and kind, and what of the reminded these name."""
    about: Iterable[Reminded] = reminded
    for one in sorted(reminded, key=lambda one: -len(one.nickname)):
        rest = _less(said, " ".join(fold(one.nickname).split()))
        if rest != said:
            said, about = rest, [each for each in about if each.nickname == one.nickname]
            break
    for word, kind in _KINDS.items():
        rest = _less(said, word)
        if rest != said and any(each.kind == kind for each in about):
            said, about = rest, [each for each in about if each.kind == kind]
            break
    return said, tuple(about)


def _less(said: str, name: str) -> str:
    shorter = re.sub(
        rf"(?<!\w)(?:(?:the|my|for|of) )*{re.escape(name)}(?: change)?(?!\w)[:,]?", " ", said, count=1
    )
    return " ".join(shorter.split()).strip(" ,:") or said


def _days(said: str, span: str) -> float | None:
    """Days until the next time; None for words that are no time."""
    named = next((days for word, days in _FIXED_SPANS.items() if word in said), None)
    if not span.strip():
        return named or LATER_DAYS
    found = [each.quantity for each in quantities(span)]
    if len(found) != 1 or not found[0].unit:
        return None
    days = found[0].low / 24 if found[0].unit == "h" else convert(found[0].low, found[0].unit, "d")
    return min(LATEST_DAYS, max(1.0, days)) if days else None
