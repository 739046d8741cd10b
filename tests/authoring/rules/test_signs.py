"""Signs and the answers that tell them."""

from __future__ import annotations

import pytest

from tests.authoring.changed import GONE, codes, judged


def answers(**said: tuple[list[str], list[str]]) -> dict[str, object]:
    return {n: {"label": f"it is {n}", "shows": s, "denies": d} for n, (s, d) in said.items()}


@pytest.mark.parametrize(
    ("changes", "expected"),
    [
        ({"signs/rattle": {"means": "it rattles", "background": "seldom"}}, ["L201", "L202"]),
        ({"signs/rattle": {"means": "it rattles", "background": "seldom", "from_book": True}}, ["L201"]),
        ({"causes/gap-wide/shows/work-done": GONE}, ["L201"]),
        ({"questions/hours-since-valves": GONE}, ["L202"]),
        ({"questions/hours-since-valves": GONE, "signs/work-done/from_book": True}, []),
        ({"questions/rhythm/answers/follows/shows": []}, ["L203"]),
    ],
)
def test_signs_that_nothing_tells_or_uses(changes: dict[str, object], expected: list[str]) -> None:
    assert codes(changes) == expected


def test_a_sign_that_only_a_rule_uses_has_weight() -> None:
    changes: dict[str, object] = {"causes/gap-wide/shows/work-done": GONE}
    assert codes({**changes, "stop_rules/very-loud/when/unless": ["work-done"]}) == []
    assert codes({**changes, "signs/keeps-time/silent_while": ["work-done"]}) == []


# --- answers that change nothing -----------------------------------------------------------------------


def test_answers_that_all_say_the_same() -> None:
    same = answers(yes=([], ["crashed"]), nope=([], ["crashed"]))
    assert codes({"questions/rhythm/answers": same, "questions/rhythm/minutes": 2}) == [
        "L202",
        "L204",
        "L205",
    ]


def test_an_answer_that_opens_something_changes_something() -> None:
    said = {"off": {"label": "It is off", "opens": ["cover-off"]}, "shut": {"label": "All is shut"}}
    assert codes({"questions/open": {"kind": "one", "ask": "Is a cover off?", "answers": said}}) == []


def test_a_meter_is_read_for_its_own_sake() -> None:
    ask = {
        "kind": "number",
        "ask": "What does the meter show?",
        "unit": "h",
        "allowed": [0, 9999],
        "ranges": [{}],
    }
    assert codes({"questions/meter": {**ask, "meter": True}}) == []
    assert codes({"questions/meter": ask}) == ["L204"]


# --- sums ------------------------------------------------------------------------------------------------
# keeps-time: background seldom .12; gap-wide shows it often .70, so 1 - .88 * .30 = .736;
# flange-leak shows it half, so 1 - .88 * .50 = .56.
# black-marks: background rarely .07; flange-leak usually .77, so 1 - .93 * .23 = .7861.


def test_an_answer_and_its_opposite_add_up() -> None:
    assert codes({"questions/rhythm/answers": answers(a=(["keeps-time"], []), b=([], ["keeps-time"]))}) == []


def test_a_missing_answer_is_told_with_the_worst_cause_and_its_sum() -> None:
    """Both signs, the one only, the other only; neither is missing. For gap-wide:
    .736 * .07 + .736 * .93 + .264 * .07 = .75448; for flange-leak .56 + .44 * .7861 = .90588."""
    said = answers(
        both=(["keeps-time", "black-marks"], []),
        time=(["keeps-time"], ["black-marks"]),
        marks=(["black-marks"], ["keeps-time"]),
    )
    [found] = judged({"questions/rhythm/answers": said})
    assert found.code == "L207"
    assert "'gap-wide'" in found.text
    assert "0.75" in found.text


def test_a_cause_that_cannot_meet_the_question_does_not_count() -> None:
    said = answers(
        both=(["keeps-time", "black-marks"], []),
        time=(["keeps-time"], ["black-marks"]),
        marks=(["black-marks"], ["keeps-time"]),
    )
    changes = {"questions/rhythm/answers": said, "questions/rhythm/only_when": {"cooling": ["air"]}}
    assert codes({**changes, "causes/gap-wide/only_when": {"cooling": ["water"]}}) == []
    assert codes({**changes, "causes/gap-wide/only_when": {"cooling": ["air"]}}) == ["L207"]


def test_ranges_of_a_number_add_up_too() -> None:
    ranges = [{"upto": 10, "shows": ["work-done"]}, {"shows": ["work-done"], "denies": ["keeps-time"]}]
    assert "L207" in codes({"questions/hours-since-valves/ranges": ranges})


# --- steps --------------------------------------------------------------------------------------------------

CLASSES = {"faint": {"label": "near"}, "plain": {"label": "some way"}, "loud": {"label": "far"}}


def classes(*upto: float | None) -> dict[str, object]:
    given = zip(CLASSES.items(), upto, strict=True)
    return {id: {**said, **({} if most is None else {"upto": most})} for (id, said), most in given}


@pytest.mark.parametrize(
    ("path", "value", "expected"),
    [
        ("causes/gap-wide/shows/amount", [20, 80], ["L209"]),
        ("signs/amount/background", [70, 20, 5, 5], ["L209"]),
        ("signs/amount/background", "seldom", ["L210"]),
        ("signs/keeps-time/background", [70, 30], ["L210"]),
        ("causes/gap-wide/shows/keeps-time", [70, 30], ["L210"]),
        ("questions/loudness/classes", {"plain": CLASSES["plain"], **CLASSES}, ["L211"]),
        ("questions/loudness/classes", {"faint": CLASSES["faint"], "loud": CLASSES["loud"]}, ["L211"]),
        ("questions/loudness/classes", classes(None, None, None), []),
        ("questions/loudness/classes", classes(1, 5, None), []),
        ("questions/loudness/classes", classes(1, 1, None), ["L212"]),
        ("questions/loudness/classes", classes(5, 1, None), ["L212"]),
        ("questions/loudness/classes", classes(1, None, None), ["L212"]),
        ("questions/loudness/classes", classes(1, 5, 9), ["L212"]),
    ],
)
def test_steps_classes_and_strengths(path: str, value: object, expected: list[str]) -> None:
    assert codes({path: value}) == expected


def test_only_a_sign_with_steps_is_asked_by_amounts() -> None:
    assert "L213" in codes({"questions/loudness/sign": "keeps-time"})
    assert "L213" in codes({"questions/hours-since-valves/sign": "work-done"})


# --- ranges ------------------------------------------------------------------------------------

SHOW, DENY = {"shows": ["work-done"]}, {"denies": ["work-done"]}


@pytest.mark.parametrize(
    ("ranges", "expected"),
    [
        ([{"upto": 10, **SHOW}, DENY], []),
        ([{"upto": 0, **SHOW}, DENY], []),
        ([{"upto": 10, **SHOW}, {"upto": 20}, DENY], []),
        ([{"upto": 10, **SHOW}, {"upto": 10}, DENY], ["L214"]),
        ([{"upto": 20, **SHOW}, {"upto": 10}, DENY], ["L214"]),
        ([{"upto": -1, **SHOW}, DENY], ["L215"]),
        ([{"upto": 500, **SHOW}, DENY], ["L215"]),
        ([{"upto": 499, **SHOW}, DENY], []),
        ([SHOW, DENY], ["L216"]),
        ([{"upto": 10, **SHOW}, {"upto": 400, **DENY}], ["L216"]),
        ([{"upto": 10, **SHOW}, {"step": "loud", **DENY}], ["L218"]),
    ],
)
def test_ranges_hold_every_number_once(ranges: list[object], expected: list[str]) -> None:
    """Allowed is 0 to 500; the last range is open."""
    assert codes({"questions/hours-since-valves/ranges": ranges}) == expected


def test_allowed_numbers_rise() -> None:
    assert codes({"questions/hours-since-valves/allowed": [500, 0]}) == ["L215"]


def test_a_number_that_tells_a_graded_sign_tells_nothing_else() -> None:
    ask = {"kind": "number", "ask": "From how far?", "unit": "m", "sign": "amount", "allowed": [0, 90]}
    good = [{"upto": 1, "step": "faint"}, {"upto": 5, "step": "plain"}, {"step": "loud"}]
    assert codes({"questions/far": {**ask, "ranges": good}}) == []
    assert "L217" in codes({"questions/far": {**ask, "ranges": [{"upto": 1}, *good[1:]]}})
    assert "L217" in codes({"questions/far": {**ask, "ranges": [{**good[0], **SHOW}, *good[1:]]}})


def test_one_answer_does_not_say_both() -> None:
    both = answers(a=(["keeps-time"], ["keeps-time"]), b=([], ["keeps-time"]))
    assert "L208" in codes({"questions/rhythm/answers": both})
    assert "L208" in codes({"questions/hours-since-valves/ranges/0/denies": ["work-done"]})


def test_a_mark_says_something() -> None:
    assert codes({"questions/marks/marks/dust": {"label": "dust"}}) == ["L206"]
