"""Our side ended dead between any two steps, and inside each transaction: nothing lost, nothing twice."""

from __future__ import annotations

import sqlite3
import subprocess
import sys
import tempfile
from contextlib import closing
from pathlib import Path

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, rule

from bot.channels.sms.gateway import open_gateway
from tests.channels.sms_bases import Base
from tests.channels.sms_pretend import PretendDaemon, udh
from tests.channels.sms_small_bot import DEAD, SmallBot

pytest_plugins = ["tests.channels.sms_fixtures"]

LONG = "bits in the oil, " * 12
ANSWERS = {
    ("+15550001", "HELLO"),
    ("+15550001", LONG.upper()),
    ("+15550002", "HELLO"),
    ("+15550003", "PART OF IT IS MISSING, SEND IT AGAIN"),
}


def hear_all(base: Base) -> None:
    """Five messages of which one is a copy; one in two parts, and one part without its other."""
    base.hear("+15550001", "hello")
    base.hear("+15550001", LONG, udh(7, 2, 1), LONG[:153])
    base.hear("+15550001", "", udh(7, 2, 2), LONG[153:])
    base.hear("+15550002", "hello")
    base.hear("+15550001", "hello")
    base.hear("+15550003", "end of it", udh(7, 2, 2))


class Runs:
    """The small bot as a program of its own."""

    def __init__(self, base: Base) -> None:
        command = [sys.executable, "-m", "tests.channels.sms_small_bot"]
        self.base = base
        self.program = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)

    def run(self, own: Path, dead_at: int) -> int:
        """How it ended."""
        assert self.program.stdin
        assert self.program.stdout
        self.program.stdin.write(f"{self.base.place}\t{own}\t{dead_at}\n")
        self.program.stdin.flush()
        return int(self.program.stdout.readline())

    def close(self) -> None:
        self.program.communicate(timeout=60)


@pytest.mark.parametrize("kind", ["lite", "postgres"])
def test_ended_dead_at_each_step(kind: str, request: pytest.FixtureRequest, tmp_path: Path) -> None:
    """One run is ended at its first step, the next at its second, and so on till one comes to its end."""
    base: Base = request.getfixturevalue(kind)
    with closing(Runs(base)) as runs:
        for dead_at in range(1, 200):
            for table in ("inbox", "outbox", "outbox_multipart"):
                base.ask(f"delete from {table}")
            hear_all(base)
            own = tmp_path / f"own-{dead_at}.db"
            ended = runs.run(own, dead_at)
            if ended == 0:
                break
            assert ended == DEAD
            assert runs.run(own, 0) == 0
            assert_once(base)
    assert dead_at > 40, "the bot was not ended inside its transactions"
    assert_once(base)


def assert_once(base: Base) -> None:
    assert base.undone() == []
    said = [
        (number, text + "".join(more for (more,) in base.ask(_MORE, id)))
        for id, number, text in base.ask('select "ID", "DestinationNumber", "TextDecoded" from outbox')
    ]
    assert (len(said), set(said)) == (4, ANSWERS)


_MORE = 'select "TextDecoded" from outbox_multipart where "ID" = ? order by "SequencePosition"'


# --- at random, with the daemon killed too -----------------------------------------------------------------


class Dead(Exception):
    """Our side ended here."""


PEOPLE = ("+15550001", "+15550002", "+15550003")


class Both(RuleBasedStateMachine):
    """People, a daemon that is killed, a bot that is ended; the model counts what was said to whom."""

    @initialize()
    def begin(self) -> None:
        # In memory where there is such a place: hundreds of commits wait for the disk otherwise.
        self.folder = tempfile.TemporaryDirectory(dir="/dev/shm" if Path("/dev/shm").is_dir() else None)
        self.daemon = PretendDaemon(Path(self.folder.name) / "smsd.db")
        self.said = 0
        self.wanted: list[tuple[str, str]] = []  # answers, each once
        self.shown: list[tuple[str, str]] = []  # what phones showed
        self.refused = 0
        self.left = 0  # steps until our side ends

    def teardown(self) -> None:
        if hasattr(self, "folder"):
            try:
                self.settle()
            finally:
                self.folder.cleanup()

    def _words(self, long: bool) -> str:
        self.said += 1
        return f"number {self.said} " * (20 if long else 1)

    @rule(
        who=st.sampled_from(PEOPLE),
        long=st.booleans(),
        again=st.sampled_from(["", "all", "first", "last"]),
        read=st.booleans(),
    )
    def speak(self, who: str, long: bool, again: str, read: bool) -> None:
        """And the daemon is killed before it has deleted it all, and we read it before that or not."""
        text = self._words(long)
        self.daemon.receive(who, text)
        self.wanted.append((who, text.upper()))
        if read:
            self.go_on()
        if again == "all":
            self.daemon.again()
        elif again:
            self.daemon.part_again(1 if again == "first" else len(self.daemon.last))

    @rule()
    def comes_again(self) -> None:
        """The daemon was killed, after we may have read it already."""
        if self.daemon.last:
            self.daemon.again()

    @rule(last=st.booleans())
    def a_part_comes_again(self, last: bool) -> None:
        """It was killed before it had deleted all parts, and we may have read the whole."""
        if self.daemon.last:
            self.daemon.part_again(len(self.daemon.last) if last else 1)

    @rule(who=st.sampled_from(PEOPLE), part=st.integers(1, 2))
    def lose_a_part(self, who: str, part: int) -> None:
        self.daemon.receive_part(who, self._words(False), udh(200 + self.said % 50, 2, part))
        self.wanted.append((who, "PART OF IT IS MISSING, SEND IT AGAIN"))

    @rule(steps=st.integers(1, 12))
    def end_dead(self, steps: int) -> None:
        self.left = steps
        with closing(self._bot()) as bot:
            try:
                bot.turn()
            except Dead:
                bot.own.rollback()
        self.left = 0

    @rule()
    def go_on(self) -> None:
        with closing(self._bot()) as bot:
            bot.turn()

    @rule(refusals=st.integers(0, 1))
    def send(self, refusals: int) -> None:
        waiting = len(self.daemon.ask("select 1 from outbox"))
        self.daemon.refuse(min(refusals, waiting))
        sent = self.daemon.send_all()
        self.refused += waiting - len(sent)
        self.shown += [(number, text) for number, text, _ in sent]

    def settle(self) -> None:
        """Let it come to its end: everything was answered once, or refused once and known to be."""
        self.left = 0
        with closing(self._bot()) as bot:
            bot.turn()
            ids = [f"m-{id}" for (id,) in bot.own.execute("select id from outgoing")]
        waiting = len(self.daemon.ask("select 1 from outbox"))
        with closing(open_gateway(str(self.daemon.path))) as gateway:
            assert _states(gateway.results(ids)) == self._states(waiting)
            self.shown += [(number, text) for number, text, _ in self.daemon.send_all()]
            assert _states(gateway.results(ids)) == self._states(0)
            assert gateway.read() == ()
        self._judge()

    def _states(self, waiting: int) -> list[str]:
        sent = len(self.wanted) - self.refused - waiting
        return ["failed"] * self.refused + ["sent"] * sent + ["waiting"] * waiting

    def _judge(self) -> None:
        left = list(self.wanted)
        for said in self.shown:
            assert said in left, f"said twice, or to nobody: {said}"
            left.remove(said)
        assert len(left) == self.refused

    def _bot(self) -> SmallBot:
        gateway = open_gateway(str(self.daemon.path), hold=0)
        return SmallBot(gateway, Path(self.folder.name) / "own.db", self._step)

    def _step(self) -> None:
        if self.left:
            self.left -= 1
            if not self.left:
                raise Dead


def _states(results: dict[str, object]) -> list[str]:
    return sorted(str(getattr(result, "state", "")) for result in results.values())


Both.TestCase.settings = settings(
    deadline=None, max_examples=25, stateful_step_count=20, report_multiple_bugs=False
)
TestBoth = Both.TestCase


def test_the_machine_sees_what_is_said_twice() -> None:
    """A bot that forgets what it has seen must not pass."""
    machine = Both()
    machine.begin()
    machine.speak("+15550001", False, "all", False)
    machine.wanted.append(machine.wanted[0])
    with pytest.raises(AssertionError):
        machine.settle()
    machine.folder.cleanup()
    del machine.folder


def test_a_file_of_ours_is_never_made(tmp_path: Path) -> None:
    """The daemon's file and ours are two."""
    base = PretendDaemon(tmp_path / "smsd.db")
    with closing(open_gateway(str(base.path))) as gateway:
        gateway.read()
    with closing(sqlite3.connect(base.path)) as connection:
        names = {
            name for (name,) in connection.execute("select name from sqlite_master where type = 'table'")
        }
    assert names - {"sqlite_sequence"} == {
        "gammu",
        "inbox",
        "outbox",
        "outbox_multipart",
        "phones",
        "sentitems",
    }
