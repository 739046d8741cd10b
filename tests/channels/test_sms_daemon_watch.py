"""gammu-smsd is kept running, never twice, and never outlives us: with a pretend and with the real one."""

from __future__ import annotations

import asyncio
import contextlib
import logging
import os
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from bot.channels.sms.daemon import Foreign, Own, Pace, keeper, pace_of
from bot.channels.sms.latch import Latch
from bot.channels.sms.pulse import Pulse
from bot.channels.sms.settings import read
from bot.channels.sms.smsdrc import read as read_rc
from bot.channels.sms.telling import Telling, telling
from tests.channels.sms_rig import require_daemon
from tests.channels.sms_running import REAL, is_there, running, until
from tests.channels.sms_schema import packaged

CHILD = Path(__file__).with_name("sms_child.py")
QUICK = Pace(silence=0.6, grace=5.0, look=0.02, patience=0.5, first=0.05, most=0.4, long=30.0, healthy=0.3)


class Clock:
    """A clock that we set."""

    def __init__(self) -> None:
        self.now = 1000.0

    def __call__(self) -> float:
        return self.now


def beat_of(folder: Path) -> Callable[[], str | None]:
    def beat() -> str | None:
        try:
            return (folder / "beat").read_text()
        except FileNotFoundError:
            return None

    return beat


def own(folder: Path, how: str, pace: Pace = QUICK) -> Own:
    command = [sys.executable, str(CHILD), str(folder), how]
    return Own(command, beat_of(folder), pace, Latch(folder / "lock"))


def lives(folder: Path) -> list[list[str]]:
    try:
        return [line.split(" ") for line in (folder / "lives").read_text().splitlines()]
    except FileNotFoundError:
        return []


@pytest.fixture
def logged(caplog: pytest.LogCaptureFixture) -> Iterator[pytest.LogCaptureFixture]:
    with caplog.at_level(logging.INFO, "sumpline.sms"):
        yield caplog


# --- a child of ours ---------------------------------------------------------------------------


async def test_it_runs_in_utc_and_ends_with_us(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TZ", "America/New_York")
    monkeypatch.setenv("SUMPLINE_SMS_GATEWAY", "postgresql://a:turnstile@b/c")
    daemon = own(tmp_path, "obeys")
    async with running(daemon):
        await until(lambda: daemon.pulse.heard)
        assert str(daemon.pid) in daemon.state()
        [[pid, zone, secret]] = lives(tmp_path)
        assert (int(pid), zone, secret) == (daemon.pid, "UTC", "-")  # and our password stays with us
        assert Latch(tmp_path / "lock").is_held()
    assert not is_there(int(pid))
    assert daemon.pid is None
    assert daemon.restarts == 0
    assert not Latch(tmp_path / "lock").is_held()


async def test_one_that_does_not_listen_is_killed_however_often_we_are_told_to_end(
    tmp_path: Path, logged: pytest.LogCaptureFixture
) -> None:
    daemon = own(tmp_path, "ignores")
    async with running(daemon):
        await until(lambda: daemon.pulse.heard)
        begun = time.monotonic()
    assert time.monotonic() - begun >= QUICK.patience  # it had its time, although we were in a hurry
    assert not is_there(int(lives(tmp_path)[0][0]))
    assert "it is killed" in logged.text


@pytest.mark.parametrize("how", ["hangs", "deaf"])
async def test_one_that_gives_no_sign_of_life_is_started_again(
    tmp_path: Path, logged: pytest.LogCaptureFixture, how: str
) -> None:
    daemon = own(tmp_path, how)
    async with running(daemon):
        await until(lambda: daemon.restarts >= 2)
    pids = [int(life[0]) for life in lives(tmp_path)]
    assert len(set(pids)) == len(pids) >= 2
    assert not any(is_there(pid) for pid in pids)
    assert "no sign of life" in logged.text
    assert ("it is killed" in logged.text) == (how == "deaf")


async def test_one_that_lives_is_left_alone(tmp_path: Path) -> None:
    daemon = own(tmp_path, "obeys")
    async with running(daemon):
        await until(lambda: daemon.pulse.heard)
        await asyncio.sleep(4 * QUICK.silence)
        assert len(lives(tmp_path)) == 1


async def test_one_that_is_killed_by_others_comes_back_and_its_remains_are_gone(tmp_path: Path) -> None:
    daemon = own(tmp_path, "obeys")
    async with running(daemon):
        await until(lambda: daemon.pulse.heard)
        first = daemon.pid
        assert first is not None
        os.kill(first, signal.SIGKILL)
        await until(lambda: daemon.restarts == 1 and daemon.pulse.heard)
        assert daemon.pid != first
        assert not is_there(first)


async def test_ending_at_once_is_explained_and_then_it_takes_its_time(
    tmp_path: Path, logged: pytest.LogCaptureFixture
) -> None:
    daemon = own(tmp_path, "dies")
    async with running(daemon):
        await until(lambda: "ended at once" in logged.text)
        await asyncio.sleep(4 * QUICK.most)
        assert len(lives(tmp_path)) == 5
    errors = [line.getMessage() for line in logged.records if line.levelno >= logging.ERROR]
    assert errors == [
        "gammu-smsd ended at once 5 times: DBI failed to init sqlite3 # x driver!; Failed to initialize DB "
        "driver. Run 'sumpline serve sms --dry-run' to see what to do."
    ]


async def test_pauses_grow_up_to_a_limit(tmp_path: Path, logged: pytest.LogCaptureFixture) -> None:
    pace = replace(QUICK, first=0.02, most=0.1, times=7)
    async with running(own(tmp_path, "dies", pace)):
        await until(lambda: len(lives(tmp_path)) >= 6)
    # By hand from "each twice the one before, at most 0.1 s".
    ends = [r.created for r in logged.records if "by itself" in r.getMessage()]
    starts = [r.created for r in logged.records if "runs (process" in r.getMessage()]
    pauses = [start - end for end, start in zip(ends[:5], starts[1:6], strict=True)]
    for pause, least in zip(pauses, [0.02, 0.04, 0.08, 0.1, 0.1], strict=True):
        assert pause >= least


async def test_a_program_that_is_not_there_is_said_and_tried_again(
    tmp_path: Path, logged: pytest.LogCaptureFixture
) -> None:
    daemon = Own([str(tmp_path / "none")], beat_of(tmp_path), QUICK, Latch(tmp_path / "lock"))
    async with running(daemon):
        await until(lambda: "ended at once" in logged.text)
    assert "cannot be started: No such file or directory" in logged.text
    assert not Latch(tmp_path / "lock").is_held()


async def test_a_pin_is_tried_once_only(tmp_path: Path, logged: pytest.LogCaptureFixture) -> None:
    """The third wrong one locks the SIM; 3GPP TS 31.101 has the retry counter, three from memory."""
    daemon = own(tmp_path, "pin")
    async with running(daemon):
        await until(lambda: "restart this service" in logged.text)
        await asyncio.sleep(2 * QUICK.most)
        assert "refuses its PIN" in daemon.state()
    assert (tmp_path / "tries").read_text() == "1"
    assert len(lives(tmp_path)) == 1


async def test_what_it_leaves_behind_is_ended_too(tmp_path: Path) -> None:
    daemon = own(tmp_path, "forks")
    async with running(daemon):
        await until(lambda: daemon.pulse.heard)
        left = int((tmp_path / "left").read_text())
        assert is_there(left)
    await until(lambda: not Latch(tmp_path / "lock").is_held(), 5)
    await until(lambda: not is_there(left) or _is_remains(left), 5)  # nobody may be there to bury it


def _is_remains(pid: int) -> bool:
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] == "Z"
    except FileNotFoundError:
        return True


# --- we as a program of our own -----------------------------------------------------------------------


def _keeper(folder: Path, how: str) -> subprocess.Popen[bytes]:
    program = CHILD.with_name("sms_keeper.py")
    env = os.environ | {"PYTHONPATH": str(CHILD.parents[2])}
    return subprocess.Popen([sys.executable, str(program), str(folder), how], env=env)


@pytest.mark.parametrize("how", ["obeys", "ignores"])
async def test_when_we_are_told_to_end_the_child_ends_too(tmp_path: Path, how: str) -> None:
    ours = _keeper(tmp_path, how)
    try:
        await until(lambda: (tmp_path / "beat").exists())
        ours.terminate()
        assert ours.wait(20) == 0
    finally:
        ours.kill()
        ours.wait()
    [[pid, *_]] = lives(tmp_path)
    assert not is_there(int(pid))


async def test_when_we_are_killed_the_child_goes_on_and_the_next_of_us_ends_it(tmp_path: Path) -> None:
    ours = _keeper(tmp_path, "obeys")
    await until(lambda: (tmp_path / "beat").exists())
    ours.kill()
    ours.wait()
    [[orphan, *_]] = lives(tmp_path)
    assert is_there(int(orphan))
    daemon = own(tmp_path, "obeys")
    async with running(daemon):
        await until(lambda: daemon.pulse.heard)
        assert len(lives(tmp_path)) == 2
        assert _is_remains(int(orphan))  # it has ended; whoever took it over may not have buried it yet


# --- one that outlived us --------------------------------------------------------------------------


def _orphan(folder: Path, how: str) -> subprocess.Popen[bytes]:
    """As if we had been killed: the child of an earlier run goes on, and the lock with it."""
    latch = Latch(folder / "lock")
    with latch.held() as fd:
        child = subprocess.Popen(
            [sys.executable, str(CHILD), str(folder), how], pass_fds=(fd,), start_new_session=True
        )
        latch.name(fd, child.pid)
    return child


@pytest.mark.parametrize("how", ["obeys", "ignores"])
async def test_a_child_of_an_earlier_run_is_ended_before_another_begins(
    tmp_path: Path, logged: pytest.LogCaptureFixture, how: str
) -> None:
    orphan = _orphan(tmp_path, how)
    daemon = own(tmp_path, "obeys")
    await until(lambda: len(lives(tmp_path)) == 1)
    async with running(daemon):
        await until(lambda: daemon.pid is not None)
        orphan.wait(5)
        assert orphan.returncode == (-signal.SIGTERM if how == "obeys" else -signal.SIGKILL)
        await until(lambda: daemon.pulse.heard)
        assert [int(life[0]) for life in lives(tmp_path)] == [orphan.pid, daemon.pid]
    assert "of an earlier run" in logged.text
    assert "left alone" not in logged.text


async def test_of_what_is_left_only_the_group_of_the_child_is_ended(tmp_path: Path) -> None:
    """One has the file open and is of the child's group, the other has only the file."""
    latch = Latch(tmp_path / "lock")
    sleep = [sys.executable, "-c", "import time; time.sleep(600)"]
    with latch.held() as fd:
        both = subprocess.Popen(sleep, pass_fds=(fd,), start_new_session=True)
        file = subprocess.Popen(sleep, pass_fds=(fd,), start_new_session=True)
    try:
        latch.sweep(both.pid)
        assert both.wait(5) == -signal.SIGKILL
        assert file.poll() is None
    finally:
        for left in (both, file):
            left.kill()
            left.wait()


async def test_a_number_that_is_somebody_elses_by_now_is_left_alone(tmp_path: Path) -> None:
    """The file names a process that has not got it open: such a one never was our child."""
    bystander = subprocess.Popen([sys.executable, "-c", "import time; time.sleep(600)"])
    try:
        latch = Latch(tmp_path / "lock")
        latch.path.write_text(str(bystander.pid))
        with latch.held():
            await latch.clear(0.3)
            assert not latch.is_held()  # what held it is let be, and does not keep us from starting
        assert bystander.poll() is None
    finally:
        bystander.kill()
        bystander.wait()


@pytest.mark.parametrize("told", ["", "nobody", "-1", "0", "99999999999"])
async def test_a_latch_that_says_nonsense_harms_nobody(tmp_path: Path, told: str) -> None:
    latch = Latch(tmp_path / "lock")
    latch.path.write_text(told)
    with latch.held():
        await latch.clear(0.1)
        assert not latch.is_held()


# --- one of somebody else --------------------------------------------------------------------------


async def test_somebody_elses_daemon_is_only_spoken_of(
    tmp_path: Path, logged: pytest.LogCaptureFixture
) -> None:
    theirs = subprocess.Popen([sys.executable, str(CHILD), str(tmp_path), "hangs"])
    try:
        daemon = Foreign(beat_of(tmp_path), QUICK)
        async with running(daemon):
            await until(lambda: "has been silent" in logged.text)
            assert "silent for" in daemon.state()
        assert theirs.poll() is None
    finally:
        theirs.kill()
        theirs.wait()
    assert daemon.restarts == 0
    assert "restart its service" in logged.text


async def test_a_command_restarts_it_and_it_is_welcome_again(
    tmp_path: Path, logged: pytest.LogCaptureFixture
) -> None:
    """The command writes the sign of life that a restarted daemon would write."""
    word = f"open({str(tmp_path / 'beat')!r}, 'w').write('back')"
    daemon = Foreign(beat_of(tmp_path), replace(QUICK, long=60.0), [sys.executable, "-c", word])
    async with running(daemon):
        await until(lambda: "signs of life again" in logged.text)
        assert daemon.restarts == 1
    assert (tmp_path / "beat").read_text() == "back"


async def test_a_command_that_fails_is_said_and_not_run_all_the_time(
    tmp_path: Path, logged: pytest.LogCaptureFixture
) -> None:
    word = f"open({str(tmp_path / 'runs')!r}, 'a').write('x'); raise SystemExit(3)"
    async with running(Foreign(beat_of(tmp_path), QUICK, [sys.executable, "-c", word])):
        await until(lambda: "ended with status 3" in logged.text)
        await asyncio.sleep(2.4)
    # Silence 0.6 s, so by hand at 0, 0.6, 1.8 and 4.2 s after the first; a busy machine may be late.
    assert 2 <= len((tmp_path / "runs").read_text()) <= 4


async def test_a_command_that_is_not_there_is_said(tmp_path: Path, logged: pytest.LogCaptureFixture) -> None:
    async with running(Foreign(beat_of(tmp_path), QUICK, [str(tmp_path / "none")])):
        await until(lambda: "cannot be started" in logged.text)


# --- the pulse, by a clock that we set ---------------------------------------------------------------


def test_silence_is_measured_from_the_last_sign_of_life() -> None:
    clock, written = Clock(), [None, "a"]
    pulse = Pulse(lambda: written[-1], 60, 90, clock)
    clock.now += 61
    assert not pulse.feel()
    assert pulse.quiet() == 61
    assert not pulse.is_silent()  # what stood there before it began is no sign of life, and it has its grace
    written.append("b")
    assert pulse.feel()
    clock.now += 60
    assert not pulse.is_silent()
    clock.now += 0.1
    assert pulse.is_silent()
    pulse.begin()
    clock.now += 90
    assert not pulse.is_silent()
    clock.now += 0.1
    assert pulse.is_silent()


def test_a_clock_that_is_set_back_is_a_sign_of_life_like_any_other() -> None:
    clock, written = Clock(), ["2026-05-01 09:00:00"]
    pulse = Pulse(lambda: written[-1], 60, 90, clock)
    clock.now += 80
    written.append("2025-05-01 09:00:00")
    assert pulse.feel()
    assert not pulse.is_silent()


def test_a_heartbeat_that_cannot_be_read_condemns_nobody(logged: pytest.LogCaptureFixture) -> None:
    clock = Clock()

    def fail() -> None:
        raise sqlite3.OperationalError("database is locked, said +12025550100")

    pulse = Pulse(fail, 60, 90, clock)
    for _ in range(5):
        clock.now += 80
        assert not pulse.feel()
        assert not pulse.is_silent()
    assert [r.getMessage() for r in logged.records] == [
        "the heartbeat of gammu-smsd cannot be read: OperationalError"  # once, and nobody's words
    ]


def test_without_a_heartbeat_nobody_is_silent() -> None:
    clock = Clock()
    pulse = Pulse(lambda: None, 0, 90, clock)
    clock.now += 10_000
    assert not pulse.is_silent()


# --- what it said -----------------------------------------------------------------------------------


def test_the_last_words_hold_nobodys_words_or_numbers() -> None:
    """Lines as gammu-smsd 1.42.0 writes them with debuglevel 7, and one made worse."""
    said = telling([
        "Sun 2026/11/29 16:27:31 gammu-smsd[12010]: DBI error 1: 1: no such table: gammu",
        "Sun 2026/11/29 16:27:31 gammu-smsd[12010]: SQL failed: INSERT INTO inbox VALUES ('metal in my oil')",
        "Sun 2026/11/29 16:19:03 gammu-smsd[8186]: Message: it failed, error, help",
        "Sun 2026/11/29 16:19:03 gammu-smsd[8186]: Transmitted 2 (total: 1) to +12025550100, error",
        "Sun 2026/11/29 16:19:03 gammu-smsd[8186]: DBI error -6: -6: The requested variable is not a string",
        "Sun 2026/11/29 16:19:15 gammu-smsd[8335]: gammu: error in hidden words",
        "Sun 2026/11/29 16:19:15 gammu-smsd[8335]: Error sending \"rough idle\" for 12025550100.",
        "Failed to run SMSD: Failed to initialize DB driver.",
        "Failed to run SMSD: Failed to initialize DB driver.",
    ])  # fmt: skip
    assert said == [
        "DBI error 1: 1: no such table: gammu",
        "Error sending (...) for (number)",
        "Failed to initialize DB driver",
    ]


def test_of_a_log_file_only_what_this_child_wrote_counts(tmp_path: Path) -> None:
    path = tmp_path / "smsd.log"
    path.write_text("Error of yesterday\n")
    told = Telling(path)
    told.begin()
    assert told.why() == "it said nothing"
    with path.open("a") as file:
        file.write("Error of today\n")
    told.add(b"Failed to go")
    told.add(b" on\nall is well\n")
    assert told.why() == "Error of today; Failed to go on"


def test_much_talk_costs_no_memory() -> None:
    told = Telling()
    for _ in range(100):
        told.add(b"it failed " * 10_000)
    assert len(told.why()) <= 8192
    for _ in range(100):
        told.add(b"x" * 100_000 + b"\n")
    assert sum(len(line) for line in told.lines) <= 40 * 8192


# --- by the settings --------------------------------------------------------------------------------

GIVEN = {"SUMPLINE_DB": "club.db", "SUMPLINE_SMS_GATEWAY": "smsd.db", "SUMPLINE_SMS_NUMBER": "+12025550100"}


def _rc(folder: Path, *lines: str) -> Path:
    path = folder / "smsd.conf"
    path.write_text("\n".join(["[smsd]", *lines, ""]))
    return path


@pytest.mark.parametrize(
    ("lines", "silence"),
    [  # worked out by hand: four times the status, or one whole sending and two looks
        ([], 240.0),  # 60 s is what the daemon does if nothing is said: gammu-smsdrc(5), StatusFrequency
        (["statusfrequency = 15"], 60.0),
        (["statusfrequency = 5"], 40.0),
        (["StatusFrequency = 5", "sendtimeout = 3"], 20.0),
        (["statusfrequency = 0"], 0.0),
        (["statusfrequency = often"], 0.0),
    ],
)
def test_how_long_it_may_be_silent(tmp_path: Path, lines: list[str], silence: float) -> None:
    assert pace_of(read_rc(_rc(tmp_path, *lines))).silence == silence


def test_who_keeps_it_is_in_the_settings(tmp_path: Path) -> None:
    path = _rc(tmp_path, "logfile = smsd.log")
    ours = read({**GIVEN, "SUMPLINE_SMS_DAEMON": "gammu-smsd", "SUMPLINE_SMS_CONFIG": str(path)})
    kept = keeper(ours, read_rc(path), lambda: None)
    assert isinstance(kept, Own)
    assert kept.command == ["gammu-smsd", "--config", str(path)]
    assert (kept.latch.path, kept.telling.log_file) == (Path("club.db.smsd.lock"), Path("smsd.log"))
    theirs = keeper(read({**GIVEN, "SUMPLINE_SMS_RESTART": "systemctl restart x"}), None, lambda: None)
    assert isinstance(theirs, Foreign)
    assert (theirs.restart, theirs.pace.silence) == (("systemctl", "restart", "x"), 240.0)


# --- the real program -------------------------------------------------------------------------------


def _dummy(folder: Path) -> Path:
    """A configuration with the test driver of Gammu: a folder stands for a phone."""
    (folder / "phone").mkdir()
    with contextlib.closing(sqlite3.connect(folder / "smsd.db")) as made:
        made.executescript(packaged("sqlite") or "")
    path = folder / "smsd.conf"
    path.write_text(
        f"[gammu]\nmodel = dummy\nconnection = none\nport = {folder}/phone\ngammuloc = /dev/null\n"
        f"[smsd]\nservice = sql\ndriver = sqlite3\ndbdir = {folder}\ndatabase = smsd.db\ncommtimeout = 1\n"
        f"receivefrequency = 1\nstatusfrequency = 1\nsendtimeout = 3\nlogfile = {folder}/smsd.log\n"
    )
    return path


def _heartbeat(folder: Path) -> str | None:
    with contextlib.closing(sqlite3.connect(folder / "smsd.db", timeout=5)) as opened:
        found = opened.execute("select max(UpdatedInDB) from phones").fetchone()
    return str(found[0]) if found[0] else None


async def test_the_real_one_lives_in_utc_and_is_started_again_when_it_is_silent(
    tmp_path: Path, logged: pytest.LogCaptureFixture
) -> None:
    require_daemon()
    path = _dummy(tmp_path)
    given = {**GIVEN, "SUMPLINE_DB": str(tmp_path / "club.db"), "SUMPLINE_SMS_CONFIG": str(path)}
    settings = read({**given, "SUMPLINE_SMS_DAEMON": str(REAL)})
    rc = read_rc(path)
    assert pace_of(rc).silence == 5.0  # by hand: 4 x 1 s, or 3 s + 2 x 1 s
    pace = replace(pace_of(rc), patience=2.0, first=0.1, look=0.1)
    daemon = keeper(settings, rc, lambda: _heartbeat(tmp_path), pace)
    assert isinstance(daemon, Own)
    async with running(daemon):
        await until(lambda: daemon.pulse.heard)
        first = daemon.pid
        assert first is not None
        assert daemon.latch.is_held()  # the daemon leaves the files alone that it did not open
        assert b"TZ=UTC" in Path(f"/proc/{first}/environ").read_bytes().split(b"\0")
        os.kill(first, signal.SIGSTOP)  # it is there, and does nothing, not even end when it is asked
        await until(lambda: daemon.restarts == 1 and daemon.pulse.heard, 40)
        assert daemon.pid != first
        assert not is_there(first)
        last = daemon.pid
        assert last is not None
    assert not is_there(last)
    assert "no sign of life" in logged.text


async def test_the_real_one_says_why_it_will_not_run(
    tmp_path: Path, logged: pytest.LogCaptureFixture
) -> None:
    require_daemon()
    path = _dummy(tmp_path)
    path.write_text(path.read_text().replace("= sqlite3", "= sqlite3 # a remark"))
    command = [str(REAL), "--config", str(path)]
    pace = replace(QUICK, long=60.0)
    latch = Latch(tmp_path / "lock")
    async with running(Own(command, lambda: None, pace, latch, read_rc(path).log_file)):
        await until(lambda: "ended at once" in logged.text)
    assert "DBI failed to init sqlite3 # a remark driver!" in logged.text
