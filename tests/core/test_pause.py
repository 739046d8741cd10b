"""A hurt person ends the questions about the bike until somebody takes it up by a clear word."""

from __future__ import annotations

import copy
from typing import Any

import pytest

from bot.core.events import Noted, StopLifted, StopRaised, TakenUp
from bot.core.flow import read
from bot.core.messages import Message
from bot.core.overview import overview
from tests.core.chat import Chat
from tests.rattle import RATTLE

HELP = "Do not ride today and do not stay alone. Worse headache: call for help."


def hurting() -> dict[str, Any]:
    """The rattle with a question about the rider before all else."""
    flow: dict[str, Any] = copy.deepcopy(RATTLE)
    flow["safety"] = ["head", "knock"]
    flow["signs"]["hurt"] = {"means": "he hit his head", "background": "almost_never", "changes": "each_look"}
    flow["questions"]["head"] = {
        "kind": "one",
        "ask": "Did you hit your head?",
        "answers": {
            "hit": {"label": "I hit it", "shows": ["hurt"], "told_as": ["hit my head"]},
            "fine": {"label": "Not hurt", "denies": ["hurt"], "told_as": ["i am fine"]},
        },
    }
    flow["stop_rules"]["hurt"] = {
        "when": {"all": ["hurt"]},
        "say": HELP,
        "short": "STOP. Not alone. Worse headache - call for help.",
        "bars": ["running", "riding"],
        "cleared_by": {"by": "doctor"},
        "ends_questions": True,
    }
    flow["questions"]["knock"]["answers"]["yes"]["told_as"] = ["knocks below"]
    return flow


FLOW = read(hurting())


def hurt(*more: str) -> Chat:
    """The first words, and yes to the question about the rider."""
    return Chat(FLOW).talk("it rattles", "I hit it", *more)


def last(talk: Chat) -> Message:
    return talk.messages[-1]


# --- it stops asking -----------------------------------------------------------------------------


def test_the_stop_is_said_and_nothing_more_is_asked_about_the_bike() -> None:
    talk = hurt()
    assert talk.messages[0].text.startswith(f"STOP. {HELP}")
    assert talk.asked == ("pause", "hurt")
    assert "The bike waits" in last(talk).text
    assert "take the bike up" in last(talk).text
    assert not last(talk).choices
    assert "?" not in last(talk).text


def test_a_hurt_told_in_the_first_words_ends_the_questions_before_anything_is_read_back() -> None:
    talk = Chat(FLOW).talk("it rattles since I hit my head, knocks below")
    assert talk.stops == {"hurt", "big-knock"}
    assert talk.messages[0].text.startswith(f"STOP. {HELP}")
    assert talk.asked == ("pause", "hurt")
    assert "Did I get this right" not in talk.said


def test_a_hurt_told_in_the_middle_of_the_search_ends_the_questions_too() -> None:
    talk = Chat(FLOW).talk("it rattles", "not hurt", "no knock", "Goat", "by foot")
    assert talk.asked == ("question", "magnet")
    talk.say("wait, I hit my head when I fell")
    assert talk.asked == ("pause", "hurt")
    assert talk.stops == {"hurt"}


@pytest.mark.parametrize("words", ["what now", "again", "the wheel looks bent", "can I go?", "3", "why"])
def test_whatever_is_said_then_gets_the_stop_and_no_question_about_the_bike(words: str) -> None:
    talk = hurt("thanks")
    talk.say(words)
    assert "STOP. Not alone. Worse headache - call for help." in last(talk).text
    assert talk.asked == ("pause", "hurt")
    assert "?" not in last(talk).text


def test_what_is_said_then_is_kept_as_a_note() -> None:
    talk = hurt("the left lever is broken", "no, leave me alone")
    kept = [e.event.words for e in talk.state.entries if isinstance(e.event, Noted)]
    assert kept == ["the left lever is broken", "no, leave me alone"]
    assert "kept that as a note" in talk.messages[0].text


def test_what_sounds_like_a_line_for_the_book_asks_for_no_bike() -> None:
    talk = hurt("oil change at 54.5, six flakes", "an hour")
    assert talk.asked == ("pause", "hurt")
    assert "bike is that for" not in talk.said
    assert [n.words for _, _, _, n in talk.state.notes] == ["oil change at 54.5, six flakes", "an hour"]


def test_words_that_tell_something_are_kept_as_notes_too() -> None:
    talk = hurt("it does not knock at all")
    assert "kept that as a note" in talk.said
    assert "Did I get this right" not in talk.said


def test_a_photo_is_kept_and_does_not_bring_the_question_back() -> None:
    talk = hurt()
    talk.say("", file="5f1c", file_kind="photo")
    assert talk.asked == ("pause", "hurt")
    assert "question is still open" not in talk.said


def test_another_stop_told_then_is_said_at_once() -> None:
    talk = hurt("and it knocks below")
    assert talk.stops == {"hurt", "big-knock"}
    assert talk.messages[0].text.startswith("STOP. Do not start the engine.")
    assert talk.asked == ("pause", "hurt")


def test_the_control_words_work_and_a_slip_takes_all_of_it_back() -> None:
    talk = hurt("pressed the wrong one")
    assert talk.asked == ("slip", "hurt")
    talk.say("yes")
    assert talk.stops == set()
    assert talk.asked == ("question", "head")


def test_a_rule_without_the_key_asks_on_as_before() -> None:
    flow = hurting()
    del flow["stop_rules"]["hurt"]["ends_questions"]
    talk = Chat(read(flow)).talk("it rattles", "I hit it")
    assert talk.asked == ("question", "knock")


# --- taken up -------------------------------------------------------------------------------------


def test_somebody_else_takes_it_up_by_a_clear_word_confirmed_once() -> None:
    talk = hurt("take the bike up")
    assert talk.asked == ("take_up", "hurt")
    assert [c.press for c in last(talk).choices] == ["other", "rider", "doctor", "wait"]
    talk.say("1")
    taken = [e.event for e in talk.state.entries if isinstance(e.event, TakenUp)]
    assert taken == [TakenUp(rules=("hurt",), by="other", words="take the bike up")]
    assert talk.stops == {"hurt"}  # whoever was hurt still does not ride
    assert talk.state.bars == {"riding"}  # the engine may run; what is ridden, the rider rides
    assert talk.asked == ("question", "knock")
    assert "hurt" in last(talk).text.partition("Does it knock")[0]


def test_the_hurt_rider_may_answer_on_but_what_is_barred_stays_barred() -> None:
    talk = hurt("I am all right now", "2")
    assert talk.stops == {"hurt"}
    assert talk.state.bars == {"running", "riding"}
    assert talk.asked == ("question", "knock")


def test_a_doctors_word_lifts_the_stop() -> None:
    talk = hurt("a doctor has looked", "3")
    lifted = [e.event for e in talk.state.entries if isinstance(e.event, StopLifted)]
    assert lifted == [StopLifted(rule="hurt", by="doctor", words="a doctor has looked")]
    assert talk.stops == set()
    assert talk.asked == ("question", "knock")


@pytest.mark.parametrize("words", ["4", "no"])
def test_nobody_takes_it_up_and_it_waits_on(words: str) -> None:
    talk = hurt("go on with the bike", words)
    assert talk.asked == ("pause", "hurt")
    assert not any(isinstance(e.event, TakenUp) for e in talk.state.entries)


@pytest.mark.parametrize(
    "words", ["no doctor has looked", "I am not all right", "I can't go on", "go on"[:2]]
)
def test_words_that_deny_it_take_nothing_up(words: str) -> None:
    assert hurt(words).asked == ("pause", "hurt")


def test_taken_back_it_waits_again() -> None:
    talk = hurt("take the bike up", "1", "back")
    assert talk.asked == ("take_up", "hurt")
    assert talk.state.bars == {"running", "riding"}


def test_what_was_told_meanwhile_is_read_back_once_it_is_taken_up() -> None:
    talk = Chat(FLOW).talk("it rattles since I hit my head", "it knocks below", "take the bike up", "1")
    assert talk.asked == ("confirm", "told")
    assert "It knocks" in last(talk).text
    assert "I hit it" not in last(talk).text
    talk.say("yes")
    assert talk.state.told("knock") is not None


def test_hurt_anew_it_waits_anew() -> None:
    talk = hurt("take the bike up", "1", "now I hit my head too")
    assert talk.asked == ("pause", "hurt")
    talk.talk("take the bike up", "1")
    assert talk.asked[0] != "pause"


def test_a_mechanic_who_holds_it_takes_it_up_in_the_same_way() -> None:
    talk = hurt().hold().wrench("what is there")
    assert talk.asked_of_wrench == ("pause", "hurt")
    talk.wrench("lift the stop: looked at him")
    assert talk.stops == {"hurt"}
    talk.wrench("take the bike up", "1")
    assert talk.asked_of_wrench == ("question", "knock")
    assert "goes on with the bike" in talk.to("rider")
    talk.say("how is it going")  # the rider's seat does not wait any more
    assert talk.asked[0] != "pause"


def test_handing_over_says_nothing_of_cost_while_a_person_must_not_ride() -> None:
    flow = hurting()
    flow["hand_over"] = {"minutes": 1}
    talk = Chat(read(flow)).talk("it rattles", "I hit it", "I am all right", "2")
    for words in (
        "no knock",
        "Goat",
        "by foot",
        "all of them cling",
        "garage",
        "hardly any",
        *["not sure"] * 9,
    ):
        if talk.asked[0] == "hand_over":
            break
        talk.say(words)
    if talk.asked == ("setting", "giving_up"):
        talk.say("1")
    assert talk.asked[0] == "hand_over"
    assert "cost" not in last(talk).text
    assert "hurt" in last(talk).text


def test_the_first_stop_named_is_the_persons() -> None:
    talk = Chat(FLOW).talk("it rattles, knocks below")
    assert talk.stops == {"big-knock"}
    talk.talk("yes", "I hit it")
    assert talk.stops == {"hurt", "big-knock"}
    assert "STOP. Not alone." in talk.talk("again").said.partition("(and 1 more)")[0]


def test_who_goes_on_sees_the_bikes_own_stop_beside_that_of_the_hurt_rider() -> None:
    talk = Chat(FLOW).talk(
        "it rattles since I hit my head, knocks below", "take the bike up", "1", "yes", "again"
    )
    head = last(talk).text.split("\n")[:2]
    assert head[0].startswith("For whoever was hurt: STOP. Not alone.")
    assert head[1].startswith("Still standing: STOP. DO NOT START.")


def test_programs_are_told_that_nothing_is_asked_and_then_that_something_is_confirmed() -> None:
    talk = hurt()
    assert overview(talk.desk(), talk.state, talk.now).dump()["asked"]["kind"] == "none"
    talk.say("take the bike up")
    assert overview(talk.desk(), talk.state, talk.now).dump()["asked"]["kind"] == "confirm"


def test_raised_once() -> None:
    talk = Chat(FLOW).talk("it rattles, I hit my head", "I hit my head")
    assert [e.event.rule for e in talk.state.entries if isinstance(e.event, StopRaised)] == ["hurt"]
