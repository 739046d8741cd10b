"""What a mechanic asks the rider: at his own seat, beside his open question, and back to who asked."""

from __future__ import annotations

from dataclasses import replace

from bot.core.desk import Desk
from bot.core.events import CaseHeld, Entry, HoldEnded, Noted, RiderAnswered, RiderAsked
from bot.core.state import fold
from tests.core.chat import Chat
from tests.rattle import FLOW

PLATES = "ask rider: Did you change the clutch plates?"


def busy() -> Chat:
    """The rider has a question open; a mechanic holds the case."""
    return Chat(FLOW).talk("it rattles", "no knock", "Goat").hold()


def idle() -> Chat:
    """The rider handed the bike over and is asked nothing."""
    return busy().talk("hand over").wrench("hello")


def ends_his_hold(talk: Chat) -> None:
    entry = Entry(talk.state.next_seq, "2026-05-04T12:00:00Z", "rider", "rider", HoldEnded(holder="wrench"))
    talk.state = fold((*talk.state.entries, entry))


def answers(talk: Chat) -> list[tuple[str, str]]:
    told = {q.seq: q for q in talk.state.queries}
    return [(told[e.event.query].words, e.event.words) for e in talk.state.entries
            if isinstance(e.event, RiderAnswered)]  # fmt: skip


def test_the_rider_gets_it_at_once_and_his_own_question_stays() -> None:
    talk = busy()
    before = talk.state.asked["rider"]
    talk.wrench(PLATES)
    assert talk.to("rider").startswith("The mechanic asks: Did you change the clutch plates?")
    assert "send: answer: and your words" in talk.to("rider")
    assert talk.state.asked["rider"] == before
    assert [e.event for e in talk.state.entries if isinstance(e.event, RiderAsked)] == [
        RiderAsked(words="Did you change the clutch plates?")
    ]
    assert "Asked. I tell you what he answers." in talk.said


def test_beside_an_open_question_he_answers_with_the_word_and_is_asked_his_own_again() -> None:
    talk = busy().wrench(PLATES).talk("answer: Yes, both of them, in March")
    assert answers(talk) == [("Did you change the clutch plates?", "Yes, both of them, in March")]
    assert talk.to("wrench") == (
        "[Goat] You asked: Did you change the clutch plates? The rider answers: Yes, both of them, in March"
    )
    assert talk.asked == ("trait", "starter")
    assert talk.state.unanswered == ()


def test_with_nothing_else_open_he_just_writes_and_whatever_it_says_is_the_answer() -> None:
    talk = idle().wrench(PLATES)
    assert talk.asked == ("query", str(talk.state.queries[0].seq))
    talk.say("no, and it is back to how it was")
    assert answers(talk)[0][1] == "no, and it is back to how it was"
    assert talk.asked == ("none", "")
    assert talk.state.reopened == ()


def test_not_sure_is_an_answer_and_a_shrug_is_none() -> None:
    talk = idle().wrench(PLATES).talk("...")
    assert talk.asked[0] == "query"
    assert answers(talk) == []
    talk.say("not sure")
    assert [words for _, words in answers(talk)] == ["not sure"]


def test_a_photo_is_an_answer() -> None:
    talk = idle().wrench("ask rider: show me the plug")
    talk.say("", file="ab" * 32, file_kind="photo")
    [answer] = [e.event for e in talk.state.entries if isinstance(e.event, RiderAnswered)]
    assert (answer.words, answer.file) == ("", "ab" * 32)
    assert "with a photo" in talk.to("wrench")
    assert talk.state.notes[-1][3].file == "ab" * 32  # kept as any photo is


def test_a_photo_with_the_word_under_it_answers_beside_an_open_question() -> None:
    talk = busy().wrench("ask rider: show me the plug")
    talk.say("answer: here", file="ab" * 32, file_kind="photo")
    [answer] = [e.event for e in talk.state.entries if isinstance(e.event, RiderAnswered)]
    assert (answer.words, answer.file) == ("here", "ab" * 32)
    assert talk.asked == ("trait", "starter")


def photos_to(talk: Chat, seat: str) -> list[tuple[str, str]]:
    return [(m.photo, m.text) for m in talk.messages if m.to == seat and m.photo]


def test_a_photo_that_answers_goes_to_who_asked_and_to_nobody_else() -> None:
    talk = idle().hold("Ann").wrench("ask rider: show me the plug")
    talk.say("here", file="ab" * 32, file_kind="photo")
    assert photos_to(talk, "wrench") == [("ab" * 32, "[Goat] Photo to your question: show me the plug")]
    assert photos_to(talk, "Ann") == photos_to(talk, "") == []


def test_each_photo_of_several_goes_to_him() -> None:
    talk = busy().wrench("ask rider: show me the plug")
    talk.say("answer:", file="telegram-1 telegram-2", file_kind="photo")
    assert [photo for photo, _ in photos_to(talk, "wrench")] == ["telegram-1", "telegram-2"]
    assert "(with 2 photos, kept with the case)" in talk.to("wrench")


def test_what_is_no_photo_is_named_and_not_sent_on() -> None:
    talk = idle().wrench("ask rider: how does it sound?")
    talk.say("", file="ab" * 32, file_kind="voice")
    assert photos_to(talk, "wrench") == []
    assert "(with a file, kept with the case)" in talk.to("wrench")


def test_a_photo_that_is_no_answer_goes_to_nobody() -> None:
    talk = busy().wrench(PLATES)
    talk.say("", file="ab" * 32, file_kind="photo")
    assert [m.photo for m in talk.messages if m.photo] == []
    assert talk.state.unanswered


def test_a_photo_for_who_gave_the_case_back_goes_to_whoever_holds_it_now() -> None:
    talk = idle().hold("Ann").wrench("ask rider: show me the plug")
    ends_his_hold(talk)
    talk.say("", file="ab" * 32, file_kind="photo")
    assert photos_to(talk, "wrench") == []
    assert len(photos_to(talk, "Ann")) == 1


def test_of_several_the_oldest_comes_first_and_that_is_said() -> None:
    talk = busy().wrench("ask rider: which oil?", "ask rider: how old is it?")
    assert "the oldest of his questions comes first" in talk.to("rider")
    talk.say("answer: 10W40")
    assert "The mechanic also asks: how old is it?" in talk.said
    talk.say("answer: a month")
    assert answers(talk) == [("which oil?", "10W40"), ("how old is it?", "a month")]


def test_the_next_one_is_put_as_soon_as_he_has_nothing_else_open() -> None:
    talk = idle().wrench("ask rider: which oil?", "ask rider: how old is it?")
    assert "First his question before, then this one." in talk.to("rider")
    talk.say("10W40")
    assert talk.said.endswith("The mechanic asks: how old is it?")
    talk.say("a month")
    assert answers(talk) == [("which oil?", "10W40"), ("how old is it?", "a month")]


def test_once_his_own_question_is_answered_he_is_asked_the_mechanics() -> None:
    talk = busy().wrench(PLATES).talk("by foot")
    assert talk.asked[0] == "query"
    talk.say("yes")
    assert talk.asked == ("question", "magnet")


def test_the_same_words_twice_ask_once_and_answering_twice_answers_once() -> None:
    talk = busy().wrench(PLATES, PLATES)
    assert len(talk.state.queries) == 1
    assert "You asked that." in talk.said
    assert talk.to("rider") == ""
    talk.talk("answer: yes", "answer: yes")
    assert len(answers(talk)) == 1
    assert talk.state.traits == {}


def test_the_word_without_a_query_answers_what_is_asked_or_is_kept() -> None:
    talk = busy().talk("answer: by foot")
    assert talk.state.traits == {"starter": "kick"}
    talk = busy().talk("hand over", "answer: it was oily")
    assert talk.state.notes[-1][3] == Noted(words="answer: it was oily")


def test_without_words_both_are_told_how() -> None:
    talk = busy().wrench("ask rider")
    assert "like: ask rider: did you change the clutch plates?" in talk.said
    assert talk.state.queries == ()
    talk.wrench("ask rider: which oil?").talk("answer:")
    assert answers(talk) == []


class Far(Chat):
    """A rider whom no message reaches now."""

    def desk(self) -> Desk:
        return replace(super().desk(), away=frozenset({"rider"}))


def test_that_the_rider_cannot_be_reached_is_said_and_the_question_is_kept() -> None:
    talk = Far(FLOW).talk("it rattles", "no knock", "Goat").hold().wrench(PLATES)
    assert "I cannot reach the rider now" in talk.said
    talk.say("by foot")  # when he writes next it comes to him
    assert "The mechanic asks: Did you change" in talk.said


def test_two_mechanics_get_each_his_own_answer() -> None:
    talk = busy().hold("spanner").wrench("ask rider: which oil?")
    talk.say("ask rider: how old is it?", who="spanner", role="mechanic")
    talk.say("answer: 10W40")
    assert talk.to("wrench")
    assert talk.to("spanner") == ""
    talk.say("answer: a month")
    assert talk.to("spanner")


def test_an_answer_for_one_who_holds_the_case_no_more_is_kept_and_said_to_be() -> None:
    talk = busy().wrench(PLATES)
    ends_his_hold(talk)
    talk.say("answer: yes")
    assert answers(talk)
    assert talk.to("wrench") == ""
    assert "No mechanic holds this case any more" in talk.said


def test_a_query_may_be_answered_after_the_case_was_closed() -> None:
    talk = idle().wrench(PLATES, "close", "not found")
    assert talk.state.ended is not None
    talk.say("yes, last winter")
    assert answers(talk)
    assert talk.state.ended.how == "closed"


def test_holding_it_is_an_entry_of_his_own() -> None:
    [held] = [e for e in busy().state.entries if isinstance(e.event, CaseHeld)]
    assert (held.who, held.role) == ("wrench", "mechanic")
