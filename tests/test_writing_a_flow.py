"""The page for authors: short enough to be read, and every command in it does what the page says."""

from __future__ import annotations

import io
import re
import shlex
from pathlib import Path

import pytest

from bot import cli, turn

PAGE = Path(__file__).parents[1] / "docs" / "writing-a-flow.md"


def lines_of(page: str) -> list[str]:
    """Each command of the page, in order."""
    blocks = re.findall(r"^ *```sh\n(.*?)^ *```", page, re.M | re.S)
    return [line.strip() for block in blocks for line in block.splitlines()]


def test_it_is_short_enough_to_be_read() -> None:
    assert len(PAGE.read_text(encoding="utf-8").splitlines()) < 60


def test_it_goes_all_the_way(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """In an empty folder, one command after the other; what is asked is answered with yes."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("SUMPLINE_DB", str(tmp_path / "record.db"))
    turn.open_record(tmp_path / "record.db").close()
    said: dict[str, str] = {}
    for line in lines_of(PAGE.read_text(encoding="utf-8")):
        program, *args = shlex.split(line)
        monkeypatch.setattr(
            "sys.stdin", io.StringIO("my chain came off\nyes\n" if args[1] == "talk" else "yes\n")
        )
        status = cli.main(args)
        told = capsys.readouterr()
        assert (program, status) == ("sumpline", 0), f"{line}: {told.out}{told.err}"
        said[args[1]] = told.out
    assert set(said) == {
        "new", "talk", "keys", "lint", "rehearse", "draw", "simulate", "publish",
        "compare", "versions", "outcomes",
    }  # fmt: skip
    assert "0 differences" in said["rehearse"]
    assert "No mistakes" in said["lint"]
    assert "is in use for everyone" in said["publish"]
    assert "in use" in said["versions"]
    assert (tmp_path / "second-talk.txt").is_file()
    assert list(tmp_path.glob("pictures*.svg"))
