"""A file is opened, refused in a sentence, or made; many programs may meet it at once."""

from __future__ import annotations

import os
import sqlite3
import stat
import subprocess
import sys
from contextlib import ExitStack
from pathlib import Path

import pytest

from bot.record import opening
from bot.record.migrations import NAMES
from bot.record.opening import NewerRecordError, NotARecordError, RecordBusyError
from bot.record.store import Store

ROOT = Path(__file__).parents[2]


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "record.db"


def test_a_commit_survives_a_power_cut(path: Path) -> None:
    """The three settings that this hangs on; 2 is FULL in SQLite's manual."""
    store = Store(path)
    assert store.value("pragma journal_mode") == "wal"
    assert store.value("pragma synchronous") == 2
    assert store.value("pragma foreign_keys") == 1
    assert store.value("pragma recursive_triggers") == 1
    assert store.value("pragma secure_delete") == 1


def test_only_the_owner_may_read_it(path: Path) -> None:
    Store(path.parent / "deep" / "record.db")
    assert stat.S_IMODE((path.parent / "deep").stat().st_mode) == 0o700
    assert stat.S_IMODE((path.parent / "deep" / "record.db").stat().st_mode) == 0o600


def test_it_can_be_opened_again(path: Path) -> None:
    first = Store(path)
    with first.writing():
        person = first.meet("terminal", "ann", "Ann", "rider", "2026-05-01T09:00:00Z")
    first.close()
    assert Store(path).person(person.id).name == "Ann"


def test_a_text_file_is_refused(path: Path) -> None:
    path.write_text("a letter to my aunt, long enough to be no database header at all\n" * 40)
    with pytest.raises(NotARecordError, match="not a Sumpline record"):
        Store(path)
    assert path.read_text().startswith("a letter")


def test_the_database_of_another_program_is_refused_and_left_alone(path: Path) -> None:
    other = sqlite3.connect(path)
    other.execute("create table recipes (name text)")
    other.close()
    before = path.read_bytes()
    with pytest.raises(NotARecordError, match="another program"):
        Store(path)
    assert path.read_bytes() == before


def test_a_folder_is_refused(tmp_path: Path) -> None:
    with pytest.raises(NotARecordError, match="cannot be opened"):
        Store(tmp_path)


def test_a_folder_that_cannot_be_made_is_refused(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(NotARecordError, match="cannot be opened"):
        Store(tmp_path / "file" / "record.db")


def test_a_file_of_a_later_version_is_refused(path: Path) -> None:
    store = Store(path)
    store.run(
        "insert into _sqlite_migrations (migration_set, name, applied_at) values ('sumpline', '9999', '')"
    )
    store.close()
    with pytest.raises(NewerRecordError, match="later version"):
        Store(path)


def test_a_locked_file_is_named_as_such(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(opening, "BUSY_SECONDS", 0.05)
    holder, other = Store(path), Store(path)
    with holder.writing(), pytest.raises(RecordBusyError, match="in use"), other.writing():
        pass


def meet_and_fail(store: Store, name: str) -> None:
    with store.writing():
        store.meet("terminal", name, name, "rider", "2026-05-01T09:00:00Z")
        raise ZeroDivisionError


def test_a_part_that_fails_is_undone_and_the_rest_stays(path: Path) -> None:
    store = Store(path)
    with store.writing():
        store.meet("terminal", "ann", "Ann", "rider", "2026-05-01T09:00:00Z")
        with pytest.raises(ZeroDivisionError):
            meet_and_fail(store, "Ben")
    assert [row["name"] for row in store.rows("select name from people")] == ["Ann"]


def test_a_whole_that_fails_is_undone(path: Path) -> None:
    store = Store(path)
    with pytest.raises(ZeroDivisionError):
        meet_and_fail(store, "Ann")
    assert store.named("Ann") is None
    with store.writing():  # and the file is free again
        store.meet("terminal", "ben", "Ben", "rider", "2026-05-01T09:00:00Z")


def test_four_programs_may_make_the_file_at_once(path: Path) -> None:
    go = path.with_name("go")
    code = (
        "import sys, time, pathlib; from bot.record.store import Store\n"
        "print('ready', flush=True)\n"
        "while not pathlib.Path(sys.argv[2]).exists(): time.sleep(0.0002)\n"
        "Store(sys.argv[1]).close()"
    )
    command = [sys.executable, "-c", code, str(path), str(go)]
    env = {**os.environ, "PYTHONPATH": str(ROOT)}
    with ExitStack() as all_of_them:
        programs = [
            all_of_them.enter_context(subprocess.Popen(command, env=env, stdout=subprocess.PIPE))
            for _ in range(4)
        ]
        for program in programs:
            assert program.stdout is not None
            assert program.stdout.readline() == b"ready\n"
        go.touch()
        assert [program.wait(timeout=60) for program in programs] == [0] * 4
    assert Store(path).value("select count(*) from _sqlite_migrations") == len(NAMES)
