"""What a rider says of reminders: how often he wants them, what he answers to one, which clock is his."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import Literal

from bot.core import bookkeeping
from bot.core.desk import BikeCard
from bot.core.events import ReminderTold, SettingTold
from bot.core.intervals import Answer, Impossible, Interval, answer_told, interval_told, off_told
from bot.core.phrases import plain
from bot.core.reminder_words import told_interval
from bot.core.spoken import tokens
from bot.core.talk import Talk
from bot.core.units import measure
from bot.core.wall import zone_told

Kind = Literal["oil", "look"]
SHORT = 4  # words of a bare reading


def hear(talk: Talk) -> bool:
    """Whether these words are about reminders; then they have been taken."""
    if not talk.owns and _of_the_bike(talk):
        talk.say("holding.riders_own")
        return True
    return any(heard(talk) for heard in (_answer, _reading, _interval, _off, _zone))


def _of_the_bike(talk: Talk) -> bool:
    """Whether they say what somebody is to be reminded of: that is for the bike's rider to say."""
    names = [bike.nickname for bike in talk.desk.bikes]
    return interval_told(talk.heard.text, names) is not None or off_told(talk.heard.text, names) is not None


def _answer(talk: Talk) -> bool:
    """Done, later, or off, said to what he was just reminded of."""
    told = answer_told(talk.heard.text, talk.desk.reminded)
    if told is None or (told.what == "done" and not any(one.kind == "oil" for one in told.about)):
        return False  # that a look is done is for the case to hear
    if told.what == "done":
        bike = next(one for one in told.about if one.kind == "oil")
        bookkeeping.propose(talk, talk.words.say("remind.done", bike=bike.nickname))
    elif told.what == "later":
        _tell(talk, told)
        talk.tell(plain(talk.words, talk.words.count("remind.later", told.days), kind="info"))
    else:
        _tell(talk, told)
        for one in told.about:
            talk.say(f"remind.off.{one.kind}", bike=one.nickname)
    return True


def _tell(talk: Talk, told: Answer) -> None:
    what: Literal["later", "off"] = "later" if told.what == "later" else "off"
    for one in told.about:
        talk.emit(ReminderTold(what=what, bike=one.bike, about=one.kind, days=told.days or None))


def _reading(talk: Talk) -> bool:
    """What the meter shows, where that was just asked for: '51 h', '1240 km'."""
    text = talk.heard.text
    bikes = {one.nickname for one in talk.desk.reminded}
    if len(bikes) != 1 or len(tokens(text)) > SHORT:
        return False
    key = _key_of_meter(text, talk, bikes)
    if key is None or (talk.asked is not None and talk.asked.what not in bookkeeping.ASKED):
        return False  # there is a question that a number may answer
    bookkeeping.propose(talk, talk.words.say(key, bike=bikes.pop(), said=text.strip()))
    return True


def _key_of_meter(text: str, talk: Talk, names: Collection[str]) -> str | None:
    """Hours or a distance; a bare number is of the meter that the bike is known by, hours first."""
    said = measure(text, "h", talk.words.spoken)
    if said is not None and said.unit in ("", "h"):
        far = all(b.shown is None and b.shown_km for b in talk.desk.bikes if b.nickname in names)
        return "remind.reading.km" if far and not said.unit else "remind.reading"
    far_said = measure(text, "km", talk.words.spoken)
    return "remind.reading.km" if far_said is not None and far_said.unit in ("km", "mi") else None


def _interval(talk: Talk) -> bool:
    told = interval_told(talk.heard.text, [bike.nickname for bike in talk.desk.bikes])
    if told is None:
        return False
    if isinstance(told, Impossible):
        talk.tell(plain(talk.words, told_interval(told, "", talk.words), kind="info"))
        return True
    bikes = _bikes(talk, told.bike)
    if len(bikes) != 1:
        talk.say("remind.which" if bikes else "remind.no_bike")
        return True
    _keep(talk, bikes[0], told)
    return True


def _keep(talk: Talk, bike: BikeCard, told: Interval) -> None:
    talk.emit(ReminderTold(what="off" if told.off else "every", bike=bike.id, about="oil", hours=told.hours,
                           km=told.km, days=told.days))  # fmt: skip
    talk.tell(plain(talk.words, told_interval(told, bike.nickname, talk.words), kind="info"))
    if not told.off and not talk.desk.books(bike.id).lines:
        talk.say("remind.no_change")


def _off(talk: Talk) -> bool:
    told = off_told(talk.heard.text, [bike.nickname for bike in talk.desk.bikes])
    if told is None:
        return False
    kinds, name = told
    bikes = [b for b in talk.desk.bikes if not name or b.is_called(name)]
    for bike in bikes:
        for kind in kinds:
            talk.emit(ReminderTold(what="off", bike=bike.id, about=kind))
            talk.say(f"remind.off.{kind}", bike=bike.nickname)
    if not bikes:
        talk.say("remind.no_bike")
    return True


def _zone(talk: Talk) -> bool:
    told = zone_told(talk.heard.text, talk.now, talk.desk.zones())
    if told is None:
        return False
    if not told:
        talk.say("remind.zone.unknown")
        return True
    talk.emit(SettingTold(setting="zone", value=told))
    talk.say("remind.zone.fixed" if told.startswith("UTC") else "remind.zone.set", zone=told)
    return True


def _bikes(talk: Talk, name: str) -> Sequence[BikeCard]:
    """The bike that is named, else that of the case, else all."""
    bikes = talk.desk.bikes
    if name:
        return [bike for bike in bikes if bike.is_called(name)]
    return [bike for bike in bikes if bike.id == talk.state.bike] or bikes
