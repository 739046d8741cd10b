"""What `serve sms --dry-run` says: each point in one line, and what to do about it.

A line begins with `ok`, with `mind` (it will run, but somebody should know) or with `wrong` (it will not
run, or not as it should). No modem is opened, nothing is sent, and nothing is changed but that a record is
made.
"""

from __future__ import annotations

import contextlib
import os
from collections.abc import Callable, Iterator, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import TextIO

from bot import turn
from bot.channels.settings import SettingsError, hide
from bot.channels.sms import advice, machine, smsdrc
from bot.channels.sms.advice import Point, mind, ok, wrong
from bot.channels.sms.settings import Settings
from bot.channels.sms.smsdrc import Smsdrc, SmsdrcError

WRONG = 1  # the status for the shell
NEVER_BEFORE = datetime(2026, 1, 1, tzinfo=UTC)  # this program is younger than that
LATE = 120.0  # seconds that a file may be younger than the clock says


def report(settings: Settings, gateway: Callable[[], Sequence[str]], out: TextIO) -> int:
    """Print all points; 0 when nothing is wrong, else 1.

    `gateway` gives a sentence for each thing that is wrong with the daemon's data base, or raises with one.
    """
    return tell(look(settings, gateway), out)


def refuse(error: SettingsError, out: TextIO) -> int:
    """The same, where the settings cannot be used, so that there is nothing else to look at."""
    return tell([wrong(sentence) for sentence in error.problems], out)


def tell(points: Sequence[Point], out: TextIO) -> int:
    """Print points and what they come to; the status for the shell."""
    bad = sum(point.mark == "wrong" for point in points)
    end = (
        f"Wrong: {bad}. Change that and look again."
        if bad
        else "Nothing is wrong; start it without --dry-run."
    )
    for line in (*points, end):
        print(line, file=out)
    return WRONG if bad else 0


def look(
    settings: Settings,
    gateway: Callable[[], Sequence[str]],
    now: Callable[[], datetime] = lambda: datetime.now(UTC),
    root: Path = Path("/"),
) -> list[Point]:
    """All points, in the order in which one would put them right. `root`: where the machine's files begin."""
    rc, points = _configuration(settings)
    return [
        *_settings(settings),
        _clock(settings, now()),
        _record(settings),
        *points,
        *_gateway(settings, gateway),
        *(machine.look_at_port(rc, bool(settings.daemon), root) if rc else ()),
        *machine.look_at_program(settings, root),
        *_keeping(settings, root),
    ]


def _settings(settings: Settings) -> Iterator[Point]:
    caps = settings.caps
    cost = f", {settings.price.of(caps.sim)} at most" if settings.price else ""
    yield ok(
        f"settings: at most {caps.session} text messages a session, {caps.day} a number and day, "
        f"{caps.sim} a day in all{cost}."
    )
    if not settings.help:
        yield mind("SUMPLINE_SMS_HELP is not set: who reaches a cap is not told whom to call instead.")


def _clock(settings: Settings, now: datetime) -> Point:
    """A machine without a clock of its own wakes up in the past, until the network gives it the time."""
    said = f"{now:%Y-%m-%d %H:%M} UTC"
    files = [settings.database, settings.config, None if settings.is_postgres else Path(settings.gateway)]
    ages = [now.timestamp() - written for file in files if file and (written := _written(file))]
    if now < NEVER_BEFORE or any(age < -LATE for age in ages):
        return wrong(f"the clock says {said}, which is past; see that the machine gets its time.")
    return ok(f"the clock says {said}.")


def _written(file: Path) -> float | None:
    try:
        return file.stat().st_mtime
    except OSError:
        return None


def _record(settings: Settings) -> Point:
    try:
        with contextlib.closing(turn.open_record(settings.database)) as store:
            store.check_key()
    except turn.RecordError as err:
        return wrong(str(err))
    except turn.KeyTroubleError as err:
        return wrong(f"nobody can share a case: {err}.")
    return ok(f"the record {settings.database} can be used.")


def _configuration(settings: Settings) -> tuple[Smsdrc | None, list[Point]]:
    if settings.config is None:
        return None, [mind("SUMPLINE_SMS_CONFIG is not set, so what gammu-smsd was told is not looked at.")]
    try:
        rc = smsdrc.read(settings.config)
    except SmsdrcError as err:
        return None, [wrong(str(err))]
    return rc, [ok(f"{settings.config} can be read."), *advice.judge(rc, settings)]


def _gateway(settings: Settings, check: Callable[[], Sequence[str]]) -> Iterator[Point]:
    try:
        found = list(check())
    except Exception as err:  # whatever a data base raises is said, and the other points are still looked at
        found = [str(err) or type(err).__name__]
    for sentence in found:
        yield wrong(hide(sentence))
    if not found:
        yield ok(f"the data base {hide(settings.gateway)} can be used.")


def _keeping(settings: Settings, root: Path) -> Iterator[Point]:
    """Who runs the daemon, and in which zone."""
    if settings.daemon:
        yield ok("we run gammu-smsd, with TZ=UTC, and start it again when it hangs.")
        return
    yield machine.look_at_zone(root)
    if not settings.restart:
        yield mind(
            "somebody else runs gammu-smsd: we say when it hangs, and do no more; set SUMPLINE_SMS_RESTART "
            "or SUMPLINE_SMS_DAEMON to have it started again."
        )
    elif not machine.find_program(settings.restart[0], os.environ):
        yield wrong(f"SUMPLINE_SMS_RESTART: there is no program {settings.restart[0]}.")
    else:
        yield ok(f"somebody else runs gammu-smsd; {settings.restart[0]} is run when it hangs.")
