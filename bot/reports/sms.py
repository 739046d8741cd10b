"""A case in at most three text-message segments: the stop first, then what stands, then what comes next."""

from __future__ import annotations

from collections.abc import Iterator

from bot.core.segments import plain, segments
from bot.reports.lines import chance, goes_on, gravest, hours, next_words, stop_short
from bot.reports.sheet import Facts
from bot.reports.wording import ENGLISH, Wording

SEGMENTS = 3


def sms(sheet: Facts, say: Wording = ENGLISH) -> str:
    """The short form, at most three segments; whole parts are left out from the end, a stop never is."""
    out = _shortened(" ".join(_stops(sheet, say)))
    for part in _parts(sheet, say):
        longer = f"{out} {part}".strip()
        if segments(longer) <= SEGMENTS:
            out = longer
    return out


def _written(text: str) -> str:
    """In letters of one text message, on one line: each blank is paid for."""
    return " ".join(plain(" ".join(text.split())).split())


def _shortened(text: str) -> str:
    """The text itself if it fits, else as much of its beginning as does."""
    if segments(text) <= SEGMENTS:
        return text
    while segments(text + "...") > SEGMENTS:
        text = text[:-1]
    return text + "..."


def _stops(sheet: Facts, say: Wording) -> Iterator[str]:
    """Stops that stand, the gravest first: if all do not fit, that one is whole."""
    for stop in gravest(sheet.stops):
        yield _written(stop_short(stop, say))


def _parts(sheet: Facts, say: Wording) -> Iterator[str]:
    """From what should not be missed to what may."""
    bike = " ".join(x for x in (sheet.bike, hours(sheet.hours)) if x)
    yield _written(
        say["sms.head" if bike else "sms.head.no_bike"].format(bike=bike, complaint=sheet.complaint[:60])
    )
    for standing in ("found", "repaired", "suspected"):
        names = [f"{s.name} {chance(s.chance, say)}" for s in sheet.suspects if s.standing == standing]
        if names:
            yield _written(_named(standing, names[:3], say))
    if goes_on(sheet) and (line := next_words(sheet, say)):
        yield _written(say["sms.next"].format(what=line))
    ruled_out = [s.name for s in sheet.suspects if s.standing == "ruled-out" and not s.excluded_by]
    if ruled_out:
        yield _written(_named("ruled-out", ruled_out, say))
    yield _written(say["sms.unlisted"].format(chance=chance(sheet.unlisted, say)) + ".")
    yield _written(say["sms.spent"].format(minutes=f"{sheet.minutes_spent:.0f}"))


def _named(standing: str, names: list[str], say: Wording) -> str:
    return say["sms.suspects"].format(standing=say[f"standing.{standing}"], list=", ".join(names)) + "."
