"""A mechanic's own words at his bench: a note, a stop lifted by what he looked at, work told as done."""

from __future__ import annotations

import re

from bot.core import naming
from bot.core.agenda import Next
from bot.core.events import Noted, StopLifted, WasAsked
from bot.core.messages import Message
from bot.core.offers import Chosen, Reading
from bot.core.phrases import Option, plain, stop_text
from bot.core.spoken import ENGLISH, tokens
from bot.core.state import Asked
from bot.core.talk import Talk
from bot.core.work import tell_done

After = str
WORK = "work"  # about: work done that the flow has no remedy for
LOOKED, SAID = 300, 1000  # characters that are kept of what he looked at, and of what he did
_AMOUNT, _COIN = r"(\d+(?:[.,]\d{1,2})?)", r"([^\W\d_]+|[€$£])"
_PRICES = (  # "parts 24 EUR", "24 EUR of parts"
    re.compile(rf"[\s,;.(-]*\bparts?\b[\s:=]*{_AMOUNT}\s*{_COIN}?(?=\s*(?:[,.;)]|$))\)?", re.IGNORECASE),
    re.compile(rf"[\s,;.(-]*\b{_AMOUNT}\s*{_COIN}\s+(?:of|for|in)?\s*parts?\b\)?", re.IGNORECASE),
)


def note(talk: Talk, rest: str) -> After:
    """'note: ...', of whoever speaks, with what was just asked."""
    if not tokens(rest):
        talk.say("note.how")
        return "again"
    about = f"{talk.asked.what}:{talk.asked.id}" if talk.asked else ""
    talk.emit(Noted(words=rest[:SAID], about=about))
    talk.say("noted.words")
    return "again"


# --- a stop lifted -----------------------------------------------------------------------------


def lift(talk: Talk, rest: str) -> After:
    """'lift the stop: nut torqued, washer bent up'; never one that only a doctor may lift."""
    texts = _able(talk)
    if not talk.holds:
        talk.say("mechanic.only")
        return "again"
    if not texts:
        talk.say("mechanic.doctor" if talk.state.standing else "mechanic.none")
        return "again"
    named, _, looked = rest.partition(":")
    meant = tuple(rule for rule, text in texts.items() if tokens(named) and _within(named, text))
    if not meant:  # all of it is what he looked at
        meant, looked = tuple(texts), rest
    if len(meant) == 1 and _tells_a_look(talk, looked):
        _lift(talk, meant[0], looked.strip())
        return "next"
    looked = looked.strip() if _tells_a_look(talk, looked) else ""
    _ask_about(talk, meant[0] if len(meant) == 1 else "", (looked, *meant))
    return ""


def _able(talk: Talk) -> dict[str, str]:
    """Stops that a mechanic may lift, with their short texts."""
    rules = talk.sure().stop_rules if talk.flow is not None else {}
    doctors = {rule for rule, model in rules.items() if model.cleared_by.by == "doctor"}
    able = [stop.rule for stop in talk.state.standing if stop.rule not in doctors]
    return {rule: stop_text(talk.words, rule, rules.get(rule), short=True) for rule in able}


def _tells_a_look(talk: Talk, said: str) -> bool:
    """Whether words may name what was looked at: "ok", "all good" and "done, thanks" do not."""
    lists = talk.words.lists
    empty = {
        w for name in ("yes", "done", "thanks", "gone", "look.good") for p in lists[name] for w in tokens(p)
    }
    return not empty.union(ENGLISH.polite, ENGLISH.filler).issuperset(tokens(said))


def _within(named: str, text: str) -> bool:
    return set(tokens(named)) <= set(tokens(text))


def _ask_about(talk: Talk, rule: str, extra: tuple[str, ...]) -> None:
    step = Next("lift", rule, extra)
    talk.emit(WasAsked(seat=talk.seat, what="lift", id=rule, extra=extra))
    talk.tell(put_lift(talk, step))


def put_lift(talk: Talk, step: Next) -> Message:
    """Which stop; then what he looked at."""
    words, texts = talk.words, _able(talk)
    if not step.id:
        offered = [Option(rule, texts[rule]) for rule in step.extra[1:] if rule in texts]
        return plain(words, words.say("mechanic.which"), offered, ("back",))
    return plain(words, words.say("mechanic.looked", say=texts.get(step.id, "")), (), ("back",))


def answer_lift(talk: Talk, asked: Asked, reading: Reading) -> bool:
    """Which stop it is, or what he looked at; that may have been said with the wish."""
    rule, said = asked.id, talk.heard.text.strip()
    if not rule:
        if not isinstance(reading, Chosen):
            return False
        rule, said = reading.id, asked.extra[0]
        if not _tells_a_look(talk, said):
            _ask_about(talk, rule, asked.extra)
            return True
    if not _tells_a_look(talk, said):
        return False
    if talk.holds and rule in _able(talk):
        _lift(talk, rule, said)
    return True


def _lift(talk: Talk, rule: str, looked: str) -> None:
    text = _able(talk)[rule]
    talk.emit(StopLifted(rule=rule, by="mechanic", words=looked[:LOOKED]))
    talk.say("mechanic.lifted", say=text, words=looked[:LOOKED])
    talk.tell_others(talk.messages[-1])


# --- work told as done ---------------------------------------------------------------------------


def repaired(talk: Talk, rest: str) -> After:
    """'repaired: refit the drive nut, parts 24 EUR'."""
    if not talk.holds:
        talk.emit(Noted(words=talk.heard.text.strip()[:SAID]))
        talk.say("repair.rider")
        return "again"
    if talk.flow is None:
        talk.say("summary.none")
        return "again"
    said, money = _priced(talk, rest)
    names = naming.remedies(talk.sure(), talk.state)
    clear = naming.clearly(said, names, talk.words.spoken)
    if clear:
        _done(talk, clear, money)
        return "next"
    _ask_which(talk, 0, (_coin(money), rest[:SAID], *(naming.meant(said, names, talk.words.spoken) or names)))
    return ""


def _priced(talk: Talk, said: str) -> tuple[str, float | None]:
    """The words without their price of parts, and the price; one in another currency is not counted."""
    found = next((m for pattern in _PRICES if (m := pattern.search(said))), None)
    money = talk.sure().money
    if found is None:
        return said.strip(), None
    without = said[: found.start()] + said[found.end() :]
    if found[2] and money is not None and not _is_currency(talk, found[2], money.currency):
        talk.say("repair.currency", currency=money.currency)
        return without.strip(), None
    return without.strip(), float(found[1].replace(",", "."))


def _is_currency(talk: Talk, said: str, currency: str) -> bool:
    known = (currency, *talk.words.lists.get(f"money.{currency}", ()))
    return said.casefold() in {word.casefold() for word in known}


def _coin(money: float | None) -> str:
    return "" if money is None else f"{money:g}"


def _ask_which(talk: Talk, number: int, extra: tuple[str, ...]) -> None:
    step = Next("repair", str(number), extra)
    talk.emit(WasAsked(seat=talk.seat, what="repair", id=step.id, extra=extra))
    talk.tell(put_repair(talk, step))


def put_repair(talk: Talk, step: Next) -> Message:
    words, names = talk.words, naming.remedies(talk.sure(), talk.state)
    ids = [id for id in step.extra[2:] if id in names]
    if not step.id:
        return plain(words, words.say("repair.words"), (), ("back",))
    return plain(words, words.say("repair.which"), naming.page(words, ids, names, int(step.id)), ("back",))


def answer_repair(talk: Talk, asked: Asked, reading: Reading) -> bool:
    """A remedy of the list, another page, or his own words for it."""
    coin, said, *ids = asked.extra
    if not asked.id:
        return _own_words(talk, talk.heard.text.strip())
    if not isinstance(reading, Chosen):
        text, spoken = talk.heard.text, talk.words.spoken
        names = naming.remedies(talk.sure(), talk.state)
        clear, found = naming.clearly(text, names, spoken), naming.meant(text, names, spoken)
        if clear:
            _done(talk, clear, float(coin) if coin else None)
        elif found:
            _ask_which(talk, 0, (coin, talk.heard.text.strip()[:SAID], *found))
        return bool(found)
    if reading.id in ("next", "first"):
        _ask_which(talk, naming.turned(int(asked.id), reading.id), asked.extra)
    elif reading.id == "none":
        if not _own_words(talk, said):
            step = Next("repair", "", (coin, "", *ids))
            talk.emit(WasAsked(seat=talk.seat, what="repair", id="", extra=step.extra))
            talk.tell(put_repair(talk, step))
    else:
        _done(talk, reading.id, float(coin) if coin else None)
    return True


def _done(talk: Talk, id: str, money: float | None) -> None:
    talk.say("repair.kept", name=talk.sure().remedies[id].name)
    tell_done(talk, id, money)


def _own_words(talk: Talk, said: str) -> bool:
    """Work that the flow has no remedy for is kept as it was said, and moves no odds."""
    if not tokens(said):
        return False
    talk.emit(Noted(words=said[:SAID], about=WORK))
    talk.say("repair.own")
    for seat in talk.others:
        talk.say_at(seat, "repair.told", name=said[:SAID])
    return True
