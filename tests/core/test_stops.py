"""Stop rules on small invented flows: when they are true, what one sign short means, what lifts them."""

from __future__ import annotations

from typing import Any

import pytest

from bot.core import stops
from bot.core.events import Answered, Mended_, StopLifted, StopRaised, Withdrawn
from bot.core.flow import Flow, read
from tests.core.chat import Chat
from tests.rattle import RATTLE, Diary, opened


def sign(**more: Any) -> dict[str, Any]:
    return {"means": "something", "background": "seldom", **more}


def yes_no(*signs: str, minutes: float = 1) -> dict[str, Any]:
    answers = {
        "yes": {"label": "Yes", "shows": list(signs)},
        "no": {"label": "No", "denies": list(signs)},
    }
    return {"kind": "one", "ask": "Is it so?", "minutes": minutes, "answers": answers}


def flow(when: dict[str, Any], **rule: Any) -> Flow:
    """The rattling bike with one rule of this form, over smoke, smell, heat and an excuse."""
    extra = ("smoke", "smell", "heat", "excuse")
    rule = {"say": "Leave it.", "bars": ["running"], "cleared_by": {"any": ["nut.good", "refit-nut"]}, **rule}
    return read(
        RATTLE
        | {
            "signs": RATTLE["signs"] | {s: sign(changes="each_look") for s in extra},
            "questions": RATTLE["questions"]
            | {s: yes_no(s) for s in extra}
            | {"quick": yes_no("smell", minutes=0.5)},
            "stop_rules": {"rule": {"when": when, **rule}},
        }
    )  # fmt: skip


def told(flow: Flow, **answers: str) -> Diary:
    """A case with these answers to the questions of the same names."""
    diary = opened()
    for ask, value in answers.items():
        form = "steps" if ask == "amount" else "one"
        diary.add(Answered(ask=ask, value=(value,), form=form, rank=2))  # type: ignore[arg-type]
    return diary


def true(flow: Flow, diary: Diary) -> bool:
    return [rule for rule, _ in stops.newly_true(flow, diary.state)] == ["rule"]


# --- when a rule is true --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("answers", "stands"),
    [
        ({}, False),
        ({"smoke": "yes"}, False),  # smell is not known: not shown
        ({"smoke": "yes", "smell": "no"}, False),
        ({"smoke": "yes", "smell": "yes"}, True),
    ],
)
def test_all_signs_must_be_shown_and_an_unknown_one_is_not_shown(
    answers: dict[str, str], stands: bool
) -> None:
    rule = flow({"all": ["smoke", "smell"]})
    assert true(rule, told(rule, **answers)) is stands


@pytest.mark.parametrize(
    ("answers", "stands"),
    [
        ({}, False),
        ({"smoke": "no"}, False),
        ({"smell": "yes"}, True),
        ({"smoke": "no", "smell": "yes"}, True),
    ],
)
def test_one_of_any_is_enough_and_an_unknown_one_is_not_shown(answers: dict[str, str], stands: bool) -> None:
    rule = flow({"any": ["smoke", "smell"]})
    assert true(rule, told(rule, **answers)) is stands


@pytest.mark.parametrize(
    ("answers", "stands"),
    [
        ({"smoke": "yes"}, True),  # the excuse is not known: the rule holds until it is
        ({"smoke": "yes", "excuse": "no"}, True),
        ({"smoke": "yes", "excuse": "yes"}, False),
    ],
)
def test_an_excuse_holds_only_once_it_is_known(answers: dict[str, str], stands: bool) -> None:
    rule = flow({"all": ["smoke"], "unless": ["excuse"]})
    assert true(rule, told(rule, **answers)) is stands


def test_an_excuse_that_is_spoken_against_is_none() -> None:
    rule = flow({"all": ["smoke"], "unless": ["excuse"]})
    diary = told(rule, smoke="yes", excuse="yes")
    diary.add(Answered(ask="excuse", value=("no",), form="one", rank=2))
    assert true(rule, diary)


@pytest.mark.parametrize(
    ("step", "stands"), [("a-few", False), ("few", False), ("some", True), ("many", True)]
)
def test_a_step_of_an_amount_means_that_step_or_more(step: str, stands: bool) -> None:
    rule = flow({"all": [{"amount": "some"}]})
    assert true(rule, told(rule, amount=step)) is stands


def test_all_and_any_and_unless_hold_together() -> None:
    rule = flow({"all": ["smoke"], "any": ["smell", "heat"], "unless": ["excuse"]})
    assert not true(rule, told(rule, smoke="yes"))
    assert true(rule, told(rule, smoke="yes", heat="yes"))
    assert not true(rule, told(rule, smell="yes", heat="yes"))
    assert not true(rule, told(rule, smoke="yes", heat="yes", excuse="yes"))


def test_a_bad_look_is_a_condition_like_a_sign() -> None:
    rule = flow({"any": ["nut.bad", "inside.notches"]})
    look = Answered(ask="nut", value=("bad",), form="look", rank=3)
    marks = Answered(ask="inside", value=("notches",), form="marks", rank=3)
    assert true(rule, opened().add(look))
    assert true(rule, opened().add(marks))
    assert not true(rule, opened().add(marks.model_copy(update={"value": ("grooves",)})))


def test_a_stop_rests_on_the_first_word_that_shows_it_even_when_a_better_one_says_otherwise() -> None:
    rule = flow({"all": ["smoke"]})
    diary = told(rule, smoke="yes").by("mechanic")
    diary.add(Answered(ask="smoke", value=("no",), form="one", rank=4))
    assert true(rule, diary)


def test_an_answer_that_was_taken_back_makes_no_stop() -> None:
    rule = flow({"all": ["smoke"]})
    diary = told(rule, smoke="yes")
    assert not true(rule, diary.add(Withdrawn(entries=(diary.last,))))


# --- one sign short -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("when", "answers", "wanted"),
    [
        ({"all": ["smoke", "smell"]}, {"smoke": "yes"}, ("smell",)),
        ({"all": ["smoke", "smell"]}, {}, ()),  # nothing speaks for it
        ({"all": ["smoke"]}, {}, ()),  # a rule of one sign is for the author's own order
        ({"all": ["smoke", "smell", "heat"]}, {"smoke": "yes"}, ()),  # two short
        ({"all": ["smoke", "smell"]}, {"smoke": "yes", "smell": "no"}, ()),  # known already
        ({"all": ["smoke", "smell"]}, {"smoke": "yes", "smell": "yes"}, ()),  # true already
        ({"all": ["smoke"], "any": ["smell", "heat"]}, {"smell": "yes"}, ("smoke",)),
        ({"all": ["smoke"], "any": ["smell", "heat"]}, {"smoke": "yes"}, ("smell", "heat")),  # one of them
        ({"all": ["smoke"], "any": ["smell", "heat"]}, {"smoke": "yes", "smell": "no"}, ("heat",)),
        ({"all": ["smoke"], "any": ["smell"]}, {"smoke": "yes", "smell": "no"}, ()),
        ({"all": ["smoke", "smell"], "unless": ["excuse"]}, {"smoke": "yes", "excuse": "yes"}, ()),
        ({"all": ["smoke", {"amount": "some"}]}, {"smoke": "yes"}, ("amount",)),
    ],
)
def test_a_rule_that_one_unknown_sign_keeps_from_being_true_wants_that_sign(
    when: dict[str, Any], answers: dict[str, str], wanted: tuple[str, ...]
) -> None:
    rule = flow(when)
    assert stops.one_short(rule, told(rule, **answers).state) == wanted


def test_the_cheapest_question_that_tells_the_missing_sign_comes_before_the_planner() -> None:
    talk = Chat(flow({"all": ["knocking", "smell"]})).talk("it rattles", "it knocks", "Goat", "by foot")
    assert talk.asked == ("question", "quick")  # half a minute, against a minute for 'smell'
    talk.say("yes")
    assert talk.stops == {"rule"}


# --- two signs short, and where one of several would do ---------------------------------------------------

TOLD_STEEL = ("it rattles", "no knock", "Goat", "by foot", "all of them cling")


def test_two_signs_short_both_are_asked_in_turn_once_the_opening_is_through() -> None:
    talk = Chat(flow({"all": ["steel-bits", "smoke", "smell"]})).talk(*TOLD_STEEL)
    assert talk.asked == ("question", "smoke")
    talk.say("yes")
    assert talk.asked == ("question", "quick")
    talk.say("yes")
    assert talk.stops == {"rule"}


def test_the_first_no_ends_it() -> None:
    talk = Chat(flow({"all": ["steel-bits", "smoke", "smell"]})).talk(*TOLD_STEEL, "no")
    assert talk.asked == ("setting", "place")


def test_neither_three_signs_short_nor_one_that_no_open_question_tells() -> None:
    for when in (
        {"all": ["steel-bits", "smoke", "smell", "heat"]},
        {"all": ["steel-bits", "smoke", "nut.bad"]},
        {"all": ["smoke", "smell", "heat"]},  # and nothing speaks for it
    ):
        assert Chat(flow(when)).talk(*TOLD_STEEL).asked == ("setting", "place")


def test_not_sure_is_not_asked_again_and_ends_it() -> None:
    talk = Chat(flow({"all": ["steel-bits", "smoke", "smell"]})).talk(*TOLD_STEEL, "not sure")
    assert talk.asked == ("setting", "place")


def test_where_one_of_several_signs_is_missing_one_of_them_is_asked() -> None:
    rule = flow({"all": ["steel-bits"], "any": ["heat", "smell"]})
    talk = Chat(rule).talk(*TOLD_STEEL)
    assert talk.asked == ("question", "quick")  # the cheapest
    assert Chat(rule).talk(*TOLD_STEEL, "yes").stops == {"rule"}
    assert talk.talk("no").asked == ("setting", "place")


def test_no_piece_is_taken_in_hand_for_the_last_of_several_signs() -> None:
    questions = flow({"all": ["smoke"]}).model_dump(mode="json", exclude_none=True, exclude_defaults=True)
    questions["questions"]["heat"]["tools"] = ["magnet"]
    questions["stop_rules"]["rule"]["when"] = {"all": ["steel-bits"], "any": ["smell", "heat"]}
    questions["opening"] = ["magnet", "smell"]
    talk = Chat(read(questions)).talk(*TOLD_STEEL, "no")
    assert talk.asked == ("setting", "place")


# --- not in the middle of work --------------------------------------------------------------------------


def smoking(when: dict[str, Any], **rule: Any) -> Flow:
    """A flow whose smoke may be told at any time, in the rider's own words."""
    plain = flow(when, **rule).model_dump(mode="json", exclude_none=True, exclude_defaults=True)
    plain["questions"]["smoke"]["answers"]["yes"]["told_as"] = ["it smokes"]
    return read(plain)


def at_the_nut(rule: Flow) -> Chat:
    """The nut found loose, the parts at hand, the first step of two done."""
    talk = Chat(rule).talk(*TOLD_STEEL, "garage", "4")
    replies = {"amount": "6 to 20", "meter": "not sure", "inside": "none of these"}
    for _ in range(12):
        if talk.asked == ("check", "nut"):
            break
        talk.say("done" if talk.asked[0] == "access" else replies.get(talk.asked[1], "no"))
    talk.talk("it moves", "do it now", "I have it all", "done")
    assert talk.asked == ("step", "refit-nut/1")
    return talk


def test_a_missing_sign_waits_until_the_repair_is_done() -> None:
    talk = at_the_nut(smoking({"all": ["smoke", "smell"]})).talk("it smokes", "yes")
    assert talk.asked == ("step", "refit-nut/1")
    talk.say("done")
    assert talk.asked == ("point", "refit-nut/tab")
    talk.say("yes")  # the work is done and the covers are still off: now
    assert talk.state.mended
    talk.talk("it smokes", "yes")  # what was seen before the repair is of the past
    assert talk.asked == ("question", "quick")


def closing(rule: Flow) -> Chat:
    """The nut done, and the first point of the cover told."""
    talk = at_the_nut(rule).talk("done", "yes")
    for _ in range(4):
        if talk.asked == ("point", "cover/dowels"):
            break
        talk.say("none of these" if talk.asked == ("check", "inside") else "no")
    assert talk.asked == ("point", "cover/dowels")
    return talk.talk("yes")


def test_a_missing_sign_waits_until_the_covers_are_on_and_is_asked_before_it_runs() -> None:
    talk = closing(smoking({"all": ["smoke", "smell"]}))
    assert talk.asked == ("shut", "cover")
    talk.talk("done", "yes")  # the cover is on, the oil at the line
    talk.talk("it smokes", "yes")
    assert talk.asked == ("shut", "oil-out")
    talk.say("done")
    assert talk.asked == ("question", "quick")
    talk.say("no")
    assert talk.asked == ("proof", "refit-nut")


def test_while_a_stop_bars_running_what_is_open_stays_open() -> None:
    talk = at_the_nut(smoking({"all": ["smoke"]}, cleared_by={"by": "mechanic"}))
    talk.talk("done", "yes")
    while talk.asked == ("check", "inside"):
        talk.say("none of these")
    assert talk.asked[0] == "point"
    talk.talk("it smokes", "yes")
    assert talk.stops == {"rule"}
    assert talk.asked[0] not in ("point", "shut", "proof")
    assert set(talk.state.open) == {"oil-out", "cover"}
    talk.hold().wrench("lift the stop: leak found at the filler cap")
    talk.say("not sure")
    assert talk.asked == ("point", "cover/dowels")


# --- under a stop that bars running ---------------------------------------------------------------------


def stopped(opening: list[str], **more: Any) -> Chat:
    """A deep knock, told first, in a flow with this opening."""
    plain = flow({"all": ["smoke"]}).model_dump(mode="json", exclude_none=True, exclude_defaults=True)
    plain["stop_rules"]["big-knock"] = RATTLE["stop_rules"]["big-knock"]
    plain["questions"] |= more
    plain["opening"] = opening
    return Chat(read(plain)).talk("it rattles", "it knocks", "Goat", "by foot")


def test_under_a_stop_only_what_may_make_another_stop_true_is_still_asked_first() -> None:
    talk = stopped(["magnet", "smell", "smoke", "amount"])
    assert talk.asked == ("question", "smoke")
    assert talk.talk("no").asked == ("setting", "place")


def test_under_a_stop_what_may_have_opened_a_cover_is_still_asked() -> None:
    answers = {"open": {"label": "Open", "opens": ["oil-out", "cover"]}, "shut": {"label": "Shut"}}
    talk = stopped(["magnet", "lid"], lid={"kind": "one", "ask": "Is it open?", "answers": answers})
    assert talk.asked == ("question", "lid")


def test_under_a_stop_that_bars_riding_only_the_opening_is_asked_as_ever() -> None:
    rule = flow({"all": ["knocking"]}, bars=["riding"])
    talk = Chat(rule).talk("it rattles", "it knocks", "Goat", "by foot")
    assert talk.stops == {"rule"}
    assert talk.asked == ("question", "magnet")


@pytest.mark.parametrize(
    ("when", "answers", "may"),
    [
        ({"all": ["smoke"]}, {}, True),
        ({"all": ["smoke", "smell"]}, {}, False),  # not by this answer alone
        ({"all": ["smoke", "smell"]}, {"smell": "yes"}, True),
        ({"all": ["smoke"], "unless": ["excuse"]}, {"excuse": "yes"}, False),
        ({"any": ["smell", "smoke"]}, {}, True),
        ({"any": ["smell"]}, {}, False),
    ],
)
def test_whether_an_answer_alone_may_bar_running(
    when: dict[str, Any], answers: dict[str, str], may: bool
) -> None:
    rule = flow(when)
    assert stops.may_bar_running(rule, told(rule, **answers).state, "smoke") is may


def test_a_rule_that_bars_riding_only_does_not_count() -> None:
    rule = flow({"all": ["smoke"]}, bars=["riding"])
    assert not stops.may_bar_running(rule, opened().state, "smoke")


def test_an_amount_may_raise_a_stop_by_its_highest_step() -> None:
    rule = flow({"all": [{"amount": "many"}]})
    assert stops.may_bar_running(rule, opened().state, "amount")
    assert not stops.may_bar_running(rule, opened().state, "magnet")


# --- what lifts a stop ----------------------------------------------------------------------------------


def raised(rule: Flow) -> Diary:
    """A case in which smoke raised the rule."""
    diary = told(rule, smoke="yes")
    [(id, because)] = stops.newly_true(rule, diary.state)
    return diary.add(StopRaised(rule=id, bars=("running",), because=because))


def nut(side: str) -> Answered:
    return Answered(ask="nut", value=(side,), form="look", rank=3)


def inside(*marks: str) -> Answered:
    return Answered(ask="inside", value=marks, form="marks", rank=3)


MENDED = Mended_(remedy="refit-nut", causes=("nut-loose",), confirmed=True, minutes=40, money=6)
NO_SMOKE = Answered(ask="smoke", value=("no",), form="one", rank=2)


def lifted(rule: Flow, diary: Diary) -> tuple[tuple[str, str], ...]:
    return stops.cleared(rule, diary.state)


def test_a_stop_that_stands_is_not_raised_again() -> None:
    rule = flow({"all": ["smoke"]})
    assert stops.newly_true(rule, raised(rule).state) == ()


def test_any_of_the_named_looks_and_remedies_lifts_it() -> None:
    rule = flow({"all": ["smoke"]})
    assert lifted(rule, raised(rule).add(nut("good"))) == (("rule", "nut.good"),)
    assert lifted(rule, raised(rule).add(MENDED)) == (("rule", "refit-nut"),)


def test_neither_a_bad_look_nor_another_look_nor_a_contrary_answer_lifts_it() -> None:
    rule = flow({"all": ["smoke"]})
    for event in (nut("bad"), inside(), NO_SMOKE):
        assert lifted(rule, raised(rule).add(event)) == ()


def test_a_look_that_was_good_before_the_stop_does_not_lift_it() -> None:
    rule = flow({"all": ["smoke"]})
    diary = opened().add(nut("good")).add(NO_SMOKE.model_copy(update={"value": ("yes",)}))
    diary.add(StopRaised(rule="rule", bars=("running",), because=(diary.last,)))
    assert lifted(rule, diary) == ()


def test_the_newest_look_counts() -> None:
    rule = flow({"all": ["smoke"]})
    assert lifted(rule, raised(rule).add(nut("good")).add(nut("bad"))) == ()
    assert lifted(rule, raised(rule).add(nut("bad")).add(nut("good"))) == (("rule", "nut.good"),)


def test_where_all_are_named_all_must_be_good_and_none_ticked_is_good() -> None:
    rule = flow({"all": ["smoke"]}, cleared_by={"all": ["nut.good", "inside.good"]})
    assert lifted(rule, raised(rule).add(nut("good"))) == ()
    assert lifted(rule, raised(rule).add(nut("good")).add(inside("grooves"))) == ()
    assert [r for r, _ in lifted(rule, raised(rule).add(nut("good")).add(inside()))] == ["rule"]


def test_where_only_a_mechanic_lifts_it_a_riders_look_does_not() -> None:
    cleared = {"any": ["nut.good"], "by": "mechanic"}
    rule = flow({"all": ["smoke"]}, cleared_by=cleared)
    assert lifted(rule, raised(rule).add(nut("good"))) == ()
    assert lifted(rule, raised(rule).by("mechanic").add(nut("good"))) == (("rule", "nut.good"),)
    assert lifted(rule, raised(rule).by("mechanic").add(nut("bad"))) == ()


def test_a_mechanics_bad_look_does_not_make_a_riders_good_one_count() -> None:
    rule = flow({"all": ["smoke"]}, cleared_by={"any": ["nut.good"], "by": "mechanic"})
    diary = raised(rule).by("mechanic").add(nut("bad")).by("rider").add(nut("good"))
    assert lifted(rule, diary) == ()


def test_work_that_only_a_mechanic_may_do_lifts_it_when_he_did_it() -> None:
    rule = flow({"all": ["smoke"]}, cleared_by={"any": ["refit-nut"], "by": "mechanic"})
    assert lifted(rule, raised(rule).add(MENDED)) == ()
    assert lifted(rule, raised(rule).by("mechanic").add(MENDED)) == (("rule", "refit-nut"),)


def test_a_rule_without_looks_is_lifted_by_a_mechanics_word_only() -> None:
    rule = flow({"all": ["knocking"]}, cleared_by={"by": "mechanic"})
    talk = Chat(rule).talk("it rattles", "it knocks", "lift the stop")
    assert talk.stops == {"rule"}
    talk.hold().wrench("lift the stop", "big end felt, no play")
    assert talk.stops == set()


def test_after_lifting_only_a_later_word_raises_it_again() -> None:
    rule = flow({"all": ["smoke"]})
    diary = raised(rule).add(nut("good")).add(StopLifted(rule="rule", by="nut.good"))
    assert not true(rule, diary)
    assert true(rule, diary.add(Answered(ask="smoke", value=("yes",), form="one", rank=2)))


def test_what_was_taken_back_leaves_a_stop_standing() -> None:
    rule = flow({"all": ["smoke"]})
    diary = raised(rule)
    diary.add(Withdrawn(entries=tuple(e.seq for e in diary.state.entries if isinstance(e.event, Answered))))
    assert [s.rule for s in diary.state.standing] == ["rule"]


def test_the_looks_that_would_lift_it_are_named_until_they_are_made() -> None:
    rule = flow({"all": ["smoke"]}, cleared_by={"any": ["nut.good", "inside.good", "refit-nut"]})
    diary = raised(rule)
    assert stops.clearing_looks(rule, diary.state, diary.state.standing) == ("nut", "inside")
    diary.add(nut("bad"))
    assert stops.clearing_looks(rule, diary.state, diary.state.standing) == ("inside",)


def test_stops_that_bar_running_come_before_those_that_bar_riding_only() -> None:
    diary = opened()
    diary.add(StopRaised(rule="soft", bars=("riding",), because=()))
    diary.add(StopRaised(rule="hard", bars=("running", "riding"), because=()))
    grave, mild = stops.by_gravity(diary.state)
    assert ([s.rule for s in grave], [s.rule for s in mild]) == (["hard"], ["soft"])
