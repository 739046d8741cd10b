"""A flow and its common file together: merged, hashed, stored and revived, or all their problems."""

from __future__ import annotations

import hashlib
import json
import subprocess
import sys
from pathlib import Path

import pytest

from bot.authoring import load, shelf
from bot.authoring.problems import FlowError
from bot.core.flow import Mark, NoneOfThese, Several

HERE = Path(__file__).resolve().parent
BASE = (HERE / "base.yaml").read_bytes()
COMMON = (HERE / "common.yaml").read_bytes()


def problems(text: bytes, common: bytes | None = COMMON) -> list[tuple[str, str, int]]:
    with pytest.raises(FlowError) as caught:
        load.load_text(text, common)
    return [(p.file, p.code, p.line) for p in caught.value.problems]


def changed(old: str, new: str, text: bytes = BASE) -> bytes:
    assert text.count(old.encode()) >= 1
    return text.replace(old.encode(), new.encode(), 1)


# --- merging -----------------------------------------------------------------------------------------


def test_what_the_common_file_brings_is_there() -> None:
    flow = load.load(HERE / "base.yaml").flow
    assert set(flow.traits) == {"cooling"}
    assert set(flow.signs) == {"crashed", "keeps-time", "black-marks", "amount", "work-done"}
    assert {"hurt", "very-loud"} == set(flow.stop_rules)


def test_the_flows_own_words_win() -> None:
    own = changed("signs:\n", "signs:\n  crashed: {means: it lay in the gravel, background: rarely}\n")
    loaded = load.load_text(own, COMMON)
    assert loaded.flow.signs["crashed"].means == "it lay in the gravel"
    assert loaded.place(("signs", "crashed"), key=True)[0] == "flow.yaml"
    assert loaded.place(("stop_rules", "hurt"), key=True)[0] == "common.yaml"


def test_a_flow_that_does_not_use_the_common_file_does_without() -> None:
    alone = changed("uses: [common]\nneeds_traits: [cooling]\n", "")
    loaded = load.load_text(alone, COMMON)
    assert loaded.flow.traits == {}
    assert loaded.hash == hashlib.sha256(alone).hexdigest()


def test_a_missing_common_file_is_told_at_uses() -> None:
    assert ("flow.yaml", "L101", 8) in problems(BASE, None)


# --- problems of both files at once ------------------------------------------------------------------


def test_problems_of_both_files_come_together_and_once() -> None:
    flow = changed("share: 50", "share: much", changed("kind: graded", "kind: graed"))
    common = changed("signal: danger", "signal: dangr", changed("means: the bike", "maens: the bike", COMMON))
    found = problems(flow, common)
    assert found == [
        ("common.yaml", "F102", 16),
        ("common.yaml", "F103", 30),
        ("flow.yaml", "F104", 46),
        ("flow.yaml", "F107", 115),
    ]


def test_an_unreadable_common_file_does_not_hide_the_flow() -> None:
    found = problems(changed("share: 50", "share: much"), b"traits:\n\tx: 1\n")
    assert found == [("common.yaml", "Y024", 2), ("flow.yaml", "F107", 115)]


def test_an_unreadable_flow_does_not_hide_the_common_file() -> None:
    found = problems(b'title: "open\n', changed("signal: danger", "signal: dangr", COMMON))
    assert ("flow.yaml", "Y022", 1) in found


@pytest.mark.parametrize("part", ["signs", "traits", "questions", "cautions", "stop_rules"])
@pytest.mark.parametrize("odd", ["none", "[a, b]", "12", "true"])
def test_a_part_that_is_no_block_is_a_problem_and_not_a_crash(part: str, odd: str) -> None:
    text = f"language: 1\nuses: [common]\n{part}: {odd}\n".encode()
    assert ("flow.yaml", "F109", 3) in problems(text)
    assert problems(BASE, text.replace(b"uses: [common]", b"common: common"))


def test_a_duplicate_key_is_told_along_with_the_rest() -> None:
    found = problems(changed("share: 50", "share: much", changed("version: 2", "version: 2\nversion: 3")))
    assert found == [("flow.yaml", "Y008", 4), ("flow.yaml", "F107", 116)]


def test_the_common_file_alone(tmp_path: Path) -> None:
    assert load.load_common(HERE / "common.yaml").common == "common"
    file = tmp_path / "common.yaml"
    file.write_bytes(changed("kind: one", "kind: two", COMMON))
    with pytest.raises(FlowError) as caught:
        load.load_common(file)
    assert [p.code for p in caught.value.problems] == ["F104"]


# --- hash and stored form ------------------------------------------------------------------------------


def test_the_hash_covers_both_texts() -> None:
    """sha256 of flow, a zero byte, common: computed here with the library alone."""
    loaded = load.load_text(BASE, COMMON)
    assert loaded.hash == hashlib.sha256(BASE + b"\x00" + COMMON).hexdigest()
    assert loaded.hash != load.load_text(BASE, COMMON + b"# a remark\n").hash
    assert loaded.hash != load.load_text(BASE + b"# a remark\n", COMMON).hash


def test_the_hash_is_the_same_with_windows_line_ends() -> None:
    other = (BASE.replace(b"\n", b"\r\n"), COMMON.replace(b"\n", b"\r\n"))
    assert load.load_text(*other).hash == load.load_text(BASE, COMMON).hash


def test_moving_text_between_the_files_changes_the_hash() -> None:
    assert load.text_hash(b"ab", b"c") != load.text_hash(b"a", b"bc")


def test_a_flow_survives_being_stored() -> None:
    flow = load.load_text(BASE, COMMON).flow
    stored = load.parsed(flow)
    assert load.revive(stored) == flow
    assert load.parsed(load.revive(stored)) == stored
    assert json.loads(stored)["causes"]["gap-wide"]["shows"]["keeps-time"] == 0.70


def test_the_card_holds_what_riders_say() -> None:
    card = load.card(load.load_text(BASE, COMMON).flow)
    assert card.riders_say == ("ticking noise", "tapping from the head")
    assert card.told_as == ("faster with revs", "soot at the flange")  # "fell over" is asked in every flow


def test_a_mark_that_shows_nothing_does_not_keep_a_flow_off_the_index() -> None:
    flow = load.load_text(BASE, COMMON).flow
    blank = {"a": Mark(label="Nothing much", told_as=("nothing much at all",)), "b": Mark(label="Else")}
    asks = {
        "blank": Several(kind="several", ask="Which?", minutes=1, marks=blank,
                         none_of_these=NoneOfThese(label="None")),
    }  # fmt: skip
    told = load.card(flow.model_copy(update={"questions": {**flow.questions, **asks}})).told_as
    assert "nothing much at all" not in told


# --- shipped flows --------------------------------------------------------------------------------------


@pytest.fixture
def shelved(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> shelf.Shelf:
    """An installed package with one flow."""
    flows = tmp_path / "bot" / "_flows"
    flows.mkdir(parents=True)
    (flows / "ticking-top.yaml").write_bytes(BASE)
    (flows / "common.yaml").write_bytes(COMMON)
    here = shelf.find(tmp_path / "bot")
    monkeypatch.setattr(shelf, "find", lambda: here)
    return here


def test_a_shipped_flow_comes_with_its_texts(shelved: shelf.Shelf) -> None:
    assert load.shipped_ids() == ("ticking-top",)
    shipped = load.shipped("ticking-top")
    assert (shipped.text.encode(), shipped.common.encode()) == (BASE, COMMON)
    assert shipped.flow == load.load_text(BASE, COMMON).flow
    assert shipped.hash == load.load_text(BASE, COMMON).hash
    assert [c.flow for c in load.cards()] == ["ticking-top"]


def test_the_stored_form_is_used_while_its_hash_fits(shelved: shelf.Shelf) -> None:
    [file] = load.keep(shelved.parsed, shelved.flows)
    said = file.read_text(encoding="utf-8")
    assert "Valve gap too wide" in said
    file.write_text(said.replace("Valve gap too wide", "Valve gap as stored"), encoding="utf-8")
    assert load.shipped("ticking-top").flow.causes["gap-wide"].name == "Valve gap as stored"
    edited = changed("Valve gap too wide", "Valve gap far too wide")
    (shelved.flows / "ticking-top.yaml").write_bytes(edited)
    assert load.shipped("ticking-top").flow.causes["gap-wide"].name == "Valve gap far too wide"


def test_an_edited_common_file_also_makes_the_stored_form_old(shelved: shelf.Shelf) -> None:
    load.keep(shelved.parsed, shelved.flows)
    (shelved.flows / "common.yaml").write_bytes(changed("Fell over?", "Did it fall?", COMMON))
    assert load.shipped("ticking-top").flow.questions["fell"].short == "Did it fall?"


def test_a_spoilt_stored_form_is_not_trusted(shelved: shelf.Shelf) -> None:
    [file] = load.keep(shelved.parsed, shelved.flows)
    for spoilt in ("", "{", "[]\n{}", "{}\n{}", file.read_text(encoding="utf-8")[:-30]):
        file.write_text(spoilt, encoding="utf-8")
        load.forget()
        assert load.shipped("ticking-top").flow.title == "Ticking from the top of the engine"


def test_talk_reads_no_yaml_while_the_stored_form_fits(tmp_path: Path) -> None:
    """In a program of its own: after the flow is there, the YAML parser has not been imported."""
    flows = tmp_path / "flows"
    flows.mkdir()
    (flows / "ticking-top.yaml").write_bytes(BASE)
    (flows / "common.yaml").write_bytes(COMMON)
    load.keep(flows / "_parsed", flows)
    program = (
        "import sys\n"
        "from pathlib import Path\n"
        "from bot.authoring import load, shelf\n"
        f"here = shelf.Shelf(Path({str(flows)!r}), Path('.'))\n"
        "shelf.find = lambda: here\n"
        "print(load.shipped('ticking-top').flow.title, 'yaml' in sys.modules)\n"
    )
    said = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=True, cwd=HERE.parents[1]
    )
    assert said.stdout == "Ticking from the top of the engine False\n"


def test_an_unknown_flow_is_a_key_error(shelved: shelf.Shelf) -> None:
    with pytest.raises(KeyError):
        load.shipped("knocking-bottom")
