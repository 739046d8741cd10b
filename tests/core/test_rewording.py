"""A note that its writer words anew: the newest of his own, with its history, and nothing else moves."""

from __future__ import annotations

import pytest

from bot.core.events import Noted
from tests.core.chat import Chat
from tests.rattle import FLOW


@pytest.fixture
def chat() -> Chat:
    return Chat(FLOW).talk("something rattles", "the neighbour lent me his trailer")


def notes(chat: Chat) -> list[str]:
    return [note.words for _, _, _, note in chat.state.notes]


def newest(chat: Chat) -> int:
    return chat.state.notes[-1][0]


def test_the_newest_note_is_replaced_and_the_old_wording_stays_in_the_entries(chat: Chat) -> None:
    asked = chat.asked
    chat.say("the club lent me its trailer", rewords=newest(chat))
    assert notes(chat) == ["the club lent me its trailer"]
    kept = [e.event.words for e in chat.state.entries if isinstance(e.event, Noted)]
    assert kept == ["the neighbour lent me his trailer", "the club lent me its trailer"]
    assert chat.asked == asked
    assert len(chat.messages) == 1
    assert "?" not in chat.said


def test_it_keeps_what_it_was_about(chat: Chat) -> None:
    about = chat.state.notes[-1][3].about
    chat.say("another wording", rewords=newest(chat))
    assert chat.state.notes[-1][3].about == about


def test_it_may_be_worded_anew_again(chat: Chat) -> None:
    chat.say("second", rewords=newest(chat))
    chat.say("third", rewords=newest(chat))
    assert notes(chat) == ["third"]


def test_words_that_name_a_finding_are_no_answer(chat: Chat) -> None:
    before = chat.state.answers
    chat.say("no knock", rewords=newest(chat))
    assert chat.state.answers == before


def test_an_older_note_and_what_is_none_stay_as_they_are(chat: Chat) -> None:
    older = newest(chat)
    chat.say("and the rain came down")
    before = notes(chat)
    for entry in (older, 1, 999):
        chat.say("another wording", rewords=entry)
        assert notes(chat) == before
        assert "change" in chat.said


def test_only_the_writer_words_it_anew(chat: Chat) -> None:
    chat.say("another wording", who="mechanic", role="mechanic", rewords=newest(chat))
    assert notes(chat) == ["the neighbour lent me his trailer"]


def test_what_is_blank_leaves_the_note(chat: Chat) -> None:
    chat.say("  ", rewords=newest(chat))
    assert notes(chat) == ["the neighbour lent me his trailer"]


def test_back_takes_the_answer_back_and_not_the_note(chat: Chat) -> None:
    chat.say("no knock")
    chat.say("and snow", rewords=newest(chat))
    chat.say("back")
    assert notes(chat)[-1] == "and snow"
    assert not chat.state.answers
