"""How messages become text messages: short words, a tag and numbered answers, as few segments as may be.

Pure. What is said in one turn goes out as one text where it fits, stop first: a network keeps no order
between texts, but it keeps that of the words in one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from bot.channels.plain import headed, named
from bot.core.messages import Message, in_short
from bot.core.segments import JOINED, plain, segments

ONCE = 3  # segments of one text at most; what is longer is cut, and the rest waits behind "more"
FREE = -1
MORE = " (more)"
ROOM = ONCE * JOINED["gsm"]  # no text of so many segments has more letters
LOOK = 3  # segments that a look may take with how it is done
HOW, DONE_SO = " (how: more)", "How: "


@dataclass(frozen=True)
class Said:
    """A message as it goes out.

    `asked`: the entry that asks with it, FREE for a question in free words, which has no tag, 0 for none.
    """

    row: int
    text: str
    asked: int = 0
    stop: bool = False


@dataclass(frozen=True)
class Texts:
    """One text and what it carries. `rest` is what did not fit and waits behind "more"."""

    body: str
    rows: tuple[int, ...] = ()
    asked: int = 0
    stop: bool = False
    rest: str = ""


def said(row: int, message: Message, asked: int = 0) -> Said:
    """One message in its short words, with its tag when it asks something."""
    tag = f"Q{asked} " if asked and _asks(message) else ""
    short = named(replace(message, text=in_short(message)))
    text = " ".join(headed(short).split())
    free = FREE if message.kind == "question" else 0
    return Said(row, _with_how(tag + text, message) or "-", asked if tag else free, message.kind == "stop")


def _with_how(text: str, message: Message) -> str:
    """A look with how it is done, where that is short; else where to find it, where that costs nothing."""
    if not message.how:
        return text
    told = f"{text} {DONE_SO}{message.how}"
    if message.kind == "question" and segments(plain(told)) <= LOOK:
        return told
    return text + HOW if segments(plain(text + HOW)) == segments(plain(text)) else text


def _asks(message: Message) -> bool:
    return any(not c.control for c in message.choices) or message.kind == "question"


def bundle(parts: Sequence[Said], stands: Sequence[str] = (), *, ucs2: bool = False) -> tuple[Texts, ...]:
    """What is said in one turn, in as few texts as cost no more. A long one is cut, and ends the row.

    `stands`: the lines that say that a stop stands; behind the stop itself they say nothing new.
    """
    done: list[Texts] = []
    for part in parts:
        text = without(part.text, stands) if done and done[-1].stop else part.text
        alone = Texts(written(text, ucs2), (part.row,), part.asked, part.stop)
        joined = _joined(done[-1], alone) if done and not done[-1].rest else None
        if joined is None:
            done.append(_cut(alone))
        else:
            done[-1] = joined
    return tuple(done)


def _joined(first: Texts, second: Texts) -> Texts | None:
    """Both in one text, where that costs no more and leaves each whole; one question a text."""
    body = f"{first.body}\n{second.body}"
    cost = segments(body)
    if cost > min(ONCE, segments(first.body) + segments(second.body)) or (first.asked and second.asked):
        return None
    return Texts(body, (*first.rows, *second.rows), first.asked or second.asked, first.stop or second.stop)


def _cut(text: Texts) -> Texts:
    """At most three segments; what is cut off, be it answers, comes with "more"."""
    body, rest = page(text.body)
    return replace(text, body=body, rest=rest)


def without(text: str, lines: Sequence[str]) -> str:
    """A text without these lines; as it is where nothing else is in it."""
    left = text
    for line in lines:
        left = left.replace(f"{line} ", "", 1)
    return left


def page(body: str) -> tuple[str, str]:
    """The first three segments of a text, and the rest of it."""
    if segments(body) <= ONCE:
        return body, ""
    at = min(len(body), ROOM)
    while segments(body[:at].rstrip() + MORE) > ONCE:
        at = max(body.rfind(" ", 0, at), body.rfind("\n", 0, at))
        if at <= 0:
            at = _hard(body)
            break
    return body[:at].rstrip() + MORE, body[at:].strip()


def _hard(body: str) -> int:
    """Where a text without a space is cut."""
    at = min(len(body), ROOM)
    while segments(body[:at] + MORE) > ONCE:
        at -= 1
    return at


def written(text: str, ucs2: bool = False) -> str:
    """The text in letters that go out as they are: those of the 7-bit alphabet, or any."""
    return text if ucs2 else plain(text)
