"""All that is kept of one person, for him to take along: his own, all of it, and no one else's."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from bot import turn
from bot.core.book_entries import Note
from bot.core.intervals import Interval
from bot.record.export import VERSION, everything_of
from bot.record.store import Store
from tests.record.old_file import CHANGED
from tests.record.small_talk import Rider, seat_mechanic

AT = "2026-05-01T09:00:00Z"


@pytest.fixture
def store(tmp_path: Path) -> Store:
    return Store(tmp_path / "record.db")


def lived(store: Store) -> Rider:
    zoe = Rider(store, "Zoe")
    zoe.say("metal")
    zoe.say("bike Goat")
    zoe.say("hours 43")
    zoe.say("trait starter kick")
    zoe.say("all", file=store.keep_file(zoe.number, b"picture", "photo", AT), file_kind="photo")
    store.write_book("1", Note(note="1.2 litres"), AT, case=1)
    store.keep_interval("1", Interval(hours=8), AT)
    assert turn.remind(store, zoe.now, lambda bike: CHANGED) == 1
    return zoe


def test_it_holds_everything_and_is_json(store: Store) -> None:
    zoe = lived(store)
    data = json.loads(json.dumps(everything_of(store, zoe.number)))
    assert (data["sumpline"], data["name"], data["role"]) == (VERSION, "Zoe", "rider")
    assert data["known_as"] == [{"channel": "terminal", "handle": "zoe"}]
    [bike] = data["bikes"]
    assert (bike["nickname"], bike["traits"]) == ("Goat", {"starter": "kick"})
    assert [(r["kind"], r["low"], r["high"]) for r in bike["readings"]] == [("hours", 43, 43)]
    assert [line["data"]["line"]["note"] for line in bike["book"]] == ["1.2 litres"]
    assert [(told["kind"], told["hours"], told["off"]) for told in bike["intervals"]] == [("oil", 8, 0)]
    assert [(told["bike"], told["kind"], told["laid"]) for told in data["reminders"]] == [("Goat", "oil", 1)]
    assert [answer["text"] for answer in data["answers"]][-1].startswith("Goat: 13 h on this oil")
    [case] = data["cases"]
    assert (case["complaint"], case["bike"]) == ("metal", "Goat")
    assert [e["n"] for e in case["entries"]] == list(range(1, len(store.entries(1)) + 1))
    assert {"heard", "opened", "answered"} <= {e["kind"] for e in case["entries"]}
    assert [m["text"] for m in data["messages"]][:2] == ["metal", "bike Goat"]
    assert data["answers"][0]["text"] == "magnet?"
    assert [f["kind"] for f in data["files"]] == ["photo"]


def test_nothing_of_another_rider_is_in_it(store: Store) -> None:
    zoe = lived(store)
    ben = Rider(store, "Zyxben", chat="home")
    ben.say("zyxbrakes squeal")
    ben.say("bike Zyxmule")
    store.keep_file(ben.number, b"zyx", "photo", AT)
    assert "zyx" not in json.dumps(everything_of(store, zoe.number)).lower()
    assert [c["complaint"] for c in everything_of(store, ben.number)["cases"]] == ["zyxbrakes squeal"]


def test_a_case_at_which_he_only_sat_as_a_mechanic_is_not_his(store: Store) -> None:
    Rider(store, "Ann").say("metal of Ann")
    max_ = seat_mechanic(store)
    max_.say("all")
    data = everything_of(store, max_.number)
    assert data["cases"] == []
    assert [m["text"] for m in data["messages"]] == ["all"]
    assert "metal of Ann" not in json.dumps(data)


def test_cases_come_in_the_order_they_were_opened(store: Store) -> None:
    for chat in ("pit", "home", "hill"):
        Rider(store, "Zoe", chat=chat).say(f"metal at {chat}")
    number = store.all_cases()[0].person
    told = [case["complaint"] for case in everything_of(store, number)["cases"]]
    assert told == ["metal at pit", "metal at home", "metal at hill"]


def test_nobody_has_no_data(store: Store) -> None:
    with pytest.raises(KeyError):
        everything_of(store, 99)


def test_seats_do_not_leak_into_it(store: Store) -> None:
    """A mechanic who is told a stop of another's case keeps his own messages only."""
    ann = Rider(store, "Ann")
    ann.say("metal")
    max_ = seat_mechanic(store, 1)
    ann.say("all")
    number = store.named(max_.name)
    assert number is not None
    assert [m["text"] for m in everything_of(store, number.id)["messages"]] == []
