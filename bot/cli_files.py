"""Files that commands write: never over one that is there."""

from __future__ import annotations

import sys
from pathlib import Path


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
