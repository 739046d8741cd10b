"""A case is closed: how it came out is kept, everyone is told, stops stand on, a relapse opens it again."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest

from bot.core import plan
from bot.core.conversation import begins_new
from bot.core.events import (
    Ended,
    Entry,
    Heard,
    Mended_,
    OutcomeTold,
    RemedyBegun,
    SaidOfRepair,
    WasAsked,
)
from bot.core.history import repairs
from bot.core.state import fold
from tests.core.chat import Chat
from tests.rattle import FLOW

BEFORE = ("it rattles", "no knock", "Goat", "by foot", "all of them cling")
UNDER_A_STOP = ("it rattles", "it knocks", "Goat", "by foot")


def at_bench(*told: str) -> Chat:
    return Chat(FLOW).talk(*(told or BEFORE), "hand over").hold().wrench("hello")


def repaired() -> Chat:
    """Confirmed, done and its closing point answered."""
    return at_bench().wrench("cause is the nut", "seen", "repaired: refit the drive nut", "yes")


def outcome(talk: Chat) -> OutcomeTold:
    [told] = [e.event for e in talk.state.entries if isinstance(e.event, OutcomeTold)]
    return told


# --- a mechanic closes -----------------------------------------------------------------------------


def test_with_a_confirmed_cause_nothing_more_is_asked() -> None:
    talk = at_bench().wrench("cause is the nut", "measured")
    before = fold(e for e in talk.state.entries if e.seq < talk.state.confirmed[0].seq)
    talk.wrench("close")
    told = outcome(talk)
    assert (told.result, told.cause, told.how) == ("cause", "nut-loose", "measured")
    assert talk.state.ended == Ended(how="closed")
    assert talk.state.outcome == told
    beliefs = plan.beliefs(FLOW, before)
    assert told.expected == pytest.approx(
        {cause: beliefs.of(cause) for cause in FLOW.causes} | {"": beliefs.unlisted}, abs=1e-6
    )
    assert told.expected["nut-loose"] < 0.9  # what was thought before he was sure, not after


def test_what_was_thought_is_of_before_the_repair_where_that_came_first() -> None:
    talk = at_bench().wrench("repaired: refit the drive nut", "yes")
    [mended] = repairs(FLOW, talk.state)
    beliefs = plan.beliefs(FLOW, fold(e for e in talk.state.entries if e.seq < mended.seq))
    talk.wrench("cause is the nut", "gone after the repair", "close")
    assert outcome(talk).expected["nut-loose"] == pytest.approx(beliefs.of("nut-loose"), abs=1e-6)


def test_where_it_is_not_clear_he_is_asked() -> None:
    talk = at_bench().wrench("close")
    assert talk.asked_of_wrench == ("outcome", "")
    labels = [c.label for c in talk.messages[-1].choices if not c.control]
    assert labels == [
        "It was a cause of the list", "The cause was not found", "It was something else, in my own words",
        "Do not close it",
    ]  # fmt: skip
    talk.wrench("1", "drive nut", "I judge so")
    assert (outcome(talk).cause, outcome(talk).how) == ("nut-loose", "judged")
    assert [c.event.cause for c in talk.state.confirmed] == ["nut-loose"]


def test_not_found() -> None:
    talk = at_bench().wrench("close", "not found")
    assert (outcome(talk).result, outcome(talk).cause, outcome(talk).how) == ("not_found", "", "")
    assert outcome(talk).expected["nut-loose"] == pytest.approx(
        plan.beliefs(FLOW, talk.state).of("nut-loose"), abs=1e-6
    )
    assert "The cause was not found." in talk.to("rider")


def test_something_that_the_flow_does_not_know() -> None:
    talk = at_bench().wrench("close", "something else", "A stone in the bash plate", "seen")
    told = outcome(talk)
    assert (told.result, told.cause, told.words, told.how) == (
        "unlisted",
        "",
        "A stone in the bash plate",
        "seen",
    )
    assert "something that is not in my list: A stone in the bash plate (seen)" in talk.to("rider")


def test_he_may_leave_it_open_or_think_again() -> None:
    for word in ("do not close it", "back"):
        talk = at_bench().wrench("close", word)
        assert talk.state.ended is None
        assert talk.state.outcome is None
        assert talk.asked_of_wrench == ("question", "amount")


def test_of_two_confirmed_causes_he_says_which_it_was_in_the_main() -> None:
    talk = at_bench().wrench("cause is the nut", "seen", "cause is the basket", "measured", "close")
    assert talk.asked_of_wrench[0] == "outcome"
    talk.wrench("basket")
    assert (outcome(talk).cause, outcome(talk).how) == ("basket-worn", "measured")


def test_stops_are_said_in_full_first_to_both_and_stand_on() -> None:
    talk = at_bench(*UNDER_A_STOP).wrench("close", "not found")
    assert talk.stops == {"big-knock"}
    assert "Closing lifts no stop. These stand: STOP. Do not start the engine." in talk.to("rider")
    first = at_bench(*UNDER_A_STOP)
    first.wrench("close")
    assert first.messages[0].kind == "stop"
    assert first.to("rider").startswith("[Goat] STOP. Do not start the engine.\nWhat lifts this")


def test_the_rider_is_told_how_it_came_out_what_was_done_and_what_he_still_has_to_do() -> None:
    talk = repaired().wrench("close")
    told = talk.to("rider").split("\n")
    assert told[:5] == [
        "The mechanic has closed this case: Something rattles.",
        "It was: Drive nut working loose (seen).",
        "Done: Refit the drive nut.",
        "Still for you to do: Idle for ten minutes.",
        "2 second looks are still to come.",
    ]
    assert talk.asked == ("proof", "refit-nut")


def test_work_in_his_own_words_is_told_too() -> None:
    talk = at_bench().wrench("repaired", "none", "Welded the bracket", "close", "not found")
    assert "Done: Welded the bracket." in talk.to("rider")


def test_what_is_still_off_by_the_record_is_said() -> None:
    talk = at_bench().wrench("6 to 20", "done", "close", "not found")
    assert "By the record this is still off or out: Drain the oil." in talk.said
    assert talk.state.open == ("oil-out",)


def test_the_search_is_over_at_every_seat() -> None:
    talk = Chat(FLOW).talk(*BEFORE[:3]).hold().wrench("close", "not found")
    assert talk.asked == ("none", "")
    assert talk.asked_of_wrench == ("none", "")


def test_the_riders_second_looks_go_on_in_a_closed_case_and_prove_it() -> None:
    talk = repaired().wrench("close").talk("done", "quiet")
    assert talk.state.ended == Ended(how="closed")
    assert talk.asked == ("second_look", "debris")
    talk.talk("1", "5 or fewer", "all of them cling", "2.5 h", "3 bits", "all of them cling")
    assert talk.state.ended == Ended(how="proved")
    assert talk.state.outcome is not None


def test_a_look_that_shows_it_again_opens_the_case_and_its_outcome_no_longer_holds() -> None:
    talk = at_bench("it rattles", "no knock", "Goat", "by foot", "none clings")
    talk.wrench("cause is the nut", "seen", "repaired: refit the drive nut", "yes", "close")
    talk.talk("done", "quiet", "1", "5 or fewer", "all of them cling")  # steel, where there was none
    assert [each.why for _, each in talk.state.reopened] == ["new_kind"]
    assert talk.state.outcome is None
    assert talk.state.ended is None
    assert "the fault is back" in talk.to("wrench")


def test_still_the_same_after_the_run_opens_it_too() -> None:
    talk = repaired().wrench("close").talk("done", "rattles")
    assert talk.state.outcome is None
    assert talk.state.ended is None
    assert "still the same" in talk.to("wrench")


def test_it_is_back_opens_it_and_thanks_do_not() -> None:
    talk = at_bench().wrench("close", "not found").talk("thanks a lot")
    assert talk.state.ended == Ended(how="closed")
    talk.say("it is back")
    assert talk.state.ended is None
    assert talk.state.outcome is None


def test_a_relapse_within_the_time_is_the_same_case_and_later_another() -> None:
    talk = at_bench().wrench("close", "not found")
    soon, late = talk.now + timedelta(days=59), talk.now + timedelta(days=61)
    back = Heard(text="it is back", who="rider")
    assert not begins_new(talk.desk(), talk.state, back, soon)
    assert begins_new(talk.desk(), talk.state, back, late)


def test_an_answer_to_what_is_still_asked_is_the_old_case_however_late() -> None:
    talk = repaired().wrench("close")
    assert not begins_new(
        talk.desk(), talk.state, Heard(text="done", who="rider"), talk.now + timedelta(days=90)
    )


def test_what_the_mechanic_says_later_is_kept_and_opens_nothing() -> None:
    talk = at_bench().wrench("close", "not found", "customer paid")
    assert talk.state.ended == Ended(how="closed")
    assert talk.state.notes[-1][3].words == "customer paid"
    talk.wrench("close")
    assert "This case is closed." in talk.said
    assert not begins_new(
        talk.desk(), talk.state, Heard(text="it rattles", who="wrench", role="mechanic"), talk.now
    )


ENDS = ("handed_over", "parked", "put_off", "proved", "released", "closed", "abandoned")
REMARKS = (
    "ok", "thanks", "the nut is back on and torqued", "he came back with it today", "it is back on the stand",
    "something rattles", "rattles again",
)  # fmt: skip


def ended(how: str, *holders: str) -> Chat:
    """A case that ended so after a repair; `holders` had it then."""
    talk = Chat(FLOW).talk("it rattles", "no knock", "Goat")
    for who in holders:
        talk.hold(who)
    told: tuple[Any, ...] = (
        RemedyBegun(remedy="refit-nut", suspicion=False),
        Mended_(remedy="refit-nut", causes=("nut-loose",), confirmed=True),
        WasAsked(seat="rider", what="none", id=""),
        Ended(how=how),  # type: ignore[arg-type]
    )
    for event in told:
        entry = Entry(talk.state.next_seq, "2026-05-04T12:00:00Z", "rider", "rider", event)
        talk.state = fold((*talk.state.entries, entry))
    return talk


@pytest.mark.parametrize("how", ENDS)
@pytest.mark.parametrize("holds", [True, False])
@pytest.mark.parametrize("words", REMARKS)
def test_a_mechanics_remark_never_says_that_it_came_back(how: str, holds: bool, words: str) -> None:
    """Nor does one of who holds nothing go on with a case that rests."""
    talk = ended(how, *(["wrench"] if holds else [])).wrench(words)
    assert talk.state.reopened == ()
    assert not any(isinstance(e.event, SaidOfRepair) for e in talk.state.entries)
    assert talk.state.notes[-1][3].words == words
    waits = how in ("handed_over", "parked", "put_off")
    assert (talk.state.ended is None) == (holds and waits)
    assert talk.said


@pytest.mark.parametrize("how", ENDS)
@pytest.mark.parametrize("holds", [True, False])
@pytest.mark.parametrize("words", ["it is back", "It's back.", "it came back!"])
def test_a_mechanic_who_says_so_clearly_opens_it_again(how: str, holds: bool, words: str) -> None:
    talk = ended(how, *(["wrench"] if holds else [])).wrench(words)
    assert [told.why for _, told in talk.state.reopened] == ["came_back"]
    assert talk.state.ended is None


def test_where_he_may_mean_that_it_is_back_he_is_told_how_to_say_so() -> None:
    for how in ("closed", "handed_over"):
        assert "If the fault returned send: it is back" in ended(how).wrench("the rattle is back").said
    talk = at_bench().wrench("repaired: refit the drive nut", "yes", "the rattle is back again")
    assert talk.state.reopened == ()
    assert "If the fault returned send: it is back" in talk.said


@pytest.mark.parametrize("how", ["handed_over", "proved", "released", "closed"])
@pytest.mark.parametrize("words", ["ok", "thanks", "thanks mate", "yes", "ok, thank you"])
def test_a_riders_thanks_open_nothing_and_his_fault_does(how: str, words: str) -> None:
    talk = ended(how).talk(words)
    assert talk.state.ended == Ended(how=how)  # type: ignore[arg-type]
    assert talk.state.reopened == ()
    assert len(talk.talk("the rattle is back").state.reopened) == 1


def test_a_case_that_was_proved_may_still_be_closed_with_what_it_was() -> None:
    talk = repaired().talk("done", "quiet", "1", "5 or fewer", "all of them cling", "2.5 h", "3 bits")
    talk.say("all of them cling")
    assert talk.state.ended == Ended(how="proved")
    talk.wrench("customer is happy")
    assert talk.state.ended == Ended(how="proved")  # a remark of his opens nothing
    talk.wrench("close")
    assert talk.state.ended == Ended(how="closed")
    assert outcome(talk).cause == "nut-loose"


def test_closing_can_be_taken_back() -> None:
    talk = at_bench().wrench("cause is the nut", "seen", "close", "back")
    assert talk.state.ended is None
    assert talk.state.outcome is None
    assert [c.event.cause for c in talk.state.confirmed] == ["nut-loose"]


# --- a rider closes ----------------------------------------------------------------------------------


def test_a_rider_closes_his_own_case_and_that_is_his_word() -> None:
    talk = Chat(FLOW).talk(*BEFORE, "close", "1", "drive nut")
    assert [c.label for c in talk.messages[-1].choices if not c.control] == [
        "I saw it", "I judge so from all of it", "Not this one", "Do not close it",
    ]  # fmt: skip
    talk.say("I saw it")
    assert (outcome(talk).cause, outcome(talk).how) == ("nut-loose", "seen")
    assert talk.state.confirmed == ()  # no mechanic is sure of it
    [entry] = [e for e in talk.state.entries if isinstance(e.event, OutcomeTold)]
    assert entry.role == "rider"
    assert talk.state.ended == Ended(how="closed")


def test_it_was_with_the_very_name_is_enough_and_asks_once_more() -> None:
    talk = Chat(FLOW).talk(*BEFORE, "it was the drive nut")
    assert talk.asked == ("cause", "nut-loose")
    assert "This closes the case with: Drive nut working loose." in talk.said
    talk.say("do not close it")
    assert talk.state.ended is None
    assert talk.asked == ("setting", "place")


@pytest.mark.parametrize(
    "words", ["it was fine last week", "it was my fault", "it was the rattle from the nut yesterday"]
)
def test_it_was_with_anything_else_is_a_remark(words: str) -> None:
    talk = Chat(FLOW).talk(*BEFORE, words)
    assert talk.asked == ("setting", "place")
    assert talk.state.notes[-1][3].words == words


def test_after_handing_over_the_rider_may_close_it_with_what_he_was_told() -> None:
    talk = Chat(FLOW).talk(*BEFORE, "hand over", "it was the drive nut", "judged")
    assert (outcome(talk).cause, outcome(talk).how) == ("nut-loose", "judged")
    assert talk.state.ended == Ended(how="closed")
    assert talk.state.reopened == ()


def test_the_mechanic_is_told_when_the_rider_closes() -> None:
    talk = Chat(FLOW).talk(*BEFORE).hold().talk("close", "not found")
    assert "The rider has closed this case" in talk.to("wrench")


def test_a_mate_closes_nothing() -> None:
    talk = Chat(FLOW).talk(*BEFORE)
    talk.say("close", who="mate")
    assert talk.state.outcome is None
    assert "Only its rider, or the mechanic who holds it" in talk.said


@pytest.mark.parametrize("words", ["closed", "clost", "closes"])
def test_closed_is_no_slip_of_close(words: str) -> None:
    talk = Chat(FLOW).talk(*BEFORE, words)
    assert talk.asked == ("setting", "place")


def test_before_there_is_a_case_there_is_nothing_to_close() -> None:
    talk = Chat(FLOW).talk("close")
    assert talk.state.outcome is None
    assert talk.state.complaint == ""
