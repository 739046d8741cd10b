"""A rider who wants to be forgotten is: no byte of him is left in any file beside the record."""

from __future__ import annotations

import os
import signal
import sqlite3
import warnings
from datetime import date
from pathlib import Path

import pytest

from bot import turn
from bot.core.book_entries import Note
from bot.core.intervals import Interval
from bot.core.reminders import OilWatch
from bot.record import opening
from bot.record import store as store_module
from bot.record.opening import RecordBusyError
from bot.record.store import Store
from tests.record.small_talk import NINE, Rider, beside, heard_texts, receive, seat_mechanic

AT = "2026-05-01T09:00:00Z"
PICTURE = b"JPEG of Zyxlamoth's drain plug " * 50


@pytest.fixture
def store(tmp_path: Path) -> Store:
    return Store(tmp_path / "record.db")


def live(store: Store, talk: int = 30) -> tuple[int, str]:
    """Zoe Zyxlamoth's life in the record: a bike, a case, photos, many messages; her number and a digest."""
    zoe = Rider(store, "Zoe Zyxlamoth")
    zoe.say("metal in the oil of Zyxlamoth")
    digest = store.keep_file(zoe.number, PICTURE, "photo", AT)
    zoe.say("bike Zyxlamobile")
    zoe.say("hours 43")
    zoe.say("trait starter kick")
    zoe.say("look", file=digest, file_kind="photo")
    for i in range(talk):
        zoe.say(f"set kit Zyxlamoth {i}")
    store.write_book("1", Note(note="Zyxlamoth"), AT, case=1)
    store.add("jobs", kind="report", data="Zyxlamoth", person=zoe.number, at=AT)
    store.add("grants", case_id=1, code_digest="x", at=AT)
    store.count_guess(zoe.number, AT)
    handle = str(store.value("select handle from handles where person = ?", zoe.number))
    taken, waiting = (store.keep_update("terminal", n, f"Zyxlamoth {n}", AT) for n in (1, 2))
    store.name_update(taken or 0, handle)
    store.finish_update(taken or 0)
    store.name_update(waiting or 0, handle)
    store.want_file("z-1", "terminal", "at Zyxlamoth's", zoe.number, handle, "photo", "Zyxlamoth.jpg", AT)
    store.make_link("way to Zyxlamoth", 1, zoe.number, AT, AT)
    store.mark_reachable("terminal", handle, True, AT)
    store.keep_interval("1", Interval(hours=8), AT)
    oil = OilWatch(date(2026, 4, 1), (30, 30), (43, 43), 8, None)
    assert turn.remind(store, zoe.now, lambda bike: oil) == 1
    store.path.with_name(store.path.name + ".history").write_text("i am Zyxlamoth\n")
    return zoe.number, digest


def traces(store: Store, *words: str) -> set[str]:
    """Names of the files beside the record that hold a word, in their bytes or their names."""
    found = set()
    for path in beside(store.path):
        data = path.read_bytes().lower() + path.name.lower().encode()
        found |= {path.name for word in words if word.lower().encode() in data}
    return found


def test_nothing_of_an_erased_rider_is_left(store: Store) -> None:
    number, digest = live(store)
    assert traces(store, "zyxlamo") >= {"record.db-wal", digest, "record.db.history"}
    store.run("pragma wal_checkpoint(passive)")
    assert "record.db" in traces(store, "zyxlamo")
    store.erase(number)
    assert traces(store, "zyxlamo", digest, "drain plug") == set()
    assert store.value("pragma integrity_check") == "ok"
    assert store.rows("pragma foreign_key_check") == []


def test_every_table_forgets_him(store: Store) -> None:
    """One rider's life fills these tables; afterwards only what belongs to nobody is left."""
    number, _ = live(store)
    named = ("people", "handles", "bikes", "meters", "readings", "book", "cases", "entries", "turns", "seats")
    of_networks = ("updates", "fetches", "links", "chats")
    reminding = ("intervals", "reminders")
    sharing = ("grants", "guesses")
    tables = (*named, "current", "inbox", "outbox", "jobs", "files", *sharing, *reminding, *of_networks)
    assert {t for t in tables if not store.value(f"select count(*) from {t}")} == set()
    store.erase(number)
    assert {t for t in (*tables, "erasing") if store.value(f"select count(*) from {t}")} == set()


def test_updates_files_and_links_of_others_stay(store: Store) -> None:
    zoe, ben = Rider(store, "Zoe"), Rider(store, "Ben")
    zoe.say("metal")
    ben.say("no brakes")
    for n, rider in enumerate((zoe, ben)):
        handle = str(store.value("select handle from handles where person = ?", rider.number))
        kept = store.keep_update("terminal", n, f"of {handle}", AT)
        store.name_update(kept or 0, handle)
        store.want_file(f"file-{n}", "terminal", "there", rider.number, handle, "photo", "", AT)
        store.make_link(f"link-{n}", n + 1, rider.number, "2026-06-01T09:00:00Z", AT)
    number = zoe.number
    store.erase(number)
    assert [store.raw_update(id).number for id in store.updates_due("terminal", AT)] == [1]
    assert [fetch.ref for fetch in store.fetches_due("terminal", AT)] == ["file-1"]
    assert store.follow_link("link-0", number, AT) is None
    assert store.follow_link("link-1", ben.number, AT) == 2


def test_others_keep_everything(store: Store) -> None:
    ben = Rider(store, "Ben")
    ben.say("no brakes")
    ben.say("bike Red")
    before = (store.entries(1), store.bikes_of(ben.number), store.person(ben.number))
    zoe = Rider(store, "Zoe", chat="home")
    zoe.say("metal")
    zoe.say("bike Red")
    store.erase(zoe.number)
    assert (store.entries(1), store.bikes_of(ben.number), store.person(ben.number)) == before
    assert [m.text for m in ben.say("none")] == ["flakes?"]


def test_a_picture_that_two_riders_kept_stays_for_the_other(store: Store) -> None:
    zoe, ben = Rider(store, "Zoe"), Rider(store, "Ben")
    zoe.say("metal")
    ben.say("metal")
    shared = store.keep_file(zoe.number, b"shared", "photo", AT)
    assert store.keep_file(ben.number, b"shared", "photo", AT) == shared
    own = store.keep_file(zoe.number, b"own", "photo", AT)
    store.erase(zoe.number)
    assert store.file(shared).read_bytes() == b"shared"
    with pytest.raises(KeyError):
        store.file(own)
    store.erase(ben.number)
    assert list(store.folder.iterdir()) == []


def test_what_a_mechanic_found_stays_without_his_name_and_words(store: Store) -> None:
    """The rider's safety hangs on the finding; the name is the mechanic's own."""
    ann = Rider(store, "Ann")
    ann.say("metal")
    max_ = seat_mechanic(store, 1, "Max Zyxlamoth")
    max_.say("this is Zyxlamoth speaking")
    max_.say("all")
    max_.say("tell Ann: turn the nut by hand")
    before = store.state(1)
    store.erase(max_.number)
    after = store.state(1)
    assert traces(store, "zyxlamoth") == set()
    assert [(t.event.ask, t.event.value, t.role) for t in after.answers] == [("magnet", ("all",), "mechanic")]
    assert [e.seq for e in after.entries] == [e.seq for e in before.entries]
    assert [e.event.kind for e in after.entries] == [e.event.kind for e in before.entries]
    assert {e.who for e in after.entries} == {"Ann", "someone"}
    to_ann = store.rows("select text, payload from outbox where person = ? and state = 'due'", ann.number)
    assert [row["text"] for row in to_ann] == ["someone: turn the nut by hand"]
    assert [m.text for m in ann.say("some")] == ["flakes?"]


def test_his_number_is_never_given_again(store: Store) -> None:
    zoe = Rider(store, "Zoe")
    zoe.say("metal")
    number = zoe.number
    store.erase(number)
    assert Rider(store, "Zoe").say("metal again")[0].text == "magnet?"
    assert store.named("Zoe") is not None
    assert store.named("Zoe").id > number  # type: ignore[union-attr]
    with pytest.raises(KeyError):
        store.erase(number)


def test_only_erasing_opens_the_way_and_only_for_his_rows(store: Store) -> None:
    """Someone in `erasing` lets his own entries go, and no one else's."""
    ann, zoe = Rider(store, "Ann"), Rider(store, "Zoe")
    ann.say("metal")
    zoe.say("brakes")
    store.add("erasing", person=zoe.number)
    with pytest.raises(sqlite3.IntegrityError):
        store.run("delete from entries where case_id = 1")
    with pytest.raises(sqlite3.IntegrityError):
        store.run("update entries set who = '' where case_id = 2")
    store.run("delete from entries where case_id = 2")
    assert heard_texts(store, 1) == ["metal"]


def test_a_reader_in_the_way_is_named_and_the_next_start_finishes(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(opening, "BUSY_SECONDS", 0.1)
    monkeypatch.setattr(store_module, "BUSY_SECONDS", 0.1)
    number, digest = live(store)
    reader = Store(store.path)
    reader.run("begin")
    reader.value("select count(*) from entries")
    quick = Store(store.path)
    with pytest.raises(RecordBusyError):
        quick.erase(number)
    assert quick.all_cases() == ()
    assert traces(store, "zyxlamo") != set()
    reader.run("rollback")
    reader.close()
    Store(store.path)
    assert traces(store, "zyxlamo", digest) == set()


def test_killed_at_any_statement_of_erasing_he_is_whole_or_gone(store: Store) -> None:
    """A fork is killed at its k-th statement, for each k, until one gets through."""
    number, digest = live(store, talk=1)
    store.close()
    whole = gone = 0
    statement, through = 0, False
    while not through:
        statement += 1
        copy = store.path.parent / f"run-{statement}"
        copy.mkdir()
        for path in [
            p for p in store.path.parent.iterdir() if p.name.startswith("record.db") and p.is_file()
        ]:
            (copy / path.name).write_bytes(path.read_bytes())
        (copy / "record.db.files").mkdir()
        (copy / "record.db.files" / digest).write_bytes(PICTURE)
        through = _erase_until(copy / "record.db", number, statement)
        again = Store(copy / "record.db")
        if again.all_cases():
            whole += 1
            assert len(heard_texts(again, 1)) == 6
            assert again.file(digest).read_bytes() == PICTURE
        else:
            gone += 1
            assert traces(again, "zyxlamo", digest) - {"record.db.history"} == set()
        assert again.value("select count(*) from erasing") == 0
        again.close()
    assert whole > 10
    assert gone > 3


def _erase_until(path: Path, number: int, statement: int) -> bool:
    """Erase in a fork that is killed at that statement; whether it got through before."""
    with warnings.catch_warnings():
        warnings.simplefilter(
            "ignore", DeprecationWarning
        )  # later Pythons warn of threads; the fork has none
        child = os.fork()
    if child == 0:
        try:
            doomed, count = Store(path), 0

            def die(sql: str) -> None:
                nonlocal count
                count += 1
                if count == statement:
                    os.kill(os.getpid(), signal.SIGKILL)

            doomed.db.conn.set_trace_callback(die)
            doomed.erase(number)
        finally:
            os._exit(0)
    return os.WIFEXITED(os.waitpid(child, 0)[1])


def test_a_rider_with_messages_not_taken_is_erased_too(store: Store) -> None:
    zoe = Rider(store, "Zoe")
    zoe.say("metal")
    told = turn.Heard(text="late words of Zyxlamoth")
    inbox = turn.accept(store, "terminal", "pit", "Zoe", "late", told, NINE)
    store.erase(zoe.number)
    assert traces(store, "zyxlamoth") == set()
    assert turn.finish(store, NINE, receive) == ()
    with pytest.raises(KeyError):
        turn.take(store, inbox or 0, NINE, receive)
