"""A case in at most three text-message segments: the stop first, then what stands, then what comes next."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator

from bot.reports.lines import chance, goes_on, gravest, hours, next_words, stop_short
from bot.reports.sheet import Facts
from bot.reports.wording import ENGLISH, Wording

SEGMENTS = 3
# 3GPP TS 23.040, joined messages: 153 septets each, a lone one 160. TS 23.038: these cost two.
ONE, JOINED, TWO = 160, 153, "^{}[]~\\|"
LIMIT = SEGMENTS * JOINED
_PLAIN = {
    "·": "", "×": "x", "°": " deg", "µ": "u", "½": "1/2", "¼": "1/4", "¾": "3/4", "€": "EUR", "✓": "OK",
    "→": "->", "–": "-", "—": "-", "…": "...", "‘": "'", "’": "'", "“": '"', "”": '"', "ß": "ss", "`": "'",
    "æ": "ae", "ø": "o", "ł": "l", "\u00a0": " ",
}  # fmt: skip


def plain(text: str) -> str:
    """Letters that every phone has, in one septet each; what cannot be written so becomes '?'."""
    spelled = "".join(_PLAIN.get(c, c) for c in " ".join(text.split()))
    bare = "".join(c for c in unicodedata.normalize("NFKD", spelled) if not unicodedata.combining(c))
    return "".join(c if " " <= c <= "~" else "?" for c in bare)


def septets(text: str) -> int:
    """What a plain text costs."""
    return len(text) + sum(c in TWO for c in text)


def segments(text: str) -> int:
    """How many messages a plain text takes; a letter of two septets is never cut in two."""
    cost = septets(text)
    if cost <= ONE:
        return 1
    count, room = 1, JOINED
    for c in text:
        need = 2 if c in TWO else 1
        if need > room:
            count, room = count + 1, JOINED
        room -= need
    return count


def sms(sheet: Facts, say: Wording = ENGLISH) -> str:
    """The short form, at most three segments; whole parts are left out from the end, a stop never is."""
    out = _shortened(" ".join(_stops(sheet, say)))
    for part in _parts(sheet, say):
        longer = f"{out} {part}".strip()
        if segments(longer) <= SEGMENTS:
            out = longer
    return out


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
        yield plain(stop_short(stop, say))


def _parts(sheet: Facts, say: Wording) -> Iterator[str]:
    """From what should not be missed to what may."""
    bike = " ".join(x for x in (sheet.bike, hours(sheet.hours)) if x)
    yield plain(
        say["sms.head" if bike else "sms.head.no_bike"].format(bike=bike, complaint=sheet.complaint[:60])
    )
    for standing in ("found", "repaired", "suspected"):
        names = [f"{s.name} {chance(s.chance, say)}" for s in sheet.suspects if s.standing == standing]
        if names:
            yield plain(_named(standing, names[:3], say))
    if goes_on(sheet) and (line := next_words(sheet, say)):
        yield plain(say["sms.next"].format(what=line))
    ruled_out = [s.name for s in sheet.suspects if s.standing == "ruled-out" and not s.excluded_by]
    if ruled_out:
        yield plain(_named("ruled-out", ruled_out, say))
    yield plain(say["sms.unlisted"].format(chance=chance(sheet.unlisted, say)) + ".")
    yield plain(say["sms.spent"].format(minutes=f"{sheet.minutes_spent:.0f}"))


def _named(standing: str, names: list[str], say: Wording) -> str:
    return say["sms.suspects"].format(standing=say[f"standing.{standing}"], list=", ".join(names)) + "."
