"""Shares, looks and remedies."""

from __future__ import annotations

import pytest

from tests.authoring.changed import GONE, codes, judged


@pytest.mark.parametrize(
    ("unlisted", "expected"),
    [(20, []), (21, []), (19, []), (21.1, ["L301"]), (18.9, ["L301"]), (40, ["L301"])],
)
def test_shares_add_up_to_a_hundred_give_or_take_one(unlisted: float, expected: list[str]) -> None:
    """The two causes of the base flow have 50 and 30."""
    assert codes({"unlisted/share": unlisted}) == expected


@pytest.mark.parametrize(("paired", "expected"), [(6, []), (11, []), (11.5, ["L302"]), (40, ["L302"])])
def test_pairs_are_not_too_many(paired: float, expected: list[str]) -> None:
    assert codes({"paired": paired}) == expected


CAUSE = {"name": "Cam worn", "share": 1, "shows": {"keeps-time": "often"}, "remedy": "set-gap"}


def test_a_cause_that_can_be_mended_can_be_found() -> None:
    assert codes({"causes/cam-worn": CAUSE}) == ["L303"]


def test_a_cause_that_is_only_watched_need_not_be_found() -> None:
    watched = {**CAUSE, "second_look": "listen-again"}
    del watched["remedy"]
    assert codes({"causes/cam-worn": watched}) == []


def test_a_mark_finds_as_well_as_a_look() -> None:
    finds = [{"cause": "flange-leak", "catches": 0.91}, {"cause": "cam-worn", "catches": 0.5}]
    assert codes({"causes/cam-worn": CAUSE, "checks/flange/marks/leak/finds": finds}) == []


def test_causes_that_nothing_tells_apart() -> None:
    changes: dict[str, object] = {
        "causes/gap-wide/shows": {"keeps-time": "half", "black-marks": "usually", "amount": [1, 9, 90]},
        "causes/flange-leak/shows": {"keeps-time": "half", "black-marks": "usually", "amount": [1, 9, 90]},
        "causes/gap-wide/shows/work-done": "half",
        "checks/flange": GONE,
        "checks/gap/finds": [{"cause": c, "catches": 0.9} for c in ("gap-wide", "flange-leak")],
    }
    assert codes(changes) == []
    alike = {**changes, "causes/flange-leak/shows/work-done": "half"}
    [found] = judged(alike)
    assert (found.code, "'flange-leak' from 'gap-wide'" in found.text) == ("L304", True)
    assert codes({**alike, "causes/flange-leak/only_when": {"cooling": ["air"]}}) == []
    other = [{"cause": "gap-wide", "catches": 0.9}, {"cause": "flange-leak", "catches": 0.8}]
    assert codes({**alike, "checks/gap/finds": other}) == []


@pytest.mark.parametrize(
    ("path", "value", "expected"),
    [
        ("causes/gap-wide/remedy", GONE, ["L305", "L307"]),
        ("checks/flange/marks/leak/finds/0/catches", 0.01, ["L306"]),
        ("checks/flange/marks/leak/finds/0/catches", 0.011, []),
        ("causes/gap-wide/remedy", "seal-flange", ["L307"]),
        ("causes/flange-leak/shows", {}, ["L201", "L308"]),
        ("access/head-off", {"do": "Head off.", "shut": "Head on.", "open": 1, "close": 1}, ["L309"]),
        ("normal", {"tick": {"looks_like": "a", "usually": "b", "trouble": "c"}}, ["L309"]),
        ("sources", {"other-book": {"title": "Another book"}}, ["L309"]),
    ],
)
def test_what_leads_nowhere(path: str, value: object, expected: list[str]) -> None:
    assert codes({path: value}) == expected


def test_prices_need_a_currency() -> None:
    """The base flow has three: handing over 80, a gasket 9, a ring 6."""
    assert codes({"money": GONE}) == ["L310"] * 3
    free = {"money": GONE, "hand_over/money": 0, "access/cover-off/parts/gasket/price": GONE}
    assert codes({**free, "remedies/seal-flange/parts/ring/price": GONE}) == []
    assert codes({**free, "remedies/seal-flange/parts/ring/price": 0, "access/cover-off/close_money": 5}) == [
        "L310"
    ]
    assert codes({**free, "remedies/seal-flange/parts/ring/price": 0, "checks/gap/money": 5}) == ["L310"]
