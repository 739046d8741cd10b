"""The configuration of gammu-smsd, read as the daemon itself reads it, and what it means for us.

Tried with gammu-smsd 1.42.0: the first of two sections of one name counts, and in it the last of two lines
of one name; names may be in capitals; a remark is a line of its own, and behind a value it is part of that.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

# What the daemon does where nothing is said: gammu-smsdrc(5) of 1.42.0, "General parameters of SMS daemon".
USUAL = {
    "commtimeout": 30, "sendtimeout": 30, "receivefrequency": 15, "statusfrequency": 60, "loopsleep": 1,
    "multiparttimeout": 600, "maxretries": 1, "retrytimeout": 600, "checksecurity": 1, "debuglevel": 0,
}  # fmt: skip
_LISTS = ("include_numbers", "exclude_numbers", "include_smsc", "exclude_smsc")  # a number a line, no names
SILENT_TIMES = 4  # so many times the status may be missed, before the daemon is taken for hung


class SmsdrcError(Exception):
    """The file cannot be read; one sentence says why and what to do."""


@dataclass(frozen=True)
class Entry:
    """A value, and the line on which it stands."""

    value: str
    line: int


@dataclass(frozen=True)
class Smsdrc:
    """What stands in the file, by section and name in small letters; `ignored` are lines nobody reads."""

    path: Path
    entries: Mapping[tuple[str, str], Entry]
    ignored: tuple[int, ...] = ()
    lists: frozenset[str] = frozenset()  # of numbers, that are let in or shut out
    is_open: bool = False  # others than owner and group may read it

    def text(self, name: str, usual: str = "", section: str = "smsd") -> str:
        """A value as it stands there."""
        found = self.entries.get((section, name))
        return found.value if found else usual

    def number(self, name: str) -> int | None:
        """A whole number; None where something else stands."""
        told = self.text(name, str(USUAL[name]))
        return int(told) if told.isascii() and told.isdigit() else None

    @property
    def port(self) -> str:
        """The device of the modem; 'port' is its older name."""
        return self.text("device", section="gammu") or self.text("port", section="gammu")

    @property
    def database(self) -> Path:
        """The file of a SQLite data base."""
        return Path(self.text("dbdir")) / self.text("database")

    @property
    def log_file(self) -> Path | None:
        """Where the daemon writes what it does, where that is a file."""
        told = self.text("logfile")
        return Path(told) if told not in ("", "syslog", "stderr", "stdout", "none") else None

    def silence(self) -> float:
        """Seconds without a heartbeat after which the daemon is taken for hung; 0 where it has none.

        The status waits while one text message is on its way, so it may be late by the time that that takes.
        """
        status, sending = self.number("statusfrequency"), self.number("sendtimeout")
        if not status:
            return 0.0
        return float(max(SILENT_TIMES * status, (sending or USUAL["sendtimeout"]) + 2 * status))


def read(path: Path) -> Smsdrc:
    """The configuration that stands in a file. Raises SmsdrcError when it cannot be read."""
    try:
        mode = path.stat().st_mode
        text = path.read_bytes().decode("utf-8", "replace")
    except OSError as err:
        why = os.strerror(err.errno or 0).lower()
        raise SmsdrcError(
            f"{path} cannot be read ({why}); check SUMPLINE_SMS_CONFIG and its rights."
        ) from err
    return _parse(path, text, bool(mode & 0o007))


def _parse(path: Path, text: str, is_open: bool) -> Smsdrc:
    entries: dict[tuple[str, str], Entry] = {}
    ignored: list[int] = []
    section, seen = "", set[str]()
    for number, line in enumerate(text.splitlines(), 1):
        told = line.strip()
        if not told or told[0] in "#;":
            continue
        if told[0] == "[" and told[-1] == "]":
            name = told[1:-1].strip().lower()
            section = "" if name in seen else name
            seen.add(name)
            continue
        name, equals, value = (part.strip() for part in told.partition("="))
        if section in _LISTS:
            continue
        if not equals or not section:
            ignored.append(number)
            continue
        if earlier := entries.get((section, name.lower())):
            ignored.append(earlier.line)
        entries[section, name.lower()] = Entry(value, number)
    return Smsdrc(path, entries, tuple(sorted(ignored)), frozenset(seen & set(_LISTS)), is_open)
