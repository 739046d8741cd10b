"""A talk for tests: every turn saves and restores the case as JSON before the next one."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from functools import reduce
from typing import Any

from bot.authoring.wording import read_words
from bot.core.conversation import Turn, receive
from bot.core.desk import BikeCard, Card, Desk, Tally
from bot.core.events import CaseHeld, Entry, Heard, Role, revive
from bot.core.flow import Flow
from bot.core.messages import Message
from bot.core.state import State, apply, fold
from bot.core.talk import stamp
from bot.core.words import Words

HASH = "f" * 64


def wording() -> Words:
    return read_words()


def card(flow: Flow) -> Card:
    return Card(flow.flow, HASH, flow.title, flow.riders_say, ())


@dataclass
class Chat:
    """One case at one flow. `say` is one turn; the clock moves a minute with each."""

    flow: Flow
    bikes: tuple[BikeCard, ...] = ()
    settings: Mapping[str, str | float | bool] = field(default_factory=dict)
    now: datetime = datetime(2026, 5, 4, 9, tzinfo=UTC)
    state: State = field(default_factory=State)
    messages: tuple[Message, ...] = ()
    outcomes: tuple[Tally, ...] = ()  # how other cases came out

    def desk(self) -> Desk:
        flows = {HASH: self.flow}
        made = Desk(wording(), (card(self.flow),), flows, lambda *_: "the summary", self.bikes, self.settings)
        return replace(made, outcomes=lambda: self.outcomes)

    def say(self, text: str = "", who: str = "rider", role: Role = "rider", **more: Any) -> Turn:
        turn = receive(self.desk(), self.state, Heard(text=text, who=who, role=role, **more), self.now)
        rows: list[tuple[Any, ...]] = [(e.seq, e.at, e.who, e.role, e.dump()) for e in self.state.entries]
        for event in turn.events:
            rows.append((len(rows) + 1, stamp(self.now), who, role, event.model_dump_json()))
        restored = fold(revive(*row) for row in rows)
        came = (Entry(len(self.state.entries) + n, stamp(self.now), who, role, e)
                for n, e in enumerate(turn.events, 1))  # fmt: skip
        assert restored == reduce(apply, came, self.state)  # one by one, it comes to the same
        self.state, self.messages = restored, turn.messages
        self.now += timedelta(minutes=1)
        return turn

    def hold(self, who: str = "wrench") -> Chat:
        """A mechanic opens the case by its code; what comes of that is asked of him at his first word."""
        held = Entry(self.state.next_seq, stamp(self.now), who, "mechanic", CaseHeld())
        self.state = fold((*self.state.entries, held))
        return self

    def wrench(self, *texts: str, **more: Any) -> Chat:
        """What the mechanic says, one turn after the other."""
        for text in texts or ("",):
            self.say(text, who="wrench", role="mechanic", **more)
        return self

    def to(self, seat: str) -> str:
        """All that was said to one person in the last turn, but not to who spoke."""
        return "\n".join(m.text for m in self.messages if m.to == seat)

    @property
    def asked_of_wrench(self) -> tuple[str, str]:
        """Kind and id of what is open for the mechanic."""
        asked = self.state.asked.get("wrench")
        return (asked.what, asked.id) if asked else ("none", "")

    def talk(self, *texts: str) -> Chat:
        for text in texts:
            self.say(text)
        return self

    @property
    def asked(self) -> tuple[str, str]:
        """Kind and id of what is open for the rider."""
        asked = self.state.asked.get("rider")
        return (asked.what, asked.id) if asked else ("none", "")

    @property
    def said(self) -> str:
        """All that was said in the last turn."""
        return "\n".join(m.text for m in self.messages)

    @property
    def stops(self) -> set[str]:
        return {s.rule for s in self.state.standing}
