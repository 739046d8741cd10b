"""The terminal: the contract of all channels, pages, pipes, and Ctrl-C and history at a real terminal."""

from __future__ import annotations

import io
import json
import os
import pty
import select
import signal
import stat
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from datetime import timedelta
from functools import partial
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bot import turn
from bot.channels import terminal
from bot.channels.seat import CHANNEL, CHAT, Seat, unbroken
from bot.core.events import Heard
from bot.core.messages import Choice, Message
from bot.core.reminders import OilWatch
from tests.channels.contract import FIRST, NOW, Contract
from tests.rattle import RATTLE
from tests.record.test_photos import GPS, jpeg, opened

ROOT = Path(__file__).parent.parent.parent


class TerminalLine:
    """One rider at a terminal of 80 columns."""

    limit = 80

    def __init__(self, store: turn.Store) -> None:
        self.store = store
        self.seat = Seat(store, "robin", flow="rattle", clock=lambda: NOW)

    def say(self, text: str) -> list[str]:
        out = io.StringIO()
        terminal.answer(self.seat, text, out)
        return out.getvalue().split("\n\n")

    def deliver(self, text: str, message_id: str) -> list[str]:
        heard = Heard(text=text, who="robin")
        turn.accept(self.store, CHANNEL, CHAT, "robin", message_id, heard, NOW, flow="rattle")
        out = io.StringIO()
        for outgoing in self.seat.left():
            out.write(terminal.lay_out(outgoing.message) + "\n")
            self.seat.sent(outgoing)
        return out.getvalue().split("\n") if out.getvalue() else []

    def lay_out(self, message: Message) -> list[str]:
        return terminal.lay_out(message).split("\n")

    def again(self) -> TerminalLine:
        return TerminalLine(self.store)


class TestTerminal(Contract):
    def begin(self, store: turn.Store) -> TerminalLine:
        return TerminalLine(store)


# --- reminders --------------------------------------------------------------------------------


def test_what_is_due_is_shown_at_the_start_and_never_in_the_midst(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    oil: dict[str, OilWatch] = {}
    monkeypatch.setattr(turn, "remind", partial(turn.remind, facts_of=oil.get))
    with closing(turn.open_record(tmp_path / "record.db")) as store:
        line = TerminalLine(store)
        line.say("it rattles")
        robin = store.known_as(CHANNEL, "robin")
        assert robin is not None
        bike = store.make_bike(robin.id, "Goat", "2026-05-01T09:00:00Z")
        changed = NOW.date() - timedelta(days=31)
        oil[bike] = OilWatch(changed, None, None, None, 30)
        turn.remind(store, NOW)  # as another program may do meanwhile
        assert "reminder off" not in "\n".join(line.say("hm"))
        shown = [io.StringIO(), io.StringIO()]
        for out in shown:
            terminal.begin(TerminalLine(store).seat, out)
        assert [out.getvalue().count("Goat: oil is 31 days old") for out in shown] == [1, 0]


# --- how a page looks -------------------------------------------------------------------------


def test_a_page_as_a_rider_sees_it() -> None:
    message = Message(
        "WARNING: Hot oil burns: let it cool.\nWash a few pieces, then hold a magnet under them. "
        "What happens to the pieces, all of them or some?",
        choices=(
            Choice(
                1,
                "All of them cling to the magnet, the thin ones that look like dust in the light too",
                "all",
            ),
            Choice(2, "None clings", "none"),
            Choice(3, "Not sure", "control:not_sure", control=True),
            Choice(4, "Back", "control:back", control=True),
        ),
        signal="warning",
    )
    assert terminal.lay_out(message).split("\n") == [
        "WARNING: Hot oil burns: let it cool.",
        "Wash a few pieces, then hold a magnet under them. What happens to the pieces,",
        "all of them or some?",
        "  1  All of them cling to the magnet, the thin ones that look like dust in the",
        "     light too",
        "  2  None clings",
        "     (Not sure | Back)",
    ]


def test_a_photo_is_named_as_on_paper() -> None:
    shown = terminal.lay_out(
        Message("Photo to your question: show me the plug", photo="0123456789ab" + "c" * 52)
    )
    assert shown == "Photo to your question: show me the plug [0123456789ab]"


def test_numbered_steps_hang_under_their_text() -> None:
    page = terminal.lay_out(Message("1. Paint a line over nut and washer\n10. Pull"), 24)
    assert page == "1. Paint a line over nut\n   and washer\n10. Pull"


def test_a_signal_without_its_word_gets_it() -> None:
    assert terminal.lay_out(Message("Hot oil.", signal="caution")) == "CAUTION: Hot oil."
    assert terminal.lay_out(Message("STOP. Hot oil.", signal="danger")) == "STOP. Hot oil."


@given(st.text(), st.lists(st.text(min_size=1), max_size=5), st.integers(20, 80))
def test_no_line_is_wider_than_the_page(text: str, labels: list[str], width: int) -> None:
    choices = tuple(Choice(n, label, "x", control=n > 2) for n, label in enumerate(labels, 1))
    assert max(map(len, terminal.lay_out(Message(text, choices=choices), width).split("\n"))) <= width


# --- Ctrl-C while a turn is under way -----------------------------------------------------------


def pressed_in_a_turn(times: int, done: list[str]) -> None:
    with unbroken():
        for _ in range(times):
            signal.raise_signal(signal.SIGINT)
        done.append("turn")


@pytest.mark.parametrize(("times", "kept"), [(1, ["turn"]), (2, [])])
def test_ctrl_c_waits_for_the_turn_and_a_second_does_not(times: int, kept: list[str]) -> None:
    done: list[str] = []
    with pytest.raises(KeyboardInterrupt):
        pressed_in_a_turn(times, done)
    assert done == kept


def test_ctrl_c_is_as_it_was_after_a_turn() -> None:
    before = signal.getsignal(signal.SIGINT)
    with unbroken():
        assert signal.getsignal(signal.SIGINT) is not before
    assert signal.getsignal(signal.SIGINT) is before


# --- through a pipe -----------------------------------------------------------------------------


@pytest.fixture
def record(tmp_path: Path) -> Path:
    path = tmp_path / "record.db"
    with closing(turn.open_record(path)) as store:
        turn.lay_out(store, json.dumps(RATTLE), "", "everyone", NOW)
    return path


def chat(record: Path) -> list[str]:
    return [sys.executable, "-m", "bot.cli", "chat", "--db", str(record), "--flow", "rattle", "--as", "robin"]


def piped(record: Path, said: str | bytes) -> subprocess.CompletedProcess[str]:
    given = said if isinstance(said, bytes) else said.encode()
    done = subprocess.run(chat(record), input=given, capture_output=True, cwd=ROOT, check=False)
    return subprocess.CompletedProcess(done.args, done.returncode, done.stdout.decode(), done.stderr.decode())


def heard(record: Path) -> list[str]:
    """What the record holds of what was said, in order."""
    with closing(turn.open_record(record)) as store:
        entries = [e.event for case in reversed(store.all_cases()) for e in store.entries(case.id)]
    return [event.heard.text for event in entries if event.kind == "heard"]


def test_a_pipe_is_answered_line_by_line_and_ends_well(record: Path) -> None:
    done = piped(record, f"{FIRST}\n1\n")
    assert (done.returncode, done.stderr) == (0, "")
    lines = done.stdout.split("\n")
    assert lines[0].startswith("Sumpline.")
    assert lines.index(f"> {FIRST}") < lines.index("> 1")
    assert max(map(len, lines)) <= 80
    assert heard(record)[:2] == [FIRST, "1"]


def test_the_end_of_a_pipe_means_later_and_is_no_entry(record: Path) -> None:
    done = piped(record, f"{FIRST}\n")
    assert turn.read_words().say("later") in done.stdout
    assert heard(record) == [FIRST]


def test_nothing_said_opens_no_case(record: Path) -> None:
    done = piped(record, "")
    assert done.returncode == 0
    assert done.stdout.startswith("Sumpline.")
    assert heard(record) == []


def test_bytes_that_are_no_text_are_answered(record: Path) -> None:
    done = piped(record, b"\xff\xfe rattles\n\x00\x1b[2J\n")
    assert done.returncode == 0
    assert done.stderr == ""
    assert "\x1b" not in done.stdout


@pytest.mark.parametrize("last", ["", "later\n", "why\n", "where are we\n"])
def test_the_talk_goes_on_with_the_open_question(record: Path, last: str) -> None:
    first = piped(record, f"{FIRST}\n{last}")
    again = piped(record, "")
    question = next(line for line in first.stdout.split("\n") if line.endswith("?"))
    assert question in again.stdout


def test_a_message_left_by_a_killed_program_is_answered_at_the_next_start(record: Path) -> None:
    with closing(turn.open_record(record)) as store:
        turn.accept(store, CHANNEL, CHAT, "robin", "m1", Heard(text=FIRST), NOW, flow="rattle")
    done = piped(record, "")
    assert done.stdout.count("?") >= 1
    assert heard(record)[0] == FIRST


def test_a_photo_is_kept_under_its_digest(record: Path, tmp_path: Path) -> None:
    picture = tmp_path / "magnet.jpg"
    picture.write_bytes(jpeg())
    blank = tmp_path / "blank.jpg"
    blank.write_bytes(b"\xff\xd8 no picture")
    done = piped(record, f"{FIRST}\nphoto {picture}\nphoto {blank}\nphoto {tmp_path}/none.jpg\n")
    assert done.returncode == 0
    assert "is no picture that I can read" in " ".join(done.stdout.split())
    assert "Not done: there is no file" in " ".join(done.stdout.split())
    [kept] = [path for path in tmp_path.rglob("*") if path.is_file() and len(path.name) == 64]
    assert GPS not in opened(kept.read_bytes()).getexif()


# --- at a real terminal ---------------------------------------------------------------------------


# A shell gives a program its terminal and the usual Ctrl-C; so does this, before it becomes the program.
AS_A_SHELL = """
import fcntl, os, signal, sys, termios
os.setsid()
fcntl.ioctl(0, termios.TIOCSCTTY, 0)
signal.signal(signal.SIGINT, signal.SIG_DFL)
os.execv(sys.argv[1], sys.argv[1:])
"""


class AtTerminal:
    """The program with a terminal of its own, typed at and read as a person would."""

    def __init__(self, record: Path) -> None:
        self.mine, theirs = pty.openpty()
        environment = {**os.environ, "TERM": "dumb", "COLUMNS": "80", "PYTHONPATH": str(ROOT)}
        command = [sys.executable, "-c", AS_A_SHELL, *chat(record)]
        self.program = subprocess.Popen(
            command, stdin=theirs, stdout=theirs, stderr=theirs, env=environment, cwd=ROOT
        )
        os.close(theirs)
        self.shown, self.seen = "", 0

    def wait_for(self, text: str, seconds: float = 30) -> None:
        """Read until this is shown, after whatever was waited for before."""
        until = time.monotonic() + seconds
        while (found := self.shown.find(text, self.seen)) < 0:
            if time.monotonic() > until or not self._read():
                raise AssertionError(f"never shown: {text!r}; shown: {self.shown[self.seen :]!r}")
        self.seen = found + len(text)

    def _read(self) -> bool:
        if not select.select([self.mine], [], [], 0.2)[0]:
            return self.program.poll() is None
        try:
            got = os.read(self.mine, 65536)
        except OSError:  # the other end is closed
            return False
        self.shown += got.decode("utf-8", "replace")
        return bool(got)

    def type(self, keys: str) -> None:
        """Type, no sooner after the prompt than a person would: line editing starts just after it."""
        time.sleep(0.5)
        os.write(self.mine, keys.encode())

    def end(self) -> int:
        while self._read():
            pass
        return self.program.wait(30)


@contextmanager
def at_terminal(record: Path) -> Iterator[AtTerminal]:
    seat = AtTerminal(record)
    try:
        yield seat
    finally:
        if seat.program.poll() is None:
            seat.program.kill()
        seat.program.wait()
        os.close(seat.mine)


def test_ctrl_c_loses_nothing_and_says_how_to_go_on(record: Path) -> None:
    with at_terminal(record) as seat:
        seat.wait_for("> ")
        seat.type(f"{FIRST}\n")
        seat.wait_for("?")
        seat.wait_for("> ")
        seat.type("half a wo")
        seat.wait_for("half a wo")
        seat.type("\x03")
        seat.wait_for("sumpline chat")
        assert seat.end() == 130
        assert "Traceback" not in seat.shown
    assert heard(record) == [FIRST]


def test_ctrl_d_means_later(record: Path) -> None:
    with at_terminal(record) as seat:
        seat.wait_for("> ")
        seat.type(f"{FIRST}\n")
        seat.wait_for("?")
        seat.wait_for("> ")
        seat.type("\x04")
        assert seat.end() == 0
        assert turn.read_words().say("later") in " ".join(seat.shown.split())
    assert heard(record) == [FIRST]


def test_earlier_typing_is_at_the_arrow_keys_and_private(record: Path) -> None:
    with at_terminal(record) as seat:
        seat.wait_for("> ")
        seat.type(f"{FIRST}\n")
        seat.wait_for("?")
        seat.wait_for("> ")
        seat.type("\x04")
        seat.end()
    history = record.with_name(record.name + ".history")
    assert stat.S_IMODE(history.stat().st_mode) == 0o600
    with at_terminal(record) as seat:
        seat.wait_for("> ")
        seat.type("\x10\n")  # Ctrl-P, the line before
        seat.wait_for(FIRST)
        seat.wait_for("> ")
        seat.type("\x04")
        seat.end()
    assert heard(record).count(FIRST) == 2


@pytest.mark.parametrize("columns", ["40", "200"])
def test_a_page_fits_the_terminal_but_is_never_wider_than_80(
    record: Path, columns: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", columns)
    assert terminal.page_width() == min(80, int(columns))
