"""The door between riders and mechanics: codes made and tried, which case is meant, what a guest is handed.

A code never gets further than the words that say it to the rider and those that bring it back: what comes
in is sealed before it is kept (`seal`), what goes out is blanked once it is out (`Message.stays`).
"""

from __future__ import annotations

import logging
import math
import re
import secrets
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from functools import partial
from typing import TYPE_CHECKING

from bot.authoring.wording import read_words
from bot.core.events import Heard, HoldEnded
from bot.core.messages import Message
from bot.core.words import Words
from bot.record.cases import Person
from bot.record.grants import KeyTroubleError
from bot.record.keeping import Step
from bot.record.post import Address, Incoming
from bot.record.store import Store

if TYPE_CHECKING:
    from bot.core.desk import Desk

LOG = logging.getLogger("sumpline.sharing")

# Thirty, without those that are taken for another: no I, L, O, U, 0 and 1.
ALPHABET = "ABCDEFGHJKMNPQRSTVWXYZ23456789"
LENGTH = 8
LIKE = "ABCD-EF23"
ODD, TROUBLE = "odd", "trouble"  # in the place of a digest: no code at all; the key could not be used
SHORT = 100  # characters of a message that may bring a code
# Looked for at each word anew: in "open ABCD-EF23" the first two words are a pair of fours as well.
_PAIR = re.compile(r"(?<![^\W_])(?=([^\W_]{4})[-\s\u2010-\u2015]?([^\W_]{4})(?![^\W_]))")
_SAID = re.compile(rf"\b([{ALPHABET}]{{4}})-([{ALPHABET}]{{4}})\b")
_ODD = range(6, 13)  # letters and figures of what was meant for a code behind "open"


class Refused(Exception):
    """This cannot be done, so nothing of the turn is; the person is told by a line of our wording."""

    def __init__(self, key: str, **values: object) -> None:
        super().__init__(key)
        self.key, self.values = key, values


# --- codes as they are written -----------------------------------------------------------------


def make_code() -> str:
    """A new one. It holds a figure and two letters, so that neither a word nor a list of marks is one."""
    while True:
        code = "".join(secrets.choice(ALPHABET) for _ in range(LENGTH))
        if _is_code(code):
            return code


def _is_code(code: str) -> bool:
    figures = sum(letter.isdigit() for letter in code)
    return len(code) == LENGTH and set(code) <= set(ALPHABET) and 1 <= figures <= LENGTH - 2


def shown(code: str) -> str:
    """A code as people read it."""
    return f"{code[:4]}-{code[4:]}"


def code_in(text: str) -> str:
    """The last code in a text, bare; "" when there is none. In any case, with dash, space, or neither."""
    return next((f"{pair[1]}{pair[2]}".upper() for pair in _pairs(text)), "")


def code_said(text: str) -> str:
    """The code in a message of ours, bare; "" when there is none."""
    found = _SAID.search(text)
    return f"{found[1]}{found[2]}" if found else ""


def _pairs(text: str) -> list[re.Match[str]]:
    """Where codes stand in a text, the last one first."""
    return [p for p in reversed([*_PAIR.finditer(text)]) if _is_code(f"{p[1]}{p[2]}".upper())]


def told_code(text: str, words: Words) -> str | None:
    """The code that a message brings; "" when one was meant and it is none; None for any other message.

    The code stands alone, or beside small words such as "please open".
    """
    from bot.core.spoken import tokens

    if len(text) > SHORT or not any(letter.isdigit() for letter in text):
        return None
    said, opens = tokens(text), {*words.lists["open"]}
    beside_it = opens | {*words.lists["open.beside"], *words.lists["link"]}
    for pair in _pairs(text):
        beside = {*tokens(text[: pair.start()]), *tokens(text[pair.end(2) :])}
        if beside <= beside_it:
            return f"{pair[1]}{pair[2]}".upper()
    meant = "".join(said[1:])
    joined = len(said) == 2 or "-" in text
    looks = meant.isalnum() and any(map(str.isdigit, meant)) and sum(map(str.isalpha, meant)) > 1
    return "" if said and said[0] in opens and joined and looks and len(meant) in _ODD else None


def seal(store: Store, person: Person, heard: Heard) -> tuple[Heard, str]:
    """What is kept of a message: a code in it gives way to its digest, which stands beside it."""
    words = words_of(person) if any(letter.isdigit() for letter in heard.text[:SHORT]) else None
    code = told_code(heard.text, words) if words else None
    if words is None or code is None:
        return heard, ""
    bare = heard.model_copy(update={"text": words.lists["open"][0]})
    try:
        return bare, store.digest_code(code) if code else ODD
    except KeyTroubleError as wrong:
        LOG.error("no code can be tried: %s", wrong)
        return bare, TROUBLE


def words_of(person: Person) -> Words:
    """Our wording in this person's language."""
    return read_words(str(person.settings.get("language", "en")))


# --- the door ------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Entrance:
    """How a message goes on: to this case (0: that of its address) with these words, or `told` is all.

    `first`: what is said before anything of the case.
    """

    heard: Heard
    case: int = 0
    told: tuple[Message, ...] = ()
    first: tuple[Message, ...] = ()


def enter(store: Store, incoming: Incoming, at: str) -> Entrance:
    """What a message is before any case is looked up: a code, a call for another case, or neither."""
    speaker, heard = store.person(incoming.person), incoming.heard
    if incoming.sealed:
        return _open(store, incoming, speaker, at)
    case = store.current(incoming.address, speaker.id)
    if heard.press or heard.file or heard.rewords or not heard.text.strip():
        stray = bool(heard.press) and case is None
        return Entrance(heard, told=line_for(speaker, "press.nothing") if stray else ())
    called = _call(store, incoming, speaker, case, at)
    if called is None and case is not None and _answers_own_reminder(store, incoming, speaker, case):
        return Entrance(heard, told=line_for(speaker, "held.reminder"))
    return called or Entrance(heard)


def line_for(speaker: Person, key: str, **values: object) -> tuple[Message, ...]:
    return (Message(words_of(speaker).say(key, **values), kind="error"),)


def _open(store: Store, incoming: Incoming, speaker: Person, at: str) -> Entrance:
    """Try the code of a message. One that opens nothing is told in one way, whatever is wrong with it."""
    heard = incoming.heard
    store.end_try(incoming.id, speaker.id)
    if store.is_group(incoming.address):
        return Entrance(heard, told=line_for(speaker, "code.only_private"))
    if incoming.sealed == TROUBLE:
        return Entrance(heard, told=line_for(speaker, "share.trouble", why=trouble(store)))
    if incoming.sealed == ODD:
        return Entrance(heard, told=line_for(speaker, "code.odd"))
    if wait := must_wait(store, speaker, at):
        return Entrance(heard, told=wait)
    found = store.case_of_code(incoming.sealed, at)
    if found is None:
        store.count_guess(speaker.id, at)
        return Entrance(heard, told=line_for(speaker, "code.wrong"))
    code, case = found
    if store.case(case).person == speaker.id:
        return Entrance(heard, told=line_for(speaker, "code.own"))
    if had := [one.number for one in store.held_by(speaker.id) if one.case == case]:
        return Entrance(heard, told=line_for(speaker, "code.have", n=had[0]))
    store.use_code(code, speaker.id, at)
    return Entrance(heard.model_copy(update={"admitted": True}), case)


def must_wait(store: Store, speaker: Person, at: str) -> tuple[Message, ...]:
    """What is said to who tried too many wrong codes; nothing to who may try one."""
    free = store.free_again(speaker.id, at)
    if not free:
        return ()
    wait = datetime.fromisoformat(free) - datetime.fromisoformat(at)
    told = words_of(speaker).count("code.wait", math.ceil(wait.total_seconds() / 60))
    return (Message(told, kind="error"),)


def trouble(store: Store) -> str:
    try:
        store.check_key()
    except KeyTroubleError as wrong:
        return str(wrong)
    return "the key could not be read"


def _answers_own_reminder(store: Store, incoming: Incoming, speaker: Person, case: int) -> bool:
    """Whether he answers a reminder of his own bike while he is in another's case."""
    if store.case(case).person == speaker.id:
        return False
    about = store.just_reminded(speaker.id, incoming.address)
    if not about:
        return False
    from bot.core.intervals import answer_told

    return answer_told(incoming.heard.text, about) is not None


# --- which case ----------------------------------------------------------------------------------


def _call(store: Store, incoming: Incoming, speaker: Person, case: int | None, at: str) -> Entrance | None:
    """His bench, one of its cases by number, or his own case again; None for all other words."""
    from bot.core.spoken import tokens

    words, said = words_of(speaker), tokens(incoming.heard.text)
    held = store.held_by(speaker.id)
    if held and said in map(tokens, words.lists["own_case"]):
        return _go_home(store, incoming, speaker, words)
    if held and (rest := behind(said, words.lists["case"])) and len(rest) == 1 and rest[0].isdecimal():
        return _go_to(incoming, speaker, words, {h.number: h.case for h in held}, int(rest[0][:9]))
    asked_for = behind(said, words.lists["bench"])
    if asked_for is None or (asked_for and not held) or may_answer(store, case, speaker, said):
        return None
    if store.is_group(incoming.address):
        return Entrance(incoming.heard, told=line_for(speaker, "bench.only_private"))
    from bot.bench import say_bench

    return Entrance(incoming.heard, told=(say_bench(store, speaker.id, at, words, asked_for),))


def behind(said: Sequence[str], phrases: Sequence[str]) -> tuple[str, ...] | None:
    """The words behind one of the phrases; None when the message begins with none of them."""
    from bot.core.spoken import tokens

    begun = [tokens(phrase) for phrase in phrases if tuple(said[: len(tokens(phrase))]) == tokens(phrase)]
    return tuple(said[len(max(begun, key=len)) :]) if begun else None


def may_answer(store: Store, case: int | None, speaker: Person, said: Sequence[str]) -> bool:
    """Whether "bench" says where the bike is, as it was just asked."""
    if case is None or len(said) != 1:
        return False
    asked = store.state(case).asked.get(store.known_in(case, speaker.id).name)
    return asked is not None and (asked.what, asked.id) == ("setting", "place")


def _go_to(incoming: Incoming, speaker: Person, words: Words, cases: dict[int, int], number: int) -> Entrance:
    if number not in cases:
        return Entrance(incoming.heard, told=line_for(speaker, "bench.no_case", n=number))
    return Entrance(again(incoming.heard, words), cases[number])


def _go_home(store: Store, incoming: Incoming, speaker: Person, words: Words) -> Entrance:
    home = store.go_home(incoming.address, speaker.id)
    if home is None:
        return Entrance(incoming.heard, told=line_for(speaker, "own_case.none"))
    return Entrance(again(incoming.heard, words), home)


def again(heard: Heard, words: Words) -> Heard:
    """The words that ask for the open question once more."""
    return heard.model_copy(update={"text": words.controls["repeat"][0]})


# --- told outside any case -------------------------------------------------------------------------


def answer(store: Store, incoming: Incoming, told: Sequence[Message], at: str) -> None:
    """Lay out what is all that a message led to; it went to no case."""
    for n, message in enumerate(told):
        store.put_out(incoming.address, incoming.person, message, at, n=n, inbox=incoming.id)
    store.mark_taken(incoming.id, None, at)


def refuse(store: Store, inbox: int, wrong: Refused, at: str) -> None:
    """Say why nothing was done."""
    with store.writing():
        incoming = store.incoming(inbox)
        answer(store, incoming, line_for(store.person(incoming.person), wrong.key, **wrong.values), at)


# --- a turn in a case ------------------------------------------------------------------------------


def spoken_as(heard: Heard, speaker: Person, rider: Person) -> Heard:
    """In another's case one speaks as a mechanic, whatever one is elsewhere; under the name it knows."""
    role = heard.role if speaker.id == rider.id else "mechanic"
    return heard.model_copy(update={"role": role, "who": speaker.name})


@dataclass(frozen=True)
class CodeMaker:
    """Makes a code of a case, and keeps its digest in the transaction of the turn."""

    store: Store
    case: int
    rider: Person
    address: Address
    at: str

    def __call__(self) -> str:
        if self.store.is_group(self.address):
            raise Refused("share.only_private")
        code = make_code()
        try:
            digest = self.store.digest_code(code)
        except KeyTroubleError as wrong:
            LOG.error("no code can be made: %s", wrong)
            raise Refused("share.trouble", why=str(wrong)) from wrong
        self.store.keep_code(self.case, self.rider.id, digest, self.at)
        return shown(code)


def with_codes(desk: Desk, store: Store, case: int, rider: Person, address: Address, at: str) -> Desk:
    """The desk of a turn in which codes can be made and counted."""
    maker, unused = CodeMaker(store, case, rider, address, at), partial(store.unused_codes, case, at)
    return replace(desk, code=maker, code_days=store.code_days, unused=unused)


def with_old_codes(desk: Desk) -> Desk:
    """The desk of a turn that is run again: what was said of codes then is not kept."""
    return replace(desk, code=lambda: LIKE)


def for_speaker(store: Store, desk: Desk, case: int, speaker: Person, rider: Person) -> Desk:
    """What the speaker may be handed: in another's case its own bike without a past, and no reminders."""
    held = [one for one in store.held_by(speaker.id) if one.case != case]
    if speaker.id == rider.id:
        return replace(desk, open_cases=desk.open_cases + len(held)) if held else desk
    own = [line for line in store.cases_of(speaker.id) if line.bike and not line.ended]
    here = store.case(case).bike if case else None
    bikes = (replace(store.bike(here), past=None),) if here else ()
    return replace(desk, bikes=bikes, reminded=(), open_cases=len(held) + len(own))


def follow(store: Store, step: Step, inbox: int, at: str) -> None:
    """What the end of a hold brings about: no code, no seat, no way in."""
    for entry in step.entries:
        if not isinstance(entry.event, HoldEnded):
            continue
        if not entry.event.holder:
            store.revoke_codes(step.case, at)
            continue
        holder = store.named(entry.event.holder)
        places = store.places_of(step.case, holder.id) if holder else ()
        if holder is not None:
            store.end_hold(step.case, holder.id, at, inbox)
            for place in places:
                store.go_home(place, holder.id)


def join(store: Store, case: int, at: Address, person: Person, now: str) -> bool:
    """Seat a person in the group where the rider began the case; False where that is not his to do."""
    with store.writing():
        if not (store.may_see(case, person.id) or store.is_public(case, at)):
            return False
        store.sit_down(case, person.id, at, now)
    return True


def tell_holders(store: Store, cases: Sequence[int], key: str, now: str) -> None:
    """Say a line of ours to everybody at these cases who is not their rider. Within a transaction."""
    for case in cases:
        rider = store.case(case).person
        for person, at in store.seats(case).values():
            if person != rider:
                said = Message(words_of(store.person(person)).say(key), kind="info")
                store.put_out(at, person, said, now, n=0, case=case)
