"""`sumpline words`: what is missing, with the place; and files written anew."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from bot import cli
from bot.authoring import shelf, wording
from bot.core.translation import digest


@pytest.fixture(name="here")
def _here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A shelf and words of our own, so that nothing of the checkout is written."""
    found = shelf.find()
    flows = tmp_path / "flows"
    flows.mkdir()
    for name in ("common", "metal-in-oil"):
        shutil.copy(found.flows / f"{name}.yaml", flows)
    monkeypatch.setattr(shelf, "find", lambda: shelf.Shelf(flows, tmp_path))
    words = tmp_path / "words"
    words.mkdir()
    shutil.copy(wording.file_of("en"), words)
    monkeypatch.setattr(wording, "_WORDS", words)
    return tmp_path


def test_what_is_not_translated_is_listed_by_id_and_line(
    here: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert cli.main(["words", "xx", "common"]) == 0
    told = capsys.readouterr().out
    ask = (here / "flows" / "common.yaml").read_text().split("\n").index("  oil-layout:") + 2
    assert f"common.yaml:{ask}:5: T101 warning: 'traits.oil-layout.ask' is not translated" in told


def test_update_writes_files_that_a_translator_fills_in(
    here: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert cli.main(["words", "xx", "--update"]) == 0
    own, common = here / "words" / "xx.yaml", here / "flows" / "words" / "xx" / "common.yaml"
    english = wording.read_words()
    assert '\n  later: ""\n' in own.read_text(encoding="utf-8")
    assert "\nsheets:\n" in own.read_text(encoding="utf-8")
    common.write_text(
        common.read_text(encoding="utf-8").replace(
            'traits.oil-layout.ask: ""', 'traits.oil-layout.ask: "¿Qué aceites lleva?"'
        ),
        encoding="utf-8",
    )
    assert cli.main(["words", "xx", "common", "--update"]) == 0
    stamped = f'traits.oil-layout.ask {digest("Which oils does the engine have?")}: "¿Qué aceites lleva?"'
    assert stamped in common.read_text(encoding="utf-8")
    own.write_text(own.read_text(encoding="utf-8").replace('later: ""', 'later: "Todo se guarda {bien}."'))
    assert cli.main(["words", "xx"]) == 1  # a name that nothing fills
    assert "'later' fills in {bien} and the original none" in capsys.readouterr().out
    assert english.texts["later"].startswith("Everything")


def test_what_is_filled_in_is_neither_missing_nor_new(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = here / "flows" / "words" / "xx"
    assert cli.main(["words", "xx", "common", "--update"]) == 0
    lines = (folder / "common.yaml").read_text(encoding="utf-8").split("\n")
    filled = [line.replace(': ""', ': "x"').replace(": []", ": [x y]") for line in lines]
    (folder / "common.yaml").write_text("\n".join(filled), encoding="utf-8")
    cli.main(["words", "xx", "common", "--update"])
    capsys.readouterr()
    assert cli.main(["words", "xx", "common"]) == 0
    told = capsys.readouterr().out
    assert "T101" not in told
    assert "T106" not in told


@pytest.mark.parametrize(
    ("said", "wanted"),
    [
        (["en"], "write a code of two letters"),
        (["../x"], "write a code of two letters"),
        (["xx", "metal"], "There is no flow 'metal'"),
    ],
)
def test_what_cannot_be_done_is_said(
    here: Path, capsys: pytest.CaptureFixture[str], said: list[str], wanted: str
) -> None:
    assert cli.main(["words", *said]) == 2
    assert wanted in capsys.readouterr().err


def test_a_file_that_cannot_be_read_is_not_written_anew(
    here: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A quote left open must not cost the translator what he has written."""
    assert cli.main(["words", "xx", "common", "--update"]) == 0
    file = here / "flows" / "words" / "xx" / "common.yaml"
    mine = file.read_text(encoding="utf-8").replace('traits.starter.ask: ""', "traits.starter.ask: '¿Cómo")
    file.write_text(mine, encoding="utf-8")
    assert cli.main(["words", "xx", "common", "--update"]) == 1
    assert file.read_text(encoding="utf-8") == mine
    assert "common.yaml" in capsys.readouterr().out
