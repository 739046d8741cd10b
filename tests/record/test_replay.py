"""A case run again through today's code goes the same way, or the first difference is shown."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import pytest

from bot import turn
from bot.core import events
from bot.core.desk import Desk
from bot.core.events import Heard
from bot.core.state import State
from bot.record.store import Store
from tests.record.small_talk import Rider, Said, receive, seat_mechanic


@pytest.fixture
def store(tmp_path: Path) -> Store:
    return Store(tmp_path / "record.db")


@pytest.fixture
def ann(store: Store) -> Rider:
    return Rider(store, "Ann")


def test_a_case_run_again_goes_the_same_way(store: Store, ann: Rider) -> None:
    """Settings, bikes and readings of later times do not leak into the run."""
    for text in ("metal", "bike Blue", "hours 43", "set units both", "all", "take back 5", "some", "yes"):
        ann.say(text)
    seat_mechanic(store).say("hello")
    assert turn.replay(store, 1, receive) is None


def test_the_first_difference_is_shown(store: Store, ann: Rider) -> None:
    for text in ("metal", "all", "some"):
        ann.say(text)

    def changed(desk: Desk, state: State, heard: Heard, now: datetime) -> Said:
        said = receive(desk, state, heard, now)
        if heard.text != "all":
            return said
        asked = events.WasAsked(seat=heard.who, what="question", id="knock")
        return Said((*said.events[:-1], asked), said.messages)

    found = turn.replay(store, 1, changed)
    assert found is not None
    assert found.seq == 6
    assert found.then is not None
    assert found.now is not None
    assert '"id":"flakes"' in found.then
    assert '"id":"knock"' in found.now


def test_a_turn_that_is_shorter_or_longer_today_is_a_difference(store: Store, ann: Rider) -> None:
    ann.say("metal")

    def shorter(desk: Desk, state: State, heard: Heard, now: datetime) -> Said:
        said = receive(desk, state, heard, now)
        return Said(said.events[:-1], said.messages)

    def longer(desk: Desk, state: State, heard: Heard, now: datetime) -> Said:
        said = receive(desk, state, heard, now)
        return Said((*said.events, events.Noted(words="more")), said.messages)

    short, long = turn.replay(store, 1, shorter), turn.replay(store, 1, longer)
    assert short is not None
    assert long is not None
    assert (short.seq, short.now) == (3, None)
    assert (long.seq, long.then) == (4, None)


def test_the_core_is_run_again_with_what_it_was_handed_then(store: Store, ann: Rider) -> None:
    ann.say("metal")
    ann.say("bike Blue")
    ann.say("set giving_up 900")
    seen: list[tuple[list[str], object]] = []

    def watch(desk: Desk, state: State, heard: Heard, now: datetime) -> Said:
        seen.append(([b.nickname for b in desk.bikes], desk.settings.get("giving_up")))
        return receive(desk, state, heard, now)

    ann.say("all")
    assert turn.replay(store, 1, watch) is None
    assert seen == [([], None), ([], None), (["Blue"], None), (["Blue"], "900")]
