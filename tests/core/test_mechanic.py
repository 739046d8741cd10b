"""A mechanic carries on the case that a rider began: his bench, his words, what only he may do."""

from __future__ import annotations

import pytest

from bot.core.bench import BENCH, seen_from
from bot.core.events import Ended, Noted, SettingTold
from tests.core.chat import Chat
from tests.rattle import FLOW

AT_THE_TRACK = (
    "it rattles",
    "no knock",
    "Goat",
    "by foot",
    "all of them cling",
    "trail",
    "none",
    "half an hour",
    "yes",
)


def handed_over(*told: str) -> Chat:
    """A rider who told this and handed the bike over; a mechanic has opened the case."""
    return Chat(FLOW).talk(*(told or AT_THE_TRACK), "hand over").hold()


def under_a_stop() -> Chat:
    return handed_over("it rattles", "it knocks", "Goat", "by foot", "garage", "4")


# --- he goes on where the rider was ------------------------------------------------------------


def test_his_first_word_goes_on_with_a_case_that_was_handed_over() -> None:
    talk = handed_over()
    assert talk.asked == ("none", "")
    talk.wrench("hello")
    assert talk.state.ended is None
    assert talk.asked_of_wrench == ("question", "amount")
    assert "closed" not in talk.said


def test_opening_it_takes_it_up_and_so_does_his_word_when_the_rider_hands_over_later() -> None:
    talk = Chat(FLOW).talk("it rattles").hold().talk("hand over")
    assert talk.state.ended == Ended(how="handed_over")
    assert "The rider has handed it over" in talk.to("wrench")
    talk.wrench("hello")
    assert talk.state.ended is None
    assert talk.asked_of_wrench == ("question", "knock")


def test_he_is_not_asked_again_what_the_rider_told() -> None:
    talk = handed_over().wrench("hello")
    asked = set()
    replies = {"amount": "6 to 20", "meter": "not sure", "inside": "none of these", "nut": "it does not move"}
    for _ in range(8):
        asked.add(talk.asked_of_wrench[1])
        talk.wrench(replies.get(talk.asked_of_wrench[1], "done"))
    assert {"nut", "cover"} <= asked
    assert not asked & {"knock", "starter", "magnet"}


def test_nothing_of_place_and_tools_is_asked_at_his_bench_and_the_bike_is_the_riders_to_name() -> None:
    talk = Chat(FLOW).talk("it rattles", "no knock").hold().wrench("hello")
    assert talk.asked_of_wrench == ("trait", "starter")
    talk.wrench("by foot", "none clings")
    assert talk.asked_of_wrench[0] in ("question", "check", "access")
    assert talk.state.settings == {}


def test_the_riders_limits_are_not_his() -> None:
    """On the trail, bare hands, half an hour, must ride home: none of it holds at the bench."""
    talk = handed_over()
    assert talk.state.settings["place"] == "trail"
    seen = seen_from(FLOW, talk.state, "wrench")
    assert dict(seen.settings) == dict(BENCH)
    assert seen_from(FLOW, talk.state, "rider") is talk.state
    talk.wrench("hello", "6 to 20")
    assert talk.asked_of_wrench == ("access", "oil-out")  # which the rider's limits would not allow


def test_what_the_rider_could_not_do_or_see_there_is_open_again_at_the_bench() -> None:
    talk = Chat(FLOW).talk("it rattles", "no knock", "Goat", "by foot", "not sure", "garage", "4")
    talk.talk("can't do that here", "hand over").hold()
    assert set(talk.state.skipped) == {"magnet", "amount"}
    assert set(seen_from(FLOW, talk.state, "wrench").skipped) == set()  # the magnet takes a tool, not memory


def test_what_the_rider_cannot_remember_is_not_asked_of_a_mechanic() -> None:
    talk = Chat(FLOW).talk("it rattles", "not sure").hold()
    assert set(seen_from(FLOW, talk.state, "wrench").skipped) == {"knock"}


def test_what_he_left_out_himself_stays_out() -> None:
    talk = handed_over().wrench("hello", "6 to 20", "can't do that here")
    assert "oil-out" in seen_from(FLOW, talk.state, "wrench").skipped


def test_his_own_settings_are_his_and_the_riders_stay() -> None:
    talk = Chat(FLOW).talk(*AT_THE_TRACK, "giving up costs 1234").hold().wrench("giving up costs 60")
    assert talk.state.settings["giving_up"] == 1234
    assert talk.state.benches["wrench"] == {"giving_up": 60}
    assert seen_from(FLOW, talk.state, "wrench").settings["giving_up"] == 60


def test_to_hand_over_means_at_his_bench_to_refer_it_on() -> None:
    talk = handed_over().wrench("hello", "hand over")
    assert "Referred on. This is the sheet to go with it:" in talk.said
    assert "The mechanic has handed it over" in talk.to("rider")
    assert talk.state.ended == Ended(how="handed_over")
    talk.wrench("hello")
    assert talk.state.ended is None


def test_where_nothing_pays_any_more_he_is_not_told_the_riders_price() -> None:
    talk = Chat(FLOW).talk(*AT_THE_TRACK, "giving up costs 1234", "hand over").hold()
    talk.wrench("hello", "giving up costs 1")
    for _ in range(10):
        if talk.asked_of_wrench[0] == "hand_over":
            break
        talk.wrench("not sure")
    assert talk.asked_of_wrench[0] == "hand_over"
    assert "Refer it on, or send: close" in talk.said
    assert "1234" not in talk.said


# --- the rider beside him ------------------------------------------------------------------------


def test_the_riders_open_question_is_untouched_by_what_the_mechanic_does() -> None:
    talk = Chat(FLOW).talk("it rattles", "no knock", "Goat").hold()
    before = talk.state.asked["rider"]
    talk.wrench("hello", "by foot", "all of them cling", "6 to 20", "done", "note: oil smells burnt")
    assert talk.state.asked["rider"] == before


def test_after_handing_over_the_rider_is_told_and_asked_nothing_of_the_search() -> None:
    talk = handed_over().wrench("hello").talk("any news?")
    assert talk.asked == ("none", "")
    assert "The mechanic has it now." in talk.said
    assert talk.state.notes[-1][3] == Noted(words="any news?")
    talk.say("where are we")
    assert "Likeliest now" in talk.said


def test_while_a_mechanic_works_on_it_the_rider_is_given_no_step_of_that_work() -> None:
    talk = Chat(FLOW).talk("it rattles", "no knock", "Goat", "by foot").hold().wrench("hello")
    talk.wrench("cause: drive nut", "seen", "all of them cling")
    while talk.asked_of_wrench[0] in ("question", "check", "access"):
        talk.wrench("done" if talk.asked_of_wrench[0] == "access" else "not sure")
    assert talk.asked_of_wrench == ("remedy", "refit-nut")
    assert "A mechanic is sure of it." in talk.said
    talk.wrench("do it now")
    assert talk.state.work is not None
    assert not talk.state.work.suspicion
    talk.say("all of them cling")
    assert talk.asked == ("none", "")
    assert "The mechanic has it now." in talk.said


def test_a_stop_raised_at_one_seat_is_said_at_the_other_with_the_first_word_too() -> None:
    talk = handed_over().wrench("hello")
    talk.wrench("change knock", "it knocks")
    assert talk.to("rider").startswith("[Goat] STOP. Do not start the engine.")
    assert talk.stops == {"big-knock"}


# --- his words -----------------------------------------------------------------------------------


def test_a_note_and_words_that_answer_nothing_are_kept_with_his_role() -> None:
    talk = handed_over().wrench("hello", "note: Chain is new, 13 teeth", "the seat is torn")
    kept = [(who, note.words) for _, _, who, note in talk.state.notes]
    assert kept == [("wrench", "Chain is new, 13 teeth"), ("wrench", "the seat is torn")]
    assert "I kept that as a note." in talk.said
    assert talk.asked_of_wrench == ("question", "amount")
    roles = {e.role for e in talk.state.entries if isinstance(e.event, Noted)}
    assert roles == {"mechanic"}


def test_a_note_without_words_says_how() -> None:
    assert "like: note: thread was oily" in handed_over().wrench("hello", "note").said


def test_his_photo_is_kept_with_the_open_step() -> None:
    talk = handed_over().wrench("hello")
    talk.say("", who="wrench", role="mechanic", file="ab" * 32, file_kind="photo")
    assert talk.state.notes[-1][3] == Noted(file="ab" * 32, file_kind="photo", about="question:amount")


def test_what_he_can_say_is_listed_in_four_short_lines_and_each_word_of_it_works() -> None:
    talk = handed_over().wrench("hello", "what can I say")
    lines = talk.messages[0].text.split("\n")
    assert len(lines) == 4
    assert all(len(line) <= 80 for line in lines)
    for word in ("note: ", "ask rider: ", "lift the stop", "cause is ", "repaired: ", "vin ", "close"):
        assert any(word in line for line in lines)
        fresh = under_a_stop().wrench("hello")
        fresh.wrench(word + ("" if word.strip() in ("close", "lift the stop") else "the drive nut 7"))
        assert "I did not get an answer" not in fresh.said
    assert "One question at a time" in talk.talk("what can I say").said


@pytest.mark.parametrize(
    "words", ["ask rider: is it yours?", "lift the stop: all good", "cause is the drive nut", "repaired: nut"]
)
def test_a_rider_is_refused_politely_and_nothing_moves(words: str) -> None:
    talk = Chat(FLOW).talk("it rattles", "it knocks", "Goat")
    before = talk.state
    talk.say(words)
    assert "mechanic who holds" in talk.said
    assert talk.asked == ("trait", "starter")
    assert (talk.state.stops, talk.state.answers, talk.state.mended) == (before.stops, (before.answers), ())
    assert (talk.state.queries, talk.state.confirmed) == ((), ())


def test_a_mechanic_who_does_not_hold_the_case_is_refused_too() -> None:
    talk = Chat(FLOW).talk("it rattles", "it knocks").wrench("lift the stop: all good")
    assert talk.stops == {"big-knock"}
    assert "Only a mechanic who holds this case" in talk.said


def test_starting_over_and_abandoning_is_the_riders() -> None:
    talk = handed_over().wrench("hello", "start over")
    assert talk.state.ended is None
    assert "Only the rider whose case it is can do that." in talk.said


# --- lifting a stop ------------------------------------------------------------------------------


def test_a_stop_is_lifted_by_a_mechanic_who_says_what_he_looked_at() -> None:
    talk = under_a_stop().wrench("hello", "lift the stop: big end felt, no play")
    assert talk.stops == set()
    [stop] = talk.state.stops
    assert (stop.lifted_by, stop.looked_at) == ("mechanic", "big end felt, no play")
    assert "Looked at: big end felt, no play" in talk.to("rider")


def test_without_what_he_looked_at_it_is_asked_and_back_leaves_it() -> None:
    talk = under_a_stop().wrench("hello", "lift the stop")
    assert talk.asked_of_wrench == ("lift", "big-knock")
    talk.wrench("back")
    assert talk.stops == {"big-knock"}
    assert "Left as it was." in talk.said
    talk.wrench("lift the stop", "It is back to normal: no play")
    assert talk.stops == set()
    assert talk.state.stops[0].looked_at == "It is back to normal: no play"


@pytest.mark.parametrize("words", ["ok", "all good", "yes, it is good", "done", "please", "fixed, thanks"])
def test_words_that_name_nothing_that_was_looked_at_lift_nothing(words: str) -> None:
    talk = under_a_stop().wrench("hello", f"lift the stop: {words}")
    assert talk.stops == {"big-knock"}
    assert talk.asked_of_wrench == ("lift", "big-knock")
    assert "What did you look at" in talk.said
    talk.wrench(words)
    assert talk.stops == {"big-knock"}
    assert talk.asked_of_wrench == ("lift", "big-knock")
    talk.wrench("nut good")
    assert talk.state.stops[0].looked_at == "nut good"


def test_who_lost_the_case_while_he_was_asked_what_he_looked_at_lifts_nothing() -> None:
    talk = under_a_stop().wrench("hello", "lift the stop").talk("take it back")
    talk.wrench("big end felt, no play", "lift the stop: big end felt, no play")
    assert talk.stops == {"big-knock"}
    assert "Only a mechanic who holds this case" in talk.said


def test_of_several_stops_he_picks_one_and_what_he_looked_at_is_not_asked_twice() -> None:
    talk = under_a_stop().wrench("hello")
    while talk.asked_of_wrench[0] == "access":
        talk.wrench("done")
    talk.wrench("bad, but something else", "not sure")
    assert talk.stops == {"big-knock", "damage-seen"}
    talk.wrench("lift the stop: crank turned by hand, free")
    assert talk.asked_of_wrench == ("lift", "")
    assert [c.label for c in talk.messages[-1].choices if not c.control] == [
        "STOP. DO NOT START.",
        "STOP. Damage was seen that this flow has no name for. Do not run it until it is known what broke.",
    ]
    talk.wrench("1")
    assert talk.stops == {"damage-seen"}
    assert talk.state.stops[0].looked_at == "crank turned by hand, free"


def test_his_lifting_can_be_taken_back() -> None:
    talk = under_a_stop().wrench("hello", "lift the stop: no play", "back")
    assert talk.stops == {"big-knock"}


def test_a_setting_that_he_tells_is_in_the_record_as_his() -> None:
    talk = handed_over().wrench("hello", "giving up costs 60")
    [told] = [e for e in talk.state.entries if isinstance(e.event, SettingTold) and e.role == "mechanic"]
    assert told.who == "wrench"
