"""A case of two through the record: messages at the right seat, the frame number with the bike, replay."""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import reduce
from itertools import pairwise
from pathlib import Path

import pytest

from bot import desks, turn
from bot.core.conversation import receive
from bot.core.events import BikeTaken, Heard, Role, WasHeard
from bot.core.reminders import look_of
from bot.core.state import State, apply
from bot.record.post import Outgoing
from bot.record.replay import moment
from bot.record.store import Store
from tests.rattle import FLOW, RATTLE

NINE = datetime(2026, 5, 4, 9, 0, tzinfo=UTC)
RIGHT, OTHER = "1M8GDM9AXKP042788", "11111111111111111"  # both with their right check digit


@dataclass
class Person:
    """Someone who talks through the record; the real talk answers."""

    store: Store
    name: str
    role: Role = "rider"
    now: datetime = NINE
    n: int = 0

    def say(self, *lines: str) -> tuple[Outgoing, ...]:
        """Say them one after the other; all that was laid out for the last."""
        said: tuple[Outgoing, ...] = ()
        for text in lines:
            self.n, self.now = self.n + 1, self.now + timedelta(minutes=1)
            heard, number = Heard(text=text, role=self.role), f"{self.name}-{self.n}"
            inbox = turn.accept(self.store, "terminal", self.name, self.name, number, heard, self.now)
            assert inbox is not None
            said = turn.take(self.store, inbox, self.now)
            assert not self.store.dead_letters()
        return said

    @property
    def id(self) -> int:
        found = self.store.known_as("terminal", self.name)
        assert found is not None
        return found.id

    @property
    def bikes(self) -> dict[str, str]:
        """Frame numbers by nickname."""
        return {bike.nickname: bike.vin for bike in self.store.bikes_of(self.id)}


@pytest.fixture(name="store")
def _store(tmp_path: Path) -> Iterator[Store]:
    with closing(turn.open_record(tmp_path / "record.db")) as store:
        turn.lay_out(store, json.dumps(RATTLE), "", "everyone", NINE)
        yield store


@pytest.fixture(name="ann")
def _ann(store: Store) -> Person:
    return Person(store, "Ann")


def held(store: Store, case: int = 1) -> Person:
    """Max holds the case."""
    max_ = Person(store, "Max", "mechanic", NINE + timedelta(hours=1))
    rider = Person(store, store.state(case).rider, n=1000)
    code = turn.code_said(for_(rider.say("share"), rider.name))
    max_.say(f"open {code}")
    assert store.state(case).holders == ("Max",)
    return max_


def for_(said: tuple[Outgoing, ...], name: str) -> str:
    return "\n".join(out.message.text for out in said if out.person == name)


# --- two seats -----------------------------------------------------------------------------------


def test_what_the_mechanic_asks_goes_to_the_rider_and_the_answer_back(store: Store, ann: Person) -> None:
    ann.say("it rattles", "no knock", "Goat")
    said = held(store).say("ask rider: which oil?")
    assert for_(said, "Ann").startswith("The mechanic asks: which oil?")
    assert "The rider answers: 10W40" in for_(ann.say("answer: 10W40"), "Max")


def test_whom_the_network_refuses_is_away_and_the_mechanic_is_told(store: Store, ann: Person) -> None:
    ann.say("it rattles", "no knock", "Goat")
    with store.writing():
        store.mark_reachable("terminal", "Ann", False, turn.stamp(NINE))
    max_ = held(store)
    assert store.away(1) == {"Ann"}
    assert "I cannot reach the rider now" in for_(max_.say("ask rider: which oil?"), "Max")
    with store.writing():
        store.mark_reachable("terminal", "Ann", True, turn.stamp(NINE))
    assert store.away(1) == frozenset()


def test_the_bench_is_the_mechanics_and_the_record_keeps_nothing_of_it_with_the_rider(
    store: Store, ann: Person
) -> None:
    ann.say("it rattles", "no knock", "Goat", "by foot", "all of them cling", "giving up costs 900")
    held(store).say("hello", "giving up costs 60")
    assert store.person(ann.id).settings == {"giving_up": 900.0}


def test_a_repair_at_the_bench_is_asked_to_be_proved_at_the_riders_seat_with_its_answers(
    store: Store, ann: Person
) -> None:
    ann.say("it rattles", "no knock", "Goat", "by foot", "all of them cling", "hand over")
    said = held(store).say("cause is the drive nut", "seen", "repaired: drive nut", "yes")
    [asked] = [out for out in said if out.person == "Ann" and out.message.choices]
    assert asked.message.text == "Now prove it: Idle for ten minutes."
    assert store.state(1).asked["Ann"].what == "proof"


def test_second_looks_of_a_closed_case_are_still_waited_for(store: Store, ann: Person) -> None:
    ann.say("it rattles", "no knock", "Goat", "by foot", "all of them cling", "hand over")
    held(store).say("cause is the drive nut", "seen", "repaired: drive nut", "yes", "close")
    ann.now += timedelta(days=2)
    ann.say("done", "quiet")
    assert store.case(1).ended == "closed"
    assert store.watching(ann.id) == [1]
    look = look_of(FLOW, store.state(1), 1)
    assert look is not None
    assert (look.n, look.of) == (1, 2)


def test_a_case_of_two_runs_again_to_the_same_entries(store: Store, ann: Person) -> None:
    """Turn by turn from the state and the desk of then."""
    ann.say("it rattles", "it knocks", "Goat", "by foot", "garage", "4", "hand over")
    max_ = held(store)
    max_.say("hello", "ask rider: which oil?", f"vin {RIGHT}", "cause is the nut", "seen")
    ann.say("10W40")
    max_.say("lift the stop: nut tight", "repaired: drive nut", "yes", "close")
    entries, state = store.entries(1), State()
    starts = [n for n, entry in enumerate(entries) if isinstance(entry.event, WasHeard)]
    for begin, end in pairwise([*starts, len(entries)]):
        then = entries[begin:end]
        desk = desks.lay_again(store, store.turn_desk(1, then[0].seq))
        now = receive(desk, state, then[0].event.heard, moment(then[0].at)).events
        kept = [entry.event for entry in then]
        assert [event.kind for event in now] == [event.kind for event in kept]
        assert [e for e in now if e.kind != "bike_taken"] == [e for e in kept if e.kind != "bike_taken"]
        state = reduce(apply, then, state)


# --- the frame number ----------------------------------------------------------------------------


def test_a_frame_number_is_kept_with_the_bike_and_comes_into_its_next_case(store: Store, ann: Person) -> None:
    ann.say("it rattles", "no knock", "Goat", f"vin {RIGHT}", "start over")
    assert ann.bikes == {"Goat": RIGHT}
    ann.say("it rattles", "no knock", "goat")
    [taken] = [e.event for e in store.entries(2) if isinstance(e.event, BikeTaken)]
    assert (taken.vin, taken.digit) == (RIGHT, "right")
    told = store.state(2).vin
    assert told is not None
    assert told.vin == RIGHT


def test_a_mechanic_may_read_it_too(store: Store, ann: Person) -> None:
    ann.say("it rattles", "no knock", "Goat")
    held(store).say(f"vin {RIGHT}")
    assert ann.bikes == {"Goat": RIGHT}


def test_told_before_the_bike_is_named_it_goes_to_that_bike(store: Store, ann: Person) -> None:
    ann.say(f"vin {RIGHT}", "it rattles", "no knock")
    assert ann.bikes == {}
    ann.say("Goat")
    assert ann.bikes == {"Goat": RIGHT}


def test_what_is_taken_back_is_forgotten_down_to_what_was_known(store: Store, ann: Person) -> None:
    ann.say("it rattles", "no knock", "Goat", f"vin {RIGHT}", f"vin {OTHER}", "back")
    assert ann.bikes == {"Goat": RIGHT}
    ann.say("back")
    assert ann.bikes == {"Goat": ""}


def test_what_was_told_of_a_wrong_bike_is_taken_off_it(store: Store, ann: Person) -> None:
    ann.say("it rattles", "no knock", "Goat", f"vin {OTHER}", "start over")
    ann.say("it rattles", "no knock", "Mule", "back", "goat")
    assert ann.bikes == {"Goat": OTHER, "Mule": ""}
    ann.say("start over", "it rattles", f"vin {RIGHT}", "no knock", "Mule")
    assert ann.bikes == {"Goat": OTHER, "Mule": RIGHT}


def test_erasing_the_rider_leaves_no_frame_number(store: Store, ann: Person) -> None:
    ann.say("it rattles", "no knock", "Goat", f"vin {RIGHT}")
    store.erase(ann.id)
    assert store.value("select count(*) from bikes") == 0


def test_a_card_without_a_number_takes_none_into_the_case(store: Store, ann: Person) -> None:
    ann.say("it rattles", "no knock", "Goat", "start over", "it rattles", "no knock", "Goat")
    assert store.state(2).vin is None
