"""What a first message tells, on a small invented flow; no false finding is allowed."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bot.core.desk import Card
from bot.core.flow import read
from bot.core.told import NONE_OF_THESE, Told, index, listen, pick, tried, wondered

FLOW: dict[str, Any] = {
    "language": 1,
    "flow": "grit-in-pan",
    "version": 1,
    "title": "Grit in the drain pan",
    "riders_say": ["bits in the oil"],
    "hand_over": {"minutes": 600},
    "unlisted": {"share": 10},
    "signs": {
        sign: {"means": sign, "background": "seldom"}
        for sign in ("steel", "other", "knock", "oil-light", "hair", "flake", "work-done", "loose")
    }
    | {"amount": {"means": "how much", "steps": ["few", "lots"], "background": [80, 20]}},
    "traits": {
        "starter": {
            "ask": "How is it started?",
            "answers": {
                "kick": {"label": "By foot", "told_as": ["kickstart only"]},
                "button": {"label": "By button", "told_as": ["electric start", "cranks"]},
            },
        }
    },
    "questions": {
        "magnet": {
            "kind": "one",
            "ask": "What does a magnet do?",
            "answers": {
                "all": {
                    "label": "All cling",
                    "shows": ["steel"],
                    "denies": ["other"],
                    "told_as": ["sticks to the magnet", "magnetic"],
                },
                "mixed": {
                    "label": "Some cling",
                    "shows": ["steel", "other"],
                    "told_as": ["some of it magnetic"],
                },
                "none": {
                    "label": "None clings",
                    "shows": ["other"],
                    "denies": ["steel"],
                    "told_as": ["not magnetic"],
                },
            },
        },
        "noise": {
            "kind": "one",
            "ask": "Does it knock?",
            "answers": {
                "knock": {"label": "Yes", "shows": ["knock"], "told_as": ["knocking", "knocks", "clanks"]},
                "quiet": {"label": "No", "denies": ["knock"], "told_as": ["runs quiet"]},
            },
        },
        "light": {
            "kind": "one",
            "ask": "Is the oil light on?",
            "answers": {
                "lit": {
                    "label": "On",
                    "shows": ["oil-light"],
                    "told_as": ["oil light is on", "oil light on"],
                },
                "dark": {"label": "Off", "denies": ["oil-light"], "told_as": ["no oil light"]},
                "blinks": {"label": "Blinks", "denies": ["oil-light"], "told_as": ["light flickers"]},
            },
        },
        "kinds": {
            "kind": "several",
            "ask": "Which do you see?",
            "marks": {
                "hair": {"label": "Hairs", "shows": "hair", "told_as": ["whiskers", "hairs"]},
                "flake": {"label": "Flakes", "shows": "flake", "told_as": ["flakes", "glitter"]},
            },
            "none_of_these": {"label": "None", "told_as": ["nothing but paste"]},
        },
        "amount": {
            "kind": "graded",
            "sign": "amount",
            "ask": "How many bits?",
            "classes": {
                "few": {"label": "Few", "upto": 5, "told_as": ["a few bits", "not many bits"]},
                "lots": {"label": "Many", "told_as": ["loads of bits"]},
            },
        },
        "hours": {
            "kind": "number",
            "unit": "h",
            "ask": "How many running hours since the engine was last opened?",
            "allowed": [0, 5000],
            "ranges": [{"upto": 10, "shows": ["work-done"]}, {"denies": ["work-done"]}],
        },
        "tyre-front": {
            "kind": "number",
            "unit": "kPa",
            "ask": "Front tyre pressure?",
            "allowed": [0, 400],
            "ranges": [{"denies": ["work-done"]}],
        },
        "tyre-rear": {
            "kind": "number",
            "unit": "bar",
            "ask": "Rear tyre pressure?",
            "allowed": [0, 4],
            "ranges": [{"denies": ["work-done"]}],
        },
    },
    "checks": {
        "nut": {
            "kind": "look",
            "ask": "Is the nut loose?",
            "good": {"label": "Tight", "looks_like": "flat washer", "told_as": ["nut is tight"]},
            "bad": {"label": "Loose", "looks_like": "it turns", "told_as": ["nut is loose"]},
            "finds": [{"cause": "nut-off", "catches": 0.9}],
        },
        "basket": {
            "kind": "look",
            "ask": "Is the basket worn?",
            "good": {"label": "Smooth", "looks_like": "smooth", "told_as": ["basket is smooth"]},
            "bad": {"label": "Notched", "looks_like": "notches", "told_as": ["basket is notched"]},
            "finds": [{"cause": "nut-off", "catches": 0.9}],
            "other_damage": True,
        },
    },
    "causes": {"nut-off": {"name": "Nut off", "share": 90, "shows": {"steel": "often"}}},
    "false_cures": {
        "thicker-oil": {"told_as": ["put in thicker oil"], "say": "It hides the noise."},
        "flush": {"told_as": ["flushed it", "engine flush"], "say": "It moves the bits on."},
    },
}
GRIT = read(FLOW)
INDEX = index(GRIT)

HEARD: list[tuple[str, dict[str, tuple[str, ...]]]] = [
    ("it sticks to the magnet", {"magnet": ("all",)}),
    ("Sticks to a MAGNET!", {"magnet": ("all",)}),
    ("stuff that stikcs to my magnet", {"magnet": ("all",)}),
    ("the bits are magnetic and it is knocking", {"magnet": ("all",), "noise": ("knock",)}),
    ("some of it magnetic", {"magnet": ("mixed",)}),
    # denied
    ("it is not magnetic", {"magnet": ("none",)}),
    ("it doesn't stick, but it is magnetic", {"magnet": ("all",)}),
    ("it isn't really knocking", {"noise": ("quiet",)}),
    ("it never ever knocks", {"noise": ("quiet",)}),
    ("runs without knocking", {"noise": ("quiet",)}),
    ("knocking: no", {"noise": ("quiet",)}),
    ("knocking - none, oil light on", {"noise": ("quiet",), "light": ("lit",)}),
    ("won't idle, knocking", {"noise": ("knock",)}),
    ("won't idle. knocking", {"noise": ("knock",)}),
    ("won't idle but it is knocking", {"noise": ("knock",)}),
    ("won't idle and then starts knocking", {"noise": ("knock",)}),
    ("won't idle and it is knocking", {"noise": ("knock",)}),
    ("not magnetic and knocking", {"magnet": ("none",), "noise": ("knock",)}),
    ("not sure what broke last week on the way home, knocking", {"noise": ("knock",)}),
    ("not only knocking", {"noise": ("knock",)}),
    ("no it sticks to the magnet", {"magnet": ("all",)}),
    ("no oil light", {"light": ("dark",)}),
    ("no, oil light is on", {"light": ("lit",)}),
    ("no, oil light flickers", {"light": ("blinks",)}),
    ("I never see the oil light on", {}),  # two answers deny it
    ("doesn't rattle and not magnetic", {"magnet": ("none",)}),
    ("it clanks", {"noise": ("knock",)}),
    ("it cranks", {"trait:starter": ("button",)}),
    ("it cwanks", {}),  # one slip from either
    ("oil light isn't on", {}),
    ("the light flickers", {"light": ("blinks",)}),
    ("the light never flickers", {}),
    ("no hairs", {}),
    ("not loads of bits", {}),
    ("not many bits", {"amount": ("few",)}),
    ("the nut is not loose", {}),
    ("I would not say the nut is loose", {"nut": ("good",)}),
    ("I would not say the nut is tight", {"nut": ("bad",)}),
    ("nobody could say it, the nut is tight", {"nut": ("good",)}),
    ("never said the basket is notched", {"basket": ("good",)}),
    ("never said the basket is smooth", {}),
    # doubted or asked
    ("not sure if it is magnetic", {}),
    ("i'm not sure it's magnetic", {}),
    ("can't tell whether it is knocking", {}),
    ("what if it starts knocking", {}),
    ("is it knocking?", {}),
    ("why is it knocking?", {"noise": ("knock",)}),
    ("it stopped knocking", {}),
    ("maybe flakes", {}),
    # both ways
    ("magnetic, well some of it magnetic", {}),
    ("it knocks. no, it doesn't. runs quiet", {}),
    ("knocks and knocking", {"noise": ("knock",)}),
    ("the light flickers. it never flickers, the light never flickers", {"light": ("blinks",)}),
    # marks
    ("hairs and glitter everywhere", {"kinds": ("hair", "flake")}),
    ("glitter, flakes, whiskres", {"kinds": ("flake", "hair")}),
    ("hairs in the pan. no hairs in the filter", {}),
    ("no hairs but flakes", {"kinds": ("flake",)}),
    ("nothing but paste", {"kinds": (NONE_OF_THESE,)}),
    ("nothing but paste, flakes", {}),
    # other forms, small words between, two words turned round
    ("the bits stuck to the old magnet", {"magnet": ("all",)}),
    ("bits were sticking to the magnet", {"magnet": ("all",)}),
    ("the hub nut is really quite loose", {"nut": ("bad",)}),
    ("one loose nut", {"nut": ("bad",)}),
    ("the basket has always been notched", {"basket": ("bad",)}),
    ("notched basket", {"basket": ("bad",)}),
    ("loads of tiny pieces", {"amount": ("lots",)}),
    ("the basket is not notched", {}),
    ("nut, loose screw", {}),  # a stop between them
    ("loose the nut", {"nut": ("bad",)}),
    # a part of it, where one answer is for the whole
    ("most of it sticks to the magnet", {}),
    ("a few of them stick to the magnet", {}),
    # only meant
    ("planning on kickstart only", {}),
    ("kickstart only on order", {}),
    ("going to flush, loads of bits", {"amount": ("lots",)}),
    # steps and traits
    ("only a few bits", {"amount": ("few",)}),
    ("loads of bits, kickstart only", {"amount": ("lots",), "trait:starter": ("kick",)}),
    ("no electric start", {}),
    # nothing at all
    ("", {}),
    ("👍", {}),
    ("the oil light bulb is new", {}),
    ("I fixed the flashlight", {}),
]


@pytest.mark.parametrize(("text", "wanted"), HEARD)
def test_free_words_tell_what_they_say_and_no_more(text: str, wanted: dict[str, tuple[str, ...]]) -> None:
    assert {told.ask: told.value_ids for told in listen(text, INDEX)} == wanted


def test_a_denial_is_marked_and_quoted() -> None:
    assert listen("It isn't KNOCKING", INDEX) == (Told("noise", ("quiet",), True, "knocking"),)
    assert listen("Not magnetic", INDEX) == (Told("magnet", ("none",), False, "not magnetic"),)


def test_findings_come_in_the_order_told() -> None:
    told = listen("knocking, then flakes, magnetic and glitter", INDEX)
    assert [each.ask for each in told] == ["noise", "kinds", "magnet"]
    assert told[1].phrase == "flakes, glitter"


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("engine was opened 5 hours ago", (5, 5)),
        ("opened the engine 90 min back", (1.5, 1.5)),
        ("about 10 hours since it was opened", (8, 12)),
        ("due to be opened in 5 hours, engine and all", None),
        ("engine opened, 5 hours back", None),  # a stop between, and nothing else told of it
        ("ran 2 hours", None),  # no word of the question
        ("the engine ran 2 hours", None),  # one word is not enough
        ("engine opened 5 days ago", None),
        ("engine opened at 300 km", None),
        ("engine not opened in 5 hours", None),
        ("opened the engine. 5 hours to get home", None),
        ("front tyre pressure 100 kPa", None),  # two questions take a pressure
        ("engine was opened 5 hours ago, engine was opened 6 hours ago", None),
    ],
)
def test_quantity_needs_its_unit_and_its_words(text: str, wanted: tuple[float, float] | None) -> None:
    told = listen(text, INDEX)
    if wanted is None:
        assert told == ()
    else:
        assert len(told) == 1
        assert (told[0].ask, told[0].value_ids) == ("hours", ())
        quantity = told[0].quantity
        assert quantity is not None
        assert (quantity.low, quantity.high) == pytest.approx(wanted)
        assert quantity.unit == "h"


def test_false_cures_that_were_tried_are_named() -> None:
    assert tried("put in thicker oil, then did an engine flush and flushed it", GRIT) == (
        "thicker-oil",
        "flush",
    )
    assert tried("never flushed it. should i put in thicker oil?", GRIT) == ()
    assert tried("knocking", GRIT) == ()


def test_false_cures_that_are_asked_about_are_named_too() -> None:
    assert wondered("should i put in thicker oil?", GRIT) == tried("put in thicker oil", GRIT)
    assert wondered("cant i just put in thicker oil", GRIT) == tried("put in thicker oil", GRIT)
    assert wondered("i never put in thicker oil", GRIT) == ()


PHRASES = [
    "sticks to the magnet", "magnetic", "not magnetic", "knocking", "runs quiet", "oil light on",
    "no oil light", "whiskers", "glitter", "loads of bits", "nut is loose", "kickstart only",
]  # fmt: skip


@given(st.lists(st.sampled_from(PHRASES), max_size=4), st.text(max_size=30))
def test_listening_never_raises_and_tells_each_question_once(phrases: list[str], stray: str) -> None:
    told = listen(". ".join([*phrases, stray]), INDEX)
    asks = [each.ask for each in told]
    assert len(asks) == len(set(asks))
    known = {*GRIT.asks, *(f"trait:{trait}" for trait in GRIT.traits)}
    assert set(asks) <= known


@given(st.sampled_from(PHRASES), st.sampled_from(["if", "not sure if", "maybe", "no idea whether"]))
def test_doubt_before_any_phrase_leaves_it_out(phrase: str, doubt: str) -> None:
    assert listen(f"{doubt} {phrase}", INDEX) == ()


# --- which flow ------------------------------------------------------------------------------

CARDS = (
    Card("grit", "h1", "Grit in the oil", ("metal in the oil", "glitter in the oil"), ("flakes", "magnetic")),
    Card("no-start", "h2", "Will not start", ("won't start", "engine does not start"), ("just clicks",)),
    Card("hot", "h3", "Runs too hot", ("boils over", "losing coolant"), ("steam",)),
)


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("metal in the oil", "grit"),
        ("Metall in teh oil", "grit"),
        ("found metal all over my oil", "grit"),
        ("metal in the oil?", "grit"),
        ("there are flakes", "grit"),
        ("it won't start", "no-start"),
        ("won’t start, just clicks", "no-start"),
        ("steam and it boils over", "hot"),
        ("flakes and steam", None),
        ("no metal in the oil", None),
        ("not losing coolant, won't start", "no-start"),
        ("help", None),
        ("", None),
    ],
)
def test_first_words_pick_the_flow(text: str, wanted: str | None) -> None:
    assert pick(text, CARDS).flow == wanted


def test_flows_that_may_be_meant_come_best_first() -> None:
    found = pick("flakes and it boils over", CARDS)
    assert [flow for flow, _ in found.ranked] == ["hot", "grit"]
    assert found.flow == "hot"
    assert pick("flakes and steam", CARDS).ranked == (("grit", 1.0), ("hot", 1.0))
    assert pick("asdf", CARDS).ranked == ()
