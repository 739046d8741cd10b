"""A message as plain text that is safe to show: what every channel does before it lays anything out."""

from __future__ import annotations

import re
from dataclasses import replace

from bot.core.messages import Message

DIGEST = 12  # letters by which a photo is called
_HEADED = re.compile(r"^[^\W\d_]{4,}\b")  # a first word in capitals is told by `isupper`
_STEERS = re.compile("[\u202a-\u202e\u2066-\u2069\u200e\u200f\x00-\x09\x0b-\x1f\x7f-\x9f\ud800-\udfff]")


def plain(text: str) -> str:
    """Text that cannot steer what shows it: no control characters, nothing that turns lines around."""
    return _STEERS.sub("", text.replace("\r\n", "\n").replace("\t", " "))


def headed(message: Message) -> str:
    """The text of a message, plain; its signal stands before it as a word, unless it says one itself."""
    text = plain(message.text).strip("\n")
    if message.signal and not any(_is_headed(line) for line in text.split("\n")):
        return f"{message.signal.upper()}: {text}"
    return text


def named(message: Message) -> Message:
    """A message whose photo is named, for where no pictures can be shown, as the sheet on paper names it."""
    if not message.photo:
        return message
    return replace(message, text=f"{message.text} [{message.photo[:DIGEST]}]")


def storable(text: str) -> str:
    """What a person sent, as text that can be written as UTF-8."""
    return text.encode("utf-8", "replace").decode("utf-8").replace("\0", "")


def _is_headed(line: str) -> bool:
    found = _HEADED.match(line)
    return bool(found and found[0].isupper())
