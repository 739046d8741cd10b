"""People who text from a number and write from an account, and what is asked of their cases."""

from __future__ import annotations

from bot import sharing, turn
from bot.core.messages import Message
from tests.record.small_talk import beside
from tests.workshop import Talker, Workshop

# Numbers of the range that is kept for invented ones (E.164 form; 555-01xx, from memory).
NUMBER, OTHER, THIRD = "+15550101", "+15550102", "+15550103"
WRONG = "That code opens nothing"
FIRST = "By text message alone I cannot know who you are."


def phone(shop: Workshop, number: str = NUMBER) -> Talker:
    return Talker(shop.store, number, shop.clock, channel="sms")


def account(shop: Workshop, name: str = "robin") -> Talker:
    return Talker(shop.store, name, shop.clock, channel="telegram")


def begun(who: Talker, bike: str, complaint: str = "something rattles") -> Talker:
    """In the midst of a case: the magnet is asked next."""
    for text in (complaint, "No knock", bike, "By foot"):
        who.say(text)
    assert who.case is not None
    return who


def code_of(who: Talker, word: str = "link") -> str:
    [secret] = [message for message in who.say(word) if message.kind == "secret"]
    return sharing.shown(sharing.code_said(secret.text))


def join(number: Talker, to: Talker) -> list[Message]:
    return to.say(code_of(number))


def texts(messages: list[Message]) -> str:
    return "\n".join(message.text for message in messages)


def anywhere(store: turn.Store, *words: str) -> set[str]:
    """Names of the files beside the record that hold one of these, in any case."""
    return {
        path.name for path in beside(store.path) for word in words
        if word.lower().encode() in path.read_bytes().lower()
    }  # fmt: skip


def is_asked_the_magnet(messages: list[Message]) -> bool:
    return "Hold a magnet under the bits" in texts(messages)


def group_says(shop: Workshop, who: str, text: str) -> str:
    """Said where others read along."""
    heard = turn.Heard(text=text)
    shop.clock.on(seconds=1)
    told = (shop.store, "telegram", "-100", who, f"g{shop.clock.now.timestamp()}", heard, shop.clock.now)
    inbox = turn.accept(*told, handle=who)
    return "\n".join(out.message.text for out in turn.take(shop.store, inbox or 0, shop.clock.now))
