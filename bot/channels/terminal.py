"""Talk in a terminal or through a pipe: for people, readable at 80 columns and without colour."""

from __future__ import annotations

import os
import re
import shutil
import textwrap
from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path
from typing import TextIO

from bot import turn
from bot.channels.plain import headed, named, plain
from bot.channels.seat import Said, Seat, Unusable, unbroken
from bot.core.messages import Choice, Message

WIDEST = 80
PROMPT = "> "
KEPT = 500  # lines of typing that are remembered
KEPT_ALL = "Nothing is lost."
GO_ON = "Go on at any time with: sumpline chat"
STOPS = "(Ctrl-D or Ctrl-C stops; nothing is lost.)"

_LEAD = re.compile(r"^\s*(?:\d+[.)]\s+|-\s+)?")


# --- how a message looks --------------------------------------------------------------------


def lay_out(message: Message, width: int = WIDEST) -> str:
    """A message as lines of at most `width` columns: text, numbered answers, control words in one line."""
    answers = [c for c in message.choices if not c.control]
    controls = [c for c in message.choices if c.control]
    lines = [*_text(message, width), *(x for c in answers for x in _answer(c, width))]
    return "\n".join([*lines, *_controls(controls, width)])


def _text(message: Message, width: int) -> Iterator[str]:
    for line in headed(named(message)).split("\n"):
        yield from _wrap(line, width, " " * len(_lead(line)))


def _lead(line: str) -> str:
    found = _LEAD.match(line)
    return found[0] if found else ""


def _wrap(line: str, width: int, hanging: str) -> list[str]:
    return textwrap.wrap(line, width, subsequent_indent=hanging, break_on_hyphens=False) or [""]


def _answer(choice: Choice, width: int) -> list[str]:
    number = f"{choice.n:>3}  "
    return _wrap(number + plain(choice.label).replace("\n", " "), width, " " * len(number))


def _controls(controls: list[Choice], width: int) -> list[str]:
    if not controls:
        return []
    words = " | ".join(plain(c.label) for c in controls)
    return _wrap(f"     ({words})", width, "      ")


# --- the talk -------------------------------------------------------------------------------


def talk(
    seat: Seat,
    source: TextIO,
    out: TextIO,
    history: Path | None = None,
    first: Said | None = None,
    end: str = "",
) -> int:
    """Talk until the input ends; the status for the shell. Ctrl-C and the end of input lose nothing.

    `first`: what is shown at the beginning in place of a greeting, when something was said already.
    `end`: what is shown at the end in place of how to go on, when one cannot.
    """
    at_terminal = source.isatty() and out.isatty()
    typed = _typed(history) if at_terminal else _piped(source, out)
    width = page_width() if at_terminal else WIDEST
    try:
        if first is None:
            begin(seat, out, width)
        else:
            _show(seat, first, out, width)
        for text in typed:
            answer(seat, text, out, width)
        _put_off(seat, out, width, end)
    except KeyboardInterrupt:
        _print(out, f"\n{end or f'{KEPT_ALL} {GO_ON}'}")
        return 130
    return 0


def begin(seat: Seat, out: TextIO, width: int = WIDEST) -> None:
    """What could not be said last time, what is due, then the open question again, or a greeting."""
    with unbroken():
        _show(seat, seat.left(), out, width)
        _show(seat, seat.reminded(), out, width)
        again = [outgoing.message for outgoing in seat.again()]
    for message in again or [Message(f"{seat.own_words('hello')}\n{STOPS}")]:
        _print(out, lay_out(message, width) + "\n")


def answer(seat: Seat, text: str, out: TextIO, width: int = WIDEST) -> None:
    """One line of typing, and what is shown for it."""
    with unbroken():
        try:
            _show(seat, seat.left(), out, width)  # what others at the case led to meanwhile
            _show(seat, _hear(seat, text), out, width)
        except Unusable as wrong:
            _print(out, "\n".join(_wrap(f"Not done: {plain(str(wrong))}.", width, "")) + "\n")


def _hear(seat: Seat, text: str) -> Said:
    """One line of typing: `photo FILE` hands in a picture, all else is said as it is."""
    word, _, name = text.strip().partition(" ")
    if word.lower() == "photo" and (path := _path(name)) is not None:
        return seat.show_photo(path)
    return seat.say(text)


def _path(name: str) -> Path | None:
    """The file that is meant, or None when these are plain words ("photo of the plug")."""
    try:
        path = Path(name.strip().strip("'\"")).expanduser()
        return path if path.suffix or path.is_file() else None
    except (OSError, ValueError, RuntimeError):
        return None


def _put_off(seat: Seat, out: TextIO, width: int, end: str) -> None:
    """The end of input means 'later'. That moves no case, so it is only said."""
    kept = f"{seat.own_words('later')}\n{GO_ON}" if seat.is_asked() else GO_ON
    _print(out, lay_out(Message(end or kept), width))


def _show(seat: Seat, said: Said, out: TextIO, width: int) -> None:
    """Print each message and note that it is out, one after the other."""
    for outgoing in said:
        _print(out, lay_out(outgoing.message, width) + "\n")
        seat.sent(outgoing)


def _print(out: TextIO, text: str) -> None:
    out.write(text + "\n")
    out.flush()


def page_width() -> int:
    """Columns of the terminal, at most 80: longer lines are hard to read."""
    columns = shutil.get_terminal_size((WIDEST, 24)).columns
    return max(20, min(WIDEST, columns))


# --- where the lines come from --------------------------------------------------------------


def _piped(source: TextIO, out: TextIO) -> Iterator[str]:
    """Lines of a pipe, each shown as if typed, so that the output reads as a talk."""
    for line in source:
        text = line.rstrip("\r\n")
        _print(out, PROMPT + plain(text) + "\n")
        yield text


def _typed(history: Path | None) -> Iterator[str]:
    """Lines typed at a terminal, with those of earlier talks at the arrow keys."""
    remember = _history(history) if history else None
    while True:
        try:
            text = input(PROMPT)
        except EOFError:
            print()
            return
        print()
        if remember:
            remember(text)
        yield text


def _history(path: Path) -> Callable[[str], None] | None:
    """Earlier typing at the arrow keys, kept in a file for the owner's eyes only.

    None where the machine has no line editing or the file cannot be had: the talk goes on without.
    """
    try:
        import readline
    except ImportError:
        return None
    try:
        os.close(os.open(path, os.O_RDWR | os.O_CREAT, 0o600))
        readline.read_history_file(path)
    except OSError:
        return None
    readline.set_auto_history(False)
    readline.set_history_length(KEPT)

    def remember(text: str) -> None:
        if text.strip() and not turn.code_in(text):
            readline.add_history(text)
            with suppress(OSError):
                readline.write_history_file(path)

    return remember
