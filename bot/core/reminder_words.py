"""Reminders as a rider reads them on a phone: the bike, why now, what to do, and the words that answer."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from bot.core.intervals import Impossible, Interval
from bot.core.messages import Message
from bot.core.reminders import Due
from bot.core.words import Words

LONGEST = 199  # characters of one message
NAMED = 3  # of several things due, so many are named and the rest are counted


@dataclass(frozen=True)
class BikeDue:
    """What is due on which bike of a rider."""

    bike: str
    nickname: str
    due: Due

    @property
    def key(self) -> tuple[str, str, str]:
        """What it is known by among all reminders of its rider."""
        return (self.bike, self.due.kind, self.due.occasion)


def remind(dues: Sequence[BikeDue], words: Words, zone: str = "") -> Message:
    """One message for all that is due, the oldest first. `zone`: that was assumed, to be said, or ""."""
    told = sorted(dues, key=lambda one: (one.due.since, one.bike, one.due.kind))
    tail = words.say("remind.zone", zone=zone) if zone else ""
    room = LONGEST - len(tail)
    text = _single(told[0], words, room) if len(told) == 1 else _several(told, words, room)
    return Message(text + tail, kind="info")


def _single(one: BikeDue, words: Words, room: int) -> str:
    due = one.due
    if due.look is None:
        return words.say(f"remind.oil.{due.why}", bike=one.nickname, **_figures(due, words))
    values = {"bike": one.nickname, "n": due.look.n, "of": due.look.of}
    bare = words.say(f"remind.look.{due.why}", do="", **values)
    return words.say(f"remind.look.{due.why}", do=clipped(due.look.do, room - len(bare)), **values)


def _several(told: Sequence[BikeDue], words: Words, room: int) -> str:
    """As many as fit are named."""
    for named in range(min(NAMED, len(told)), 0, -1):
        items = ", ".join(_item(one, words) for one in told[:named])
        rest = len(told) - named
        more = words.count("remind.more", rest) if rest else ""
        text = words.say("remind.several", items=items, more=more, bike=told[0].nickname)
        if len(text) <= room:
            return text
    return words.say("remind.several", items=_item(told[0], words), more=more, bike=told[0].nickname)


def _item(one: BikeDue, words: Words) -> str:
    if one.due.look is not None:
        return words.say("remind.item.look", bike=one.nickname, n=one.due.look.n, of=one.due.look.of)
    return words.say("remind.item.oil", bike=one.nickname)


def _figures(due: Due, words: Words) -> dict[str, str]:
    run = "" if due.run is None else amount(due.run, due.unit, words)
    return {"run": run, "every": amount(due.every or 0, due.unit, words)}


def amount(value: float, unit: str, words: Words) -> str:
    """8.2 h, 1200 km, 61 days, 1 day; to one decimal, whole from 20 on."""
    shown = round(value) if value >= 20 or unit != "h" else round(value, 1)
    return words.count(f"remind.unit.{unit}", shown)


def clipped(text: str, room: int) -> str:
    """As many whole words as fit, with three dots for the rest."""
    if len(text) <= room:
        return text
    return f"{text[: max(0, room - 3)].rpartition(' ')[0].rstrip(' ,.;-')}..."


# --- what is said to the rider's own words --------------------------------------------------


def told_interval(interval: Interval | Impossible, nickname: str, words: Words) -> str:
    """What was understood of an interval, or why it cannot be taken and what to send."""
    if isinstance(interval, Impossible):
        values = {"said": clipped(interval.said, 40)}
        if interval.why == "range":
            values["low"] = amount(interval.low, interval.unit, words)
            values["high"] = amount(interval.high, interval.unit, words)
        return words.say(f"remind.refused.{interval.why}", **values)
    if interval.off:
        return words.say("remind.off.oil", bike=nickname)
    parts = ((interval.hours, "h"), (interval.km, "km"), (interval.days, "days"))
    every = words.say("remind.or").join(amount(value, unit, words) for value, unit in parts if value)
    return words.say("remind.set", bike=nickname, every=every)
