"""Every file that an earlier version wrote is still read, with all that is in it."""

from __future__ import annotations

import shutil
import sqlite3
from datetime import timedelta
from pathlib import Path

import pytest
from sqlite_utils import Database

from bot import turn
from bot.core.book_entries import Note
from bot.core.calibration import Tenth
from bot.core.intervals import Interval, Reminded
from bot.record.grants import Held
from bot.record.migrations import MIGRATIONS, NAMES
from bot.record.outcomes import Version
from bot.record.post import Address
from bot.record.store import Store
from tests.record.old_file import AT, CHANGED, make
from tests.record.small_talk import NINE, Rider, heard_texts

FILES = sorted((Path(__file__).parent / "files").glob("version-*.db"))


@pytest.fixture(params=FILES, ids=lambda path: path.stem)
def old(request: pytest.FixtureRequest, tmp_path: Path) -> Path:
    """A copy of a file that an earlier version left behind."""
    shutil.copytree(f"{request.param}.files", tmp_path / "record.db.files")
    return Path(shutil.copy(request.param, tmp_path / "record.db"))


def schema(path: Path) -> dict[str, str]:
    connection = sqlite3.connect(path)
    rows = connection.execute("select name, sql from sqlite_master where sql is not null").fetchall()
    connection.close()
    return dict(rows)


def test_there_is_an_old_file_for_every_step() -> None:
    assert [path.stem for path in FILES] == [f"version-{name}" for name in sorted(NAMES)]


def test_every_step_is_known_by_its_name(tmp_path: Path) -> None:
    steps = MIGRATIONS.pending(Database(sqlite3.connect(tmp_path / "empty.db", isolation_level=None)))
    assert {step.name for step in steps} == NAMES


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_a_released_step_is_never_edited(path: Path, tmp_path: Path) -> None:
    """The tables that a step makes today are those it made when the file was written."""
    later = sorted(name for name in NAMES if f"version-{name}" > path.stem)
    database = Database(sqlite3.connect(tmp_path / "new.db", isolation_level=None))
    MIGRATIONS.apply(database, stop_before=later or None)
    assert schema(tmp_path / "new.db") == schema(path)


def test_an_old_file_is_whole_after_migrating(old: Path) -> None:
    store = Store(old)
    assert store.value("pragma integrity_check") == "ok"
    assert store.rows("pragma foreign_key_check") == []
    assert {m.name for m in MIGRATIONS.applied(store.db)} == NAMES


def test_an_old_file_has_the_tables_of_a_new_one(old: Path, tmp_path: Path) -> None:
    Store(old).close()
    make(tmp_path / "made.db")
    assert schema(old).keys() == schema(tmp_path / "made.db").keys()


def test_all_that_was_told_is_read_from_an_old_file(old: Path) -> None:
    store = Store(old)
    texts = ["metal in the oil", "bike Blue", "hours 43", "trait starter kick", "set units both", "all"]
    assert heard_texts(store, 1) == texts
    assert [(c.id, c.rider, c.nickname, c.complaint) for c in store.all_cases()] == [
        (2, "Ben", "", "no brakes"),
        (1, "Ann", "Blue", "metal in the oil"),
    ]
    state = store.state(1)
    assert (state.hours, state.traits, state.nickname) == ((43, 43), {"starter": "kick"}, "Blue")
    assert [(t.event.ask, t.event.value) for t in state.answers] == [("magnet", ("all",))]
    ann = store.named("ann")
    assert ann is not None
    (blue,) = store.bikes_of(ann.id)
    assert (blue.nickname, blue.traits, blue.hours) == ("Blue", {"starter": "kick"}, 43)
    assert ann.settings == {"units": "both"}


def test_flows_files_and_messages_are_read_from_an_old_file(old: Path) -> None:
    store = Store(old)
    assert store.flow_texts("h1") == ("the text", "the common text")
    assert [f.hash for f in store.offered()] == ["h1"]
    row = store.row("select digest from files")
    assert row is not None
    assert store.file(row["digest"]).read_bytes() == b"a picture"
    assert [o.message.text for o in store.due("2030-01-01T00:00:00Z")] == ["magnet?"]
    assert len(store.book_of("1")) == 1


def test_the_talk_goes_on_in_an_old_file(old: Path) -> None:
    ann = Rider(Store(old), "Ann", said=100)
    assert [m.text for m in ann.say("none")] == ["knock?"]
    assert [m.text for m in ann.say("no")] == ["That is all."]


@pytest.mark.parametrize("path", [p for p in FILES if p.stem >= "version-0004"], ids=lambda path: path.stem)
def test_what_was_reminded_of_is_read_from_an_old_file(path: Path, tmp_path: Path) -> None:
    shutil.copytree(f"{path}.files", tmp_path / "record.db.files")
    store = Store(Path(shutil.copy(path, tmp_path / "record.db")))
    assert store.interval_of("1") == Interval(hours=8, days=60)
    ann = store.named("ann")
    assert ann is not None
    assert store.just_reminded(ann.id, Address("terminal", "pit")) == (Reminded("1", "Blue", "oil"),)
    told = turn.remind(store, NINE + timedelta(days=9), lambda bike: CHANGED)
    assert (told, store.value("select count(*) from reminders")) == (0, 1)


@pytest.mark.parametrize("path", [p for p in FILES if p.stem >= "version-0005"], ids=lambda path: path.stem)
def test_how_a_case_came_out_is_read_from_an_old_file(path: Path, tmp_path: Path) -> None:
    """Held 0.75 likely and true, 0.25 and not: 0.25 squared twice is 0.125."""
    shutil.copytree(f"{path}.files", tmp_path / "record.db.files")
    store = Store(Path(shutil.copy(path, tmp_path / "record.db")))
    assert store.outcomes_of("everyone", "metal") == (Version("h1", 1, {"nut-loose": 1}, 1, 0.125),)
    assert store.calibration_of("everyone", "h1") == (Tenth(2, 1, 0.25, 0), Tenth(7, 1, 0.75, 1))


@pytest.mark.parametrize("path", [p for p in FILES if p.stem >= "version-0002"], ids=lambda path: path.stem)
def test_what_networks_left_is_read_from_an_old_file(path: Path, tmp_path: Path) -> None:
    shutil.copytree(f"{path}.files", tmp_path / "record.db.files")
    store = Store(Path(shutil.copy(path, tmp_path / "record.db")))
    later = "2030-01-01T00:00:00Z"
    [update] = store.updates_due("telegram", later)
    assert (store.raw_update(update).number, store.raw_update(update).body) == (7, '{"update_id": 7}')
    assert store.keep_update("telegram", 7, '{"update_id": 7}', later) is None
    [fetch] = store.fetches_due("telegram", later)
    assert (fetch.ref, fetch.locator, fetch.kind) == ("tg-1-x", "locator", "photo")
    assert store.follow_link("token", fetch.person, "2026-05-02T00:00:00Z") == 1
    assert not store.is_reachable("telegram", "5")
    assert [(job.kind, job.data, job.person) for job in store.jobs_waiting("my_data")] == [
        ("my_data", {"chat": "5"}, fetch.person)
    ]


@pytest.mark.parametrize("path", [p for p in FILES if p.stem >= "version-0005"], ids=lambda path: path.stem)
def test_who_holds_a_case_is_read_from_an_old_file(path: Path, tmp_path: Path) -> None:
    """Ben opened Ann's case by her first code; the second is good until seven days after it was made."""
    shutil.copytree(f"{path}.files", tmp_path / "record.db.files")
    store = Store(Path(shutil.copy(path, tmp_path / "record.db")))
    ann, ben = store.named("ann"), store.named("ben")
    assert ann is not None
    assert ben is not None
    assert store.held_by(ben.id) == (Held(1, 1, "2026-05-01T09:00:00Z"),)
    assert store.held_by(ann.id) == ()
    assert (store.may_see(1, ben.id), store.may_see(2, ann.id)) == (True, False)
    assert store.unused_codes(1, "2026-05-02T09:00:00Z") == ("2026-05-08T09:00:00Z",)
    assert store.case_of_code("digest of the second", "2026-05-08T08:59:59Z") == (2, 1)
    assert store.case_of_code("digest of the second", "2026-05-08T09:00:00Z") is None
    assert store.value("select count(*) from guesses where person = ?", ben.id) == 1


@pytest.mark.parametrize("path", [p for p in FILES if p.stem >= "version-0006"], ids=lambda path: path.stem)
def test_what_admins_did_is_read_from_an_old_file(path: Path, tmp_path: Path) -> None:
    """Version 2 was published and withdrawn, version 3 is a draft, and case 1 was moved by nobody known."""
    shutil.copytree(f"{path}.files", tmp_path / "record.db.files")
    store = Store(Path(shutil.copy(path, tmp_path / "record.db")))
    ann = store.named("ann")
    assert ann is not None
    assert [(v.version, v.who, v.withdrawn) for v in store.versions("metal", "everyone")] == [
        (2, "Ann", "2026-05-01T09:00:00Z")
    ]
    assert [line.version for line in store.offered()] == [1]
    assert [(act.what, act.who, act.case) for act in store.acts()] == [
        ("moved", "", 1),
        ("published", "Ann", None),
    ]
    assert [(draft.hash, draft.state) for draft in store.drafts(ann.id)] == [("h3", "kept")]


@pytest.mark.parametrize("path", [p for p in FILES if p.stem >= "version-0007"], ids=lambda path: path.stem)
def test_who_is_one_over_channels_is_read_from_an_old_file(path: Path, tmp_path: Path) -> None:
    """Ann's number ends in 100; 200 may be joined for ten minutes; 300 gave one wrong nickname so far."""
    shutil.copytree(f"{path}.files", tmp_path / "record.db.files")
    store = Store(Path(shutil.copy(path, tmp_path / "record.db")))
    ann, former = store.named("ann"), store.named("rider")
    assert ann is not None
    assert former == ann
    assert store.numbers_of(ann.id) == ("+15550100",)
    assert store.is_joined(ann.id)
    assert (store.known_in(1, ann.id).name, store.known_in(2, ann.id).name) == ("Ann", "Annie")
    assert store.number_of_code("digest of a link", AT) is None
    assert store.number_of_code("digest of another link", "2026-05-01T09:09:59Z") is not None
    assert store.number_of_code("digest of another link", "2026-05-01T09:10:00Z") is None
    waits = store.returning("+15550300")
    assert waits is not None
    assert (store.incoming(waits.inbox).heard.text, waits.tries) == ("hello again", 1)
    assert store.value("select channel from whereabouts where person = ?", ann.id) == "sms"


def test_what_stood_in_a_book_before_its_lines_had_a_form_is_a_note(tmp_path: Path) -> None:
    old = FILES[0]
    shutil.copytree(f"{old}.files", tmp_path / "record.db.files")
    store = Store(Path(shutil.copy(old, tmp_path / "record.db")))
    [entry] = store.book_of("1")
    assert entry.line == Note(note='hours {"low": 43}')
