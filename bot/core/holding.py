"""Letting a mechanic in and out again: the rider's words about it, and what his mechanic may not do.

A case belongs to whoever opened it. A mechanic holds it from the moment that he came in by a code until
the rider takes it back or he hands it back himself. The code is made outside (`desk.code`): here is no
chance, and nothing that could tell whose code it was.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from bot.core.desk import fold_name
from bot.core.events import CaseHeld, HoldEnded, Shared, WasAsked
from bot.core.messages import Message
from bot.core.phrases import plain
from bot.core.spoken import tokens
from bot.core.talk import Talk

After = str
WORDS = ("share", "who", "take_back", "hand_back")
# What is the rider's own: his case, his price, his codes.
RIDERS_OWN = frozenset({"share", "who", "take_back", "erase", "start_over", "giving_up"})
LONGEST_WORDS = 1000


def refuses(talk: Talk, control: str) -> bool:
    """Whether a control word is not for whoever speaks; then he is told."""
    if talk.owns or control not in RIDERS_OWN or (control == "giving_up" and talk.holds):
        return False  # at his bench a mechanic has a price of his own
    talk.say("holding.erase" if control == "erase" else "holding.riders_own")
    return True


def hear(talk: Talk) -> bool:
    """Words that go with handing or taking back, however many they are; then they have been taken."""
    if (rest := _after_phrase(talk, "hand_back")) is not None:
        hand_back(talk, rest)
        return True
    back = _after_phrase(talk, "take_back")
    by_name = re.match(r"from\s+(\S.*)", back or "", re.IGNORECASE | re.DOTALL)
    if by_name is None or refuses(talk, "take_back"):
        return by_name is not None
    take_back(talk, by_name[1])
    return True


def _after_phrase(talk: Talk, control: str) -> str | None:
    """What stands behind one of the phrases of a control, as written; None when none begins the words."""
    for phrase in talk.words.controls[control]:
        begun = r"[\W_]+".join(map(re.escape, phrase.split()))
        found = re.match(rf"\W*{begun}(?!\w)[\s:,.;!-]*", talk.heard.text, re.IGNORECASE)
        if found is not None:
            return talk.heard.text[found.end() :].strip()
    return None


# --- the rider's words -----------------------------------------------------------------------


def share(talk: Talk, rest: str) -> After:
    """A code for one mechanic. It is said once, and kept nowhere."""
    if not talk.state.complaint:
        talk.say("share.nothing")
        return "again" if talk.asked is not None else ""
    talk.emit(Shared())
    days, code = talk.desk.code_days, talk.desk.code()
    said = talk.words.count("share.code", days, code=code)
    short = talk.words.count("share.code.short", days, code=code)
    talk.tell(Message(said, short, kind="secret", stays=talk.words.say("share.stays")))
    return ""


def who(talk: Talk, rest: str) -> After:
    """Who holds the case, and how many codes wait to be used; never a code."""
    talk.tell(plain(talk.words, "\n".join(_who_lines(talk)), kind="record"))
    return "again"


def _who_lines(talk: Talk) -> Iterator[str]:
    words, since = talk.words, _since(talk)
    for name in talk.state.holders:
        yield words.say("who.holds", name=name, since=_moment(since[name]))
    if not talk.state.holders:
        yield words.say("who.nobody")
    unused = talk.desk.unused()
    if unused:
        yield words.count("who.codes", len(unused), until=_moment(max(unused)))
    yield words.say("who.back" if talk.state.holders or unused else "who.share")


def _since(talk: Talk) -> dict[str, str]:
    """By holder: when he came in last."""
    return {entry.who: entry.at for entry in talk.state.entries if isinstance(entry.event, CaseHeld)}


def _moment(at: str) -> str:
    return f"{at[:16].replace('T', ' ')} UTC"


def take_back(talk: Talk, rest: str) -> After:
    """All holds end and codes that nobody used are void; or the hold of one, by his name."""
    meant = _named(talk, rest)
    if rest and not meant:
        names = ", ".join(talk.state.holders)
        talk.say("take_back.which" if names else "take_back.nobody", names=names)
        return "again"
    unused = 0 if rest else len(talk.desk.unused())
    if not rest:
        talk.emit(HoldEnded(holder=""))
    for name in meant:
        talk.emit(HoldEnded(holder=name))
        talk.tell_seat(name, Message(talk.words.say("take_back.told"), kind="info"))
    lines = [talk.words.say("take_back.done", names=", ".join(meant))] if meant else []
    lines += [talk.words.count("take_back.codes", unused)] if unused else []
    talk.tell(plain(talk.words, " ".join(lines) or talk.words.say("take_back.none"), kind="info"))
    return "again"


def _named(talk: Talk, rest: str) -> Sequence[str]:
    """The holders that are meant: all without a name, else those whose name begins so."""
    said = fold_name(rest.strip(" .!,"))
    exact = [name for name in talk.state.holders if fold_name(name) == said]
    begun = [name for name in talk.state.holders if tokens(name)[: len(tokens(said))] == tokens(said)]
    return talk.state.holders if not rest else exact or (begun if len(begun) == 1 else [])


# --- the mechanic's --------------------------------------------------------------------------


def begin(talk: Talk) -> None:
    """He came in by a code that was right: he is shown the case and what he can do; the rider is told."""
    talk.emit(CaseHeld())
    talk.emit(WasAsked(seat=talk.seat, what="none", id=""))
    name = talk.state.nickname or talk.words.say("held.no_bike")
    talk.tell(plain(talk.words, talk.words.say("held.opened", name=name), kind="info"))
    talk.tell(Message(_sheet(talk), kind="record"))
    talk.tell(plain(talk.words, talk.words.say("held.can"), kind="info"))
    told = talk.words.say("held.told", name=talk.seat)
    talk.tell_seat(talk.owner, Message(told, kind="info"))


def _sheet(talk: Talk) -> str:
    flow = talk.flow
    if flow is None:
        return talk.words.say("held.no_sheet", complaint=" ".join(talk.state.complaint.split())[:300])
    return talk.desk.summary(flow, talk.state, talk.now)


def hand_back(talk: Talk, rest: str) -> After:
    """His hold ends by his own word; the rider is told, with what he said to it."""
    if talk.seat not in talk.state.holders:
        talk.say("hand_back.own" if talk.owns else "mechanic.only")
        return "again"
    words = rest.strip()[:LONGEST_WORDS]
    talk.emit(HoldEnded(holder=talk.seat, words=words))
    talk.emit(WasAsked(seat=talk.seat, what="none", id=""))
    talk.say("hand_back.done")
    key = "hand_back.told.words" if words else "hand_back.told"
    talk.tell_seat(talk.owner, Message(talk.words.say(key, name=talk.seat, words=words), kind="info"))
    return ""
