"""Who a message is from, whatever the channel: a number joined to an account by a code, and given back.

By text message a person is a phone number, and a number proves nothing: who has not joined it to an account
goes on with what he told from it himself, and opens, reads and erases nothing else. He joins it by a code
that goes out to the number and is typed in the account's private chat. A number that was silent for half a
year may be somebody else's by now; it is asked for the nickname of a bike before anything else happens.
"""

from __future__ import annotations

import logging
from collections.abc import Sequence
from dataclasses import replace

from bot import sharing
from bot.core.desk import BikeCard, fold_name
from bot.core.events import Heard
from bot.core.messages import Message
from bot.core.words import Words
from bot.record.cases import Person
from bot.record.grants import KeyTroubleError
from bot.record.linking import CODE_MINUTES, CODES_A_DAY, LinkCode
from bot.record.post import BY_NUMBER, Incoming
from bot.record.store import Store
from bot.sharing import Entrance, line_for

LOG = logging.getLogger("sumpline.linking")
ACCOUNT = "telegram"  # where a code is typed
TRIES_BACK = 3  # wrong nicknames, and then the number is somebody new


def enter(store: Store, incoming: Incoming, at: str) -> tuple[Incoming, Entrance]:
    """Whose message it is and how it goes on, before any case is looked up. Within the turn's transaction."""
    by_number = incoming.address.channel == BY_NUMBER
    came: Entrance | None = None
    if by_number:  # nor is anybody an admin by it
        incoming = replace(incoming, heard=_by_a_rider(incoming.heard))
        incoming, came = _ask_whose(store, incoming, at)
    if came is None:
        came = (_hear_number if by_number else _hear_account)(store, incoming, at)
    if came is None:
        if not incoming.heard.press:  # a button says itself to which question it belongs
            store.follow(incoming.address, incoming.person)
        came = sharing.enter(store, incoming, at)
    return incoming, came


def _by_a_rider(heard: Heard) -> Heard:
    return heard.model_copy(update={"role": "rider"})


def _told(incoming: Incoming, speaker: Person, key: str, **values: object) -> Entrance:
    return Entrance(incoming.heard, told=line_for(speaker, key, **values))


# --- a number that was silent ----------------------------------------------------------------------


def _ask_whose(store: Store, incoming: Incoming, at: str) -> tuple[Incoming, Entrance | None]:
    """Nothing, unless the number was silent for long; then a question, or what comes of its answer."""
    number, person = incoming.address.chat, incoming.person
    if store.returning(number) is not None:
        return _whose(store, incoming, at)
    came = store.came_at(incoming.id)
    if not store.was_silent(number, person, came, incoming.id):
        return incoming, None
    if not store.bikes_of(person):
        return replace(incoming, person=store.release(number, at, incoming.id).id), None
    store.hold_back(number, person, incoming.id, at)
    return incoming, _told(incoming, store.person(person), "back.ask")


def _whose(store: Store, incoming: Incoming, at: str) -> tuple[Incoming, Entrance | None]:
    """The answer: the right one lets the message that waited go on; the last wrong one makes a newcomer."""
    number, speaker = incoming.address.chat, store.person(incoming.person)
    waits = store.returning(number)
    assert waits is not None
    words, said = sharing.words_of(speaker), incoming.heard.text
    if any(_is_named(said, bike, words) for bike in store.bikes_of(speaker.id)):
        first = store.incoming(waits.inbox)
        store.end_return(number, speaker.id, at)
        store.seal_no_more(first.id)
        return replace(incoming, heard=_by_a_rider(first.heard), sealed=first.sealed), None
    store.seal_no_more(incoming.id)
    fresh = _is_one_of(said, words.lists["back.new"])
    if not fresh and store.count_return(number) < TRIES_BACK:
        return incoming, _told(incoming, speaker, "back.wrong")
    store.seal_no_more(waits.inbox)
    new = store.release(number, at, waits.inbox)
    _tell_elsewhere(store, number, speaker, at)
    return replace(incoming, person=new.id), _told(incoming, speaker, "back.fresh")


def _tell_elsewhere(store: Store, number: str, person: Person, at: str) -> None:
    """Who had the number is told on his account that it is his no more."""
    met = store.private_address(person.id, but=BY_NUMBER)
    if met is not None:
        told = sharing.words_of(person).say("back.told", end=_end(number))
        store.put_out(met, person.id, Message(told), at, n=0)


def _is_named(said: str, bike: BikeCard, words: Words) -> bool:
    """Whether these words are a bike's nickname, with one slip forgiven in each long word."""
    from bot.core.spoken import slips, tokens

    if fold_name(said) == fold_name(bike.nickname):
        return True
    small = {*words.lists["open.beside"]}
    told, name = tokens(said), tokens(bike.nickname)
    least = tuple(word for word in told if word not in small)
    meant = tuple(word for word in name if word not in small) or name
    return bool(meant) and (slips(told, name) is not None or slips(least, meant) is not None)


def _is_one_of(said: str, phrases: Sequence[str]) -> bool:
    from bot.core.spoken import tokens

    return bool(said.strip()) and tokens(said) in [tokens(phrase) for phrase in phrases]


# --- what a number may not -------------------------------------------------------------------------


def _hear_number(store: Store, incoming: Incoming, at: str) -> Entrance | None:
    """A code asked for; and what is not for a number, or not for one that is joined to nothing."""
    speaker = store.person(incoming.person)
    words, said = sharing.words_of(speaker), incoming.heard.text
    joined = store.is_joined(speaker.id)
    if incoming.sealed:
        return _code_by_number(store, incoming, speaker, joined, at)
    if _is_one_of(said, words.lists["link"]):
        return _told(incoming, speaker, "link.already") if joined else _say_code(store, incoming, speaker, at)
    if _is_one_of(said, words.lists["unlink"]):
        return _told(incoming, speaker, "unlink.by_number" if joined else "unlink.none")
    if _is_one_of(said, words.controls["erase"]):
        return _told(incoming, speaker, "link.erase" if joined else "link.first")
    if not joined and _is_for_mechanics(store, incoming, speaker, words):
        return _told(incoming, speaker, "link.first")
    return None


def _is_for_mechanics(store: Store, incoming: Incoming, speaker: Person, words: Words) -> bool:
    from bot.core.spoken import tokens

    said = tokens(incoming.heard.text)
    asked = _is_one_of(incoming.heard.text, words.lists["bench"])
    case = store.current(incoming.address, speaker.id)
    return asked and not sharing.may_answer(store, case, speaker, said)


def _code_by_number(
    store: Store, incoming: Incoming, speaker: Person, joined: bool, at: str
) -> Entrance | None:
    """A code that came by text message: one that joins is for the account, any other for who is joined."""
    found = store.number_of_code(incoming.sealed, at)
    if joined and found is None:
        return None
    store.end_try(incoming.id, speaker.id)
    own = found is not None and found.person == speaker.id
    return _told(incoming, speaker, "link.in_account" if own else "link.already" if joined else "link.first")


def _say_code(store: Store, incoming: Incoming, speaker: Person, at: str) -> Entrance:
    """A code to be typed in the account; said once, and kept nowhere."""
    number = incoming.address.chat
    if store.link_codes_today(number, at) >= CODES_A_DAY:
        return _told(incoming, speaker, "link.many", n=CODES_A_DAY)
    code = sharing.make_code()
    try:
        digest = store.digest_code(code)
    except KeyTroubleError as wrong:
        LOG.error("no number can be joined: %s", wrong)
        return _told(incoming, speaker, "share.trouble", why=str(wrong))
    store.keep_link_code(number, speaker.id, digest, at)
    words, told = sharing.words_of(speaker), {"code": sharing.shown(code), "n": CODE_MINUTES}
    secret = Message(
        words.say("link.code", **told), words.say("link.code.short", **told), kind="secret",
        stays=words.say("link.stays"),
    )  # fmt: skip
    return Entrance(incoming.heard, told=(secret,))


# --- in the account ----------------------------------------------------------------------------------


def _hear_account(store: Store, incoming: Incoming, at: str) -> Entrance | None:
    """A code that joins a number to whoever types it, or the word that gives his number back."""
    if incoming.address.channel != ACCOUNT:
        return None
    speaker = store.person(incoming.person)
    if incoming.sealed:
        code = store.number_of_code(incoming.sealed, at)
        return None if code is None else _take_code(store, incoming, speaker, code, at)
    words, said = sharing.words_of(speaker), incoming.heard.text
    if _is_one_of(said, words.lists["unlink"]):
        return _unlink(store, incoming, speaker, at)
    if not _is_one_of(said, words.lists["link"]) or not store.has_numbers():
        return None
    numbers = store.numbers_of(speaker.id)
    return (
        _told(incoming, speaker, "link.has_number", end=_end(numbers[0]))
        if numbers
        else _told(incoming, speaker, "link.how")
    )


def _take_code(store: Store, incoming: Incoming, speaker: Person, code: LinkCode, at: str) -> Entrance:
    """Join the number to this account, or say why not. Where others read along the code is void."""
    store.end_try(incoming.id, speaker.id)
    if store.is_group(incoming.address):
        store.end_link_codes(code.person, at)
        return _told(incoming, speaker, "link.only_private")
    if wait := sharing.must_wait(store, speaker, at):
        return Entrance(incoming.heard, told=wait)
    if code.person == speaker.id:
        return _told(incoming, speaker, "link.same")
    if numbers := store.numbers_of(speaker.id):
        return _told(incoming, speaker, "link.has_number", end=_end(numbers[0]))
    if store.at_one_case(code.person, speaker.id):
        return _told(incoming, speaker, "link.one_case")
    case = store.talked_last(code.person)
    renamed = store.join(code.person, speaker.id, at)
    LOG.info("number %s is joined to person %s", store.hashed(code.number), speaker.id)
    return _joined(store, incoming, case, renamed, _end(code.number))


def _joined(
    store: Store, incoming: Incoming, case: int | None, renamed: Sequence[tuple[str, str]], end: str
) -> Entrance:
    """What is said of it; then the question that stood open by text message is put here."""
    words = sharing.words_of(store.person(incoming.person))
    lines = [words.say("link.joined", end=end)]
    lines += [words.say("link.renamed", old=old, new=new) for old, new in renamed]
    told = (Message("\n".join(lines), kind="info"),)
    if case is None:
        store.take_up(incoming.address, incoming.person)
        return Entrance(incoming.heard, told=told)
    return Entrance(sharing.again(incoming.heard, words), case, first=told)


def _unlink(store: Store, incoming: Incoming, speaker: Person, at: str) -> Entrance:
    numbers = store.numbers_of(speaker.id)
    if store.is_group(incoming.address):
        return _told(incoming, speaker, "unlink.only_private")
    if not numbers:
        return _told(incoming, speaker, "unlink.none")
    for number in numbers:
        store.release(number, at)
        LOG.info("number %s is joined to person %s no more", store.hashed(number), speaker.id)
    return _told(incoming, speaker, "unlink.done", end=_end(numbers[0]))


def _end(number: str) -> str:
    """So much of his number as tells him which one it is."""
    return number[-2:]
