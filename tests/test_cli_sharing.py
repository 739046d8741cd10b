"""Commands of mechanics: `case open` and `bench`."""

from __future__ import annotations

import csv
import io
import json
import re
from contextlib import closing
from pathlib import Path

import pytest

from bot import turn
from tests.channels.contract import FIRST, NOW
from tests.rattle import RATTLE
from tests.test_cli import Shell


@pytest.fixture
def shell(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Shell:
    made = Shell(capsys, monkeypatch, tmp_path)
    with closing(turn.open_record(made.record)) as store:
        turn.lay_out(store, json.dumps(RATTLE), "", "everyone", NOW)
    return made


def share(shell: Shell, who: str = "robin", bike: str = "Goat") -> str:
    """A case of a rider, and a code for it."""
    said = f"{FIRST}\nNo knock\n{bike}\nshare\n"
    status, out, _ = shell.run("chat", "--as", who, "--flow", "rattle", said=said)
    assert status == 0
    return re.findall(r"^open (\S+)$", out, re.MULTILINE)[-1]


def test_a_case_is_opened_and_talked_about_as_its_mechanic(shell: Shell) -> None:
    code = share(shell)
    status, out, _ = shell.run(
        "case", "open", code.lower(), "--as", "max", said="again\nBy foot\nhand it back\n"
    )
    assert status == 0
    assert out.startswith("You are in: Goat.")
    assert "> By foot" in out
    assert "Handed back" in out
    with closing(turn.open_record(shell.record)) as store:
        told = [e for e in store.entries(1) if e.who == "max" and e.event.kind == "trait_told"]
        assert [e.role for e in told] == ["mechanic"]
        assert store.state(1).holders == ()
    shown = shell.run("chat", "--as", "robin", said="again\n")[1]
    assert "max opened your case" in shown
    assert "max handed your case back" in shown


def test_he_goes_on_where_he_was_with_chat(shell: Shell) -> None:
    shell.run("case", "open", share(shell), "--as", "max")
    out = shell.run("chat", "--as", "max", said="where are we\n")[1]
    assert "Goat: Something rattles" in out


def test_a_code_that_opens_nothing_ends_with_its_sentence(shell: Shell) -> None:
    code = share(shell)
    shell.run("case", "open", code, "--as", "max")
    assert "That code opens nothing" in shell.refused("case", "open", code, "--as", "mo")
    assert "'hello' is no code; one is written like ABCD-EF23." in shell.refused("case", "open", "hello")
    assert "your own case" in shell.refused("case", "open", share(shell, "robin", "Goat"), "--as", "robin")
    for _ in range(4):
        shell.refused("case", "open", code, "--as", "mo")
    assert "Try again in 10 minutes." in shell.refused("case", "open", code, "--as", "mo")


def test_without_a_record_there_is_nothing_to_open(shell: Shell, tmp_path: Path) -> None:
    where = ("--db", tmp_path / "none.db")
    assert "There is no record" in shell.refused("case", "open", "ABCD-EF23", *where)
    assert "There is no record" in shell.refused("bench", *where)


def test_a_key_that_others_can_read_is_refused(shell: Shell) -> None:
    code = share(shell)
    shell.record.with_name("record.db.key").chmod(0o644)
    assert "chmod 600 record.db.key" in shell.refused("case", "open", code, "--as", "max")


def test_how_long_codes_are_good_comes_from_the_environment(
    shell: Shell, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("SUMPLINE_CODE_DAYS", "1")
    share(shell)
    with closing(turn.open_record(shell.record)) as store:
        row = store.row("select at, until from grants")
    assert row is not None
    assert int(row["until"][8:10]) - int(row["at"][8:10]) in (1, -27, -28, -29, -30)  # a day later
    monkeypatch.setenv("SUMPLINE_CODE_DAYS", "soon")
    assert "SUMPLINE_CODE_DAYS: 'soon' is not a whole number" in shell.refused("chat")


def test_the_bench_is_listed_narrowed_and_written(shell: Shell, tmp_path: Path) -> None:
    for who, bike in (("robin", "Goat"), ("zoe", "=Mule")):
        shell.run("case", "open", share(shell, who, bike), "--as", "max")
    assert shell.run("bench", "--as", "max")[1] == (
        "1 Goat: something rattles 0 d\n2 =Mule: something rattles 0 d\n"
    )
    assert shell.run("bench", "mule", "--as", "max")[1] == "2 =Mule: something rattles 0 d\n"
    assert "None of your 2 fits that." in shell.run("bench", "brakes", "--as", "max")[1]
    printed = shell.run("bench", "--as", "max", "--csv", "-")[1]
    rows = list(csv.DictReader(io.StringIO(printed)))
    assert [(row["number"], row["bike"]) for row in rows] == [("1", "Goat"), ("2", "'=Mule")]
    target = tmp_path / "bench.csv"
    assert shell.run("bench", "--as", "max", "--csv", target)[1] == f"Written to {target}.\n"
    assert list(csv.DictReader(io.StringIO(target.read_text("utf-8-sig")))) == rows
    assert "is there already; name a new file." in shell.refused("bench", "--as", "max", "--csv", target)


def test_whose_bench_must_be_known(shell: Shell) -> None:
    share(shell)
    assert "Nobody called 'max' is in this record" in shell.refused("bench", "--as", "max")
    assert "You hold no case" in shell.run("bench", "--as", "robin")[1]


def test_what_was_typed_to_open_a_case_is_not_remembered(shell: Shell, tmp_path: Path) -> None:
    """The lines of earlier talks are kept for the arrow keys; a code is none of them."""
    readline = pytest.importorskip("readline")
    from bot.channels.terminal import _history

    path = tmp_path / "lines"
    remember = _history(path)
    assert remember is not None
    readline.clear_history()
    for text in ("hello", "open ABCD-EF23", "ABCDEF23"):
        remember(text)
    kept = path.read_text()
    readline.clear_history()
    assert "hello" in kept
    assert "EF23" not in kept
