"""What gammu-smsd said last, for the sentence on why it will not run: nobody's words or numbers in it.

Told to log much (debuglevel above 0), the daemon writes texts and numbers of riders. So lines that may hold
them are passed over, and of the others all that is quoted or looks like a number is left out.
"""

from __future__ import annotations

import contextlib
import os
import re
import subprocess
from collections import deque
from collections.abc import Iterable
from pathlib import Path

KEPT = 40  # lines
TOLD = 3  # lines in one sentence
_TAIL = 8192  # bytes at the end of a file, or of a line that has no end
_BEFORE = re.compile(r"^.*?gammu-smsd\[\d+\]: ")  # the time, and who writes
_OUR_NAME = re.compile(r"^Failed to run SMSD: ")
_TELLS = re.compile(
    r"fail|error|cannot|could not|denied|no such|not exist|not responding|older|newer|timeout", re.I
)
# With SQLite the daemon says this at each look, and all is well.
_HARMLESS = re.compile(r"DBI error -6\b|Going to \d+ seconds|No error")
_PRIVATE = re.compile(r"Message:|SQL|gammu: |Transmitted|from |to \+")
_PIN = re.compile(r"incorrect PIN|Error entering PIN")
_MOST_AT_ONCE = 16  # pieces of 64 kB; whoever says more has to wait
_NUMBERS = re.compile(r"\+?\d{5,}")
_QUOTED = re.compile(r"'[^']*'|\"[^\"]*\"")


class Telling:
    """The last lines of a child, and of the file that it logs to if there is one."""

    def __init__(self, log_file: Path | None = None) -> None:
        self.log_file = log_file
        self.lines: deque[str] = deque(maxlen=KEPT)
        self._rest = b""
        self._from = 0

    def begin(self) -> None:
        """A new child; what the one before it said is forgotten, also in the file."""
        self.lines.clear()
        self._rest = b""
        self._from = _size(self.log_file)

    def drain(self, child: subprocess.Popen[bytes]) -> None:
        """Take what a child has said by now, without waiting for more."""
        assert child.stdout is not None
        with contextlib.suppress(BlockingIOError):
            for _ in range(_MOST_AT_ONCE):
                if not (piece := os.read(child.stdout.fileno(), 65_536)):
                    break
                self.add(piece)

    def add(self, piece: bytes) -> None:
        """Another piece of what it says; a line may come in several."""
        *whole, self._rest = (self._rest + piece).split(b"\n")
        self._rest = self._rest[-_TAIL:]
        self.lines.extend(line[-_TAIL:].decode("utf-8", "replace") for line in whole)

    def refuses_pin(self) -> bool:
        """Whether the SIM did not take its PIN."""
        return any(_PIN.search(line) for line in (*self._logged(), *self.lines))

    def why(self) -> str:
        """Its last words about what went wrong, without the stop at the end."""
        told = telling([*self._logged(), *self.lines, self._rest.decode("utf-8", "replace")])
        return "; ".join(told) or "it said nothing"

    def _logged(self) -> list[str]:
        """The end of its log file, as far as this child wrote it."""
        if self.log_file is None:
            return []
        try:
            with self.log_file.open("rb") as file:
                file.seek(max(min(self._from, _size(self.log_file)), _size(self.log_file) - _TAIL))
                return file.read(_TAIL).decode("utf-8", "replace").splitlines()
        except OSError:
            return []


def telling(lines: Iterable[str]) -> list[str]:
    """The last few lines that say what went wrong, each once and without anybody's words or numbers."""
    found: dict[str, None] = {}
    for line in lines:
        said = _OUR_NAME.sub("", _BEFORE.sub("", line)).strip()
        if not _TELLS.search(said) or _HARMLESS.search(said) or _PRIVATE.search(said):
            continue
        found[_NUMBERS.sub("(number)", _QUOTED.sub("(...)", said)).rstrip(".")] = None
    return list(found)[-TOLD:]


def _size(path: Path | None) -> int:
    try:
        return path.stat().st_size if path else 0
    except OSError:
        return 0
