"""Two versions of a flow: what is written otherwise, and where talks and bikes end otherwise."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from bot.authoring import load, stage
from bot.authoring.compare import UNPLAYED, Difference, Pair, crossed, differences, moved, samples_of
from bot.authoring.load import Loaded
from bot.authoring.simulate import End, Outcome
from bot.cli import main

OLD = """\
language: 1
flow: ticks
version: 1
title: It ticks
riders_say: [it ticks]
hand_over: {minutes: 600}
unlisted: {share: 20}
signs:
  squeak: {means: it squeaks, background: seldom}
causes:
  nut: {name: Nut loose, share: 50, alone: true, remedy: turn-nut, shows: {squeak: often}}
  cable: {name: Cable tight, share: 30, alone: true, remedy: set-cable}
questions:
  squeaks:
    kind: one
    ask: Does it squeak?
    answers:
      aye: {label: It squeaks, shows: [squeak]}
      nay: {label: It is quiet, denies: [squeak]}
checks:
  see-nut:
    kind: look
    ask: Look at the nut.
    finds: [{cause: nut, catches: 0.999}]
    good: {label: Tight, looks_like: it does not move}
    bad: {label: Loose, looks_like: it moves}
  see-cable:
    kind: look
    ask: Look at the cable.
    finds: [{cause: cable, catches: 0.999}]
    good: {label: Free, looks_like: it moves}
    bad: {label: Stuck, looks_like: it does not move}
remedies:
  turn-nut: {name: Turn the nut, steps: [{do: Turn it.}], minutes: 30, holds: 0.99}
  set-cable: {name: Set the cable, steps: [{do: Set it.}], minutes: 30, holds: 0.99}
"""
SAMPLE = """\
flow: ticks
bike: Goat

you: it ticks
bot: Which bike is it?
you: 1
bot: Where?
you: garage
bot: With what?
you: 4
bot: Look.
you: free
bot: Look again.
you: {first}
"""


def version(folder: Path, *changes: tuple[str, str]) -> Loaded:
    """The old text with some words changed, each of which stands in it once."""
    folder.mkdir(exist_ok=True)
    text = OLD
    for was, now in changes:
        assert text.count(was) == 1, was
        text = text.replace(was, now)
    file = folder / "ticks.yaml"
    file.write_text(text, encoding="utf-8")
    return load.load(file)


@pytest.fixture
def old(tmp_path: Path) -> Loaded:
    return version(tmp_path / "old")


def told(old: Loaded, new: Loaded) -> list[tuple[str, str, str, str, int]]:
    return [(d.kind, d.part, d.id, d.what, d.line) for d in differences(old, new)]


# --- what is written ---------------------------------------------------------------------------------


def test_the_same_text_differs_in_nothing(old: Loaded, tmp_path: Path) -> None:
    assert told(old, version(tmp_path / "new")) == []


def test_a_word_for_a_number_and_the_number_are_one_and_the_same(old: Loaded, tmp_path: Path) -> None:
    """`often` is 0.7 in the published table."""
    assert told(old, version(tmp_path / "new", ("squeak: often", "squeak: 0.7"))) == []


def test_each_figure_and_text_that_changed_is_told_with_its_line_in_the_new_file(
    old: Loaded, tmp_path: Path
) -> None:
    new = version(
        tmp_path / "new",
        ("version: 1\n", "version: 2\n"),
        ("share: 50", "share: 45"),
        ("squeak: often", "squeak: half"),
        ("ask: Does it squeak?", "ask: Is there a squeak?"),
        ("cause: cable, catches: 0.999", "cause: cable, catches: 0.8"),
        ("ask: Look at the cable.\n", "ask: Look at the cable.\n    minutes: 5\n"),
    )
    assert told(old, new) == [
        ("changed", "cause", "nut", "share: 50 -> 45", 11),
        ("changed", "cause", "nut", "shows.squeak: 0.7 -> 0.5", 11),
        ("changed", "question", "squeaks", "ask: Does it squeak? -> Is there a squeak?", 16),
        ("changed", "check", "see-cable", "minutes: 1 -> 5", 30),
        ("changed", "check", "see-cable", "finds.0.catches: 0.999 -> 0.8", 31),
        ("changed", "flow", "version", "1 -> 2", 3),
    ]


def test_what_was_added_and_what_is_gone_is_told_by_its_name(old: Loaded, tmp_path: Path) -> None:
    """What is gone has its line in the old file."""
    new = version(
        tmp_path / "new",
        ("  set-cable: {name: Set the cable, steps: [{do: Set it.}], minutes: 30, holds: 0.99}\n", ""),
        (", remedy: set-cable}\n", "}\n  cover: {name: Cover cracked, share: 5}\n"),
    )
    assert told(old, new) == [
        ("changed", "cause", "cable", "remedy: set-cable -> nothing", 12),
        ("added", "cause", "cover", "Cover cracked", 13),
        ("gone", "remedy", "set-cable", "Set the cable", 35),
    ]
    assert differences(old, new)[-1].file == old.own.file


def test_lists_are_told_as_lists(old: Loaded, tmp_path: Path) -> None:
    new = version(
        tmp_path / "new",
        ("riders_say: [it ticks]", "riders_say: [it ticks, it clicks]\nopening: [squeaks]"),
        ("steps: [{do: Turn it.}]", "steps: [{do: Turn it.}, {do: Look.}]"),
    )
    assert told(old, new) == [
        ("changed", "remedy", "turn-nut", "steps: 1 of them -> 2 of them", 35),
        ("changed", "flow", "opening", "nothing -> squeaks", 6),
        ("changed", "flow", "riders_say", "it ticks -> it ticks, it clicks", 5),
    ]


# --- sample conversations --------------------------------------------------------------------------------


def pair(old: Loaded, new: Loaded) -> Pair:
    return Pair(*(stage.set_up(loaded, lambda *_: "") for loaded in (old, new)))


def sample(folder: Path, name: str, text: str) -> Path:
    path = folder / "sample_conversations" / "ticks" / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text, encoding="utf-8")
    return path


def test_samples_lie_beside_the_new_file_or_the_old_one(old: Loaded, tmp_path: Path) -> None:
    new = version(tmp_path / "new")
    mine = sample(tmp_path / "old", "one.txt", SAMPLE.format(first="tight"))
    assert samples_of(old, new) == (mine,)
    other = sample(tmp_path / "new", "two.txt", SAMPLE.format(first="tight"))
    assert samples_of(old, new) == (other,)


def test_a_text_that_reads_otherwise_changes_what_is_said_and_no_end(old: Loaded, tmp_path: Path) -> None:
    new = version(tmp_path / "new", ("ask: Look at the nut.", "ask: See the nut."))
    found = pair(old, new).sampled(sample(tmp_path, "one.txt", SAMPLE.format(first="tight")))
    assert (found.same, found.ends_otherwise) == (False, False)


def test_a_text_that_no_sample_shows_changes_nothing(old: Loaded, tmp_path: Path) -> None:
    new = version(tmp_path / "new", ("name: Set the cable", "name: Free the cable"))
    found = pair(old, new).sampled(sample(tmp_path, "one.txt", SAMPLE.format(first="tight")))
    assert (found.same, found.old) == (True, "asking")


def test_another_end_is_told_with_both_ends(old: Loaded, tmp_path: Path) -> None:
    """On the new version the loose nut is a stop; on the old one it is not."""
    stop = (
        "stop_rules:\n  nut-off:\n    when: {any: [see-nut.bad]}\n    say: The wheel may come off.\n"
        "    bars: [riding]\n    cleared_by: {any: [turn-nut]}\nremedies:\n"
    )
    new = version(tmp_path / "new", ("remedies:\n", stop))
    found = pair(old, new).sampled(sample(tmp_path, "one.txt", SAMPLE.format(first="loose")))
    assert (found.old, found.new, found.same) == ("asking", "asking, stop nut-off", False)


def test_a_sample_that_names_what_is_gone_cannot_be_played(old: Loaded, tmp_path: Path) -> None:
    new = version(tmp_path / "new", ("see-nut:\n", "look-at-nut:\n"))
    text = SAMPLE.format(first="tight") + "\nmust: asks see-nut\n"
    found = pair(old, new).sampled(sample(tmp_path, "one.txt", text))
    assert (found.old, found.new, found.same) == ("asking", UNPLAYED, False)


def test_samples_are_the_same_in_one_process_and_in_two(old: Loaded, tmp_path: Path) -> None:
    new = version(tmp_path / "new", ("ask: Look at the nut.", "ask: See the nut."))
    words = ("tight", "loose") * 6
    files = [sample(tmp_path, f"{n}.txt", SAMPLE.format(first=word)) for n, word in enumerate(words)]
    both = pair(old, new)
    assert tuple(both.all_sampled(files, processes=1)) == tuple(both.all_sampled(files, processes=2))


# --- the same bikes ----------------------------------------------------------------------------------------


def ended(*ends: End) -> list[Outcome]:
    return [Outcome(n, ("nut",), end, end, 10, 0, 5, 6, "") for n, end in enumerate(ends)]


def test_bikes_that_end_otherwise_are_counted_by_hand() -> None:
    old = ended("found", "found", "handed_over", "handed_over", "found")
    new = ended("found", "handed_over", "found", "handed_over", "handed_over")
    pairs = crossed(old, new)
    assert pairs == {
        ("found", "found"): 1,
        ("found", "handed_over"): 2,
        ("handed_over", "found"): 1,
        ("handed_over", "handed_over"): 1,
    }
    assert moved(pairs) == 3


def test_two_sets_of_bikes_that_are_not_the_same_are_no_pair() -> None:
    with pytest.raises(ValueError, match="shorter"):
        crossed(ended("found", "found"), ended("found"))


# --- the command --------------------------------------------------------------------------------------------


def test_the_command_tells_what_changed_what_samples_say_and_where_bikes_end(
    old: Loaded, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Without its look and its repair a tight cable is found on no bike."""
    cable = OLD[OLD.index("  see-cable:") : OLD.index("remedies:")]
    new = version(
        tmp_path / "new",
        (cable, ""),
        ("  set-cable: {name: Set the cable, steps: [{do: Set it.}], minutes: 30, holds: 0.99}\n", ""),
        (", remedy: set-cable}", "}"),
    )
    sample(tmp_path / "new", "one.txt", SAMPLE.format(first="tight"))
    assert main(["flow", "compare", old.own.file, new.own.file, "--bikes", "40"]) == 0
    said = capsys.readouterr().out
    assert "What is written: 2 gone, 1 changed." in said
    assert "gone: check see-cable: Look at the cable." in said
    assert "Sample conversations: 1; otherwise: 1, with another end: " in said
    cables = sum("handed over: " in line and "found" in line for line in said.splitlines())
    assert cables == 1
    assert "The same 40 imagined bikes: " in said


def test_a_flow_beside_itself_differs_in_nothing(
    old: Loaded, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    sample(tmp_path / "old", "one.txt", SAMPLE.format(first="tight"))
    shutil.copytree(tmp_path / "old", tmp_path / "new")
    assert main(["flow", "compare", old.own.file, str(tmp_path / "new" / "ticks.yaml"), "--bikes", "10"]) == 0
    said = capsys.readouterr().out
    assert said.startswith("What is written: nothing differs.\n")
    assert "Sample conversations: 1; otherwise: 0, with another end: 0." in said
    assert "The same 10 imagined bikes: 0 end otherwise." in said


def test_a_shipped_flow_may_be_named_by_its_id_and_a_file_that_is_not_there_is_said(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert main(["flow", "compare", "metal-in-oil", "nowhere.yaml"]) == 2
    assert "There is no file nowhere.yaml" in capsys.readouterr().err


def test_a_difference_has_a_file_and_a_line(old: Loaded, tmp_path: Path) -> None:
    new = version(tmp_path / "new", ("share: 50", "share: 45"))
    assert differences(old, new) == (
        Difference("changed", "cause", "nut", "share: 50 -> 45", new.own.file, 11),
    )
