"""`sumpline case sheet`: the sheet at the command line, as text, PDF and JSON."""

from __future__ import annotations

import json
from pathlib import Path

import jsonschema
import pypdf
import pytest

from bot import sheets
from bot.reports.sheet_form import schema
from tests.channels.contract import FIRST
from tests.test_cli import Shell, shell, talked

__all__ = ["shell", "talked"]


def test_without_options_it_is_the_whole_sheet_as_text(talked: Shell) -> None:
    status, out, _ = talked.run("case", "sheet", "1")
    assert (status, out) == (0, talked.run("case", "show", "1")[1])
    assert "Drive nut working loose" in out


@pytest.mark.parametrize(("paper", "size"), [((), (595, 842)), (("--paper", "letter"), (612, 792))])
def test_as_pdf(talked: Shell, tmp_path: Path, paper: tuple[str, ...], size: tuple[int, int]) -> None:
    file = tmp_path / "goat.pdf"
    status, out, _ = talked.run("case", "sheet", "1", "--pdf", file, *paper)
    assert (status, out) == (0, f"Written to {file}.\n")
    [page] = pypdf.PdfReader(file).pages
    assert tuple(round(x) for x in page.mediabox.upper_right) == size
    assert FIRST in page.extract_text()


def test_as_json_to_a_file_and_to_a_pipe(talked: Shell, tmp_path: Path) -> None:
    file = tmp_path / "goat.json"
    assert talked.run("case", "sheet", "1", "--json", file)[:2] == (0, f"Written to {file}.\n")
    plain = json.loads(file.read_text("utf-8"))
    jsonschema.validate(plain, schema())
    piped = json.loads(talked.run("case", "sheet", "1", "--json", "-")[1])
    assert {**piped, "written": ""} == {**plain, "written": ""}
    assert piped["bike"]["nickname"] == "Goat"


def test_both_at_once_leave_the_pipe_to_the_json(talked: Shell, tmp_path: Path) -> None:
    file = tmp_path / "goat.pdf"
    status, out, err = talked.run("case", "sheet", "1", "--pdf", file, "--json", "-")
    assert (status, json.loads(out)["sheet"]) == (0, 1)
    assert err == f"Written to {file}.\n"
    assert file.read_bytes().startswith(b"%PDF-")


def test_nothing_is_written_over(talked: Shell, tmp_path: Path) -> None:
    file = tmp_path / "mine"
    file.write_text("mine")
    for option in ("--pdf", "--json"):
        assert "is there already; name a new file" in talked.refused("case", "sheet", "1", option, file)
    new = tmp_path / "new"
    assert "new" in talked.refused("case", "sheet", "1", "--pdf", new, "--json", new)
    assert file.read_text() == "mine"


def test_a_place_that_cannot_be_written_is_named(talked: Shell, tmp_path: Path) -> None:
    assert "nowhere" in talked.refused("case", "sheet", "1", "--pdf", tmp_path / "nowhere" / "a.pdf")


def test_a_case_that_is_not_there_or_has_no_flow(shell: Shell, tmp_path: Path) -> None:
    shell.run("chat", "--as", "robin", said="qwertz\n")
    assert "qwertz" in shell.run("case", "sheet", "1")[1]
    refused = shell.refused("case", "sheet", "1", "--pdf", tmp_path / "a.pdf")
    assert "No flow was chosen yet" in refused
    assert not (tmp_path / "a.pdf").exists()
    assert "no case 99" in shell.refused("case", "sheet", "99", "--json", "-")


def test_without_the_packages_it_says_which(
    talked: Shell, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def missing(*_: object) -> bytes:
        raise ImportError

    monkeypatch.setattr(sheets, "print_sheet", missing)
    assert "sumpline[paper]" in talked.refused("case", "sheet", "1", "--pdf", tmp_path / "a.pdf")
