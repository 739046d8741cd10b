"""The bike's book on Telegram: a line, its yes, the trend as words and as a picture."""

from __future__ import annotations

import io

import pytest
from PIL import Image

from tests.channels.telegram_person import Person
from tests.channels.telegram_running import Running, press, say
from tests.channels.telegram_server import TelegramServer

pytest_plugins = ["tests.channels.telegram_fixtures", "tests.channels.telegram_bot"]

LINES = ("oil change at 60 with filter, 2 flakes", "oil change at 65 with filter, 9 flakes")


def write(robin: Person) -> None:
    """Three oil changes of Pepper, each with its yes."""
    say(robin, "oil change at 54 with filter, clean")
    say(robin, "Pepper")
    press(robin, "1 Yes, write it")
    for line in LINES:
        say(robin, line)
        press(robin, "1 Yes, write it")


def test_a_line_is_written_by_a_press_and_the_question_becomes_its_record(
    bot: Running, robin: Person
) -> None:
    write(robin)
    with bot.record() as store:
        assert len(store.book_of("1")) == 3
    asked = [seen for seen in robin.bot_says() if "Oil change at 65 h" in seen.text]
    assert asked[-1].text.endswith("> Yes, write it")
    assert "Rising: 2 pieces in 6 h, then 9 in 5 h" in "\n".join(seen.text for seen in robin.bot_says())


def test_the_trend_comes_in_words_and_then_as_a_picture(
    bot: Running, robin: Person, telegram: TelegramServer
) -> None:
    write(robin)
    assert "Rising" in say(robin, "/trend")[0].text
    [call] = telegram.wait_for(lambda: telegram.calls_of("sendPhoto"), 20, "the picture")
    assert "Rising" in str(call.get("caption"))
    [photo] = call.files.values()
    assert Image.open(io.BytesIO(photo.data)).size == (1080, 1350)
    telegram.idle(0.5)
    with bot.record() as store:
        assert store.jobs_waiting("trend") == []


def test_without_a_trend_no_picture_is_drawn(bot: Running, robin: Person, telegram: TelegramServer) -> None:
    assert "No trend yet" in say(robin, "/trend")[-1].text
    telegram.idle(1.5)
    assert telegram.calls_of("sendPhoto") == []


@pytest.mark.parametrize("command", ["/book", "/trend"])
def test_a_group_is_shown_no_book(
    bot: Running, robin: Person, telegram: TelegramServer, command: str
) -> None:
    group = telegram.group("North Trail Club", robin, telegram.person("Ann"))
    write(robin)
    shown = say(robin, command, chat=group)
    assert "flakes" not in "\n".join(seen.text for seen in shown)


def test_a_word_in_a_group_shows_no_book_either(
    bot: Running, robin: Person, telegram: TelegramServer
) -> None:
    group = telegram.group("North Trail Club", robin, telegram.person("Ann"))
    write(robin)
    asked = say(robin, "/new something rattles", chat=group)[-1]
    for word in ("book", "trend"):
        robin.say(word, group, reply_to=asked)
        shown = robin.answer(chat=group)
        text = "\n".join(seen.text for seen in shown)
        assert "flakes" not in text
        assert "pieces" not in text
        assert "Read it in private" in text


def test_the_commands_take_the_name_of_a_bike(bot: Running, robin: Person, telegram: TelegramServer) -> None:
    write(robin)
    say(robin, "Mule: hours 9")
    press(robin, "1 Yes, write it")
    assert "Book of Pepper" in say(robin, "/book Pepper")[-1].text
    assert "Book of Mule" in say(robin, "/book Mule")[-1].text
    assert "Which bike" in say(robin, "/trend")[-1].text
    assert "Rising" in say(robin, "/trend Pepper")[0].text
    telegram.wait_for(lambda: telegram.calls_of("sendPhoto"), 20, "the picture")
