"""Entries stay as they were written, people and seats are who they were, flows are kept as text."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from pathlib import Path

import pytest

from bot.core import events
from bot.core.events import Entry
from bot.core.state import fold
from bot.record.cases import KeptFlow, NoSuchCaseError
from bot.record.post import Address
from bot.record.store import Store
from tests.record.small_talk import Rider

AT = "2026-05-01T09:00:00Z"
PIT = Address("terminal", "pit")


@pytest.fixture
def store(tmp_path: Path) -> Store:
    return Store(tmp_path / "record.db")


@pytest.fixture
def case(store: Store) -> int:
    """A case of Ann's with two entries."""
    ann = store.meet("terminal", "ann", "Ann", "rider", AT)
    case = store.open_case(ann.id, AT)
    store.append(case, [note(1, "metal"), note(2, "shiny")])
    return case


def note(seq: int, words: str) -> Entry:
    return Entry(seq, AT, "Ann", "rider", events.Noted(words=words))


def test_entries_come_back_as_they_were_written(store: Store, case: int) -> None:
    assert store.entries(case) == (note(1, "metal"), note(2, "shiny"))
    assert store.state(case) == fold([note(1, "metal"), note(2, "shiny")])


TAMPERING = {
    "change": "update entries set event = '{}' where seq = 1",
    "change the time": "update entries set at = '2020-01-01T00:00:00Z'",
    "delete": "delete from entries where seq = 2",
    "delete all": "delete from entries",
    "write over": "insert or replace into entries values (1, 2, '2026-05-01T09:00:00Z', 'A', 'rider', '{}')",
    "write over by upsert": "insert into entries values (1, 2, '2026-05-01T09:00:00Z', 'Ann', 'rider', '{}')"
    " on conflict do update set event = '{}'",
    "leave a gap": "insert into entries values (1, 4, '2026-05-01T09:00:00Z', 'Ann', 'rider', '{}')",
    "take a number": "insert into entries values (1, 2, '2026-05-01T09:00:00Z', 'Ann', 'rider', '{}')",
    "begin below one": "insert into entries values (1, 0, '2026-05-01T09:00:00Z', 'Ann', 'rider', '{}')",
    "a time without Z": "insert into entries values (1, 3, '2026-05-01 09:00', 'A', 'rider', '{}')",
    "a case not there": "insert into entries values (7, 1, '2026-05-01T09:00:00Z', '', 'rider', '{}')",
    "delete the case": "delete from cases",
    "change a flow": "update flows set form = 'x'",
}


@pytest.mark.parametrize("statement", TAMPERING.values(), ids=TAMPERING.keys())
def test_an_entry_cannot_be_tampered_with(store: Store, case: int, statement: str) -> None:
    store.keep_flow(KeptFlow("h1", "metal", 1, 1, "Metal", "text", "", "{}"))
    before = list(store.db.conn.iterdump())
    with pytest.raises(sqlite3.IntegrityError):
        store.run(statement)
    assert list(store.db.conn.iterdump()) == before


@pytest.mark.parametrize("name", ["change", "delete all", "write over", "leave a gap"])
def test_nor_by_another_program_that_knows_no_settings(store: Store, case: int, name: str) -> None:
    other = sqlite3.connect(store.path)  # recursive_triggers and foreign_keys are off there
    with pytest.raises(sqlite3.IntegrityError):
        other.execute(TAMPERING[name])
    other.close()
    assert store.entries(case) == (note(1, "metal"), note(2, "shiny"))


def test_two_cases_count_on_their_own(store: Store, case: int) -> None:
    second = store.open_case(store.case(case).person, AT)
    store.append(second, [note(1, "again")])
    store.append(case, [note(3, "dull")])
    assert [e.seq for e in store.entries(case)] == [1, 2, 3]
    assert [e.seq for e in store.entries(second)] == [1]


def test_cases_are_listed_newest_first(store: Store) -> None:
    ann, ben = Rider(store, "Ann"), Rider(store, "Ben")
    for text in ("metal in the oil", "bike Blue", "end", "it clacks"):
        ann.say(text)
    ben.say("no brakes")
    lines = store.cases_of(ann.number)
    told = [(c.id, c.complaint, c.nickname, c.ended, c.opened, c.last) for c in lines]
    assert told == [
        (2, "it clacks", "", "", "2026-05-01T09:04:00Z", "2026-05-01T09:04:00Z"),
        (1, "metal in the oil", "Blue", "proved", "2026-05-01T09:01:00Z", "2026-05-01T09:03:00Z"),
    ]
    assert [c.id for c in store.all_cases()] == [3, 2, 1]
    assert [c.id for c in store.cases_of_bike("1")] == [1]
    assert store.case(3).rider == "Ben"


def test_a_case_that_is_not_there_is_named(store: Store) -> None:
    with pytest.raises(NoSuchCaseError, match="no case 7"):
        store.case(7)


# --- people and seats ------------------------------------------------------------------------


def test_a_person_keeps_name_and_number(store: Store) -> None:
    first = store.meet("telegram", "4711", "Ann", "rider", AT)
    again = store.meet("telegram", "4711", "Annie", "mechanic", AT)
    assert (again.id, again.name, again.role) == (first.id, "Ann", "mechanic")


def test_two_people_of_one_name_are_two_people(store: Store) -> None:
    one = store.meet("telegram", "1", "Sam", "rider", AT)
    two = store.meet("telegram", "2", "sam", "rider", AT)
    terminal = store.meet("terminal", "Sam", "Sam", "rider", AT)
    assert [one.name, two.name, terminal.name] == ["Sam", "sam 2", "Sam 3"]
    assert store.known_as("telegram", "2") == two


@pytest.mark.parametrize("as_typed", ["ANN", " ann ", "Ann"])
def test_case_and_spaces_make_no_new_person(store: Store, as_typed: str) -> None:
    ann = store.meet("terminal", "Ann", "Ann", "rider", AT)
    assert store.meet("terminal", as_typed, as_typed, "rider", AT).id == ann.id


def test_settings_are_kept_one_by_one(store: Store) -> None:
    ann = store.meet("terminal", "ann", "Ann", "rider", AT)
    store.settle(ann.id, "units", "metric")
    store.settle(ann.id, "giving_up", 900.0)
    store.settle(ann.id, "units", "both")
    assert store.person(ann.id).settings == {"units": "both", "giving_up": 900.0}


def test_a_seat_is_met_where_it_spoke_last(store: Store, case: int) -> None:
    ann = store.case(case).person
    store.sit_down(case, ann, PIT, AT)
    store.sit_down(case, ann, Address("sms", "555"), AT)
    assert store.seats(case) == {"Ann": (ann, Address("sms", "555"))}
    assert store.current(PIT, ann) == case
    assert store.current(Address("terminal", "pit", "thread 2"), ann) is None


# --- flows -----------------------------------------------------------------------------------


def kept(text_hash: str, flow: str = "metal") -> KeptFlow:
    return KeptFlow(text_hash, flow, 1, 1, "Metal", f"text {text_hash}", "common", f'{{"h": "{text_hash}"}}')


def test_a_flow_is_kept_once_for_each_text(store: Store) -> None:
    store.keep_flow(kept("h1"))
    store.keep_flow(kept("h1"))
    store.keep_flow(kept("h2"))
    assert store.flow_hashes() == ("h1", "h2")
    assert store.flow_form("h2") == '{"h": "h2"}'
    assert store.flow_texts("h1") == ("text h1", "common")
    with pytest.raises(KeyError):
        store.flow_form("h3")


def test_group_beats_everyone_beats_shipped(store: Store) -> None:
    for text_hash in ("h1", "h2", "h3"):
        store.keep_flow(kept(text_hash))
    store.keep_flow(kept("h4", "brakes"))
    store.publish("shipped", "metal", "h1", AT)
    store.publish("shipped", "brakes", "h4", AT)
    store.publish("everyone", "metal", "h2", AT)
    store.publish("group:north", "metal", "h3", AT)
    assert [(f.flow, f.hash, f.scope) for f in store.offered()] == [
        ("brakes", "h4", "shipped"),
        ("metal", "h2", "everyone"),
    ]
    assert [f.hash for f in store.offered("north")] == ["h4", "h3"]
    assert [f.hash for f in store.offered("south")] == ["h4", "h2"]


def test_a_new_release_takes_over_only_what_is_shipped(store: Store) -> None:
    for text_hash in ("h1", "h2", "h3"):
        store.keep_flow(kept(text_hash))
    store.publish("shipped", "metal", "h1", AT)
    store.publish("group:north", "metal", "h2", AT)
    store.publish("shipped", "metal", "h3", AT)
    assert [f.hash for f in store.offered()] == ["h3"]
    assert [f.hash for f in store.offered("north")] == ["h2"]


def test_shares_that_were_taken_over_hold_as_long_as_the_authors_text(store: Store) -> None:
    """s2 and n2 took shares into h1, for everyone and for a group; h3 is the author's next text."""
    for text_hash in ("h1", "s2", "n2", "h3"):
        store.keep_flow(kept(text_hash))
    store.publish("shipped", "metal", "h1", AT)
    store.publish("everyone", "metal", "s2", AT, made_from="h1")
    store.publish("group:north", "metal", "n2", AT, made_from="h1")
    assert [(f.hash, f.scope, f.author) for f in store.offered()] == [("s2", "everyone", "h1")]
    assert [(f.hash, f.scope, f.author) for f in store.offered("north")] == [("n2", "group:north", "h1")]
    store.publish("shipped", "metal", "h3", AT)
    for group in ("", "north"):
        assert [(f.hash, f.scope, f.author) for f in store.offered(group)] == [("h3", "shipped", "h3")]
    store.publish("shipped", "metal", "h1", AT)
    assert [f.hash for f in store.offered("north")] == ["n2"]


def test_shares_of_a_groups_own_text_stay_with_it(store: Store) -> None:
    for text_hash in ("h1", "n1", "n2", "h3"):
        store.keep_flow(kept(text_hash))
    store.publish("shipped", "metal", "h1", AT)
    store.publish("group:north", "metal", "n1", AT)
    store.publish("group:north", "metal", "n2", AT, made_from="n1")
    store.publish("shipped", "metal", "h3", AT)
    assert [(f.hash, f.author) for f in store.offered("north")] == [("n2", "n1")]


@pytest.mark.parametrize("scope", ["", "all", "group:", "Shipped"])
def test_there_are_no_other_scopes(store: Store, scope: str) -> None:
    store.keep_flow(kept("h1"))
    with pytest.raises(sqlite3.IntegrityError):
        store.publish(scope, "metal", "h1", AT)


def test_a_case_can_only_be_pinned_to_a_flow_that_is_kept(store: Store, case: int) -> None:
    chosen = Entry(3, AT, "Ann", "rider", events.FlowChosen(flow="metal", hash="h1", title="Metal"))
    pin: Callable[[], None] = lambda: store.keep_line(case, fold([*store.entries(case), chosen]), AT)  # noqa: E731
    with pytest.raises(sqlite3.IntegrityError):
        pin()
    store.keep_flow(kept("h1"))
    pin()
    assert (store.case(case).flow, store.case(case).title) == ("h1", "Metal")
