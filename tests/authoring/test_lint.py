"""Judging a whole flow: stages, places in two files, what is whose fault, and how it is asked for."""

from __future__ import annotations

from pathlib import Path

import pytest
from pydantic import ValidationError

from bot.authoring import lint, load
from bot.authoring.catalogue import CATALOGUE
from bot.authoring.problems import show_all
from tests.authoring.changed import GONE, HERE, base, codes, judged, paths


def test_a_good_flow_has_no_problems() -> None:
    assert lint.judge(HERE / "base.yaml") == ()


def test_all_problems_of_a_flow_come_at_once_and_sorted() -> None:
    found = judged(
        {
            "unlisted/share": 40,
            "paired": 12,
            "opening": ["rythm"],
            "remedies/set-gap/tools": ["feeler", "feeler"],
        }
    )
    assert [p.code for p in found] == ["L302", "L113", "L124", "L301"]
    assert [(p.line, p.column) for p in found] == sorted((p.line, p.column) for p in found)


def test_a_wrong_name_does_not_make_the_right_one_unused() -> None:
    """The sign that was meant is not called useless as long as the name leads nowhere."""
    found = codes(
        {"questions/rhythm/answers": {"a": {"label": "A", "shows": ["keeps-tme"]}, "b": {"label": "B"}}}
    )
    assert found == ["L102"]


def test_what_the_common_file_brings_need_not_be_used() -> None:
    """The base flow uses neither its 'spanner-10'... but leaving out the access shows no fault there."""
    assert codes({"checks/flange/cautions": [], "remedies/seal-flange/steps/0/cautions": []}) == []


def test_a_fault_of_the_common_file_is_placed_there(tmp_path: Path) -> None:
    text = (HERE / "common.yaml").read_text(encoding="utf-8")
    wrong = text.replace("cleared_by: {by: mechanic}", "cleared_by: {any: [gap.bad]}")
    (tmp_path / "common.yaml").write_text(wrong, encoding="utf-8")
    (tmp_path / "flow.yaml").write_bytes((HERE / "base.yaml").read_bytes())
    [found] = lint.judge(tmp_path / "flow.yaml")
    line = wrong.split("\n").index("    cleared_by: {any: [gap.bad]}") + 1
    assert (found.code, Path(found.file).name, found.line, found.column) == ("L118", "common.yaml", line, 24)


def test_warnings_met_while_reading_are_kept(tmp_path: Path) -> None:
    text = (HERE / "base.yaml").read_text(encoding="utf-8").replace("title: Ticking", "title: Nut #3 Ticking")
    (tmp_path / "flow.yaml").write_text(text, encoding="utf-8")
    found = lint.judge(tmp_path / "flow.yaml", HERE / "common.yaml")
    assert [(p.code, p.line, p.stops) for p in found] == [("Y016", 4, False)]


def test_a_flow_of_the_wrong_form_is_judged_by_its_form_only(tmp_path: Path) -> None:
    (tmp_path / "flow.yaml").write_text("language: 1\nflow: x\n", encoding="utf-8")
    assert {p.code for p in lint.judge(tmp_path / "flow.yaml")} == {"F101"}


def test_problems_print_with_their_lines() -> None:
    loaded = load.load(HERE / "base.yaml")
    text = (HERE / "base.yaml").read_text(encoding="utf-8")
    wrong = load.load_text(
        text.replace("paired: 6", "paired: 14").encode(), (HERE / "common.yaml").read_bytes()
    )
    assert show_all(lint.lint(wrong), wrong.texts).split("\n")[1:] == ["  paired: 14", "          ^"]
    assert show_all(lint.lint(loaded), loaded.texts) == ""


def test_one_kind_of_fault_is_told_a_hundred_times_at_most() -> None:
    """Else a file made for that could keep the judge busy with looking for near names."""
    found = judged({"opening": [f"no-such-{n}" for n in range(5000)]})
    assert [p.code for p in found] == ["L113"] * lint.MOST_OF_ONE


@pytest.mark.parametrize("value", ["nowhere", GONE, []], ids=["nowhere", "gone", "empty"])
def test_no_single_change_makes_the_judge_stumble(value: object) -> None:
    """Every value of the base flow in turn: the form is refused, or the rules come to an end."""
    judged_ones = 0
    for path in paths(base()):
        if len(path) > 1:
            try:
                judged({"/".join(map(str, path)): value})
                judged_ones += 1
            except ValidationError:
                pass
    assert judged_ones > 20


def test_each_rule_function_names_its_codes_in_its_first_line() -> None:
    """A rule can be found from its code; the rules about unknown names are made from one table."""
    from bot.authoring.rules.references import _KINDS

    named = " ".join(rule.__doc__ or "" for rule in lint.RULES)
    for code in CATALOGUE:
        if code.startswith("L") and code != "L101" and code not in _KINDS.values():
            assert code in named, code


@pytest.mark.parametrize("flow_id", load.shipped_ids())
def test_shipped_flows_have_nothing_to_mend(flow_id: str) -> None:
    from bot.authoring import shelf

    found = [p for p in lint.judge(shelf.find().flow(flow_id)) if p.stops]
    assert found == [], "\n".join(map(str, found))
