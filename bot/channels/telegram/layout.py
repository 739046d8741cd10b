"""How a message looks on a phone: texts in HTML, buttons with the numbers that can be typed.

Pure. Words carry every meaning, never colour or a picture alone (WCAG 2.2, SC 1.4.1); one or two
buttons a row give gloves the widest target.
"""

from __future__ import annotations

import html
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from bot.channels.plain import headed, plain
from bot.core.messages import Choice, Message

LONGEST = 4_000  # UTF-16 units of one message; the platform refuses more than 4096
WIDE = 16  # characters of a label that still fits half a phone's width, its number included
WIDEST = 34  # characters of a label on a button; longer ones stand in the text
VERSION = "1"
DONE = "done"

Button = tuple[str, str]  # label, and what it sends back
Rows = tuple[tuple[Button, ...], ...]


@dataclass(frozen=True)
class Sheet:
    """What is sent: one text a message, the buttons under the last of them."""

    texts: tuple[str, ...]
    rows: Rows = ()


def units(text: str) -> int:
    """Length as the platform counts it, in UTF-16 units."""
    return len(text.encode("utf-16-le")) // 2


def lay_out(message: Message, outbox: int, ticked: Sequence[int] = (), done: str = "Done") -> Sheet:
    """A message as it is sent. `outbox`: its number, which the buttons send back."""
    texts = tuple(html.escape(piece, quote=False) for piece in cut(whole(message)))
    return Sheet(texts, buttons(message, outbox, ticked, done))


def recorded(text: str, told: str) -> str:
    """An answered question as a record of its answer; `text` as it was laid out."""
    shown = html.escape(cut(plain(told).strip(), 80)[0], quote=False) if told.strip() else ""
    return f"{text}\n\n<b>&gt; {shown}</b>" if shown else text


def whole(message: Message) -> str:
    """All that a message says, before it is cut."""
    text = headed(message)
    listed = answers_of(message)
    if any(len(plain(c.label)) > WIDEST for c in listed):
        text += "\n\n" + "\n".join(f"{c.n}  {_one_line(c.label)}" for c in listed)
    return text.strip("\n") or "-"


def _one_line(label: str) -> str:
    return " ".join(plain(label).split())


def cut(text: str, longest: int = LONGEST) -> tuple[str, ...]:
    """A text in pieces of at most `longest` UTF-16 units, cut at a line, a space, or where it must be."""
    pieces = []
    while units(text) > longest:
        room = _fitting(text, longest)
        at = max(room.rfind("\n"), 0) or max(room.rfind(" "), 0) or len(room)
        pieces.append(text[:at].rstrip())
        text = text[at:].lstrip()
    return tuple(piece for piece in (*pieces, text) if piece.strip()) or ("-",)


def _fitting(text: str, longest: int) -> str:
    """The longest beginning of a text that has room; no character is cut in two."""
    room = text.encode("utf-16-le")[: 2 * longest]
    return room.decode("utf-16-le", "ignore")


# --- buttons --------------------------------------------------------------------------------


def buttons(message: Message, outbox: int, ticked: Sequence[int] = (), done: str = "Done") -> Rows:
    """Answers first, one or two a row, then the fixed words; a question of many marks ends with `done`."""
    places = list(enumerate(message.choices))
    answers = [(place, c) for place, c in places if not c.control]
    fixed = [(place, c) for place, c in places if c.control]
    boxed = marks(message)  # "none of these" answers at once, so it has no box
    made = [(_label(c, c in boxed, ticked), send(outbox, str(place))) for place, c in answers]
    if message.many:
        made = [*made, (_one_line(done), send(outbox, DONE))]
    words = [(_one_line(c.label)[:WIDEST], send(outbox, str(place))) for place, c in fixed]
    return (*_in_rows(made), *_in_rows(words))


def marks(message: Message) -> tuple[Choice, ...]:
    """The choices that can be taken together: none, but of a question of many all save 'none of these'."""
    return answers_of(message)[:-1] if message.many else ()


def answers_of(message: Message) -> tuple[Choice, ...]:
    """The choices that answer, without the fixed words. Of a question of many the last is 'none of these'."""
    return tuple(c for c in message.choices if not c.control)


def _label(choice: Choice, many: bool, ticked: Sequence[int]) -> str:
    full, short = _one_line(choice.label), _one_line(choice.short)
    label = full if len(full) <= WIDEST else short if 0 < len(short) <= WIDEST else full[: WIDEST - 1] + "…"
    mark = ("[x] " if choice.n in ticked else "[ ] ") if many else ""
    return f"{mark}{choice.n} {label}"


def _in_rows(made: Sequence[Button]) -> Iterator[tuple[Button, ...]]:
    """Two short ones side by side, a long one alone; the order stays."""
    row: list[Button] = []
    for button in made:
        if len(button[0]) > WIDE:
            yield from ([tuple(row)] if row else [])
            yield (button,)
            row = []
            continue
        row.append(button)
        if len(row) == 2:
            yield tuple(row)
            row = []
    if row:
        yield tuple(row)


def send(outbox: int, what: str) -> str:
    """What a button sends back: a version, the message it is under, and which of its choices."""
    return f"{VERSION}.{outbox}.{what}"


def sent_back(data: str) -> tuple[int, str] | None:
    """The message and the choice of a press; None for anything that no button of ours sends."""
    version, _, rest = data.partition(".")
    outbox, _, what = rest.partition(".")
    if version != VERSION or not outbox.isascii() or not outbox.isdigit() or len(outbox) > 15:
        return None
    return int(outbox), what
