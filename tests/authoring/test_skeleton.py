"""A flow that is begun works at once, wherever it lies, and nothing is written over."""

from __future__ import annotations

from pathlib import Path

import pytest

from bot.authoring import lint, load, musts, play, rehearse, script, shelf, skeleton, stage
from bot.core.flow import Several
from bot.reports import text


def test_what_is_begun_has_nothing_to_mend_and_goes_as_its_sample_says(tmp_path: Path) -> None:
    begun = skeleton.begin("brake-squeals", tmp_path)
    assert lint.judge(begun.flow) == ()
    assert rehearse.Rehearsal(text.summary).hear(begun.sample) == []
    assert load.load(begun.flow).flow.flow == "brake-squeals"
    assert rehearse.read(begun.sample).head("flow") == "brake-squeals"


def test_it_has_one_of_each_thing_that_an_author_needs(tmp_path: Path) -> None:
    """Counted by hand in the text: two questions, one access, two looks, three causes, a stop rule."""
    flow = load.load(skeleton.begin("chain-comes-off", tmp_path).flow).flow
    own = {"chain-free", "when-off"}
    assert own <= set(flow.questions)
    assert (len(flow.checks), len(flow.access), len(flow.causes), len(flow.remedies)) == (2, 1, 3, 3)
    assert "chain-jammed" in flow.stop_rules
    assert flow.checks["front-look"].behind == ("sprocket-cover",)
    assert isinstance(flow.checks["chain-look"], Several)
    assert sum(c.share for c in flow.causes.values()) + flow.unlisted.share == 100
    assert {cause.remedy for cause in flow.causes.values()} == set(flow.remedies)


def test_its_comments_teach_each_part(tmp_path: Path) -> None:
    said = skeleton.text("chain-comes-off").split("\n")
    for part in ("signs", "questions", "access", "checks", "causes", "remedies", "stop_rules", "unlisted"):
        at = said.index(next(line for line in said if line.startswith(f"{part}:")))
        assert said[at - 1].startswith("#"), part


def test_the_wedged_chain_stops_everything_until_somebody_looked(tmp_path: Path) -> None:
    set_ = stage.set_up(skeleton.begin("chain-comes-off", tmp_path).flow, text.summary)
    wedged = script.read(
        "flow: chain-comes-off\nyou: my chain came off\nyou: wedged\n"
        'must: stop chain-jammed stands\nmust: says "Do not start it and do not push or tow it."\n'
        "never: stop chain-jammed lifted\n",
        "wedged.txt",
    )
    assert list(musts.broken(play.play(wedged, set_), set_.flow)) == []


@pytest.mark.parametrize(
    ("name", "told"),
    [
        ("Chain comes off", "like 'chain-comes-off'"),
        ("chain_comes_off", "like 'chain-comes-off'"),
        ("chain-comes-off.yaml", "like 'chain-comes-off'"),
        ("-chain", "like 'chain'"),
        ("../chain", "like 'chain'"),
        ("", "small letters"),
        ("x" * 61, "at most 60"),
        ("common", "shipped"),
        ("metal-in-oil", "choose another"),
    ],
)
def test_a_bad_name_is_refused_and_nothing_is_written(tmp_path: Path, name: str, told: str) -> None:
    with pytest.raises(skeleton.CannotBegin) as refused:
        skeleton.begin(name, tmp_path)
    assert told in str(refused.value)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("there", ["chain.yaml", "sample_conversations/chain/first.txt"])
def test_nothing_is_written_over_and_nothing_half(tmp_path: Path, there: str) -> None:
    file = tmp_path / there
    file.parent.mkdir(parents=True, exist_ok=True)
    file.write_text("mine", "utf-8")
    with pytest.raises(skeleton.CannotBegin, match="is there already; choose another name"):
        skeleton.begin("chain", tmp_path)
    assert [p for p in tmp_path.rglob("*") if p.is_file()] == [file]
    assert file.read_text("utf-8") == "mine"


def test_beside_a_folder_flows_the_samples_lie_as_in_a_clone(tmp_path: Path) -> None:
    begun = skeleton.begin("chain", tmp_path / "flows")
    assert begun.sample == tmp_path / "sample_conversations" / "chain" / "first.txt"
    assert stage.find_flow(rehearse.read(begun.sample)).resolve() == begun.flow.resolve()
    assert rehearse.named([str(begun.flow)]) == (begun.sample,)


# --- flow files outside a clone -------------------------------------------------------------------


def test_the_shipped_common_file_is_used_unless_one_lies_beside(tmp_path: Path) -> None:
    flow = skeleton.begin("chain", tmp_path).flow
    assert load.load(flow).shared.file == str(shelf.find().common)  # type: ignore[union-attr]
    own = tmp_path / "common.yaml"
    own.write_text(shelf.find().common.read_text("utf-8"), "utf-8")
    assert load.load(flow).shared.file == str(own)  # type: ignore[union-attr]


def test_samples_of_a_flow_file_are_found_in_their_folder_and_beside_it(tmp_path: Path) -> None:
    begun = skeleton.begin("chain", tmp_path)
    beside = tmp_path / "mine.txt"
    beside.write_text("flow: chain\nyou: my chain came off\n", "utf-8")
    (tmp_path / "other.txt").write_text("flow: chain-two\nyou: x\n", "utf-8")
    (tmp_path / "notes.txt").write_text("call the club\n", "utf-8")
    assert rehearse.named([str(begun.flow)]) == (begun.sample, beside)


def test_a_renamed_file_still_finds_its_samples_and_they_find_it(tmp_path: Path) -> None:
    begun = skeleton.begin("chain", tmp_path)
    other = begun.flow.rename(tmp_path / "second try.yaml")
    assert rehearse.named([str(other)]) == (begun.sample,)
    assert stage.find_flow(rehearse.read(begun.sample)).resolve() == other.resolve()


def test_of_two_files_with_one_id_the_named_one_is_played(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    begun = skeleton.begin("chain", tmp_path)
    copy = tmp_path / "a-copy.yaml"
    copy.write_text(begun.flow.read_text("utf-8").replace("When did it come off?", "When was it?"), "utf-8")
    assert rehearse.run([str(begun.flow)], text.summary) == 0
    assert rehearse.run([str(copy)], text.summary) == 1
    assert "got 'When was it?'" in capsys.readouterr().out


def test_a_flow_file_without_samples_says_how_to_come_by_one(tmp_path: Path) -> None:
    begun = skeleton.begin("chain", tmp_path)
    begun.sample.unlink()
    with pytest.raises(rehearse.NoSamples, match=r"flow talk .*chain\.yaml --save FILE"):
        rehearse.named([str(begun.flow)])


def test_the_nearest_flow_file_wins_over_the_shipped_one(tmp_path: Path) -> None:
    mine = tmp_path / "metal-in-oil.yaml"
    mine.write_bytes(shelf.find().flow("metal-in-oil").read_bytes())
    (tmp_path / "x.txt").write_text("flow: metal-in-oil\nyou: x\n", "utf-8")
    assert stage.find_flow(rehearse.read(tmp_path / "x.txt")).resolve() == mine.resolve()
