"""What stands in the configuration of gammu-smsd, judged: will it serve a talk, and what should be changed.

The reasons were seen with gammu-smsd 1.42.0 or stand in its manual, gammu-smsdrc(5).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Literal
from urllib.parse import urlsplit

from bot.channels.sms.settings import Settings
from bot.channels.sms.smsdrc import USUAL, Smsdrc

SOON = 5  # seconds; a rider at the roadside waits for both directions
RETRIED_WITHIN = 120  # seconds; later an answer has been overtaken by the talk
NOTICED_WITHIN = 120  # seconds; a hung daemon


@dataclass(frozen=True)
class Point:
    """One thing that was looked at: how it stands, and what to do where it is not well."""

    mark: Literal["ok", "mind", "wrong"]
    text: str

    def __str__(self) -> str:
        return f"{self.mark:<6}{self.text}"


def ok(text: str) -> Point:
    """A thing that is well."""
    return Point("ok", text)


def mind(text: str) -> Point:
    """A thing that works and that somebody should know of."""
    return Point("mind", text)


def wrong(text: str) -> Point:
    """A thing that must be changed."""
    return Point("wrong", text)


def judge(rc: Smsdrc, settings: Settings) -> Iterator[Point]:
    """All that is to be said of a configuration, in the order of the file that we ship as an example."""
    yield from _form(rc)
    yield from _service(rc, settings)
    yield from _connection(rc)
    yield from _pin(rc)
    yield from _times(rc)
    yield from _reports(rc)
    yield from _rest(rc)


def _form(rc: Smsdrc) -> Iterator[Point]:
    """Remarks and quotes that the daemon takes for a part of the value, and lines that it passes over."""
    for (_, name), entry in rc.entries.items():
        if " #" in entry.value or " ;" in entry.value or entry.value[:1] in ("'", '"'):
            yield wrong(
                f"{rc.path}, line {entry.line}: {name} is all of '{_short(name, entry.value)}', with remark "
                "and quotes; put remarks on lines of their own and leave quotes out."
            )
    for line in rc.ignored:
        yield wrong(f"{rc.path}, line {line} counts for nothing: said again below, or no NAME = value.")


def _short(name: str, value: str) -> str:
    """A value for people; never one that is secret."""
    return "(secret)" if name in ("pin", "password", "phonecode", "networkcode") else value[:40]


def _service(rc: Smsdrc, settings: Settings) -> Iterator[Point]:
    service, driver = rc.text("service").lower(), rc.text("driver").lower()
    if service != "sql":
        yield wrong(f"service is '{service}', and only its tables serve us; write: service = sql")
        return
    needed = "native_pgsql" if settings.is_postgres else "sqlite3"
    if driver != needed:
        yield wrong(f"driver is '{driver}', and SUMPLINE_SMS_GATEWAY needs: driver = {needed}")
    elif settings.is_postgres:
        yield _same_server(rc, settings)
    else:
        yield _same_file(rc, settings)


def _same_file(rc: Smsdrc, settings: Settings) -> Point:
    if not rc.text("dbdir") or not rc.text("database"):
        return wrong("dbdir or database is not set: the folder and the file of SUMPLINE_SMS_GATEWAY.")
    if not Path(rc.text("dbdir")).is_absolute():
        return wrong(f"dbdir is '{rc.text('dbdir')}'; write the whole path, or it depends on who starts it.")
    if rc.database.resolve() != Path(settings.gateway).resolve():
        return wrong(
            f"gammu-smsd writes into {rc.database} and SUMPLINE_SMS_GATEWAY is {settings.gateway}; "
            "both must name the same file."
        )
    return ok(f"gammu-smsd and we use the same file, {rc.database}.")


def _same_server(rc: Smsdrc, settings: Settings) -> Point:
    """Host, port and name of the data base. They can be written in many ways: a difference is no proof."""
    address = urlsplit(settings.gateway)
    host, _, port = rc.text("host", rc.text("pc", "localhost")).partition(":")
    theirs = (_here(host), port or "5432", rc.text("database"))
    ours = (_here(address.hostname or ""), str(address.port or 5432), address.path.lstrip("/"))
    if theirs[2] != ours[2]:
        return wrong(f"gammu-smsd uses the data base '{theirs[2]}' and we use '{ours[2]}'; it must be one.")
    if theirs != ours:
        return mind(
            f"gammu-smsd uses {':'.join(theirs[:2])} and we use {':'.join(ours[:2])}; see that it is one."
        )
    return ok(f"gammu-smsd and we use the same data base, {ours[2]} at {':'.join(ours[:2])}.")


def _here(host: str) -> str:
    return "localhost" if host in ("", "127.0.0.1", "::1") else host


def _connection(rc: Smsdrc) -> Iterator[Point]:
    told, model = rc.text("connection", section="gammu").lower(), rc.text("model", section="gammu").lower()
    if model == "dummy":
        yield mind("model is dummy: a folder stands for the modem, and no text message leaves this machine.")
    elif not told:
        yield wrong("connection is not set in [gammu]; nearly every modem needs: connection = at")
    elif told.startswith(("at", "blueat", "proxyat")):
        yield ok(f"connection is {told}.")
    else:
        yield mind(f"connection is '{told}'; nearly every modem needs: connection = at")


def _pin(rc: Smsdrc) -> Iterator[Point]:
    has_pin, checks = bool(rc.text("pin")), rc.number("checksecurity") != 0
    if (has_pin or rc.text("password")) and rc.is_open:
        yield wrong(
            f"everybody can read {rc.path}, and it holds a PIN or a password: run chmod o-rwx {rc.path}"
        )
    if has_pin and not checks:
        yield wrong("pin is set, but checksecurity = 0 keeps it from being entered; write: checksecurity = 1")
    elif has_pin:
        yield mind(
            "pin is set: three wrong ones lock the SIM, so read it once more; best is a SIM without a PIN."
        )
    else:
        yield ok("no PIN is set, so the SIM must have none.")


def _times(rc: Smsdrc) -> Iterator[Point]:
    """How long a rider waits, and how soon a hung daemon is noticed."""
    for name in ("commtimeout", "receivefrequency", "loopsleep", "sendtimeout", "multiparttimeout"):
        if rc.number(name) is None:
            yield wrong(f"{name} is '{rc.text(name)}'; write a whole number of seconds.")
    looks = {name: rc.number(name) or 0 for name in ("commtimeout", "receivefrequency")}
    slow = [f"{name} = {seconds}" for name, seconds in looks.items() if seconds > SOON]
    if slow:
        yield mind(
            f"{' and '.join(slow)} (what it does if not told: {USUAL['commtimeout']} and "
            f"{USUAL['receivefrequency']}): a question and its answer may take {sum(looks.values())} s more "
            "than they must; write 1 or 2 for both."
        )
    else:
        yield ok(f"gammu-smsd looks for text messages every {max(looks.values())} s.")
    yield _status(rc)


def _status(rc: Smsdrc) -> Point:
    status = rc.number("statusfrequency")
    if not status:
        return wrong("statusfrequency is 0 or no number: a gammu-smsd that hangs is not noticed; write 15.")
    if rc.silence() > NOTICED_WITHIN:
        return mind(
            f"statusfrequency = {status}: a hang is noticed only after {rc.silence():.0f} s; write 15."
        )
    return ok(f"a gammu-smsd that hangs is noticed after {rc.silence():.0f} s.")


def _reports(rc: Smsdrc) -> Iterator[Point]:
    told = rc.text("deliveryreport", "no").lower()
    if told == "sms":
        yield wrong("deliveryreport = sms puts reports among the riders' texts; write: deliveryreport = no")
    elif told == "log":
        yield mind("deliveryreport = log asks for a report of every text, and some networks charge for it.")
    else:
        yield ok("reports are asked for only where we need one.")
    yield _tries(rc)


def _tries(rc: Smsdrc) -> Point:
    tries, again = rc.number("maxretries"), rc.number("retrytimeout")
    if tries is None or again is None:
        return wrong("maxretries or retrytimeout is no whole number; write 1 and 30.")
    if tries > 3:
        return mind(f"maxretries = {tries}: each try of a refused text may be charged; write 1.")
    if tries and again > RETRIED_WITHIN:
        return mind(
            f"retrytimeout = {again}: a refused text is tried again after {again} s, too late; write 30."
        )
    return ok(f"a refused text is tried {1 + tries} times.")


def _rest(rc: Smsdrc) -> Iterator[Point]:
    for name in ("send", "receive"):
        if rc.text(name, "true").lower() in ("0", "no", "false", "off"):
            yield wrong(f"{name} is off, and then there is no talk; take the line out.")
    if rc.number("debuglevel") != 0:
        yield mind("debuglevel is not 0: texts and numbers of riders are written into the log; write 0.")
    if not rc.text("logfile"):
        yield mind("logfile is not set: nobody will know why a modem is not heard; name a file.")
    for name in sorted(rc.lists):
        yield mind(f"[{name}] lets only some numbers through; the others get no answer and no word about it.")
