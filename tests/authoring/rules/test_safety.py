"""Cautions where words name a hazard, good and bad texts, figures, stops."""

from __future__ import annotations

import pytest

from tests.authoring.changed import GONE, codes, judged

STEP = "remedies/set-gap/steps/0/do"

HAZARDOUS = [
    "Drain the engine oil into a pan.",
    "Let hot oil run off.",
    "Undo the drain plug.",
    "Turn the fuel tap off and pull the hose.",
    "Take the carburettor off.",
    "Feel along the silencer.",
    "Start the engine.",
    "Let it idle for a minute.",
    "Put the bike on its side stand.",
    "Lift the bike onto the bench.",
    "Lay the bike on its side.",
    "Turn the wheel and watch the chain.",
    "Compress the valve spring.",
    "Springs out, then the plates.",
    "Disconnect the battery.",
    "Take the brake hose off.",
]
HARMLESS = [
    "Drain the water.",
    "Wash the drain plug.",
    "Fit the spring washer.",
    "Count washers and springs.",
    "Look at the cam chain.",
    "Rag into the chain tunnel.",
    "Wipe it with brake cleaner.",
    "Look through the exhaust port.",
    "Note the engine running hours.",
    "Stand the parts in a row.",
    "Understand the drawing first.",
]


@pytest.mark.parametrize("said", HAZARDOUS)
def test_words_that_name_a_hazard_want_a_caution(said: str) -> None:
    assert codes({STEP: said}) == ["L401"]


@pytest.mark.parametrize("said", HARMLESS)
def test_words_that_name_none(said: str) -> None:
    assert codes({STEP: said}) == []


def test_a_notice_is_not_enough_and_another_caution_only_half() -> None:
    says = {"signal": "notice", "say": "Mind the spring.", "short": "Mind the spring."}
    changes: dict[str, object] = {STEP: "Compress the spring.", "cautions": {"springs": says}}
    changes["remedies/set-gap/steps/0/cautions"] = ["springs"]
    assert codes(changes) == ["L402"]
    assert codes({**changes, "cautions/springs/signal": "warning"}) == []
    away = {**changes, "cautions/springs/signal": "warning", "cautions/springs/say": "Wear gloves."}
    assert (
        codes({**away, "cautions/springs": {"signal": "warning", "say": "Eat well."}}) == []
    )  # the id says it
    other = {STEP: "Compress the spring.", "remedies/set-gap/steps/0/cautions": ["hot-exhaust"]}
    assert codes(other) == ["L403"]
    both = {**changes, "remedies/set-gap/steps/0/cautions": ["springs", "hot-exhaust"]}
    assert codes(both) == ["L403"]


def test_a_caution_of_the_whole_remedy_or_check_counts_for_its_steps() -> None:
    assert (
        codes({"remedies/seal-flange/steps/0/cautions": [], "remedies/seal-flange/cautions": ["hot-exhaust"]})
        == []
    )
    hot = {"checks/gap/steps/0/do": "Feel the exhaust."}
    assert codes(hot) == ["L401"]
    assert codes({**hot, "checks/gap/cautions": ["hot-exhaust"]}) == []


def test_every_place_that_tells_somebody_to_work_is_looked_at() -> None:
    for path in (
        "access/cover-off/do",
        "access/cover-off/shut",
        "checks/gap/ask",
        "checks/gap/steps/0/do",
        "second_looks/listen-again/looks/0/do",
    ):
        assert codes({path: "Take the brake hose off."}) == ["L401"], path


def test_a_run_needs_a_caution_whatever_its_words() -> None:
    changes: dict[str, object] = {
        "remedies/set-gap/proof/do": "Listen.",
        "remedies/set-gap/proof/cautions": [],
    }
    assert codes(changes) == ["L401"]
    assert "L401" not in codes({**changes, "remedies/set-gap/proof/needs": "nothing"})


def test_a_question_that_asks_about_a_hazard_is_no_work() -> None:
    assert codes({"questions/rhythm/ask": "Did you smell fuel or burnt brakes?"}) == []
    assert "L401" in codes({"questions/rhythm/steps": [{"do": "Smell at the fuel tap."}]})


def test_a_hazard_is_told_with_its_words_and_place() -> None:
    [found] = judged({STEP: "First drain the engine oil."})
    assert "'drain the engine oil' can hurt (hot oil)" in found.text


# --- good and bad, figures ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("path", "value", "expected"),
    [
        ("checks/flange/marks/leak/looks_like", GONE, ["L404"]),
        ("checks/flange/marks/leak/good_looks_like", GONE, ["L405"]),
        ("checks/gap/figures/0/source", GONE, ["L406"]),
        ("checks/gap/figures/0/basis", "borrowed", []),
        ("second_looks/listen-again/basis", "borrowed", ["L406"]),
        ("stop_rules/very-loud/source", GONE, ["L406"]),
        ("remedies/set-gap/figures/0/thread", GONE, ["L407"]),
        ("remedies/set-gap/figures/0/thread_state", GONE, ["L407"]),
        ("remedies/set-gap/figures/0/unit", "bar", []),
        ("checks/gap/figures/0/unit", "Nm", ["L407"]),
        ("checks/gap/figures/0/unit", "ft lb", ["L407"]),
        ("checks/gap/figures/0/upto", 0.05, ["L408"]),
        ("checks/gap/figures/0/upto", 0.1, []),
    ],
)
def test_texts_and_figures(path: str, value: object, expected: list[str]) -> None:
    assert codes({path: value}) == expected


def test_a_bare_torque_is_told_what_it_lacks() -> None:
    figures = "remedies/set-gap/figures/0"
    [found] = judged({f"{figures}/thread": GONE, f"{figures}/thread_state": GONE})
    assert "10 N·m" in found.text
    assert "'thread' and 'thread_state'" in found.text


# --- stops ------------------------------------------------------------------------------------------------

STOP = "stop_rules/very-loud"


@pytest.mark.parametrize(
    ("path", "value", "expected"),
    [
        (f"{STOP}/cleared_by", {}, ["L409"]),
        (f"{STOP}/cleared_by", {"by": "mechanic"}, []),
        (f"{STOP}/cleared_by", {"all": ["set-gap"]}, []),
        ("checks/gap/finds/0/catches", 0.9, []),
        ("checks/gap/finds/0/catches", 0.89, ["L410"]),
        (f"{STOP}/cleared_by", {"all": ["flange.good"]}, []),
        (f"{STOP}/when", {}, ["L411"]),
        (f"{STOP}/when", {"unless": ["crashed"]}, ["L411"]),
        (f"{STOP}/when", {"all": ["crashed"], "unless": ["crashed"]}, ["L411"]),
        (f"{STOP}/when", {"any": ["crashed"]}, []),
        ("second_looks/listen-again/looks/0/after_minutes", 30, ["L412"]),
        ("second_looks/listen-again/looks/0/after_hours", GONE, ["L412"]),
    ],
)
def test_stops_and_second_looks(path: str, value: object, expected: list[str]) -> None:
    assert codes({path: value}) == expected


def test_a_check_that_only_shows_signs_lifts_no_stop() -> None:
    mark = {"label": "soot", "shows": "black-marks", "looks_like": "black", "good_looks_like": "bare"}
    check = {"kind": "several", "ask": "Look.", "marks": {"soot": mark}, "none_of_these": {"label": "clean"}}
    assert codes({"checks/look": check, f"{STOP}/cleared_by": {"any": ["look.good"]}}) == ["L410"]
