"""Plays one sample conversation: what is said goes in, what the bot says is kept.

Between any two turns every entry goes through its stored form and back, and the state is folded
anew from what came back: that a case can be saved and resumed is tested by every play.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from functools import partial

from bot.authoring import script as scripts
from bot.authoring import stage as stages
from bot.authoring.problems import FlowError
from bot.authoring.script import FILES, PEOPLE, Line, Script
from bot.authoring.stage import Stage
from bot.core import events
from bot.core.book_entries import LINE
from bot.core.book_entries import Entry as Page
from bot.core.desk import BikeCard, Desk
from bot.core.events import Heard, Role, revive
from bot.core.messages import Message
from bot.core.state import State, fold, grow


class NotRestored(Exception):
    """A case that was saved and read back is another case: a fault of the program, not of a script."""


@dataclass(frozen=True)
class Exchange:
    """One thing that was said to the bot, what it said back, and the state before and after.

    `seats`: whose messages are shown. Of a mechanic who never speaks in the script nothing is seen.
    """

    line: Line
    now: datetime
    before: State
    messages: tuple[Message, ...]
    after: State
    seats: tuple[str, ...] = scripts.SEATS[:1]

    @property
    def replies(self) -> tuple[Line, ...]:
        """The bot's messages as they are read, each with whom it is for."""
        speaker = who(self.line)
        found = ((m, "" if m.to == speaker else m.to) for m in self.messages)
        return tuple(scripts.turn("bot", as_read(m), to) for m, to in found if to in ("", *self.seats))

    @property
    def shown(self) -> tuple[str, ...]:
        """The bot's messages as they are read, whomever they are for."""
        return tuple(line.text for line in self.replies)


@dataclass(frozen=True)
class Played:
    """A whole play: its script and its exchanges, in order. `start` is what was given."""

    script: Script
    start: State
    exchanges: tuple[Exchange, ...]

    @property
    def end(self) -> State:
        return self.exchanges[-1].after if self.exchanges else self.start


def as_read(message: Message) -> str:
    """A message as a rider sees it: the text, then its numbered answers; control words are left out."""
    answers = [f"{c.n} {c.label}" for c in message.choices if not c.control]
    return "\n".join(line.rstrip() for line in [*message.text.split("\n"), *answers])


_ROLES: dict[scripts.LineKind, Role] = {"mechanic": "mechanic", "admin": "admin"}


def who(line: Line) -> Role:
    """The name and the role of who speaks a line."""
    return _ROLES.get(line.kind, "rider")


# --- what a line says ------------------------------------------------------------------------

_MARKED = re.compile(rf"\[({'|'.join(FILES)}|press|text) ?([^\]\s]*)\] ?(.*)", re.S)


def heard(line: Line, channel: str) -> Heard:
    """What a line of a person brings in."""
    role = who(line)
    base = Heard(who=role, role=role, channel=channel or "terminal")
    found = _MARKED.fullmatch(line.text)
    if not found:
        return base.model_copy(update={"text": line.text})
    kind, value, rest = found.groups()
    if kind == "press":
        return base.model_copy(update={"press": value, "text": rest})
    if kind == "text":
        return base.model_copy(update={"text": rest})
    return base.model_copy(update={"file": value, "file_kind": kind, "text": rest})


def line_of(said: Heard) -> Line:
    """The line that `heard` reads back as this."""
    kind: scripts.LineKind = "you" if said.role == "rider" else said.role
    if said.admitted:
        return scripts.turn(kind, f"open {stages.CODE}")
    if said.press:
        return scripts.turn(kind, f"[press {said.press}] {said.text}".rstrip())
    if said.file:
        mark = said.file_kind if said.file_kind in FILES else "document"
        return scripts.turn(kind, f"[{mark} {said.file}] {said.text}".rstrip())
    plain = not _MARKED.fullmatch(said.text)
    return scripts.turn(kind, said.text if plain else f"[text] {said.text}")


# --- playing -----------------------------------------------------------------------------------


def play(script: Script, stage: Stage) -> Played:
    """A script from its first word to its last. FlowError when it names what the flow does not have."""
    problems = stages.check(script, stage.flow)
    if problems:
        raise FlowError(problems)
    start = restored(stages.begin(script, stage))
    exchanges: list[Exchange] = []
    for exchange in exchanges_of(script, stage, start):
        exchanges.append(replace(exchange, after=restored(exchange.after)))
    return Played(script, start, tuple(exchanges))


def exchanges_of(script: Script, stage: Stage, start: State, skip: int = 0) -> Iterator[Exchange]:
    """Exchange by exchange, so that a caller may stop early; the first `skip` are not played."""
    desk, state, now, n = stage.desk(script), start, script.now, 0
    book = written(stages.pages(script), [entry.event for entry in start.entries], now)
    if skip and book:
        desk = stages.with_book(_with_bike(desk, start), book)
    for line in script.talk:
        if line.kind == "clock":
            now += scripts.read_clock(line) or timedelta()
        elif line.kind in PEOPLE:
            n += 1
            if n <= skip:
                continue
            said = at_the_door(heard(line, script.head("channel")), state)
            desk = replace(desk, unused=partial(unused, state))
            if stage.begins_new(desk, state, said, now):
                state = State()
            turn = stage.receive(desk, state, said, now)
            after = grown(state, turn.events, said, now)
            book = written(book, turn.events, now)
            if book:
                desk = stages.with_book(_with_bike(desk, after), book)
            yield Exchange(line, now, state, tuple(turn.messages), after, script.seats)
            state = after


def unused(state: State) -> tuple[str, ...]:
    """Until when each code is good that was given in a case and not used, as the record counts them."""
    waiting: list[str] = []
    for entry in state.entries:
        if isinstance(entry.event, events.Shared):
            until = datetime.fromisoformat(entry.at) + timedelta(days=Desk.code_days)
            waiting.append(until.strftime("%Y-%m-%dT%H:%M:%SZ"))
        elif isinstance(entry.event, events.CaseHeld):
            waiting = waiting[1:]
        elif isinstance(entry.event, events.HoldEnded) and not entry.event.holder:
            waiting = []
    return tuple(waiting)


def at_the_door(said: Heard, state: State) -> Heard:
    """A mechanic who says the code comes in, once for each that was given; the words are kept without it."""
    if said.role == "mechanic" and said.text.casefold() == f"open {stages.CODE}".casefold() and unused(state):
        return said.model_copy(update={"admitted": True, "text": "open"})
    return said


def written(book: tuple[Page, ...], found: Sequence[object], now: datetime) -> tuple[Page, ...]:
    """The entries of the book after a turn, as the record would number them."""
    at = now.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    for event in found:
        if isinstance(event, events.BookWritten):
            replaces = event.replaces or None
            for line in [LINE.validate_json(text) for text in event.lines] or [None]:
                book = (*book, Page(len(book) + 1, at, line, replaces))
                replaces = None
    return book


def _with_bike(desk: Desk, state: State) -> Desk:
    """A bike that was named in the talk lies on the desk from then on, as the record lays it."""
    if state.bike is None or desk.bikes:
        return desk
    return replace(desk, bikes=(BikeCard(state.bike, state.nickname, dict(state.traits)),))


def grown(state: State, found: Sequence[object], said: Heard, now: datetime) -> State:
    """The state after the events of a turn; a bike without an id gets one, as the record gives it."""
    at = now.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    for event in found:
        if isinstance(event, events.BikeTaken) and not event.bike:
            event = event.model_copy(update={"bike": stages.BIKE})
        state = grow(state, at, said.who, said.role, event)
    return state


def restored(state: State) -> State:
    """The state from its entries after each was written out and read back. NotRestored when it differs."""
    again = fold(revive(e.seq, e.at, e.who, e.role, e.dump()) for e in state.entries)
    if again != state:
        parts = [name for name in vars(state) if getattr(state, name) != getattr(again, name)]
        raise NotRestored(f"a case read back from its entries differs in {', '.join(parts)}")
    return again
