"""The command line: what each command prints and ends with, and one clear sentence for each mistake."""

from __future__ import annotations

import io
import json
import os
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path
from typing import Any

import jsonschema
import pytest
import yaml

from bot import __version__, cli, turn
from bot.authoring import shelf
from bot.core.flow import Flow
from tests.channels.contract import FIRST, NOW
from tests.rattle import RATTLE

ROOT = Path(__file__).parent.parent


class Shell:
    """Commands typed one after the other, with a record of their own."""

    def __init__(
        self, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, folder: Path
    ) -> None:
        self.capsys, self.monkeypatch = capsys, monkeypatch
        self.record = folder / "record.db"
        monkeypatch.setenv("SUMPLINE_DB", str(self.record))
        monkeypatch.chdir(folder)

    def run(self, *words: str | Path, said: str = "") -> tuple[int, str, str]:
        """Status, output and complaints of one command."""
        self.monkeypatch.setattr(sys, "stdin", io.StringIO(said))
        self.capsys.readouterr()
        status = cli.main([str(word) for word in words])
        out, err = self.capsys.readouterr()
        return status, out, err

    def refused(self, *words: str | Path, said: str = "") -> str:
        """The sentence with which a command is refused: one line, status 2, nothing else said."""
        status, _, err = self.run(*words, said=said)
        assert status == 2
        assert err.startswith("sumpline: ")
        assert err.rstrip("\n").count("\n") == 0
        assert "Traceback" not in err
        return err


@pytest.fixture
def shell(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Shell:
    return Shell(capsys, monkeypatch, tmp_path)


@pytest.fixture
def talked(shell: Shell) -> Shell:
    """A record with one case of robin's in it, with the small flow."""
    with closing(turn.open_record(shell.record)) as store:
        turn.lay_out(store, json.dumps(RATTLE), "", "everyone", NOW)
    said = f"{FIRST}\nNo knock\nGoat\n"
    status, out, _ = shell.run("chat", "--as", "robin", "--flow", "rattle", said=said)
    assert status == 0
    assert "Goat" in out
    return shell


@pytest.fixture
def flow_file(tmp_path: Path) -> Path:
    path = tmp_path / "rattle.yaml"
    path.write_text(yaml.safe_dump(RATTLE, sort_keys=False), "utf-8")
    return path


# --- talking --------------------------------------------------------------------------------------


def test_chat_answers_and_keeps_the_case(talked: Shell) -> None:
    status, out, _ = talked.run("case", "list")
    assert status == 0
    assert len(out.splitlines()) == 1
    assert "robin, Goat: Something rattles (open)" in out


def test_chat_for_programs(shell: Shell) -> None:
    status, out, err = shell.run("chat", "--jsonl", said='{"text": "there is metal in my oil"}\nnonsense\n')
    assert (status, err) == (0, "")
    first, second = map(json.loads, out.splitlines())
    causes = shelf.find().flow("metal-in-oil")
    assert [s["cause"] for s in first["suspects"]] == [
        *yaml.safe_load(causes.read_text("utf-8"))["causes"],
        "unlisted",
    ]
    assert set(second) == {"error"}


def test_the_time_can_be_given(shell: Shell) -> None:
    shell.run("chat", "--now", "2026-05-04T11:00:00+02:00", said="there is metal in my oil\n")
    _, out, _ = shell.run("case", "list")
    assert "2026-05-04" in out


def test_the_role_goes_with_the_name(talked: Shell) -> None:
    talked.run("chat", "--as", "sam", "--role", "mechanic", "--flow", "rattle", said=f"{FIRST}\n")
    with closing(turn.open_record(talked.record)) as store:
        assert {name: store.named(name).role for name in ("robin", "sam")} == {  # type: ignore[union-attr]
            "robin": "rider",
            "sam": "mechanic",
        }


def test_the_role_is_not_for_others_in_the_same_talk(talked: Shell) -> None:
    lines = [{"text": FIRST}, {"as": "rider", "text": FIRST}, {"as": "mechanic", "text": "hello"}]
    said = "".join(json.dumps(line) + "\n" for line in lines)
    status, out, _ = talked.run(
        "chat", "--jsonl", "--as", "sam", "--role", "mechanic", "--flow", "rattle", said=said
    )
    assert (status, len(out.splitlines())) == (0, 3)
    with closing(turn.open_record(talked.record)) as store:
        roles = {name: store.named(name).role for name in ("sam", "rider", "mechanic")}  # type: ignore[union-attr]
    assert roles == {"sam": "mechanic", "rider": "rider", "mechanic": "mechanic"}


@pytest.mark.parametrize("set_aside", ["XDG_DATA_HOME", "HOME"])
def test_the_record_has_a_place_of_its_own(
    shell: Shell, monkeypatch: pytest.MonkeyPatch, tmp_path: Path, set_aside: str
) -> None:
    for name in ("SUMPLINE_DB", "XDG_DATA_HOME"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv(set_aside, str(tmp_path / "aside"))
    assert shell.run("chat")[0] == 0
    below = "aside/sumpline" if set_aside == "XDG_DATA_HOME" else "aside/.local/share/sumpline"
    assert (tmp_path / below / "record.db").is_file()


# --- what is refused, and how ---------------------------------------------------------------------


def test_a_time_without_a_zone_is_refused(shell: Shell) -> None:
    assert "no zone; write it like 2026-05-01T09:00:00Z" in shell.refused("chat", "--now", "2026-05-01T09:00")
    assert "is not a time" in shell.refused("chat", "--now", "noon")


def test_an_unknown_flow_is_refused_with_the_one_that_is_meant(shell: Shell) -> None:
    assert "did you mean 'metal-in-oil'?" in shell.refused("chat", "--flow", "metal-in-oli")
    assert "metal-in-oil" in shell.refused("chat", "--flow", "zzz")


def test_a_place_that_cannot_hold_a_record_is_refused(shell: Shell, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    assert "file/record.db" in shell.refused("chat", "--db", tmp_path / "file" / "record.db")
    assert str(tmp_path) in shell.refused("chat", "--db", tmp_path)


@pytest.mark.skipif(os.geteuid() == 0, reason="nothing is read-only for the superuser")
def test_a_read_only_folder_is_refused(shell: Shell, tmp_path: Path) -> None:
    folder = tmp_path / "shut"
    folder.mkdir(mode=0o500)
    assert "shut" in shell.refused("chat", "--db", folder / "record.db")


@pytest.mark.parametrize("content", [b"a diary, not a record\n" * 100, b"SQLite format 3\0" + b"\0" * 5000])
def test_a_foreign_file_is_refused_and_left_alone(shell: Shell, tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "diary.txt"
    path.write_bytes(content)
    assert "diary.txt" in shell.refused("chat", "--db", path)
    assert path.read_bytes() == content


def test_a_database_of_another_program_is_refused(shell: Shell, tmp_path: Path) -> None:
    path = tmp_path / "other.db"
    with closing(sqlite3.connect(path)) as other:
        other.execute("create table recipes (name text)")
        other.commit()
    assert "other.db" in shell.refused("chat", "--db", path)


def test_a_locked_record_is_refused(talked: Shell, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("bot.record.opening.BUSY_SECONDS", 0.1)
    with closing(sqlite3.connect(talked.record, isolation_level=None)) as other:
        other.execute("begin immediate")
        assert "in use" in talked.refused("chat", "--as", "robin", said="hello\n")


@pytest.mark.parametrize(
    "words",
    [
        ["case", "list"],
        ["case", "show", "1"],
        ["case", "replay", "1"],
        ["backup", "b.db"],
        ["erase", "robin"],
    ],
)
def test_only_chat_makes_a_record(shell: Shell, words: list[str]) -> None:
    assert "There is no record" in shell.refused(*words)
    assert not shell.record.exists()


@pytest.mark.parametrize("words", [[], ["chta"], ["case"], ["flow", "nope"], ["case", "show", "x"]])
def test_what_is_no_command_is_explained(shell: Shell, words: list[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        shell.run(*words)
    assert ended.value.code == 2
    assert "usage: sumpline" in shell.capsys.readouterr().err


# --- flows ----------------------------------------------------------------------------------------


def test_the_shipped_flows_have_no_mistakes(shell: Shell) -> None:
    status, out, _ = shell.run("flow", "lint")
    assert status == 0, out


def test_lint_shows_every_mistake_with_its_line(shell: Shell, flow_file: Path) -> None:
    text = flow_file.read_text("utf-8").replace("kind: one", "kind: oen", 1).replace("share: 40", "shar: 40")
    flow_file.write_text(text, "utf-8")
    status, out, _ = shell.run("flow", "lint", flow_file)
    assert status == 1
    for wrong in ("kind: oen", "shar: 40"):
        line = next(n for n, found in enumerate(text.split("\n"), 1) if wrong in found)
        assert f"{flow_file}:{line}:" in out
        assert wrong in out


def test_lint_for_programs(shell: Shell, flow_file: Path) -> None:
    flow_file.write_text(flow_file.read_text("utf-8").replace("share: 40", "shar: 40"), "utf-8")
    status, out, _ = shell.run("flow", "lint", "--json", flow_file)
    found = [json.loads(line) for line in out.splitlines()]
    assert status == 1
    assert {(p["file"], p["severity"]) for p in found} >= {(str(flow_file), "error")}
    assert all({"line", "column", "code", "text"} <= set(p) for p in found)


def test_lint_refuses_a_file_that_is_not_there(shell: Shell) -> None:
    assert "nowhere.yaml" in shell.refused("flow", "lint", "nowhere.yaml")


def _schema(shell: Shell, *options: str) -> dict[str, Any]:
    status, out, _ = shell.run("flow", "schema", *options)
    assert status == 0
    found: dict[str, Any] = json.loads(out)
    return found


def test_the_schema_accepts_a_flow_and_refuses_a_misspelt_one(shell: Shell) -> None:
    judge = jsonschema.Draft202012Validator(_schema(shell))
    flow = json.loads(json.dumps(RATTLE))
    assert not list(judge.iter_errors(flow))
    flow["causes"]["nut-loose"]["shar"] = flow["causes"]["nut-loose"].pop("share")
    assert list(judge.iter_errors(flow))


def test_the_schema_of_the_common_file_is_another(shell: Shell) -> None:
    assert _schema(shell, "--common") != _schema(shell)
    assert set(_schema(shell)["properties"]) == set(Flow.model_fields)


def test_a_flow_is_tried_without_touching_the_record(shell: Shell, flow_file: Path, tmp_path: Path) -> None:
    saved = tmp_path / "talk.txt"
    now = "2026-05-04T09:00:00Z"
    status, out, _ = shell.run(
        "flow", "talk", flow_file, "--save", saved, "--now", now, said=f"{FIRST}\nNo knock\n"
    )
    assert status == 0
    assert "Does it knock from below?" in out
    assert not shell.record.exists()
    sample = saved.read_text("utf-8")
    assert f"you: {FIRST}" in sample
    assert "bot: " in sample


def test_a_saved_talk_is_never_written_over_another(shell: Shell, flow_file: Path, tmp_path: Path) -> None:
    saved = tmp_path / "talk.txt"
    saved.write_text("mine")
    assert "talk.txt" in shell.refused("flow", "talk", flow_file, "--save", saved, said=f"{FIRST}\n")
    assert saved.read_text() == "mine"


def test_a_flow_with_mistakes_is_not_tried(shell: Shell, flow_file: Path) -> None:
    flow_file.write_text(flow_file.read_text("utf-8").replace("share: 40", "shar: 40"), "utf-8")
    status, _, err = shell.run("flow", "talk", flow_file, said=f"{FIRST}\n")
    assert status == 2
    assert f"{flow_file}:" in err


def test_rehearse_plays_and_finds_a_changed_line(shell: Shell, tmp_path: Path) -> None:
    sample = tmp_path / "greeting.txt"
    sample.write_text("flow: metal-in-oil\n\nyou: hello\nbot: Something that is never said.\n", "utf-8")
    status, out, _ = shell.run("flow", "rehearse", sample)
    assert status == 1
    assert f"{sample}:4: " in out
    monkeypatch = shell.monkeypatch
    monkeypatch.delenv("CI", raising=False)
    assert shell.run("flow", "rehearse", "--update", sample)[0] == 0
    assert "never said" not in sample.read_text("utf-8")
    assert shell.run("flow", "rehearse", sample)[0] == 0


def test_rehearse_does_not_rewrite_in_ci(shell: Shell, tmp_path: Path) -> None:
    sample = tmp_path / "greeting.txt"
    sample.write_text("flow: metal-in-oil\n\nyou: hello\n", "utf-8")
    shell.monkeypatch.setenv("CI", "true")
    assert "CI" in shell.refused("flow", "rehearse", "--update", sample)


def test_rehearse_refuses_what_is_not_there(shell: Shell) -> None:
    assert "no sample conversation" in shell.refused("flow", "rehearse", "nothing-of-the-kind")


# --- cases ----------------------------------------------------------------------------------------


def test_cases_of_one_rider(talked: Shell) -> None:
    talked.run("chat", "--as", "sam", "--flow", "rattle", said=f"{FIRST}\n")
    assert len(talked.run("case", "list")[1].splitlines()) == 2
    assert "sam" in talked.run("case", "list", "--as", "sam")[1]
    assert "robin" not in talked.run("case", "list", "--as", "sam")[1]
    assert "Nobody called 'kim'" in talked.refused("case", "list", "--as", "kim")


def test_a_case_is_shown_as_its_whole_sheet(talked: Shell) -> None:
    status, out, _ = talked.run("case", "show", "1")
    assert status == 0
    for told in (FIRST, "Goat", "Drive nut working loose", "Clutch basket notched", "Written "):
        assert told in out
    assert max(map(len, out.splitlines())) <= 80


def test_a_case_without_a_flow_is_shown_too(shell: Shell) -> None:
    shell.run("chat", "--as", "robin", said="qwertz\n")
    status, out, _ = shell.run("case", "show", "1")
    assert status == 0
    assert "qwertz" in out


def test_a_case_goes_the_same_way_again(talked: Shell) -> None:
    assert talked.run("case", "replay", "1")[:2] == (0, "Case 1 goes the same way today.\n")


def test_a_case_that_goes_another_way_shows_where(talked: Shell, monkeypatch: pytest.MonkeyPatch) -> None:
    from bot.core import conversation

    real = conversation.receive

    def forgetful(*handed: Any) -> conversation.Turn:
        said = real(*handed)
        return conversation.Turn(tuple(e for e in said.events if e.kind != "answered"), said.messages)

    monkeypatch.setattr(conversation, "receive", forgetful)
    status, out, _ = talked.run("case", "replay", "1")
    assert status == 1
    then = next(line for line in out.splitlines() if line.startswith("then: "))
    assert '"kind":"answered"' in then


@pytest.mark.parametrize("verb", ["show", "replay"])
def test_a_case_that_is_not_there_is_refused(talked: Shell, verb: str) -> None:
    assert "no case 99" in talked.refused("case", verb, "99")


# --- the record -----------------------------------------------------------------------------------


def test_a_backup_is_a_whole_record(talked: Shell, tmp_path: Path) -> None:
    copy = tmp_path / "copy.db"
    assert talked.run("backup", copy)[0] == 0
    assert talked.run("case", "list", "--db", copy)[1] == talked.run("case", "list")[1]
    assert "copy.db" in talked.refused("backup", copy)


def test_a_rider_is_erased_once_the_name_was_typed_again(talked: Shell, tmp_path: Path) -> None:
    assert "nothing was erased" in talked.refused("erase", "robin", said="robbin\n")
    assert "nothing was erased" in talked.refused("erase", "robin")
    assert "Nobody called 'kim'" in talked.refused("erase", "kim", said="kim\n")
    assert talked.run("case", "list")[1].count("robin") == 1
    (tmp_path / "record.db.history").write_text("Goat rattles")
    assert talked.run("erase", "robin", said="robin\n")[0] == 0
    assert talked.run("case", "list")[1] == "There are no cases yet.\n"
    files = [path for path in tmp_path.iterdir() if path.is_file()]
    assert files
    assert not [path for path in files if b"Goat" in path.read_bytes()]


def test_a_script_erases_without_being_asked(talked: Shell) -> None:
    assert talked.run("erase", "robin", "--yes")[0] == 0


# --- the program ----------------------------------------------------------------------------------


def test_the_version_is_the_package_s(shell: Shell) -> None:
    assert shell.run("version")[:2] == (0, f"sumpline {__version__}\n")


def test_a_reader_who_has_had_enough_is_no_error(talked: Shell) -> None:
    command = f"'{sys.executable}' -m bot.cli flow schema | head -n 1; exit ${{PIPESTATUS[0]}}"
    done = subprocess.run(["bash", "-c", command], cwd=ROOT, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")


def test_starting_loads_nothing_that_talking_does_not_need() -> None:
    code = (
        "import sys, bot.cli; print(sorted({'numpy', 'pydantic', 'yaml', 'sqlite_utils'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
