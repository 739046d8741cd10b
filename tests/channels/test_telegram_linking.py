"""A number is joined to a Telegram account: the code is typed here, and the case goes on here and there."""

from __future__ import annotations

from dataclasses import dataclass

import pytest

from bot import sharing, turn
from tests.channels.telegram_person import Person, Seen
from tests.channels.telegram_running import Running, press, say, to_the_paper
from tests.channels.telegram_server import TelegramServer

pytest_plugins = ["tests.channels.telegram_fixtures", "tests.channels.telegram_bot"]

NUMBER = "+15550101"  # of the range that is kept for invented ones (from memory)


def texts(seen: list[Seen]) -> str:
    return "\n".join(one.text for one in seen)


@dataclass
class Phone:
    """A rider's phone: what he texts is taken beside the running bot, as its program would."""

    bot: Running
    said: int = 0

    def say(self, text: str) -> str:
        """One text message; everything that is to be texted back."""
        self.said += 1
        with self.bot.record() as store:
            heard, now = turn.Heard(text=text), self.bot.now()
            inbox = turn.accept(store, "sms", NUMBER, "rider", f"s{self.said}", heard, now, handle=NUMBER)
            turn.take(store, inbox or 0, now)
            waits = turn.due(store, now, channel="sms", chat=NUMBER)
            for out in waits:
                turn.sent(store, out.id, now)
            return "\n".join(out.message.text for out in waits)

    def code(self) -> str:
        return sharing.shown(sharing.code_said(self.say("link")))


@pytest.fixture
def phone(bot: Running) -> Phone:
    return Phone(bot)


def begun(phone: Phone) -> Phone:
    for text in ("something rattles", "No knock", "Goat", "By foot"):
        told = phone.say(text)
    assert "What lies on the paper?" in told
    return phone


def test_the_code_joins_and_the_question_comes_with_its_buttons(
    bot: Running, robin: Person, phone: Phone
) -> None:
    code = begun(phone).code()
    shown = say(robin, code)
    assert "Your number that ends in 01 is joined" in texts(shown)
    assert "What lies on the paper?" in texts(shown)
    press(robin, "Dust")
    press(robin, "Done")
    with bot.record() as store:
        [told] = [t for t in store.state(1).answers if t.event.ask == "paper"]
        assert (told.who, told.event.value) == ("rider", ("dust",))
        assert turn.replay(store, 1) is None
        person = store.known_as("telegram", str(robin.id))
        assert person == store.known_as("sms", NUMBER)
    assert "What lies on the paper?" not in phone.say("again")


@pytest.mark.parametrize("way", ["start", "open", "link"])
def test_a_code_may_come_with_a_command_too(bot: Running, robin: Person, phone: Phone, way: str) -> None:
    code = begun(phone).code()
    if way == "start":
        robin.start(code.replace("-", ""))
    else:
        assert "Text me from your phone: link" in texts(say(robin, "/link"))
        robin.say(f"/{way} {code}")
    assert "is joined" in texts(robin.answer())


def test_in_a_group_the_code_joins_nothing_and_is_void(
    bot: Running, robin: Person, telegram: TelegramServer, phone: Phone
) -> None:
    group = telegram.group("North Trail Club", robin)
    asked = say(robin, "/new something rattles", chat=group)[-1]
    code = begun(phone).code()
    robin.say(f"open {code}", group, reply_to=asked)
    assert "That code is void now" in texts(robin.answer(chat=group))
    assert "That code opens nothing" in texts(say(robin, code))


def test_a_case_begun_here_goes_on_by_text_message_and_comes_back(
    bot: Running, robin: Person, phone: Phone
) -> None:
    shown = to_the_paper(robin)
    assert "is joined" in texts(say(robin, phone.code()))
    phone.say("Dust")
    with bot.record() as store:
        [told] = [t for t in store.state(1).answers if t.event.ask == "paper"]
        assert told.event.value == ("dust",)
    robin.press(shown, "Bits that cling")
    robin.answer()
    say(robin, "again")
    with bot.record() as store:
        [told] = [t for t in store.state(1).answers if t.event.ask == "paper"]
        assert told.event.value == ("dust",)
        assert turn.replay(store, 1) is None


def test_commands_are_about_the_case_that_was_begun_by_text_message(
    bot: Running, robin: Person, phone: Phone
) -> None:
    say(robin, "/start")
    say(robin, phone.code())
    begun(phone)
    assert "What lies on the paper?" in texts(say(robin, "/start"))
    phone.say("again")
    told = texts(say(robin, "/new something rattles"))
    assert "Does it knock" in told
    with bot.record() as store:
        assert len(store.all_cases()) == 2


def test_unlink_gives_the_number_back(bot: Running, robin: Person, phone: Phone) -> None:
    say(robin, begun(phone).code())
    assert "Your number that ends in 01 is no longer yours here" in texts(say(robin, "/unlink"))
    told = "\n".join(phone.say(text) for text in ("again", "summary", "Goat"))
    assert "rattles" not in told
    assert "What lies on the paper?" in texts(say(robin, "again"))


def test_erasing_here_erases_what_was_told_by_text_message(bot: Running, robin: Person, phone: Phone) -> None:
    say(robin, begun(phone).code())
    say(robin, "/eraseme")
    press(robin, "1 Yes, erase everything of mine")
    robin.server.idle(0.5)
    with bot.record() as store:
        assert store.all_cases() == ()
        assert store.known_as("sms", NUMBER) is None
        assert store.value("select count(*) from inbox where channel = 'sms'") == 0
