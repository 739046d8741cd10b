"""Answers changed, marks swept and remarks after a yes or no, as riders put it in the talk."""

from __future__ import annotations

import pytest

from bot.core.events import Noted
from tests.core.chat import Chat
from tests.flows.flagship import talk as flagship
from tests.rattle import FLOW

TO_THE_AMOUNT = ("it rattles", "no knock", "Goat", "by foot", "all of them cling", "garage", "4")


def chat() -> Chat:
    talk = Chat(FLOW).talk(*TO_THE_AMOUNT)
    assert talk.asked == ("question", "amount")
    return talk


def told(talk: Chat) -> dict[str, tuple[str, ...]]:
    return {each.event.ask: each.event.value for each in talk.state.answers}


@pytest.mark.parametrize(
    "text",
    [
        "change magnet",
        "I want to change what I said about the magnet",
        "can I change my answer on the magnet?",
        "sorry, I need to correct what I said about the magnets, I looked again",
        "change what I answered about the bits under the magnet",
    ],
)
def test_the_answer_that_is_named_is_taken_back_and_asked_again(text: str) -> None:
    talk = chat().talk(text)
    assert talk.asked == ("question", "magnet")
    assert told(talk) == {"knock": ("no",)}


@pytest.mark.parametrize(
    "text",
    [
        "change magnet to none",
        "change the magnet to none clings",
        "I want to change what I said about the magnet, none clings",
        "let me change my answer about the magnet: none clings",
    ],
)
def test_a_new_answer_in_the_same_words_is_taken_at_once(text: str) -> None:
    talk = chat().talk(text)
    assert told(talk) == {"knock": ("no",), "magnet": ("none",)}
    assert talk.asked != ("question", "magnet")


@pytest.mark.parametrize(
    "text",
    [
        "change the oil to a thicker one next week",
        "change the clutch plates before the next race meeting?",
        "change the bits that I can reach from below first",
    ],
)
def test_a_sentence_about_other_changes_changes_no_answer(text: str) -> None:
    talk = chat().talk(text)
    assert told(talk) == {"knock": ("no",), "magnet": ("all",)}
    assert talk.asked == ("question", "amount")


def test_the_question_that_bears_the_name_comes_before_a_newer_one_that_mentions_it() -> None:
    """At the flagship the question of colours speaks of what the magnet leaves."""
    talk = flagship().talk("metal in the oil, some of it is magnetic and there are brass flakes", "yes")
    asked = [each.event.ask for each in talk.state.answers]
    assert asked.index("magnet") < asked.index("colour")
    talk.say("change magnet")
    assert talk.asked == ("question", "magnet")
    assert told(talk)["colour"] == ("yellow",)


def test_a_bare_all_is_read_back_and_ticks_nothing() -> None:
    talk = flagship().talk("metal in the oil")
    for _ in range(40):
        if talk.asked == ("question", "kinds"):
            break
        if talk.asked[0] == "question":
            talk.say("not sure")
        else:
            talk.reply({})
    talk.say("all")
    assert talk.asked == ("question", "kinds")
    assert "kinds" not in told(talk)
    assert "All 7, really?" in talk.said
    talk.say("1-7")
    assert len(told(talk)["kinds"]) == 7


def test_a_no_with_a_remark_is_a_no_and_the_remark_is_kept() -> None:
    talk = Chat(FLOW).talk(*TO_THE_AMOUNT[:5], "pit", "2", "2")
    assert talk.asked == ("setting", "must_ride")
    talk.say("no, we have a van")
    assert talk.state.settings["must_ride"] is False
    notes = [entry.event for entry in talk.state.entries if isinstance(entry.event, Noted)]
    assert [(note.words, note.about) for note in notes] == [("no, we have a van", "setting:must_ride")]


def test_a_no_that_is_hedged_is_asked_again() -> None:
    talk = Chat(FLOW).talk(*TO_THE_AMOUNT[:5], "pit", "2", "2", "no, unless it rains")
    assert talk.asked == ("setting", "must_ride")
