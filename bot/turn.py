"""Where the talk meets the record and the clock: the only door for channels.

A message goes through three commits, and a program may be killed between any two of them:
1. `accept` keeps the raw message. Only then may the network be told that it came.
2. `take` does one whole turn in one transaction that begins with the write lock: load the case,
   let the core answer, append its entries, lay its messages out, mark the message done. Killed
   inside it, nothing has happened and `finish` takes the message again; killed after it, the
   messages wait in the outbox.
3. `sent` marks a message that the channel took. Killed between sending and marking, that one
   message goes out once more, under the same number.
Whatever a person told about his bike or himself is written beside the entries in the same
transaction, so the two never differ.
"""

from __future__ import annotations

import logging
import traceback
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, tzinfo
from functools import partial, reduce
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

from bot import __version__, linking, outcomes, sharing
from bot.authoring.wording import languages, read_words
from bot.books import draw, has_trend, picture_of, read_book
from bot.core.desk import Desk
from bot.core.events import Entry, Heard, Role, StopRaised
from bot.core.messages import Message
from bot.core.state import State, apply
from bot.core.words import Words
from bot.desks import NOT_STOCKED, KeptFlows, keep_flow, lay_again, lay_desk, noted, stock
from bot.publishing import LARGEST as LARGEST_FLOW
from bot.publishing import Judged, NotDoneError, TooLateError, decide, judge, meant, use_again, withdraw
from bot.record.cases import Person
from bot.record.export import everything_of
from bot.record.garage import FallingReadingError
from bot.record.grants import KeyTroubleError
from bot.record.joblist import Job
from bot.record.keeping import Step, fill_bike, group_of, lay_messages, learn
from bot.record.network import Fetch, Receipt, digest_of
from bot.record.opening import FILE_FAULTS, RecordError
from bot.record.photos import Unreadable
from bot.record.photos import clean as clean_photo
from bot.record.post import Address, Incoming, Outgoing, revive_message
from bot.record.reminding import WAKES_NOBODY, Calling
from bot.record.replay import Difference, first_difference, moment
from bot.record.store import Store
from bot.record.texting import NumberLine, QuestionOut
from bot.sharing import code_in, code_said, join, tell_holders
from bot.sheets import gather_sheet, print_sheet

if TYPE_CHECKING:  # reading flows is slow to import and not needed for the first line
    from bot.core.reminder_words import BikeDue
    from bot.core.reminders import Due, OilWatch
    from bot.record.cases import KeptFlow
    from bot.trials import Tried as Tried

# What channels and the command line need beside what is defined here.
__all__ = [
    "FILE_FAULTS",
    "LARGEST_FLOW",
    "VERSION",
    "Address",
    "Difference",
    "Fetch",
    "Heard",
    "Incoming",
    "Job",
    "Judged",
    "KeptFlows",
    "KeyTroubleError",
    "NotDoneError",
    "NumberLine",
    "Outgoing",
    "QuestionOut",
    "Receipt",
    "RecordError",
    "Role",
    "Step",
    "Store",
    "TooLateError",
    "Unreadable",
    "Words",
    "clean_photo",
    "code_in",
    "code_said",
    "decide",
    "digest_of",
    "draw",
    "everything_of",
    "gather_sheet",
    "has_trend",
    "join",
    "judge",
    "languages",
    "lay_desk",
    "meant",
    "picture_of",
    "print_sheet",
    "read_book",
    "read_words",
    "revive_message",
    "stock",
    "tell_holders",
    "try_out",
    "use_again",
    "withdraw",
]  # fmt: skip

LOG = logging.getLogger("sumpline.turn")
VERSION = __version__
TRIES = 3  # a turn that fails so often is given up, so that later messages are not held back

# Said when the talk itself failed; the catalogue's own line is used where it has one.
_FALLBACK = {
    "turn_failed": "Something went wrong on my side. Your message is kept and I will take it up again.",
    "turn_dead": "I could not make use of one of your messages. Please say it again in other words.",
    "reading_fell": "The meter showed {last} before. I have not kept {now}: tell me if the meter is new.",
}


class Said(Protocol):
    """What the core gives back for one message."""

    @property
    def events(self) -> Sequence[Any]: ...
    @property
    def messages(self) -> Sequence[Message]: ...


Receive = Callable[[Desk, State, Heard, datetime], Said]
BeginsNew = Callable[[Desk, State, Heard, datetime], bool]


@dataclass(frozen=True)
class Standing:
    """Where a person is in the talk: his current case, its state, and the core's view of it."""

    case: int
    state: State
    view: Any


# --- the door -------------------------------------------------------------------------------


def open_record(path: str | Path) -> Store:
    """Open or make the record at `path`. Raises RecordError with a sentence for people.

    The flows of the package are put into it before the first turn, not before the first line.
    """
    store = Store(path)
    NOT_STOCKED.add(store)
    return store


def stamp(now: datetime) -> str:
    """A moment as UTC ISO text with Z. ValueError for a time without a zone."""
    if now.tzinfo is None or now.utcoffset() is None:
        raise ValueError(f"the time {now.isoformat()} has no zone; write it like 2026-05-01T09:30:00Z")
    return now.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def accept(
    store: Store,
    channel: str,
    chat: str,
    person_name: str,
    message_id: str,
    heard: Heard,
    now: datetime,
    *,
    thread: str = "",
    handle: str = "",
    flow: str = "",
) -> int | None:
    """Keep one message for good and return its number; None when this very message is here already.

    `handle`: how the channel knows the person, when that is not his name. `flow`: the id of the
    only flow on offer, "" for all.
    """
    at = stamp(now)
    with store.writing():
        person = store.meet(channel, handle or person_name, person_name, heard.role, at)
        known = heard.model_copy(update={"who": person.name, "channel": channel, "admitted": False})
        known, sealed = sharing.seal(store, person, known)
        return store.put_in(Address(channel, chat, thread), message_id, person.id, known, at, flow, sealed)


def take(
    store: Store,
    inbox_id: int,
    now: datetime,
    receive: Receive | None = None,
    begins_new: BeginsNew | None = None,
    *,
    then: Callable[[Step], None] = lambda step: None,
) -> tuple[Outgoing, ...]:
    """Do the turn of one accepted message; what is to be sent for it and is not sent yet.

    `then`: what the channel does in the turn's own transaction; its failing is the turn's.
    Taking it again changes nothing. When the core fails, nothing of the turn is kept, the person
    is told, and the message is tried again by `finish`, `TRIES` times in all. KeyError when there
    is no message of that number; RecordError or sqlite3.OperationalError when the file is at fault.
    """
    at = stamp(now)
    stock(store, at)
    try:
        with store.writing():
            incoming = store.incoming(inbox_id)
            step = _do_turn(store, incoming, at, *_talk(receive, begins_new))
            if step is not None:
                then(step)
    except FILE_FAULTS:
        raise
    except sharing.Refused as wrong:
        sharing.refuse(store, inbox_id, wrong, at)
    except Exception as fault:
        store.incoming(inbox_id)  # no such message: its own KeyError, and nothing to count
        _count_fault(store, inbox_id, fault, at)
    return store.unsent(inbox_id)


def finish(
    store: Store,
    now: datetime,
    receive: Receive | None = None,
    begins_new: BeginsNew | None = None,
    *,
    channel: str | None = None,
) -> tuple[Outgoing, ...]:
    """Take every message that was accepted and not taken, as after a crash."""
    stamp(now)  # refused even when nothing waits
    taken = [take(store, inbox, now, receive, begins_new) for inbox in store.waiting(channel)]
    return tuple(out for each in taken for out in each)


def due(
    store: Store,
    now: datetime,
    *,
    channel: str | None = None,
    chat: str | None = None,
    person_name: str | None = None,
) -> tuple[Outgoing, ...]:
    """What is to be sent by now: safety before answers before reminders, oldest first.

    A reminder that was held up until a late hour waits for the next decent one.
    """
    at = stamp(now)
    if person_name is None:
        found = store.due(at, channel, chat)
    else:
        person = store.named(person_name)
        found = () if person is None else store.due(at, channel, chat, person.id)
    return tuple(out for out in found if may_go(store, out, now))


def may_go(store: Store, out: Outgoing, now: datetime) -> bool:
    """Whether the hour is one for this message: a reminder that was held up wakes nobody."""
    if out.priority != "reminder":
        return True
    from bot.core.wall import is_decent

    person = store.named(out.person)
    return out.channel in WAKES_NOBODY or (person is not None and is_decent(now, _zone(person)))


def sent(store: Store, outbox_id: int, now: datetime) -> None:
    """The channel took this message."""
    with store.writing():
        store.mark_sent(outbox_id, stamp(now))


def not_sent(store: Store, outbox_id: int, again: datetime | None) -> None:
    """The channel could not send it: try again then, or (None) give it up."""
    with store.writing():
        store.mark_unsent(outbox_id, None if again is None else stamp(again))


def keep_file(store: Store, channel: str, person_name: str, data: bytes, kind: str, now: datetime) -> str:
    """Keep a photo or other file of a person; the digest to put into Heard.file. Raises Unreadable.

    Of a photo the picture alone is kept, without the place where it was taken.
    """
    at = stamp(now)
    original = digest_of(data) if kind == "photo" else ""
    if kind == "photo":
        data = clean_photo(data)
    with store.writing():
        known = store.known_as(channel, person_name)
        person = known or store.meet(channel, person_name, person_name, "rider", at)
        return store.keep_file(person.id, data, kind, at, original)


def stand(
    store: Store, channel: str, chat: str, person_name: str, now: datetime, thread: str = ""
) -> Standing | None:
    """Where this person is in the talk, as facts for programs; None before there is a case."""
    at = stamp(now)
    found = _whereabouts(store, Address(channel, chat, thread), person_name)
    if found is None:
        return None
    from bot.core import conversation

    person, case = found
    state = store.state(case)
    desk = lay_desk(store, _rider(store, case), person, channel, case=case)
    seat = store.known_in(case, person.id).name
    return Standing(case, state, conversation.overview(desk, state, moment(at), seat))


def resume(store: Store, channel: str, chat: str, person_name: str, thread: str = "") -> tuple[Outgoing, ...]:
    """What was last said to this person in a case that is not at rest: the open question, any stop.

    From his own last turn on, with what others' turns have brought him since.
    """
    found = _whereabouts(store, Address(channel, chat, thread), person_name)
    if found is None or store.case(found[1]).ended:
        return ()
    person, case = found
    again: tuple[Outgoing, ...] = ()
    for inbox, speaker in store.heard_from(case):
        said = store.said(inbox, person.id)
        again = (*(out for out in said if out.state == "sent" or not out.message.photo), *again)
        if speaker == person.id and again:
            break
    return again


def result(store: Store, case: int) -> str:
    """How a case ended, for others to read: no names, hours or history. "" while there is nothing to say."""
    from bot.reports import result as report

    state = store.state(case)
    return report.told_to_others(KeptFlows(store)[state.hash], state, read_words()) if state.hash else ""


def lay_out(
    store: Store, flow_text: str, common_text: str, scope: str, now: datetime, who: int | None = None
) -> str:
    """Keep a flow and put it in use for a scope; its hash. FlowError with every problem of it."""
    from bot.authoring import load

    loaded = load.load_text(flow_text.encode(), common_text.encode() or None)
    with store.writing():
        keep_flow(store, loaded.flow, loaded.hash, flow_text, common_text)
        store.publish(scope, loaded.flow.flow, loaded.hash, stamp(now), who)
    return loaded.hash


async def try_out(
    kept: KeptFlow, before: tuple[str, str] | None, bikes: int, within: float | None = None
) -> Tried:
    """Try a flow out beside the texts in use and on so many imagined bikes; see `trials`."""
    from bot import trials  # what runs programs is not needed for a talk

    return await trials.try_out(kept, before, bikes, trials.SECONDS if within is None else within)


# --- reminders ------------------------------------------------------------------------------


def remind(store: Store, now: datetime, facts_of: FactsOf | None = None) -> int:
    """Lay out what riders are to be reminded of by now; how many messages that were new.

    Called now and then: each thing that is due is said once, and all that is due for a person in one
    message, at an hour that is decent where he is, where he last talked in private. `facts_of`: what is
    known of a bike's oil, by its id; else what its book says.
    """
    stamp(now)
    laid = 0
    for number in store.riders():
        try:
            laid += _remind_one(store, number, now, facts_of or partial(_oil_of, store))
        except FILE_FAULTS:
            raise
        except Exception as fault:  # the others are to be reminded all the same
            LOG.error("nobody is reminded of what person %s has due: %s", number, place_of(fault))
    return laid


FactsOf = Callable[[str], "OilWatch | None"]


def _oil_of(store: Store, bike: str) -> OilWatch | None:
    """When the oil was changed by the bike's book, and how often its rider wants it; None for either."""
    every = store.interval_of(bike)
    if every is None:
        return None
    from bot.core.book_entries import OilChange  # who wants no reminders need not wait for them
    from bot.core.reminders import OilWatch

    kept = read_book(store, bike)
    changes = [row for row in kept.lines if isinstance(row.line, OilChange)]
    if not changes:
        return None
    last = changes[-1]
    return OilWatch(
        changed_at=date.fromisoformat(last.day), changed_hours=last.place.total if last.place else None,
        now_hours=kept.total, every_hours=every.hours, every_days=every.days, every_km=every.km,
        changed_km=last.km.total if last.km else None, now_km=kept.km.total if kept.km else None,
    )  # fmt: skip


def _remind_one(store: Store, number: int, now: datetime, facts_of: FactsOf) -> bool:
    """The lock is taken only when there is something to say, or something waits to be said."""
    if not store.has_waiting(number) and not any(_dues(store, store.person(number), now, facts_of)):
        return False
    from bot.core.reminder_words import remind as word_reminder
    from bot.record.zones import called

    with store.writing():
        person, at = store.person(number), store.met_at(number, stamp(now))
        if at is None:
            return False
        to = Calling(number, at, now, _zone(person))
        assumed = "" if person.settings.get("zone") or store.was_reminded(number) else called(to.zone, now)
        words = read_words(str(person.settings.get("language", "en")))
        dues = tuple(_dues(store, person, now, facts_of))
        return store.lay_reminder(to, dues, lambda some: word_reminder(some, words, assumed))


def _dues(store: Store, person: Person, now: datetime, facts_of: FactsOf) -> Iterator[BikeDue]:
    """All that is due for a rider by now, said or not."""
    bikes = {bike.id: bike.nickname for bike in store.bikes_of(person.id)}
    silenced = {bike: store.silenced(bike) for bike in bikes}
    for bike, nickname in bikes.items():
        oil = facts_of(bike) if "oil" not in silenced[bike] else None
        due = _oil_due(store, bike, oil, now, _zone(person)) if oil else None
        if due is not None:
            yield _of_bike(bike, nickname, due)
    for case in store.watching(person.id):
        bike = store.case(case).bike or ""
        look = _look_due(store, case, bike, now) if "look" not in silenced.get(bike, {"look"}) else None
        if look is not None:
            yield _of_bike(bike, bikes[bike], look)


def _of_bike(bike: str, nickname: str, due: Due) -> BikeDue:
    from bot.core.reminder_words import BikeDue

    return BikeDue(bike, nickname, due)


def _oil_due(store: Store, bike: str, oil: OilWatch, now: datetime, zone: tzinfo) -> Due | None:
    from bot.core.reminders import oil_due

    return oil_due(oil, store.readings_of(bike), store.readings_of(bike, "distance"), now, zone)


def _look_due(store: Store, case: int, bike: str, now: datetime) -> Due | None:
    from bot.core.reminders import look_due, look_of

    state = store.state(case)
    look = look_of(KeptFlows(store)[state.hash], state, case)
    return None if look is None else look_due(look, store.readings_of(bike), now)


def _zone(person: Person) -> tzinfo:
    from bot.record.zones import zone_of

    return zone_of(str(person.settings.get("zone", "")))


def _talk(receive: Receive | None, begins_new: BeginsNew | None) -> tuple[Receive, BeginsNew]:
    """The real talk, unless another one is handed in."""
    if receive is not None:
        return receive, begins_new or (lambda desk, state, heard, now: False)
    from bot.core import conversation

    return conversation.receive, begins_new or conversation.begins_new


def _whereabouts(store: Store, at: Address, name: str) -> tuple[Person, int] | None:
    """A person and his current case at an address."""
    person = store.known_as(at.channel, name)
    case = None if person is None else store.current(at, person.id)
    return None if person is None or case is None else (person, case)


def _rider(store: Store, case: int) -> Person:
    """Whose case it is, under the name that it knows."""
    return store.known_in(case, store.case(case).person)


# --- one turn -------------------------------------------------------------------------------


def _do_turn(
    store: Store, incoming: Incoming, at: str, receive: Receive, begins_new: BeginsNew
) -> Step | None:
    """The turn of a message; None where it was done before, or went to no case."""
    if incoming.state != "new":
        return None
    incoming, came = linking.enter(store, incoming, at)
    incoming = replace(incoming, heard=came.heard)
    if came.told:
        sharing.answer(store, incoming, came.told, at)
        return None
    case, before = (
        (came.case, store.state(came.case)) if came.case else _find_case(store, incoming, begins_new, at)
    )
    rider, speaker = _rider(store, case), store.known_in(case, incoming.person)
    incoming = replace(incoming, heard=sharing.spoken_as(came.heard, speaker, rider))
    at_hand = store.just_reminded(speaker.id, incoming.address)
    desk = lay_desk(store, rider, speaker, incoming.address.channel, incoming.flow, case, at_hand)
    desk = sharing.with_codes(desk, store, case, rider, incoming.address, at)
    said = receive(desk, before, incoming.heard, moment(at))
    events = [fill_bike(store, rider, event, at) for event in said.events]
    entries = _number(before, incoming.heard, events, at)
    after = reduce(apply, entries, before)
    step = Step(case, rider, speaker, before, after, entries)
    store.append(case, entries)
    store.keep_line(case, after, at)
    store.keep_turn(case, before.next_seq, incoming.id, noted(store, desk))
    store.sit_down(case, speaker.id, incoming.address, at)
    refused = [_line(desk.words, "reading_fell", fell) for fell in learn(store, step)]
    for why in outcomes.take(store, desk.flows, step):
        refused.append(Message(desk.words.say("shares.not_written", why=why), kind="error"))
    raised = any(isinstance(event, StopRaised) for event in events)
    lay_messages(store, incoming, step, (*came.first, *said.messages, *refused), raised, at)
    sharing.follow(store, step, incoming.id, at)
    store.mark_taken(incoming.id, case, at)
    return step


def _number(state: State, heard: Heard, events: Sequence[Any], at: str) -> list[Entry]:
    first = state.next_seq
    return [Entry(first + i, at, heard.who, heard.role, event) for i, event in enumerate(events)]


def _find_case(store: Store, incoming: Incoming, begins_new: BeginsNew, at: str) -> tuple[int, State]:
    case = store.current(incoming.address, incoming.person)
    if case is not None:
        state = store.state(case)
        person, rider = store.known_in(case, incoming.person), _rider(store, case)
        if state.ended is None or rider.id != person.id:  # a mechanic's words begin no case of his own
            return case, state
        desk = lay_desk(store, rider, person, incoming.address.channel, incoming.flow)
        if not begins_new(desk, state, sharing.spoken_as(incoming.heard, person, rider), moment(at)):
            return case, state
    return store.open_case(incoming.person, at, group_of(store, incoming)), State()


def _count_fault(store: Store, inbox_id: int, fault: Exception, at: str) -> None:
    """Note that a turn failed and say so. The log gets the place, never a name or a text."""
    place = place_of(fault)
    LOG.error("turn of message %s failed: %s", inbox_id, place)
    with store.writing():
        incoming = store.incoming(inbox_id)
        dead = store.mark_failed(inbox_id, place, TRIES)
        if incoming.tries and not dead:
            return
        message = _line(read_words(), "turn_dead" if dead else "turn_failed")
        store.put_out(incoming.address, incoming.person, message, at, n=-2 if dead else -1, inbox=inbox_id)


def place_of(fault: BaseException) -> str:
    """Where something failed, without a name or a text of anybody."""
    frame = traceback.extract_tb(fault.__traceback__)[-1]
    return f"{type(fault).__name__} at {Path(frame.filename).name}:{frame.lineno}"


def _line(words: Words, key: str, fell: FallingReadingError | None = None) -> Message:
    told = {"last": f"{fell.last:g}", "now": f"{fell.now:g}"} if fell else {}
    text = words.texts.get(key, _FALLBACK[key]).format_map(told)
    return Message(text, kind="info" if fell else "error")


# --- running a case again ---------------------------------------------------------------------


def replay(store: Store, case: int, receive: Receive | None = None) -> Difference | None:
    """Run what was heard in a case through today's code; the first difference, or None."""
    talk = _talk(receive, None)[0]

    def rerun(seq: int, state: State, heard: Heard, now: datetime) -> Sequence[Any]:
        return talk(lay_again(store, store.turn_desk(case, seq)), state, heard, now).events

    return first_difference(store.entries(case), rerun)
