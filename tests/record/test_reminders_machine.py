"""Whatever befalls riders, their bikes, the network and the program: reminders beside a plain model."""

from __future__ import annotations

import shutil
import tempfile
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, rule

from bot import turn
from bot.core import events
from bot.core.intervals import Reminded
from bot.record.store import Store
from tests.record.reminding import Club, by_days

ZONES = ("Europe/Berlin", "Australia/Lord_Howe", "UTC-05:00")
TZ = {"UTC-05:00": ZoneInfo("Etc/GMT+5")}  # POSIX counts the other way
RIDERS = st.integers(0, 1)
BIKES = st.integers(0, 1)


class Killed(Exception):
    pass


class AnyLife(RuleBasedStateMachine):
    """The model: when each thing falls due, what was told of it, what was put off; by its own arithmetic.

    Two riders with two bikes each, oil by days and a second look to be asked for after three days.
    """

    @initialize()
    def begin(self) -> None:
        self.folder = Path(tempfile.mkdtemp())
        self.club = Club(Store(self.folder / "record.db"))
        self.now = datetime(2026, 3, 20, 12, 0, tzinfo=UTC)  # the clock of Berlin changes soon
        self.network = True
        self.riders = [self.club.rider(str(n + 5), ZONES[n], now=self.now) for n in range(2)]
        self.zones = list(ZONES[:2])
        self.bikes = [
            [self.club.bike(rider, f"Bike {n}{k}") for k in "ab"] for n, rider in enumerate(self.riders)
        ]
        self.due_at: dict[tuple[int, int, str], datetime] = {}
        self.told: set[tuple[int, int, str]] = set()
        self.put_off: dict[tuple[int, int, str], datetime] = {}
        self.out: dict[int, set[tuple[int, int, str]]] = {}  # what each message that was sent says
        self.sent: list[list[datetime]] = [[], []]
        for rider in range(2):
            self.change_the_oil(rider, 0, 2 + rider)
            self.mend_something(rider, 1)

    def zone(self, rider: int) -> ZoneInfo:
        return TZ.get(self.zones[rider]) or ZoneInfo(self.zones[rider])

    # --- what happens ---

    @rule(rider=RIDERS, bike=BIKES, days=st.integers(1, 9))
    def change_the_oil(self, rider: int, bike: int, days: int) -> None:
        today = self.now.astimezone(self.zone(rider)).date()
        key = (rider, bike, "oil")
        if (old := self.club.oil.get(self.bikes[rider][bike])) and old.changed_at == today:
            return  # the same change, told twice
        self.club.oil[self.bikes[rider][bike]] = by_days(today, days)
        self._begin(key)

    @rule(rider=RIDERS, bike=BIKES)
    def mend_something(self, rider: int, bike: int) -> None:
        """A case that waits for its second look; the one before is over."""
        owner, number = self.riders[rider], self.bikes[rider][bike]
        for case in self.club.store.cases_of_bike(number):
            self.club.write(case.id, (events.Ended(how="handed_over"),), self.now)
        self.club.watch(owner, number, self.now)
        key = (rider, bike, "look")
        self._begin(key)
        self.due_at[key] = self.now + timedelta(days=3)

    def _begin(self, key: tuple[int, int, str]) -> None:
        self.told.discard(key)
        self.due_at.pop(key, None)

    @rule(rider=RIDERS, zone=st.sampled_from(ZONES))
    def travel(self, rider: int, zone: str) -> None:
        self.zones[rider] = zone
        self.club.store.settle(self.riders[rider], "zone", zone)

    @rule(rider=RIDERS, bike=BIKES, kind=st.sampled_from(["oil", "look"]), days=st.integers(1, 5))
    def say_later(self, rider: int, bike: int, kind: Any, days: int) -> None:
        key = (rider, bike, kind)
        if key in self.told:
            self.told.discard(key)
            self.put_off[key] = self.now + timedelta(days=days)
            about = [Reminded(self.bikes[rider][bike], "", kind)]
            self.club.store.put_off(self.riders[rider], about, turn.stamp(self.put_off[key]))

    @rule(hours=st.integers(1, 60), step=st.sampled_from([2, 3]), between=st.booleans())
    def go_on(self, hours: int, step: int, between: bool) -> None:
        """`between`: what is due is looked at again while a message is on its way."""
        for _ in range(0, hours, step):
            self.now += timedelta(hours=step)
            self._send()  # the two go on side by side
            self.club.remind(self.now)
            self._send(between)

    @rule(days=st.integers(1, 12))
    def outage(self, days: int) -> None:
        self.now += timedelta(days=days, hours=5)

    @rule()
    def network_comes_or_goes(self) -> None:
        self.network = not self.network

    @rule(rider=RIDERS, bike=BIKES, days=st.integers(4, 9))
    def do_the_work_while_nothing_gets_through(self, rider: int, bike: int, days: int) -> None:
        self.network = False
        self.go_on(60, 3, True)
        self.change_the_oil(rider, bike, days)
        self.go_on(6, 3, False)
        self.network = True
        self.go_on(24, 3, False)

    @rule()
    def die_while_laying_out(self) -> None:
        store = self.club.store
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(store, "add", self._die)
            turn.remind(store, self.now, self.club.oil.get)  # its own rider's fault, as after a kill
        store.close()
        self.club.store = Store(self.folder / "record.db")

    def _die(self, table: str, **columns: Any) -> int:
        raise Killed(table)

    @rule()
    def die_between_sending_and_marking(self) -> None:
        """It may be said once more, as any message may then: the model does not count it."""
        self.club.remind(self.now)
        if self.network:
            for out in self.club.due(self.now)[:1]:
                self._arrives(out, marked=False)

    # --- what must be so ---

    def _send(self, between: bool = False) -> None:
        for out in self.club.due(self.now):
            if self.network:
                self._arrives(out)
                if between:
                    self.club.remind(self.now)
                turn.sent(self.club.store, out.id, self.now)
                assert self._about(out) <= self.out[out.id], "what was added on the way was not said"
            else:
                turn.not_sent(self.club.store, out.id, self.now + timedelta(seconds=30))
                if between:
                    self.club.remind(self.now + timedelta(seconds=10))

    def _arrives(self, out: turn.Outgoing, marked: bool = True) -> None:
        rider = self.riders.index(int(out.address) - 4)
        there = self.now.astimezone(self.zone(rider))
        assert 9 <= there.hour < 20
        today = [at for at in self.sent[rider] if at.astimezone(self.zone(rider)).date() == there.date()]
        assert not today, "two messages on one day"
        about = self._about(out)
        assert about
        assert about <= self._open(rider), "said twice, or not due"
        assert (len(about) > 1) == out.message.text.startswith("Due: ")
        if marked:
            self.sent[rider].append(self.now)
            self.out[out.id] = about
            self.told |= about

    def _about(self, out: turn.Outgoing) -> set[tuple[int, int, str]]:
        rider = self.riders.index(int(out.address) - 4)
        rows = self.club.store.rows("select bike, kind from reminders where outbox = ?", out.id)
        return {(rider, self.bikes[rider].index(str(row["bike"])), str(row["kind"])) for row in rows}

    def _open(self, rider: int) -> set[tuple[int, int, str]]:
        """What is due and not told, by the model."""
        due = {key for key, at in self.due_at.items() if at <= self.now}
        for n, bike in enumerate(self.bikes[rider]):
            if (oil := self.club.oil.get(bike)) is not None:
                day = oil.changed_at + timedelta(days=int(oil.every_days or 0))
                nine = datetime(day.year, day.month, day.day, 9, tzinfo=self.zone(rider))
                due |= {(rider, n, "oil")} if nine.astimezone(UTC) <= self.now else set()
        mine = {key for key in due if key[0] == rider} - self.told
        return {key for key in mine if self.put_off.get(key, self.now) <= self.now}

    @rule()
    def in_the_end_nothing_is_lost(self) -> None:
        """Three calm days, and all that was due before them is told."""
        self.network = True
        owed = [self._open(rider) for rider in range(2)]
        for _ in range(26):
            self.now += timedelta(hours=3)
            self.club.remind(self.now)
            self._send()
        assert all(not (keys - self.told) for keys in owed)

    @rule()
    def start_again(self) -> None:
        self.club.store.close()
        self.club.store = Store(self.folder / "record.db")

    def teardown(self) -> None:
        if hasattr(self, "club"):
            self.in_the_end_nothing_is_lost()
            with closing(self.club.store):
                pass
            shutil.rmtree(self.folder)


TestAnyLife = AnyLife.TestCase
TestAnyLife.settings = settings(max_examples=30, stateful_step_count=25, deadline=None, derandomize=True)
