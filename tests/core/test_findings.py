"""What an answer claims about signs, for each kind of question, and what is no answer at all."""

from __future__ import annotations

from typing import Any

import pytest

from bot.core.findings import (
    TRAIT,
    Answered,
    Choices,
    Finding,
    Looked,
    Marked,
    Marks,
    NotSure,
    Stepped,
    Value,
    claims,
    others,
    reading,
    tell_traits,
)
from bot.core.flow import Flow
from tests.core.worlds import flow_of, look, one, several, yes_no

ABSENT, SHOWN = frozenset({0}), frozenset({1})


def bench(**more: Any) -> Flow:
    """One question of each kind."""
    signs = {s: {"means": s, "background": 0.1} for s in ("steel", "brass", "hot")}
    signs["much"] = {"means": "how much", "background": [70, 20, 10], "steps": ["bit", "some", "lots"]}
    parts: dict[str, Any] = {
        "signs": signs,
        "causes": {c: {"name": c, "share": 45} for c in ("gear", "bush")},
        "questions": {
            "magnet": one(
                all={"shows": ["steel"], "denies": ["brass"]},
                mixed={"shows": ["steel", "brass"]},
                neither={},
            ),
            "kinds": several({"bits": {"shows": "steel"}, "dust": {"shows": "brass"}, "lint": {}}),
            "amount": {
                "kind": "graded", "ask": "How much?", "sign": "much",
                "classes": {c: {"label": c} for c in ("few", "more", "heap")},
            },
            "weight": {
                "kind": "number", "ask": "How much?", "sign": "much", "unit": "g", "allowed": [0, 99],
                "ranges": [{"upto": 1, "step": "bit"}, {"upto": 5, "step": "lots"}, {"step": "lots"}],
            },
            "heat": {
                "kind": "number", "ask": "How hot?", "unit": "C", "allowed": [0, 300],
                "ranges": [{"upto": 120, "denies": ["hot"]}, {"shows": ["hot"]}],
            },
            "words": {"kind": "note", "ask": "Anything else?"},
            "trifle": one(yes={}, no={}),
        },
        "checks": {
            "gear-look": look("gear", 0.9, other_damage=True),
            "cover": several(
                {m: {"finds": [{"cause": m, "catches": 0.9}]} for m in ("gear", "bush")}, other_damage=True
            ),
        },
        "traits": {
            "case": one(alloy={"denies": ["steel"]}, iron={}) | {"ask": "Alloy case?"},
        },
    }  # fmt: skip
    del parts["traits"]["case"]["kind"]
    return flow_of(**(parts | more))


@pytest.mark.parametrize(
    ("ask", "value", "wanted"),
    [
        ("magnet", Answered("all"), {"steel": SHOWN, "brass": ABSENT}),
        ("magnet", Answered("mixed"), {"steel": SHOWN, "brass": SHOWN}),
        ("magnet", NotSure(), {}),
        ("kinds", Marked(frozenset({"bits"})), {"steel": SHOWN, "brass": ABSENT}),
        ("kinds", Marked(frozenset({"lint"})), {"steel": ABSENT, "brass": ABSENT}),
        ("kinds", Marked(frozenset({"bits"}), partly=True), {"steel": SHOWN}),
        ("amount", Stepped(frozenset({"heap"})), {"much": frozenset({2})}),
        ("amount", Stepped(frozenset({"lots"})), {"much": frozenset({2})}),
        ("amount", Stepped(frozenset({"few", "more"})), {"much": frozenset({0, 1})}),
        ("amount", Stepped(frozenset({"few", "more", "heap"})), {}),
        ("amount", Stepped(frozenset()), {}),
        ("weight", Stepped(frozenset({"lots"})), {"much": frozenset({2})}),
        ("heat", Answered("0"), {"hot": ABSENT}),
        ("heat", Answered("1"), {"hot": SHOWN}),
        ("gear-look", Looked("good"), {"gear-look.bad": ABSENT, "gear-look.other": ABSENT}),
        ("gear-look", Looked("bad"), {"gear-look.bad": SHOWN, "gear-look.other": ABSENT}),
        ("gear-look", Looked("other"), {"gear-look.other": SHOWN}),
        (
            "cover",
            Marked(frozenset({"bush", "other"})),
            {"cover.gear": ABSENT, "cover.bush": SHOWN, "cover.other": SHOWN},
        ),
        ("words", Answered("it hums"), {}),
        ("trifle", Answered("yes"), {}),
        (TRAIT + "case", Answered("alloy"), {"steel": ABSENT}),
    ],
)
def test_what_an_answer_claims(ask: str, value: Value, wanted: dict[str, frozenset[int]]) -> None:
    assert claims(bench(), Finding(ask, value)) == wanted


def test_an_answer_without_signs_beside_others_with_some_still_speaks() -> None:
    assert claims(bench(), Finding("magnet", Answered("neither"))) == {"said:magnet": frozenset({2})}


@pytest.mark.parametrize(
    ("ask", "value"),
    [
        ("magnet", Answered("sideways")),
        ("magnet", Marked(frozenset({"all"}))),
        ("kinds", Answered("bits")),
        ("amount", Stepped(frozenset({"gallons"}))),
        ("heat", Answered("2")),
        ("no-such", Answered("yes")),
        (TRAIT + "no-such", Answered("yes")),
    ],
)
def test_what_is_no_answer_is_refused(ask: str, value: Value) -> None:
    with pytest.raises(KeyError):
        claims(bench(), Finding(ask, value))


def test_a_vague_no_is_shown_on_all_steps_but_the_lowest() -> None:
    flow = bench(questions={"any": one(yes={"shows": ["much"]}, no={"denies": ["much"]})})
    assert claims(flow, Finding("any", Answered("yes"))) == {"much": frozenset({1, 2})}
    assert claims(flow, Finding("any", Answered("no"))) == {"much": ABSENT}


def test_how_questions_are_read() -> None:
    flow = bench()
    weight, cover = reading(flow, "weight"), reading(flow, "cover")
    assert isinstance(weight, Choices)
    assert weight.labels == ("bit", "lots")  # two ranges of one step are one answer
    assert isinstance(cover, Marks)
    assert cover.observables == ("cover.gear", "cover.bush", "cover.other")
    assert reading(flow, "words") is None
    assert others(flow) == {"gear-look.other", "cover.other"}


def test_classes_that_do_not_fit_their_sign_are_an_error() -> None:
    classes = {c: {"label": c} for c in ("few", "heap")}
    flow = bench(questions={"n": {"kind": "graded", "ask": "?", "sign": "much", "classes": classes}})
    with pytest.raises(ValueError, match="as many steps"):
        reading(flow, "n")
    ranges = [{"upto": 2, "step": "bit"}, {"step": "tons"}]
    number = {"kind": "number", "ask": "?", "sign": "much", "unit": "g", "allowed": [0, 9], "ranges": ranges}
    with pytest.raises(ValueError, match="none of its steps"):
        reading(bench(questions={"n": number}), "n")


def test_only_traits_that_speak_of_signs_are_told() -> None:
    flow = bench()
    assert tell_traits(flow, {"case": "iron", "other": "x"}, 3) == ()
    assert tell_traits(flow, {"case": "alloy"}, 3) == (Finding("trait:case", Answered("alloy"), seq=3),)


def test_a_yes_no_question_has_two_labels() -> None:
    asked = reading(bench(questions={"q": yes_no("steel", slip=0.1)}), "q")
    assert isinstance(asked, Choices)
    assert (asked.labels, asked.slip) == (("yes", "no"), 0.1)
