"""A copy of a live file is whole, whatever others write meanwhile."""

from __future__ import annotations

import sqlite3
import time
from pathlib import Path

import pytest

from bot.record.opening import RecordError
from bot.record.store import Store
from tests.record import talker
from tests.record.small_talk import Rider, heard_texts

AT = "2026-05-01T09:00:00Z"


@pytest.fixture
def store(tmp_path: Path) -> Store:
    return Store(tmp_path / "record.db")


def test_a_copy_holds_all_that_was_committed(store: Store, tmp_path: Path) -> None:
    ann = Rider(store, "Ann")
    ann.say("metal")
    digest = store.keep_file(ann.number, b"picture", "photo", AT)
    store.backup(tmp_path / "copies.db")
    copy = Store(tmp_path / "copies.db")
    assert copy.entries(1) == store.entries(1)
    assert copy.file(digest).read_bytes() == b"picture"
    assert copy.folder != store.folder


def test_a_copy_is_one_file_without_companions(store: Store, tmp_path: Path) -> None:
    Rider(store).say("metal")
    store.backup(tmp_path / "copy.db")
    assert sorted(p.name for p in tmp_path.glob("copy.db*")) == ["copy.db"]
    assert (tmp_path / "copy.db").stat().st_mode & 0o077 == 0


def test_a_copy_is_consistent_while_another_program_writes(store: Store, tmp_path: Path) -> None:
    """Each turn writes entries, messages and the mark of the inbox together; the copy has all or none."""
    go = tmp_path / "go"
    with talker.start(store.path, "Ann", "pit", 0, go) as program:
        go.touch()
        for i in range(5):
            before = store.value("select count(*) from turns")
            while store.value("select count(*) from turns") < before + 2:
                assert program.poll() is None
                time.sleep(0.002)
            store.backup(tmp_path / f"copy-{i}.db")
        go.unlink()
        assert program.wait(60) == 0
    sizes = [_check_whole(tmp_path / f"copy-{i}.db") for i in range(5)]
    assert sizes == sorted(sizes)
    assert sizes[0] < sizes[-1]


def _check_whole(path: Path) -> int:
    copy = Store(path)
    assert copy.value("pragma integrity_check") == "ok"
    heard = heard_texts(copy, 1)
    assert len(heard) == copy.value("select count(*) from inbox where state = 'done'")
    assert len(heard) == copy.value("select count(*) from outbox")
    assert len(heard) == copy.value("select count(*) from turns")
    return len(heard)


def test_nothing_is_written_over(store: Store, tmp_path: Path) -> None:
    (tmp_path / "copy.db").write_text("precious")
    with pytest.raises(RecordError, match="there already"):
        store.backup(tmp_path / "copy.db")
    with pytest.raises(RecordError, match="there already"):
        store.backup(store.path)
    assert (tmp_path / "copy.db").read_text() == "precious"


def test_a_place_that_cannot_be_written_is_named(store: Store, tmp_path: Path) -> None:
    with pytest.raises(RecordError, match="could not be written"):
        store.backup(tmp_path / "no" / "such" / "folder" / "copy.db")


def test_a_half_copy_is_cleared_away(store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def break_off(self: Store, path: Path) -> None:
        path.write_text("half")
        raise sqlite3.OperationalError("disk is full")

    monkeypatch.setattr(Store, "_copy_to", break_off)
    with pytest.raises(RecordError, match="disk is full"):
        store.backup(tmp_path / "copy.db")
    assert list(tmp_path.glob("copy.db*")) == []
