"""Everything a person can do in a messenger but answer: each is answered, and the open question stays."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from tests.channels.telegram_person import Person, Seen
from tests.channels.telegram_running import Running, say, to_the_paper
from tests.channels.telegram_server import TelegramServer
from tests.record.test_photos import jpeg

pytest_plugins = ["tests.channels.telegram_fixtures", "tests.channels.telegram_bot"]

JPEG = jpeg((64, 48))


def standing(bot: Running) -> tuple[Any, ...]:
    """What is asked in the only case, and all that was answered."""
    with bot.record() as store:
        [case] = store.all_cases()
        state = store.state(case.id)
        asked = [(who, a.what, a.id) for who, a in state.asked.items()]
        return asked, [(t.event.ask, t.event.value) for t in state.answers], state.ended


def album(person: Person) -> None:
    for n in range(3):
        person.send_photo(JPEG + bytes([n]), "the plug" if n == 0 else "", album="a")


def old_press(person: Person) -> None:
    """A button of the first question, as a phone that was away still shows it."""
    first = next(seen for seen in person.bot_says() if "knock" in seen.text)
    person.press(first, data="1.1.0")


def double_tap(person: Person) -> None:
    first = next(seen for seen in person.bot_says() if "knock" in seen.text)
    for _ in range(2):
        person.press(first, data="1.1.1")


STOPS: dict[str, Callable[[Person], Any]] = {
    "a photo": lambda p: p.send_photo(JPEG),
    "a photo with words": lambda p: p.send_photo(JPEG, "what is this?"),
    "an album": album,
    "a document": lambda p: p.send_document(b"%PDF-1.4 rubbish", "manual.pdf", "application/pdf"),
    "a voice message": lambda p: p.send_voice(),
    "a video": lambda p: p.send_video(),
    "a sticker": lambda p: p.send_sticker(),
    "a contact": lambda p: p.send_contact(),
    "a place": lambda p: p.send_location(),
    "a poll": lambda p: p.send_poll("Which?", ["This", "That"]),
    "an unknown command": lambda p: p.say("/frobnicate now"),
    "babble": lambda p: p.say("\N{WRENCH} <b>&amp;"),
}


@pytest.mark.parametrize("what", STOPS)
def test_it_is_answered_and_moves_nothing(
    telegram: TelegramServer, bot: Running, robin: Person, what: str
) -> None:
    question = to_the_paper(robin)
    before = standing(bot)
    STOPS[what](robin)
    answer = robin.answer(within=20, quiet=0.4)
    assert "".join(seen.text for seen in answer if not seen.edited).strip()
    assert standing(bot) == before
    found = say(robin, "None of these")
    assert found
    assert standing(bot) != before
    assert question is not None


@pytest.mark.parametrize("press", [old_press, double_tap])
def test_a_press_that_comes_too_late_moves_nothing_and_ends_its_spinner(
    telegram: TelegramServer, bot: Running, robin: Person, press: Callable[[Person], Any]
) -> None:
    to_the_paper(robin)
    before = standing(bot)
    press(robin)
    telegram.wait_for(lambda: not _spinning(telegram), told="no press is waiting")
    telegram.idle(0.5)
    assert standing(bot) == before


PRESSES = ("", "x", "1.999.0", "1.1.77", "2.1.0", "1.1.done", "1.-1.0", "\N{WRENCH}" * 16)


@pytest.mark.parametrize("data", PRESSES)
def test_a_press_that_no_button_of_ours_sends_moves_nothing_and_ends_its_spinner(
    telegram: TelegramServer, bot: Running, robin: Person, data: str
) -> None:
    question: Seen = to_the_paper(robin)
    before = standing(bot)
    robin.press(question, data=data)
    telegram.wait_for(lambda: not _spinning(telegram), told="no press is waiting")
    telegram.idle(0.5)
    assert standing(bot) == before


def test_an_edit_of_an_answer_moves_nothing_and_is_answered(
    telegram: TelegramServer, bot: Running, robin: Person
) -> None:
    to_the_paper(robin)
    post = robin.say("what is a magnet test?")
    robin.answer()
    before = standing(bot)
    robin.edit(post, "None of these")
    assert "".join(seen.text for seen in robin.answer())
    assert standing(bot) == before


def _spinning(telegram: TelegramServer) -> bool:
    return any(press.spinning for press in telegram.world.presses.values())
