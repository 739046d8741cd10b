"""Files that commands write, never over one that is there; and the streams they talk through."""

from __future__ import annotations

import sys
from io import TextIOWrapper
from pathlib import Path
from typing import TextIO


def fresh(name: str, refused: type[Exception]) -> Path:
    """The path of a file that is not there yet. `refused` says that it is."""
    path = Path(name)
    if path.exists():
        raise refused(f"{path} is there already; name a new file.")
    return path


def put_csv(text: str, name: str, refused: type[Exception]) -> None:
    """Print a CSV text, or write it where a name is given that is not "-"; with a mark for spreadsheets."""
    if name in ("", "-"):
        sys.stdout.write(text.replace("\r\n", "\n"))
        return
    path = fresh(name, refused)
    path.write_text(text, encoding="utf-8-sig", newline="")
    print(f"Written to {path}.")


def utf8(stream: TextIO) -> TextIO:
    """The stream with UTF-8 whatever the machine's habit; what cannot be read or shown is replaced."""
    if isinstance(stream, TextIOWrapper):
        stream.reconfigure(encoding="utf-8", errors="replace")
    return stream
