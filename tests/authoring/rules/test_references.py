"""Names that lead nowhere, loops of access, and results that cannot be."""

from __future__ import annotations

import pytest

from tests.authoring.changed import codes, judged

LOOK = {
    "kind": "look",
    "ask": "Look at it.",
    "good": {"label": "fine", "looks_like": "dry"},
    "bad": {"label": "bad", "looks_like": "wet"},
    "finds": [{"cause": "gap-wide", "catches": 0.95}],
}


def work(*after: str, **more: object) -> dict[str, object]:
    return {"do": "Take it off.", "shut": "Put it on.", "open": 5, "close": 5, "after": list(after), **more}


@pytest.mark.parametrize(
    ("path", "value", "code"),
    [
        ("signs/keeps-time/silent_while", ["marks"], "L102"),
        ("questions/rhythm/answers/apart/denies", ["keeps-tim"], "L102"),
        ("questions/marks/marks/soot/shows", "black-mark", "L102"),
        ("questions/loudness/sign", "amounts", "L102"),
        ("questions/hours-since-valves/ranges/0/shows", ["work"], "L102"),
        ("causes/gap-wide/shows/tick", "often", "L102"),
        ("stop_rules/very-loud/when/unless", ["crash"], "L102"),
        ("stop_rules/very-loud/when/all", [{"amonut": "loud"}], "L102"),
        ("second_looks/listen-again/back_when/any", ["ticks"], "L102"),
        ("checks/flange/marks/leak/finds/0/cause", "leak", "L103"),
        ("remedies/set-gap/may_leave", {"gap-small": "seldom"}, "L103"),
        ("checks/gap/behind", ["cover"], "L104"),
        ("questions/rhythm/answers/apart/opens", ["cover"], "L104"),
        ("access/cover-off/given_by", ["head-off"], "L104"),
        ("access/cover-off/after_when", {"cooling": {"air": ["shroud"]}}, "L104"),
        ("checks/gap/steps/0/cautions", ["hot"], "L105"),
        ("access/cover-off/shut_cautions", ["hot"], "L105"),
        ("remedies/set-gap/proof/cautions", ["moving-parts", "hands"], "L105"),
        ("second_looks/listen-again/looks/0/cautions", ["hands"], "L105"),
        ("checks/gap/steps/0/tools", ["blade"], "L106"),
        ("checks/gap/figures/0/source", "book", "L107"),
        ("stop_rules/very-loud/source", "book", "L107"),
        ("causes/gap-wide/remedy", "set", "L108"),
        ("remedies/set-gap/second_look", "again", "L109"),
        ("questions/rhythm/only_when", {"cool": ["air"]}, "L110"),
        ("causes/gap-wide/share_if", {"cool": {"air": 5}}, "L110"),
        ("causes/gap-wide/share_if", {"cooling": {"wind": 5}}, "L111"),
        ("remedies/set-gap/only_when", {"cooling": ["wind"]}, "L111"),
        ("access/cover-off/after_when", {"cooling": {"wind": []}}, "L111"),
        ("checks/gap/normal", ["tick"], "L112"),
        ("safety", ["fall"], "L113"),
        ("second_looks/listen-again/asks", ["rythm"], "L113"),
        ("second_looks/listen-again/gone_when", {"rythm": "apart"}, "L113"),
        ("stop_rules/very-loud/when/all", ["gaps.bad"], "L113"),
        ("checks/gap/steps/0/parts", ["ring"], "L114"),
        ("stop_rules/very-loud/when/all", ["rhythm.follows"], "L115"),
        ("stop_rules/very-loud/when/all", ["flange.leek"], "L115"),
        ("stop_rules/very-loud/when/all", ["marks.soot"], "L115"),
        ("second_looks/listen-again/back_when/any", [{"amount": "lots"}], "L116"),
        ("second_looks/listen-again/gone_when", {"rhythm": "stops"}, "L117"),
        ("second_looks/listen-again/gone_when", {"amount": "lots"}, "L117"),
        ("stop_rules/very-loud/cleared_by/any", ["gap.bad"], "L118"),
        ("stop_rules/very-loud/cleared_by/any", ["flange.leak"], "L118"),
        ("stop_rules/very-loud/cleared_by/any", ["rhythm.apart"], "L118"),
    ],
)
def test_a_name_that_leads_nowhere(path: str, value: object, code: str) -> None:
    assert set(codes({path: value})) == {code}


@pytest.mark.parametrize(
    ("path", "value"),
    [
        ("stop_rules/very-loud/when/all", ["gap.bad"]),
        ("stop_rules/very-loud/when/any", ["flange.leak", "flange.bad", "keeps-time"]),
        ("stop_rules/very-loud/cleared_by/any", ["flange.good"]),
        ("second_looks/listen-again/gone_when", {"rhythm": "apart"}),
        ("second_looks/listen-again/gone_when", {"amount": "faint"}),
        ("second_looks/listen-again/gone_when", {"gap": "good"}),
        ("second_looks/listen-again/gone_when", {"marks": "none"}),
        ("second_looks/listen-again/asks", ["gap"]),
        ("causes/gap-wide/only_when", {"cooling": ["air"]}),
    ],
)
def test_names_that_lead_somewhere(path: str, value: object) -> None:
    assert codes({path: value}) == []


def test_the_name_that_was_meant_is_offered() -> None:
    [found] = judged({"opening": ["rythm"]})
    assert "did you mean 'rhythm'?" in found.text


# --- access ------------------------------------------------------------------------------------------


def test_a_loop_is_told_with_its_members() -> None:
    [found] = [
        p
        for p in judged({"access/tank-off": work("seat-off"), "access/seat-off": work("tank-off")})
        if p.stops
    ]
    assert found.code == "L119"
    assert "tank-off after seat-off after tank-off" in found.text


def test_something_that_waits_for_itself_is_a_loop() -> None:
    assert "L119" in codes({"access/cover-off/after": ["cover-off"]})


def test_two_ways_to_the_same_access_are_no_loop() -> None:
    changes = {"access/a": work("b", "c"), "access/b": work("d"), "access/c": work("d"), "access/d": work()}
    assert set(codes({**changes, "access/cover-off/after": ["a"]})) == set()


def test_orders_that_never_meet_are_no_loop() -> None:
    """On an air-cooled engine the fan comes before the cover, on a water-cooled one after it."""
    changes = {
        "access/fan-off": work(after_when={"cooling": {"water": ["cover-off"]}}),
        "access/cover-off/after_when": {"cooling": {"air": ["fan-off"]}},
    }
    assert codes(changes) == []
    assert codes({**changes, "access/cover-off/after_when": {"cooling": {"water": ["fan-off"]}}}) == ["L119"]


def test_a_long_chain_of_access_is_walked_without_depth() -> None:
    chain = {f"access/s{n}": work(f"s{n + 1}") for n in range(1500)}
    changes = {**chain, "access/s1500": work(), "access/cover-off/after": ["s0"]}
    assert "L119" not in codes(changes)


# --- ids, steps and lists ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("path", "value", "code"),
    [
        ("checks/rhythm", LOOK, "L120"),
        ("questions/rhythm/answers/apart/denies", ["amount"], "L121"),
        ("stop_rules/very-loud/when/unless", ["amount"], "L121"),
        ("second_looks/listen-again/back_when/any", [{"keeps-time": "loud"}], "L122"),
        ("checks/gap/only_when", {"cooling": []}, "L123"),
        ("questions/rhythm/answers/follows/shows", ["keeps-time", "keeps-time"], "L124"),
        ("safety", ["fell", "fell"], "L124"),
        ("opening", ["gap"], "L125"),
        ("questions/rhythm/needs", "running", "L125"),
    ],
)
def test_slips_with_ids_and_lists(path: str, value: object, code: str) -> None:
    assert code in codes({path: value})


def test_a_graded_sign_may_silence_another() -> None:
    assert codes({"signs/keeps-time/silent_while": ["amount"]}) == []


def test_closing_points_have_ids_of_their_own() -> None:
    point = {"id": "same", "point": "It sits.", "why": "It weeps.", "look_like": "Dry."}
    assert codes({"access/cover-off/closing": [point, point]}) == ["L126"]
    assert codes({"access/cover-off/closing": [point, {**point, "id": "other-one"}]}) == []
