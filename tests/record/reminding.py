"""Riders with bikes whose oil and looks fall due, and a channel that reminds them and may die of it.

`python -m tests.record.reminding RECORD MOMENT GO` reminds once, when the file GO is there, and sends
itself SIGKILL when MOMENT comes; MOMENT `never` lets it end.
"""

from __future__ import annotations

import json
import os
import signal
import sys
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from functools import reduce
from pathlib import Path
from typing import Any

from bot import turn
from bot.core import events
from bot.core.events import Entry
from bot.core.messages import Message
from bot.core.reminders import OilWatch
from bot.core.state import State, apply
from bot.record.post import Address, Priority
from bot.record.store import Store
from tests.rattle import RATTLE

MOMENTS = ("after the message", "before the commit", "after the commit")
NOON = datetime(2026, 5, 1, 12, 0, tzinfo=UTC)


def by_days(changed: date, days: int = 30) -> OilWatch:
    """Oil that is due so many days after it was changed."""
    return OilWatch(changed, None, None, None, days)


@dataclass
class Club:
    """Riders of a messenger by their number, each known by his first words in a private chat."""

    store: Store
    oil: dict[str, OilWatch] = field(default_factory=dict)  # by bike
    said: int = 0

    def rider(self, number: str, zone: str = "UTC", chat: str = "", now: datetime = NOON) -> int:
        """Someone who has talked there: in his private chat, unless another one is named."""
        self.said += 1
        heard = turn.Heard(text="metal")
        turn.accept(
            self.store, "telegram", chat or number, number, f"m{self.said}", heard, now, handle=number
        )
        known = self.store.known_as("telegram", number)
        assert known is not None
        if zone:
            self.store.settle(known.id, "zone", zone)
        return known.id

    def bike(self, rider: int, name: str, oil: OilWatch | None = None) -> str:
        made = self.store.make_bike(rider, name, turn.stamp(NOON))
        if oil is not None:
            self.oil[made] = oil
        return made

    def watch(
        self, rider: int, bike: str, now: datetime, remedy: str = "refit-nut", hours: float | None = 40
    ) -> int:
        """A case of this bike that waits for its first second look, after half an hour of running."""
        text_hash = turn.lay_out(self.store, json.dumps(RATTLE), "", "everyone", NOON)
        case = self.store.open_case(rider, turn.stamp(now))
        told: tuple[Any, ...] = (
            events.Opened(complaint="it rattles"),
            events.FlowChosen(flow="rattle", hash=text_hash, title="Something rattles"),
            events.BikeTaken(bike=bike, nickname=self.store.bike(bike).nickname),
            events.WatchSet(plan="debris", index=0, for_remedy=remedy, from_hours=hours),
        )
        self.write(case, told, now)
        return case

    def write(self, case: int, told: tuple[Any, ...], now: datetime) -> None:
        before = self.store.state(case)
        entries = [
            Entry(before.next_seq + n, turn.stamp(now), "1", "rider", one) for n, one in enumerate(told)
        ]
        self.store.append(case, entries)
        self.store.keep_line(
            case, reduce(apply, entries, before if before.entries else State()), turn.stamp(now)
        )

    def remind(self, now: datetime) -> int:
        return turn.remind(self.store, now, self.oil.get)

    def due(self, now: datetime) -> list[turn.Outgoing]:
        return [out for out in turn.due(self.store, now) if out.priority == "reminder"]

    def deliver(self, now: datetime) -> list[str]:
        """Look what is due, and send it; the texts."""
        self.remind(now)
        found = self.due(now)
        for out in found:
            turn.sent(self.store, out.id, now)
        return [out.message.text for out in found]

    def live(
        self, start: datetime, days: float, step: timedelta = timedelta(hours=1)
    ) -> list[tuple[datetime, str]]:
        """Everything that is sent in so many days while all goes well."""
        told, now = [], start
        while now <= start + timedelta(days=days):
            told += [(now, text) for text in self.deliver(now)]
            now += step
        return told


# --- a channel that dies ----------------------------------------------------------------------

Strike = Callable[[str], None]


class Doomed(Store):
    """A record that may die while a reminder is laid out."""

    strike: Strike

    def put_out(
        self, at: Address, person: int, message: Message, now: str, *, n: int, case: int | None = None,
        inbox: int | None = None, priority: Priority = "answer", due: str = "", asked: int = 0,
    ) -> int:  # fmt: skip
        made = super().put_out(
            at, person, message, now, n=n, case=case, inbox=inbox, priority=priority, due=due, asked=asked
        )
        self.strike("after the message")
        return made

    def lay_reminder(self, *given: Any) -> bool:
        laid = super().lay_reminder(*given)
        self.strike("before the commit")
        return laid


def striker(moment: str) -> Strike:
    def strike(now: str) -> None:
        if now == moment:
            os.kill(os.getpid(), signal.SIGKILL)

    return strike


def due_for_all(store: Store) -> Mapping[str, OilWatch]:
    """Every bike's oil is of the first of May."""
    bikes = [str(row["id"]) for row in store.rows("select id from bikes")]
    return dict.fromkeys(bikes, by_days(date(2026, 5, 1)))


def main(record: str, moment: str, go: str) -> None:
    store = Doomed(record)
    store.strike = striker(moment)
    while not Path(go).exists():
        time.sleep(0.005)
    turn.remind(store, NOON + timedelta(days=40), due_for_all(store).get)
    store.strike("after the commit")
    store.close()


if __name__ == "__main__":
    main(*sys.argv[1:])
