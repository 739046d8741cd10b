"""New figures in the text of a flow: only they change, whatever the text looks like, and it is judged."""

from __future__ import annotations

import difflib
import json
from datetime import date
from typing import Any

import pytest
import yaml

from bot.authoring import load, shelf
from bot.authoring.problems import FlowError
from bot.authoring.shares import make_version, rewrite
from bot.core.outcomes import shares, written
from tests.rattle import FLOW, RATTLE

DAY = date(2026, 5, 4)
NEW = {"nut-loose": 22.5, "basket-worn": 50.0, "kick-gear": 15.0, "fines": 5.0, "": 7.5}
SMALL = """\
# By hand: shares of 100.
version: 2   # counted up by hand
causes:
  nut-loose: {share: 40.0, name: "share: 7"}   # share: 40 too
  basket-worn:
    # of wear
    share:   30        # practice
    share_if: {starter: {kick: 20, button: 4e1}}
  kick-gear:
    share: 1e1
    name: Kick gear
  fines:
    share:
      10
unlisted: {"share": 10}
"""
SMALL_AFTER = """\
# Shares updated from 20 closed cases on 2026-05-04.
# By hand: shares of 100.
version: 3   # counted up by hand
causes:
  nut-loose: {share: 22.5, name: "share: 7"}   # share: 40 too
  basket-worn:
    # of wear
    share:   50        # practice
    share_if: {starter: {kick: 36.8, button: 60.9}}
  kick-gear:
    share: 15
    name: Kick gear
  fines:
    share:
      5
unlisted: {"share": 7.5}
"""
MOVED = {("basket-worn", "starter", "kick"): 36.8, ("basket-worn", "starter", "button"): 60.9}
REMARK = "# Shares updated from 20 closed cases on 2026-05-04."


def changed(before: str, after: str) -> list[tuple[str, str]]:
    """Lines that are not the same, in pairs; what is only in one has '' beside it."""
    out = list[tuple[str, str]]()
    old, new = before.split("\n"), after.split("\n")
    for kind, a, b, c, d in difflib.SequenceMatcher(None, old, new, autojunk=False).get_opcodes():
        if kind != "equal":
            left, right = old[a:b], new[c:d]
            out += zip(
                left + [""] * (len(right) - len(left)), right + [""] * (len(left) - len(right)), strict=True
            )
    return out


def test_only_the_figures_change() -> None:
    assert rewrite(SMALL, NEW, MOVED, REMARK) == SMALL_AFTER


@pytest.mark.parametrize("lead", ["", "\ufeff"])
def test_line_ends_and_marks_of_other_systems_stay(lead: str) -> None:
    after = rewrite(lead + SMALL.replace("\n", "\r\n"), NEW, MOVED, REMARK)
    assert after == lead + SMALL_AFTER.replace("\n", "\r\n")


def test_a_figure_that_says_it_already_stays_as_it_was_written() -> None:
    same = {**NEW, "nut-loose": 40.0, "kick-gear": 10.0}
    after = rewrite(SMALL, same, {}, REMARK)
    assert "share: 40.0," in after
    assert "share: 1e1\n" in after


def test_a_text_without_line_ends_is_edited_too() -> None:
    after = rewrite(json.dumps(RATTLE), NEW, {}, REMARK)
    head, _, body = after.partition("\n")
    assert head == REMARK
    told: dict[str, Any] = json.loads(body)
    assert {id: cause["share"] for id, cause in told["causes"].items()} | {
        "": told["unlisted"]["share"]
    } == NEW
    assert told == {
        **RATTLE, "version": 3, "causes": told["causes"], "unlisted": told["unlisted"]
    }  # fmt: skip


def test_a_text_that_cannot_be_read_is_refused() -> None:
    with pytest.raises(FlowError, match="Y003"):
        rewrite("version: &a 2\n", NEW, {}, REMARK)


def test_a_second_version_says_both_times() -> None:
    twice = rewrite(SMALL_AFTER, NEW, MOVED, "# Shares updated from 31 closed cases on 2026-06-01.")
    assert twice.split("\n")[:3] == [
        "# Shares updated from 31 closed cases on 2026-06-01.",
        "# Shares updated from 20 closed cases on 2026-05-04.",
        "# By hand: shares of 100.",
    ]
    assert "version: 4   # counted" in twice


# --- judged like any flow -------------------------------------------------------------------------


def test_the_shipped_flow_with_the_shares_of_forty_one_cases() -> None:
    """Every line but the head, the version and lines of shares is the author's, and the linter is content."""
    flow = load.shipped("metal-in-oil")
    cases = {"ordinary-fines": 9, "basket-or-hub-notched": 14, "plates-worn-or-burnt": 15, "": 3}
    loaded, text = make_version(flow.text, flow.common, flow.flow, shares(flow.flow, cases), 41, DAY)
    lines = changed(flow.text, text)
    assert lines[0] == ("", "# Shares updated from 41 closed cases on 2026-05-04.")
    assert ("version: 1", "version: 2") in lines
    others = [(was, now) for was, now in lines[1:] if was != "version: 1"]
    assert others
    assert all(was.split(":")[0] == now.split(":")[0] for was, now in others)
    assert {was.split(":")[0].strip() for was, _ in others} == {"share", "share_if", "unlisted"}
    assert sum(round(10 * share) for share in written(loaded.flow).values()) == 1000
    assert loaded.flow.model_copy(update={"causes": {}, "unlisted": None, "version": 1}) == (
        flow.flow.model_copy(update={"causes": {}, "unlisted": None})
    )


def test_a_share_of_one_kind_of_bike_moves_along_in_the_shipped_flow() -> None:
    """Basket: 8.84 of 100, with two-stroke oil 12.24. 0.0884/0.9116 = 0.09697 and 0.1224/0.8776 = 0.13947,
    1.43827 times as much. Of its new share, kept in the flow, the same multiple is there again."""
    flow = load.shipped("metal-in-oil")
    cases = {"basket-or-hub-notched": 14, "ordinary-fines": 9}
    loaded, _ = make_version(flow.text, flow.common, flow.flow, shares(flow.flow, cases), 23, DAY)
    basket = loaded.flow.causes["basket-or-hub-notched"]
    ratio = basket.share / (100 - basket.share)
    oily = basket.share_if["oil-layout"]["two-stroke"]
    assert oily / (100 - oily) == pytest.approx(1.43827 * ratio, rel=3e-3)  # one decimal
    assert basket.share_if["basket"]["steel"] < basket.share < oily


def test_a_version_with_a_mistake_is_refused() -> None:
    """Shares that do not come to a hundred: whoever hands them in, the linter has the last word."""
    text = yaml.safe_dump(RATTLE, sort_keys=False)
    with pytest.raises(FlowError, match="L301"):
        make_version(text, "", FLOW, {**NEW, "nut-loose": 62.5}, 20, DAY)


def test_the_files_of_the_package_are_not_touched() -> None:
    path = shelf.find().flow("metal-in-oil")
    before = path.read_bytes()
    flow = load.shipped("metal-in-oil")
    make_version(flow.text, flow.common, flow.flow, shares(flow.flow, {"": 9}), 9, DAY)
    assert path.read_bytes() == before
