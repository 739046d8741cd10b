"""Texts on a screen and as text messages; words that mean one thing."""

from __future__ import annotations

import pytest

from bot.authoring.rules import texts
from tests.authoring.changed import GONE, codes, judged


def long(n: int) -> str:
    """A text of n plain characters."""
    return ("look again " * n)[: n - 1] + "."


@pytest.mark.parametrize(("length", "expected"), [(300, []), (301, ["L501"])])
def test_a_question_has_three_hundred_characters(length: int, expected: list[str]) -> None:
    assert codes({"questions/rhythm/ask": long(length)}) == expected
    assert codes({"traits": {"seat": {"ask": long(length), "short": "Seat?", "answers": SEATS}}}) == expected


SEATS = {"one": {"label": "single"}, "two": {"label": "double"}}


def test_a_step_has_seven_hundred_with_what_must_stand_before_it() -> None:
    """'danger: ' and a line end are 9, the caution is 200, so 491 are left."""
    caution = {"signal": "danger", "say": long(200), "short": "Wait."}
    changes: dict[str, object] = {
        "cautions": {"wait": caution},
        "remedies/set-gap/steps/0/cautions": ["wait"],
    }
    assert codes({**changes, "remedies/set-gap/steps/0/do": long(491)}) == []
    assert codes({**changes, "remedies/set-gap/steps/0/do": long(492)}) == ["L502"]
    mild = {**changes, "cautions/wait/signal": "caution"}
    assert codes({**mild, "remedies/set-gap/steps/0/do": long(700)}) == []


def test_a_look_may_be_longer_than_a_question() -> None:
    assert codes({"checks/gap/ask": long(700)}) == []
    assert codes({"checks/gap/ask": long(701)}) == ["L502"]


# --- as text messages ----------------------------------------------------------------------------------
# 'follows' and 'apart' get the labels 'yes' and 'no': tag 6, then ' 1 yes' is 6 and ' 2 no' is 5;
# of 150 there are 133 left for the question.

SHORT_ANSWERS: dict[str, object] = {
    "questions/rhythm/answers/follows/short": "yes",
    "questions/rhythm/answers/apart/short": "no",
}


@pytest.mark.parametrize(
    ("short", "expected"),
    [
        (long(133), []),
        (long(134), ["L503"]),
        (long(131) + "€", []),
        (long(132) + "€", ["L503"]),
        (long(129) + "[]", []),
        (long(130) + "[]", ["L503"]),
    ],
)
def test_tag_question_and_answers_are_one_message(short: str, expected: list[str]) -> None:
    assert codes({**SHORT_ANSWERS, "questions/rhythm/short": short}) == expected


def test_without_short_the_question_itself_goes_out() -> None:
    changes = {**SHORT_ANSWERS, "questions/rhythm/short": GONE}
    assert codes({**changes, "questions/rhythm/ask": long(133)}) == []
    [found] = judged({**changes, "questions/rhythm/ask": long(134)})
    assert (found.code, "151 of 150" in found.text) == ("L503", True)


def test_marks_and_none_of_these_count() -> None:
    """Tag 6, ' 1 soot' 7, ' 2 none' 7: 130 left."""
    assert codes({"questions/marks/short": long(130)}) == []
    assert codes({"questions/marks/short": long(131)}) == ["L503"]


def test_something_else_is_counted_where_it_is_offered() -> None:
    """' 1 within' 9, ' 2 wide' 7, tag 6; ' 3 ' and the bot's own words where damage may be another."""
    left = 150 - 6 - 9 - 7
    assert codes({"checks/gap/short": long(left)}) == []
    assert texts.wording().other
    left -= 3 + len(texts.wording().other)
    assert codes({"checks/gap/short": long(left), "checks/gap/other_damage": True}) == []
    assert codes({"checks/gap/short": long(left + 1), "checks/gap/other_damage": True}) == ["L503"]


@pytest.mark.parametrize(
    ("path", "short"),
    [
        ("remedies/set-gap/steps/0/do", "remedies/set-gap/steps/0/short"),
        ("checks/gap/steps/0/do", "checks/gap/steps/0/short"),
        ("access/cover-off/do", "access/cover-off/short"),
        ("remedies/set-gap/proof/do", "remedies/set-gap/proof/short"),
        ("second_looks/listen-again/looks/0/do", "second_looks/listen-again/looks/0/short"),
        ("access/cover-off/closing/0/point", "access/cover-off/closing/0/short"),
    ],
)
def test_every_line_fits_or_has_a_short_that_does(path: str, short: str) -> None:
    assert codes({path: long(145), short: "Short."}) == []
    assert codes({path: "Look.", short: long(145)}) == ["L504"]
    assert codes({path: long(144), short: None}) == []
    assert codes({path: long(145), short: None}) == ["L504"]


def test_what_has_no_short_form_must_fit() -> None:
    [found] = judged({"access/cover-off/shut": long(145)})
    assert (found.code, found.text.endswith("shorten it")) == ("L504", True)


def test_a_stop_is_two_messages() -> None:
    """Two joined messages hold 153 septets each."""
    changes: dict[str, object] = {"stop_rules/very-loud/short": GONE}
    assert codes({**changes, "stop_rules/very-loud/say": long(306)}) == []
    assert codes({**changes, "stop_rules/very-loud/say": long(307)}) == ["L505"]
    assert codes({"stop_rules/very-loud/short": "[" * 154}) == ["L505"]
    # 306 septets, but a bracket does not fit at 153, nor the last at 306: a third message, of two septets.
    [found] = judged({"stop_rules/very-loud/short": "x" * 152 + "[" + "x" * 142 + "[" * 5})
    assert (found.code, "308 of 306" in found.text) == ("L505", True)


@pytest.mark.parametrize(
    ("path", "expected"),
    [
        ("questions/rhythm/short", ["L506"]),
        ("questions/marks/marks/soot/short", ["L506"]),
        ("stop_rules/very-loud/short", ["L506"]),
        ("questions/rhythm/ask", []),
        ("questions/rhythm/answers/follows/label", ["L507"]),
        ("access/cover-off/do", ["L507"]),
        ("questions/loudness/ask", ["L507"]),
    ],
)
def test_letters_outside_the_alphabet(path: str, expected: list[str]) -> None:
    assert codes({path: "It’s here"}) == expected


# --- answers and words --------------------------------------------------------------------------------------


def many(n: int, **more: object) -> dict[str, object]:
    return {f"m{k}": {"label": "abcdefghijkl"[k], **more} for k in range(n)}


def test_how_many_answers_a_message_offers() -> None:
    five = {**many(4), "last": {"label": "z", "shows": ["keeps-time"]}}
    six = {**many(5), "last": {"label": "z", "shows": ["keeps-time"]}}
    assert "L508" not in codes({"questions/rhythm/answers": five})
    assert "L508" in codes({"questions/rhythm/answers": six})
    nine, ten = many(9, shows="black-marks"), many(10, shows="black-marks")
    assert codes({"questions/marks/marks": nine}) == []
    assert codes({"questions/marks/marks": ten}) == ["L508"]


@pytest.mark.parametrize("said", ["yes", "YES ", "'yes'", "yes."])
def test_a_word_means_one_answer(said: str) -> None:
    assert codes({"questions/rhythm/answers/apart/words": [said]}) == ["L509"]


def test_labels_and_shorts_are_words_too() -> None:
    assert codes({"questions/rhythm/answers/apart/words": ["it  Follows"]}) == ["L509"]
    assert codes({"checks/gap/good/words": ["wide"]}) == ["L509"]
    assert codes({"questions/marks/none_of_these/words": ["soot"]}) == ["L509"]
    assert codes({"questions/rhythm/answers/follows/short": "yes"}) == []  # twice in one answer is harmless


def test_a_phrase_means_one_thing_in_the_whole_flow() -> None:
    [found] = judged({"checks/gap/bad/told_as": ["Faster with revs"]})
    assert (found.code, "'rhythm > follows'" in found.text) == ("L510", True)
    cure = {"told_as": ["fell over"], "say": "Picking it up cures nothing."}
    assert codes({"false_cures": {"pick-up": cure}}) == ["L510"]


@pytest.mark.parametrize("id", ["not-sure", "back", "why", "later", "help", "start-over", "stop", "more"])
def test_ids_that_order_the_talk_are_taken(id: str) -> None:
    said = {"label": "it is odd", "shows": ["keeps-time"]}
    assert codes({"questions/rhythm/answers": {id: said, "b": {"label": "b", "denies": ["keeps-time"]}}}) == [
        "L511"
    ]


@pytest.mark.parametrize("id", ["good", "bad", "none"])
def test_ids_of_marks_that_conditions_use_are_taken(id: str) -> None:
    assert codes({f"questions/marks/marks/{id}": {"label": "odd", "shows": "black-marks"}}) == ["L511"]


def test_other_ids_that_are_taken() -> None:
    assert codes({"flow": "common"}) == ["L511"]
    cause = {"name": "x", "share": 1, "shows": {"keeps-time": "often"}, "second_look": "listen-again"}
    assert codes({"causes/unlisted": cause}) == ["L511"]
    mark = {
        "checks/flange/marks/other": {
            "label": "odd",
            "shows": "black-marks",
            "looks_like": "a",
            "good_looks_like": "b",
        }
    }
    assert codes(mark) == []
    assert codes({**mark, "checks/flange/other_damage": True}) == ["L511"]


@pytest.mark.parametrize("word", ["back", "Not sure", "STOP", "unsubscribe", "why?", "where are we"])
def test_words_that_order_the_talk_are_taken(word: str) -> None:
    assert codes({"questions/rhythm/answers/follows/words": [word]}) == ["L512"]
    assert codes({"questions/rhythm/answers/follows/label": word}) == ["L512"]


def test_control_words_are_the_bots_own() -> None:
    """Read from the wording, so that both cannot drift apart."""
    controls = texts.wording().controls
    assert controls["not sure"] == "not sure"
    assert {"stop", "help", "back", "later"} <= set(controls)


@pytest.mark.parametrize("word", ["1", "12", " 3 ", "2."])
def test_numbers_are_not_words(word: str) -> None:
    assert codes({"questions/rhythm/answers/follows/words": [word]}) == ["L513"]
