"""One turn in the making: events so far, the state they lead to, and what will be said."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from functools import lru_cache
from typing import Any

from bot.core.bench import seen_from
from bot.core.desk import Desk
from bot.core.events import FlowChosen, Heard
from bot.core.flow import Flow
from bot.core.messages import Message
from bot.core.phrases import plain
from bot.core.state import Asked, State, grow
from bot.core.words import Words


@lru_cache(maxsize=16)  # all events of a turn have the same
def stamp(now: datetime) -> str:
    """UTC ISO with Z. ValueError for a time without a zone."""
    if now.tzinfo is None:
        raise ValueError("the time has no zone; use for example 2026-05-01T10:00:00Z")
    return now.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


@dataclass
class Talk:
    """The only mutable thing of the core; it lives for one turn."""

    desk: Desk
    state: State
    heard: Heard
    now: datetime
    events: list[Any] = field(default_factory=list)
    messages: list[Message] = field(default_factory=list)
    step: tuple[State, Any] | None = None  # the next step, and the state that it was reckoned for
    unsaid: tuple[str, ...] = ()  # what was understood of free words and waits for a yes

    @property
    def words(self) -> Words:
        return self.desk.words

    @property
    def seat(self) -> str:
        return self.heard.who

    @property
    def owner(self) -> str:
        """Whose case it is: its rider; the speaker where there is none yet."""
        return self.state.rider or self.heard.who

    @property
    def owns(self) -> bool:
        """Whether the case is the speaker's own."""
        return self.owner == self.heard.who

    @property
    def asked(self) -> Asked | None:
        """The open question of this seat, or None when nothing is asked."""
        asked = self.state.asked.get(self.seat)
        return None if asked is None or asked.what == "none" else asked

    @property
    def flow(self) -> Flow | None:
        return self.desk.flows[self.state.hash] if self.state.hash else None

    def sure(self) -> Flow:
        """The flow of a case that has one."""
        flow = self.flow
        assert flow is not None
        return flow

    @property
    def holds(self) -> bool:
        """Whether a mechanic speaks who holds this case by its rider's code."""
        return self.heard.role == "mechanic" and self.seat in self.state.holders

    @property
    def seen(self) -> State:
        """The case as it is planned at this seat."""
        return seen_from(self.flow, self.state, self.seat)

    @property
    def others(self) -> tuple[str, ...]:
        """Whoever else is at the case: its rider, who holds it, who was asked something."""
        people = dict.fromkeys((self.state.rider, *self.state.holders, *self.state.asked))
        return tuple(who for who in people if who and who != self.seat)

    def emit(self, event: Any) -> None:
        """Add an event and move the state on."""
        self.state = grow(self.state, stamp(self.now), self.heard.who, self.heard.role, event)
        self.events.append(event)

    def take_flow(self, hash: str) -> None:
        """Pin the case to this flow."""
        card = next(c for c in self.desk.cards if c.hash == hash)
        self.emit(FlowChosen(flow=card.flow, hash=hash, title=card.title))

    def say(self, key: str, **values: object) -> None:
        """Say a line of the bot's own wording."""
        short = self.words.short(key, **values)
        self.tell(plain(self.words, self.words.say(key, **values), kind="info", short=short))

    def tell(self, message: Message) -> None:
        """Say a message; with more than one open case it names the bike."""
        first = not any(not told.to for told in self.messages)
        self.messages.append(self._named(message) if self.desk.open_cases and first else message)

    def tell_seat(self, seat: str, message: Message) -> None:
        """Say a message to somebody else at the case, with the bike: he may be in the midst of another."""
        self.messages.append(replace(self._named(message), choices=(), to=seat))

    def tell_others(self, message: Message) -> None:
        """Show a message, without its answers, to whoever else is at the case."""
        for seat in self.others:
            self.tell_seat(seat, message)

    def tell_at(self, seat: str, message: Message) -> None:
        """Show a message with its answers to one person at the case."""
        self.messages.append(replace(message, to=seat))

    def say_at(self, seat: str, key: str, **values: object) -> None:
        """Say a line of the bot's own wording to one person at the case."""
        self.tell_at(seat, plain(self.words, self.words.say(key, **values), kind="info"))

    def _named(self, message: Message) -> Message:
        """The message with the bike's name before it."""
        name = self.words.say("bike.names", name=self.state.nickname) if self.state.nickname else ""
        if not name or message.text.startswith(name):
            return message
        stays = name + message.stays if message.stays else ""
        short = name + (message.short or message.text)
        return replace(message, text=name + message.text, short=short, stays=stays)
