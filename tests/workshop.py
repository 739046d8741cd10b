"""Riders and mechanics who talk with the real bot about the small invented flow, in one record."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path

from bot import turn
from bot.core.events import Entry, Role
from bot.core.messages import Message
from tests.rattle import RATTLE

BEGIN = datetime(2026, 5, 4, 9, 0, tzinfo=UTC)


@dataclass
class Clock:
    """The one clock of a workshop."""

    now: datetime = BEGIN

    def on(self, **time: float) -> None:
        self.now += timedelta(**time)


@dataclass
class Talker:
    """Someone with a place of his own to talk from. What he is shown is noted as sent at once."""

    store: turn.Store
    name: str
    clock: Clock
    channel: str = "terminal"
    role: Role = "rider"
    number: int = 0
    seen: list[str] = field(default_factory=list)  # all that he was ever shown

    def say(self, text: str, *, press: str = "", shown: bool = True) -> list[Message]:
        """One message and its turn; everything that is to be shown to him since."""
        self.number += 1
        self.clock.on(seconds=1)
        heard = turn.Heard(text=text, press=press, role=self.role)
        told = (self.channel, self.name, self.name, f"{self.name}-{self.number}", heard, self.clock.now)
        inbox = turn.accept(self.store, *told)
        assert inbox is not None
        turn.take(self.store, inbox, self.clock.now)
        return self.read() if shown else []

    def read(self) -> list[Message]:
        """What waits for him."""
        waiting = turn.due(self.store, self.clock.now, channel=self.channel, chat=self.name)
        for out in waiting:
            turn.sent(self.store, out.id, self.clock.now)
        self.seen += [out.message.text for out in waiting]
        return [out.message for out in waiting]

    def hears(self, text: str, **more: str) -> str:
        """The same as one text."""
        return "\n".join(message.text for message in self.say(text, **more))  # type: ignore[arg-type]

    def share(self) -> str:
        """A code for his case, as it is said to him."""
        [secret] = [message for message in self.say("share") if message.kind == "secret"]
        [code] = re.findall(r"^open (\S+)$", secret.text, re.MULTILINE)
        return str(code)

    @property
    def id(self) -> int:
        known = self.store.known_as(self.channel, self.name)
        assert known is not None
        return known.id

    @property
    def case(self) -> int | None:
        """The case that his next words go to."""
        known = self.store.known_as(self.channel, self.name)
        if known is None:
            return None
        return self.store.current(turn.Address(self.channel, self.name), known.id)


class Workshop:
    """A record and the people who talk there."""

    def __init__(self, store: turn.Store) -> None:
        self.store, self.clock = store, Clock()

    def person(self, name: str, role: Role = "rider") -> Talker:
        return Talker(self.store, name, self.clock, role=role)

    def rider(self, name: str, bike: str, complaint: str = "something rattles") -> Talker:
        """A rider in the midst of a case of his own, with a bike."""
        found = self.person(name)
        for text in (complaint, "No knock", bike, "By foot"):
            found.say(text)
        assert found.case is not None
        return found

    def events(self, case: int) -> list[str]:
        return [entry.event.kind for entry in self.store.entries(case)]

    def last(self, case: int, kind: str) -> Entry:
        return [entry for entry in self.store.entries(case) if entry.event.kind == kind][-1]


@contextmanager
def opened(path: Path) -> Iterator[Workshop]:
    with closing(turn.open_record(path)) as store:
        turn.lay_out(store, json.dumps(RATTLE), "", "everyone", BEGIN)
        yield Workshop(store)
