"""What the machine has of what text messages need: a modem, a program, a zone; looked at, never touched."""

from __future__ import annotations

import grp
import os
import pwd
import re
import shutil
import stat
import subprocess
from collections.abc import Iterator, Mapping
from pathlib import Path

from bot.channels.sms.advice import Point, mind, ok, wrong
from bot.channels.sms.settings import Settings
from bot.channels.sms.smsdrc import Smsdrc

ANSWERED_WITHIN = 10.0  # seconds that the program may take to say its version
TRIED = (1, 42)  # the version that all of this was tried with
PACKAGES = "apt install gammu gammu-smsd libdbd-sqlite3"
_VERSION = re.compile(r"version (\d+)\.(\d+)\S*", re.I)
_CHANGING = re.compile(r"/dev/tty(?:USB|ACM)\d+")
_UTC = {"UTC", "UTC0", "Etc/UTC", "Etc/UCT", "Etc/Universal", "Etc/Zulu", "UCT", "Universal", "Zulu"}


def look_at_port(rc: Smsdrc, ours: bool, root: Path) -> Iterator[Point]:
    """The device of the modem: there, a device, and open to us, where it is we who run the daemon."""
    if rc.text("model", section="gammu").lower() == "dummy":
        return
    if not rc.port:
        yield wrong(
            "device is not set in [gammu]; name the modem's, like /dev/serial/by-id/... " + _seen(root)
        )
        return
    if rc.text("connection", section="gammu").lower().startswith(("blue", "proxy", "irda")):
        yield mind("the modem is not on a wire, so whether it is there cannot be looked at.")
        return
    yield _device(Path(rc.port), ours, root)
    if _CHANGING.fullmatch(rc.port):
        yield mind(
            f"{rc.port} may be another one after a restart; take its name in /dev/serial/by-id. {_seen(root)}"
        )


def _device(path: Path, ours: bool, root: Path) -> Point:
    try:
        found = path.stat()
    except OSError:
        return wrong(f"there is no {path}: is the modem plugged in? {_seen(root)}")
    if not stat.S_ISCHR(found.st_mode):
        return wrong(f"{path} is no device; a modem is one, like /dev/ttyUSB0. {_seen(root)}")
    if os.access(path, os.R_OK | os.W_OK):
        return ok(f"the modem's device {path} is there and may be opened.")
    user, group = _user(), _group(found.st_gid)
    help_ = f"run: usermod -a -G {group} {user}, and log in again or restart the service"
    if ours:
        return wrong(f"{path} may not be opened by {user}; it belongs to the group {group}: {help_}.")
    return mind(f"{path} may not be opened by {user}; whoever runs gammu-smsd must be in the group {group}.")


def _user() -> str:
    try:
        return pwd.getpwuid(os.geteuid()).pw_name
    except KeyError:
        return str(os.geteuid())


def _group(number: int) -> str:
    try:
        return grp.getgrgid(number).gr_name
    except KeyError:
        return str(number)


def _seen(root: Path) -> str:
    """The devices that could be modems; those first whose names stay."""
    dev = root / "dev"
    found = [*sorted(dev.glob("serial/by-id/*")), *sorted([*dev.glob("ttyUSB*"), *dev.glob("ttyACM*")])]
    names = [f"/{path.relative_to(root)}" for path in found]
    return f"Seen here: {', '.join(names[:6])}." if names else "None is seen here."


# --- the program -------------------------------------------------------------------------------


def find_program(name: str, given: Mapping[str, str]) -> str | None:
    """Where a program is, by its path or by its name."""
    return shutil.which(name, path=given.get("PATH"))


def look_at_program(settings: Settings, root: Path) -> Iterator[Point]:
    """gammu-smsd: installed, of a version that we know, and able to speak to the data base."""
    name = settings.daemon or "gammu-smsd"
    path = find_program(name, os.environ)
    if path is None:
        say = wrong if settings.daemon else mind
        yield say(f"there is no program {name} here; install it (Debian: {PACKAGES}).")
        return
    told = _told(path)
    found = _VERSION.search(told)
    if found is None:
        yield wrong(f"{path} does not say its version; set SUMPLINE_SMS_DAEMON to the path of gammu-smsd.")
        return
    known = (int(found[1]), int(found[2])) == TRIED
    yield (
        ok(f"{path} is there, {found[0]}.")
        if known
        else mind(f"{path} is there, {found[0]}; this was tried with {TRIED[0]}.{TRIED[1]}.")
    )
    yield from _services(settings, told, root)


def _told(path: str) -> str:
    """What the program says of itself."""
    given = {name: value for name, value in os.environ.items() if not name.startswith("SUMPLINE_")}
    try:
        done = subprocess.run(
            [path, "--version"], capture_output=True, timeout=ANSWERED_WITHIN, env=given, check=False,
            stdin=subprocess.DEVNULL,
        )  # fmt: skip
    except (OSError, subprocess.TimeoutExpired):
        return ""
    return done.stdout.decode("utf-8", "replace")


def _services(settings: Settings, told: str, root: Path) -> Iterator[Point]:
    """Whether it was built to speak to the data base, and has its driver for SQLite."""
    needed = "POSTGRESQL" if settings.is_postgres else "DBI"
    if not re.search(rf"^\s*- {needed}$", told, re.M):
        yield wrong(f"this gammu-smsd was built without {needed}; take the one of your distribution.")
    if settings.is_postgres:
        return
    places = ("usr/lib/dbd", "usr/lib/*/dbd", "usr/lib64/dbd", "usr/local/lib/dbd")
    if not any(found for place in places for found in root.glob(f"{place}/libdbdsqlite3.so")):
        yield mind(
            "the driver of libdbi for SQLite is not seen; if it does not start: apt install libdbd-sqlite3"
        )


# --- the zone ----------------------------------------------------------------------------------


def look_at_zone(root: Path) -> Point:
    """The zone of a gammu-smsd that somebody else runs.

    It compares times of its tables, which are UTC, with its local time, and elsewhere sends hours too late.
    """
    running = list(_running(root / "proc"))
    if not running:
        return mind("no gammu-smsd is seen running; start its service, with Environment=TZ=UTC in its unit.")
    pid, environ = running[0]
    if environ is None:
        return mind(
            f"the zone of gammu-smsd (process {pid}) cannot be seen by {_user()}; its unit must say "
            "Environment=TZ=UTC."
        )
    zone = environ.get("TZ", "").removeprefix(":")
    if zone in _UTC:
        return ok(f"gammu-smsd runs (process {pid}) with TZ={zone}.")
    if not zone and _is_utc(root / "etc" / "localtime"):
        return ok(f"gammu-smsd runs (process {pid}) in the zone of this machine, which is UTC.")
    said = f"TZ={zone}" if zone else "the zone of this machine"
    return wrong(
        f"gammu-smsd runs (process {pid}) in {said}, and would send hours too late or early: put "
        "Environment=TZ=UTC into its unit and restart it."
    )


def _running(proc: Path) -> Iterator[tuple[int, dict[str, str] | None]]:
    """Each gammu-smsd that runs, with its environment; None where only its user may see that."""
    for folder in sorted(proc.glob("[0-9]*"), key=lambda path: int(path.name) if path.name.isdigit() else 0):
        try:
            name = (folder / "cmdline").read_bytes().split(b"\0")[0]
        except OSError:
            continue
        if os.path.basename(name) != b"gammu-smsd":
            continue
        try:
            told = (folder / "environ").read_bytes().decode("utf-8", "replace")
        except OSError:
            yield int(folder.name), None
        else:
            yield int(folder.name), dict(line.partition("=")[::2] for line in told.split("\0") if line)


def _is_utc(localtime: Path) -> bool:
    """Whether the machine's zone is UTC: so it is without one (tzset(3)), or where the link says so."""
    if not localtime.exists():
        return True
    return any(str(localtime.resolve()).endswith(f"/{name}") for name in _UTC)
