"""What follows from a turn besides its entries: what is now known for good, and messages for seats."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any

from bot.core.events import (
    BikeTaken,
    BookWritten,
    Entry,
    HoursRead,
    ReminderTold,
    SettingTold,
    TraitTold,
    VinTold,
    Withdrawn,
)
from bot.core.messages import Message
from bot.core.state import State
from bot.record.cases import Person
from bot.record.garage import FallingReadingError, MeterKind
from bot.record.post import LATER, Incoming, Priority, without_photo
from bot.record.store import Store

OWN_SETTINGS = frozenset({"units", "language", "zone"})  # of whoever speaks
RIDER_SETTINGS = frozenset({"giving_up", "minute_worth", "kit"})  # of the rider whose case it is


@dataclass(frozen=True)
class Step:
    """A case before and after one turn, and who was there. `rider`: whose case it is."""

    case: int
    rider: Person
    speaker: Person
    before: State
    after: State
    entries: Sequence[Entry]


def fill_bike(store: Store, rider: Person, event: Any, at: str) -> Any:
    """A bike that the record has yet to make gets its number; a known nickname is that bike."""
    if not isinstance(event, BikeTaken) or event.bike:
        return event
    known = store.find_bike(rider.id, event.nickname)
    if known is None:
        return event.model_copy(update={"bike": store.make_bike(rider.id, event.nickname, at)})
    return store.bike(known).taken().model_copy(update={"nickname": event.nickname})


def group_of(store: Store, incoming: Incoming) -> str:
    """The group that a new case comes from: where it is told, else where its rider came from last; or ""."""
    at = incoming.address
    if store.title_of(at.channel, at.chat):  # only what several share has a title
        return f"{at.channel}:{at.chat}"
    return str(store.person(incoming.person).settings.get("group", ""))


def learn(store: Store, step: Step) -> tuple[FallingReadingError, ...]:
    """Keep settings, traits, readings and outcomes for good; the readings that were refused."""
    before, after = step.before, step.after
    if after.ended is not before.ended or after.outcome is not before.outcome:
        store.count_case(step.case, step.rider.id, after)
    for entry in step.entries:
        if isinstance(entry.event, SettingTold):
            _settle(store, step.rider, step.speaker, entry.event)
        if isinstance(entry.event, ReminderTold):
            _remind(store, step.rider, entry)
        if isinstance(entry.event, Withdrawn):
            gone = [e for e in before.entries if e.seq in entry.event.entries]
            _forget(store, step.case, after, gone, after.traits, after.vin.vin if after.vin else "")
    fallen = [fell for entry in step.entries for fell in _write(store, step, entry)]
    if not after.bike:
        return tuple(fallen)
    told: Sequence[Entry] = step.entries
    if after.bike != before.bike:  # what was told before the bike was named, or of a wrong bike, moves
        copied = _copied_in(before)
        vin = copied.vin if copied else ""
        _forget(store, step.case, before, before.entries, dict(copied.traits) if copied else {}, vin)
        told = [e for e in after.entries if e.seq not in after.withdrawn]
    fallen += [fell for entry in told for fell in _learn_entry(store, step.case, after.bike, entry)]
    return tuple(fallen)


def _remind(store: Store, rider: Person, entry: Entry) -> None:
    """What the rider wants to be reminded of."""
    from bot.core.intervals import Interval, Reminded

    told = entry.event
    if told.what == "later":
        until = datetime.fromisoformat(entry.at) + timedelta(days=told.days or 1)
        about = Reminded(told.bike, store.bike(told.bike).nickname, told.about)
        store.put_off(rider.id, [about], until.strftime("%Y-%m-%dT%H:%M:%SZ"))
    elif told.about == "oil":
        store.keep_interval(told.bike, Interval(told.hours, told.km, told.days), entry.at)
    else:
        store.silence(told.bike, told.about, entry.at)


def _write(store: Store, step: Step, entry: Entry) -> Iterator[FallingReadingError]:
    """Lines for a bike's book, with the readings that they tell."""
    event = entry.event
    if not isinstance(event, BookWritten):
        return
    named = store.find_bike(step.rider.id, event.name) if event.name else None
    bike = (
        event.bike
        or named
        or (store.make_bike(step.rider.id, event.name, entry.at) if event.name else step.after.bike)
    )
    assert bike, "a line of the book is of a bike"
    from bot.core.book_entries import LINE

    replaces = event.replaces or None
    told: dict[MeterKind, bool] = dict.fromkeys(METERS, not replaces)
    for old in store.book_of(bike, upto=replaces, after=replaces - 1) if replaces else ():
        for kind, span in _shown(old.line).items():
            told[kind] = store.unread(bike, *span, kind)
    for line in [LINE.validate_json(text) for text in event.lines] or [None]:
        store.write_book(bike, line, entry.at, case=step.case, replaces=replaces)
        replaces = None
        for kind in METERS if line is not None else ():
            if told[kind]:
                yield from _read_meter(store, bike, line, entry, kind)


METERS: Mapping[MeterKind, str] = {"hours": "meter", "distance": "odometer"}  # with the line that fits one


def _shown(line: Any) -> dict[MeterKind, tuple[float, float]]:
    """What a line says that the meters showed; none for no line."""
    told = {"hours": line.hours, "distance": line.km} if line is not None else {}
    return {kind: told[kind] for kind in METERS if told.get(kind)}


def _read_meter(
    store: Store, bike: str, line: Any, entry: Entry, kind: MeterKind
) -> Iterator[FallingReadingError]:
    """What a line says that a meter showed; one of an earlier day stands in the book only."""
    earlier = bool(line.date) and line.date < entry.at[:10]
    span = _shown(line).get(kind)
    try:
        if span and not earlier:
            store.read_meter(bike, *span, entry.at, kind=kind)
        if line.kind == METERS[kind]:
            store.fit_meter(bike, entry.at, shows=line.shows, kind=kind)
    except FallingReadingError as fell:
        yield fell


def _copied_in(state: State) -> BikeTaken | None:
    """What was known of the bike when the case took it; None before it took one."""
    return next((e.event for e in reversed(state.entries) if isinstance(e.event, BikeTaken)), None)


def _settle(store: Store, rider: Person, speaker: Person, event: SettingTold) -> None:
    if event.setting in OWN_SETTINGS:
        store.settle(speaker.id, event.setting, event.value)
    if event.setting in RIDER_SETTINGS and speaker.id == rider.id:
        store.settle(rider.id, event.setting, event.value)


def _learn_entry(store: Store, case: int, bike: str, entry: Entry) -> Iterator[FallingReadingError]:
    event = entry.event
    if isinstance(event, TraitTold) and event.answer:  # "not sure" is no knowledge: it is asked again
        store.know_traits(bike, {event.trait: event.answer})
    if isinstance(event, VinTold):
        store.know_vin(bike, event.vin)
    if isinstance(event, HoursRead):
        try:
            store.read_meter(bike, event.low, event.high, entry.at, source=(case, entry.seq))
        except FallingReadingError as fell:
            yield fell


def _forget(
    store: Store, case: int, state: State, entries: Sequence[Entry], traits: Mapping[str, str], vin: str
) -> None:
    """Undo on the case's bike what entries told, down to the traits and the frame number that are left."""
    for entry in entries if state.bike else ():
        if isinstance(entry.event, HoursRead):
            store.drop_reading(case, entry.seq)
        if isinstance(entry.event, TraitTold):
            store.know_traits(state.bike or "", {entry.event.trait: traits.get(entry.event.trait) or None})
        if isinstance(entry.event, VinTold):
            store.know_vin(state.bike or "", vin)


def lay_messages(
    store: Store, incoming: Incoming, step: Step, messages: Sequence[Message], raised: bool, at: str
) -> None:
    """Lay each message out for whom it is meant; a stop that was raised goes to every seat.

    A message for someone who has been erased has no address any more and falls away.
    """
    speaker = step.speaker
    seats = {**store.seats(step.case), speaker.name: (speaker.id, incoming.address)}
    told = {speaker.name, *(m.to for m in messages if m.kind == "stop" and m.to)}
    others = tuple(name for name in seats if name not in told) if raised else ()
    meant = ((m, name) for m in messages for name in _meant_for(m, speaker.name, others))
    for n, (message, name) in enumerate((m, name) for m, name in meant if name in seats):
        person, address = seats[name]
        if message.photo and store.is_group(address):  # that one is for his eyes
            address = store.private_address(person) or address
        met = address if person == speaker.id else store.met_at(person, at, address)
        address = met or address
        priority: Priority = "safety" if message.kind == "stop" else "answer"
        asked = step.after.asked.get(name) if message.choices else None
        message, due = _with_photo(store, message) if message.photo else (message, "")
        due = due if met else LATER  # that number may be another's by now: until it is known whose it is
        store.put_out(
            address, person, message, at, n=n, case=step.case, inbox=incoming.id, priority=priority,
            due=due, asked=asked.seq if asked else 0,
        )  # fmt: skip


def _with_photo(store: Store, message: Message) -> tuple[Message, str]:
    """A message under its photo's digest, and when it may go: of one that is on its way, once it is here."""
    if store.refused_files([message.photo]):
        return without_photo(message), ""
    on_its_way = store.is_on_its_way(message.photo)
    return replace(message, photo=store.fetched(message.photo) or message.photo), LATER if on_its_way else ""


def _meant_for(message: Message, speaker: str, others: Sequence[str]) -> Sequence[str]:
    if message.to:
        return (message.to,)
    return (speaker, *others) if message.kind == "stop" else (speaker,)
