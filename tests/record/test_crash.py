"""kill -9 at every moment: nothing is lost, nothing is asked twice, one message at most is sent twice."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import warnings
from collections import Counter
from pathlib import Path

import pytest

from bot.record.store import Store
from tests.record import crashing
from tests.record.talker import ROOT

TEXTS = ["metal in the oil", "all", "bike Blue", "some", "yes"]
# What a life without a crash asks and says, written by hand from the talk's three questions.
ASKED = ["magnet", "flakes", "knock", ""]
SAID = ["magnet?", "flakes?", "Noted: Blue.", "knock?", "STOP. Do not start it.", "That is all."]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "network").write_text("\n".join(TEXTS) + "\n")
    return tmp_path


def live(folder: Path, moment: str, number: int) -> int:
    """One life of the channel as a process of its own; how it ended."""
    command = [sys.executable, "-m", "tests.record.crashing", str(folder), moment, str(number)]
    return subprocess.run(command, cwd=ROOT, env={**os.environ}, timeout=60).returncode


def sendings(folder: Path) -> list[tuple[int, str]]:
    lines = (folder / "sendings").read_text().splitlines()
    return [(int(line.partition(" ")[0]), line.partition(" ")[2]) for line in lines]


def check_whole(folder: Path, may_double: bool) -> int:
    """Everything was heard, asked, kept and sent; how many sendings were doubled."""
    store = Store(folder / "record.db")
    (line,) = store.all_cases()
    entries = store.entries(line.id)
    heard = [e.event.heard.text for e in entries if e.event.kind == "heard"]
    asked = [e.event.id for e in entries if e.event.kind == "asked"]
    answers = [(e.event.ask, e.event.value) for e in entries if e.event.kind == "answered"]
    assert heard == TEXTS
    assert asked == ASKED
    assert answers == [("magnet", ("all",)), ("flakes", ("some",)), ("knock", ("yes",))]
    assert [e.seq for e in entries] == list(range(1, len(entries) + 1))
    assert store.state(line.id).bars == {"running", "riding"}
    assert [bike.nickname for bike in store.bikes_of(line.person)] == ["Blue"]
    assert store.value("select count(*) from inbox where state <> 'done'") == 0
    assert store.value("select count(*) from outbox where state <> 'sent'") == 0
    sent = sendings(folder)
    assert list(dict.fromkeys(sent)) == [(number, text) for number, text in dict(sent).items()]
    assert list(dict(sent).values()) == SAID
    doubled = sum(Counter(sent).values()) - len(set(sent))
    assert doubled <= (1 if may_double else 0)
    store.close()
    return doubled


def test_a_life_without_a_crash(folder: Path) -> None:
    assert live(folder, "never", 0) == 0
    assert check_whole(folder, may_double=False) == 0


@pytest.mark.parametrize("moment", crashing.MOMENTS)
def test_killed_at_a_moment_and_started_again(folder: Path, moment: str) -> None:
    """The third time the moment comes: in the midst of the talk."""
    assert live(folder, moment, 3) == -signal.SIGKILL
    assert live(folder, "never", 0) == 0
    doubled = check_whole(folder, may_double=moment == "after send before mark")
    assert doubled == (1 if moment == "after send before mark" else 0)


def test_killed_again_at_the_same_moment(folder: Path) -> None:
    """Three lives end inside the turn of the same message; the fourth takes it."""
    lives = [live(folder, "inside the turn", 1) for _ in range(3)]
    assert lives == [-signal.SIGKILL] * 3
    assert live(folder, "never", 0) == 0
    check_whole(folder, may_double=False)


def test_killed_at_any_statement(folder: Path) -> None:
    """A fork dies at its k-th statement of SQL; every eighth k of a whole life is tried."""
    tried = doubled = 0
    through = False
    while not through:
        run = folder / f"run-{tried}"
        run.mkdir()
        (run / "network").write_text((folder / "network").read_text())
        through = _live_until(run, 8 * tried + 1)
        assert _live_until(run, 1_000_000)
        doubled += check_whole(run, may_double=True)
        tried += 1
    assert tried > 15
    assert doubled <= len(SAID)


def _live_until(folder: Path, statement: int) -> bool:
    """A life in a fork that is killed at that statement; whether it came to its end before."""
    with warnings.catch_warnings():
        warnings.simplefilter(
            "ignore", DeprecationWarning
        )  # later Pythons warn of threads; the fork has none
        child = os.fork()
    if child == 0:
        try:
            _count_statements(statement)
            crashing.work(folder, lambda moment: None)
        except BaseException:
            os._exit(3)
        os._exit(0)
    status = os.waitpid(child, 0)[1]
    assert not (os.WIFEXITED(status) and os.WEXITSTATUS(status))
    return os.WIFEXITED(status)


def _count_statements(statement: int) -> None:
    """Die at that statement of whatever record this process opens."""
    count = 0
    prepare = crashing.Doomed._prepare

    def die(sql: str) -> None:
        nonlocal count
        count += 1
        if count == statement:
            os.kill(os.getpid(), signal.SIGKILL)

    def traced(self: crashing.Doomed) -> None:
        self.db.conn.set_trace_callback(die)
        prepare(self)

    crashing.Doomed._prepare = traced  # type: ignore[method-assign, assignment]
