"""Commands for those who write flows, typed outside a clone."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tests.authoring.broken import MEANING, WORDS, Broken
from tests.test_cli import Shell, shell

__all__ = ["shell"]


def test_begin_check_talk_and_rehearse_in_a_folder_with_a_space(shell: Shell, tmp_path: Path) -> None:
    """The commands that are printed are typed as they stand."""
    status, out, _ = shell.run("flow", "new", "chain-comes-off", "--in", "my flows")
    assert status == 0
    assert (tmp_path / "my flows" / "chain-comes-off.yaml").is_file()
    printed = re.findall(r"sumpline flow (\w+) '(my flows/chain-comes-off.yaml)'", out)
    assert [name for name, _ in printed] == ["talk", "lint", "rehearse"]
    assert shell.run("flow", "lint", printed[1][1])[:2] == (0, "No mistakes found in 1 file.\n")
    assert shell.run("flow", "rehearse", printed[2][1])[:2] == (
        0,
        "1 sample conversations played, 0 differences\n",
    )
    status, out, _ = shell.run("flow", "talk", printed[0][1], said="chain came off\nit rolls\n")
    assert status == 0
    assert "Is the chain wedged" in out
    assert "nothing of it is kept" in out
    assert "sumpline chat" not in out  # the trial cannot be gone on with


def test_the_name_alone_rehearses_from_the_folder_that_it_was_begun_in(shell: Shell) -> None:
    shell.run("flow", "new", "chain")
    assert shell.run("flow", "rehearse", "chain")[:2] == (0, "1 sample conversations played, 0 differences\n")


def test_a_talk_saved_beside_the_flow_is_rehearsed_with_it(shell: Shell) -> None:
    shell.run("flow", "new", "chain")
    shell.run("flow", "talk", "chain.yaml", "--save", "wedged.txt", said="chain came off\nwedged\n")
    assert shell.run("flow", "rehearse", "chain.yaml")[:2] == (
        0,
        "2 sample conversations played, 0 differences\n",
    )


def test_begun_twice_or_badly_is_refused_in_one_sentence(shell: Shell, tmp_path: Path) -> None:
    shell.run("flow", "new", "chain")
    assert "chain.yaml is there already; choose another name" in shell.refused("flow", "new", "chain")
    assert "like 'chain-comes-off'" in shell.refused("flow", "new", "Chain comes off")
    (tmp_path / "note").write_text("x", "utf-8")
    assert "note" in shell.refused("flow", "new", "other", "--in", "note")


def test_in_a_clone_it_goes_to_the_flows(shell: Shell, tmp_path: Path) -> None:
    (tmp_path / "flows").mkdir()
    (tmp_path / "flows" / "common.yaml").write_text("language: 1\n", "utf-8")
    shell.run("flow", "new", "chain")
    assert (tmp_path / "flows" / "chain.yaml").is_file()
    assert (tmp_path / "sample_conversations" / "chain" / "first.txt").is_file()


def test_a_talk_is_not_held_when_it_could_not_be_saved(shell: Shell, tmp_path: Path) -> None:
    shell.run("flow", "new", "chain")
    (tmp_path / "mine.txt").write_text("mine", "utf-8")
    status, out, err = shell.run("flow", "talk", "chain.yaml", "--save", "mine.txt", said="chain came off\n")
    assert (status, out) == (2, "")
    assert "mine.txt is there already" in err


@pytest.mark.parametrize("name", ["nothing.yaml", "."])
def test_what_is_no_file_is_refused(shell: Shell, name: str) -> None:
    for command in ("lint", "talk"):
        assert "name a flow file that is there" in shell.refused("flow", command, name)


# --- pictures -------------------------------------------------------------------------------------


def test_each_part_is_drawn_into_files_of_its_own(shell: Shell, tmp_path: Path) -> None:
    shell.run("flow", "new", "chain")
    status, out, _ = shell.run("flow", "draw", "chain.yaml", "--svg", "p.svg")
    assert status == 0
    files = {path.name for path in tmp_path.glob("p-*.svg")}
    assert {"p-opening-1.svg", "p-access.svg", "p-looks.svg", "p-causes.svg", "p-speaks.svg"} <= files
    assert {line.partition(": ")[0] for line in out.splitlines()} == files
    assert "Chain jammed" in (tmp_path / "p-stops-1.svg").read_text("utf-8")  # its own rule comes first


def test_one_part_on_one_page_has_the_name_that_was_given(shell: Shell, tmp_path: Path) -> None:
    shell.run("flow", "new", "chain")
    assert shell.run("flow", "draw", "chain.yaml", "--part", "causes", "--png", "c.png")[0] == 0
    assert (tmp_path / "c.png").read_bytes().startswith(b"\x89PNG")
    assert "c.png is there already" in shell.refused(
        "flow", "draw", "chain.yaml", "--part", "causes", "--png", "c.png"
    )


def test_a_picture_needs_a_name_and_a_flow_without_errors(shell: Shell, tmp_path: Path) -> None:
    shell.run("flow", "new", "chain")
    assert "--png FILE" in shell.refused("flow", "draw", "chain.yaml")
    text = (tmp_path / "chain.yaml").read_text("utf-8")
    (tmp_path / "chain.yaml").write_text(
        text.replace("shows: [off-under-load]", "shows: [under-load]"), "utf-8"
    )
    assert "did you mean 'off-under-load'" in shell.refused("flow", "draw", "chain.yaml", "--svg", "p.svg")
    assert not list(tmp_path.glob("*.svg"))


def test_the_parts_are_those_that_can_be_drawn() -> None:
    from bot import cli_flows
    from bot.reports import flow_cards

    assert cli_flows.PARTS == flow_cards.PART_NAMES


# --- flows with mistakes ----------------------------------------------------------------------------


@pytest.mark.parametrize("broken", [*WORDS, *MEANING], ids=lambda b: b.name)
def test_a_flow_with_mistakes_is_talked_with_only_if_it_can_be(shell: Shell, broken: Broken) -> None:
    """Names that lead nowhere have the right form; a talk would end where it needs them. Other mistakes may
    wait: one can talk with a flow whose shares do not add up yet."""
    shell.run("flow", "new", "chain-comes-off")
    Path("chain-comes-off.yaml").write_text(broken.text, "utf-8")
    said = "chain came off\nit rolls\nMule\nuphill\nhome\ngarage\nhooked\nyes\n"
    status, _, err = shell.run("flow", "talk", "chain-comes-off.yaml", said=said)
    refused = "nowhere" in broken.name or any("did you mean" in word for word in broken.says)
    assert status == (2 if "chain-comes-off.yaml:" in err else 0)
    assert status == 2 or not refused
    assert shell.run("flow", "draw", "chain-comes-off.yaml", "--svg", "p.svg")[0] == status
    status, _, err = shell.run("flow", "rehearse", "chain-comes-off.yaml")
    assert (status in (0, 1), err) == (True, "")
    assert status == 1 or not refused
