"""Talk with programs: one JSON object a line in, exactly one a line out."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any, TextIO

from bot.channels.plain import named
from bot.channels.seat import Said, Seat, Unusable, clock, unbroken
from bot.core.messages import Message

KEYS = ("text", "photo", "choice", "as", "now")
NEED = 'say {"text": ...}, {"photo": FILE} or {"choice": n}'

SeatOf = Callable[[str], Seat]  # the seat of a name; "" is whoever speaks when no name is given


class Table:
    """Everyone who speaks in this talk. One comes to another's case by a code alone."""

    def __init__(self, seat_of: SeatOf) -> None:
        self._seat_of = seat_of

    def seat(self, asked: Mapping[str, Any]) -> Seat:
        """The seat that a line speaks from, with the line's own time. Raises Unusable."""
        seat = self._seat_of(asked.get("as", ""))
        return replace(seat, clock=clock(asked["now"])) if "now" in asked else seat


def serve(table: Table, source: Iterable[str], out: TextIO) -> int:
    """Answer each line until the input ends; the status for the shell."""
    for line in source:
        with unbroken():
            _reply(table, line, out)
    return 0


def _reply(table: Table, line: str, out: TextIO) -> None:
    """One line out for one line in; a line that cannot be used changes nothing."""
    try:
        asked = read(line)
        seat = table.seat(asked)
        said = (*seat.left(), *_take(seat, asked))
    except Unusable as wrong:
        _write(out, {"error": str(wrong)})
        return
    _write(out, {"messages": [_shown(outgoing.message) for outgoing in said], **seat.overview()})
    for outgoing in said:
        seat.sent(outgoing)


def _write(out: TextIO, reply: Mapping[str, Any]) -> None:
    out.write(json.dumps(reply, ensure_ascii=False) + "\n")
    out.flush()


def read(line: str) -> dict[str, Any]:
    """A line as a checked object. Raises Unusable with one sentence."""
    try:
        asked = json.loads(line)
    except (ValueError, RecursionError) as err:
        raise Unusable(f"this line is not JSON; {NEED}") from err
    if not isinstance(asked, dict):
        raise Unusable(f"a line must be one JSON object; {NEED}")
    if unknown := sorted(set(asked) - set(KEYS)):
        raise Unusable(f"'{unknown[0]}' is not a key known here; the keys are {', '.join(KEYS)}")
    _check(asked)
    return asked


def _check(asked: Mapping[str, Any]) -> None:
    for key in ("text", "photo", "as", "now"):
        if key in asked and not isinstance(asked[key], str):
            raise Unusable(f"'{key}' must be text")
    if "choice" in asked and (not isinstance(asked["choice"], int) or isinstance(asked["choice"], bool)):
        raise Unusable("'choice' must be a whole number, the n of a choice")
    if "choice" in asked and ("text" in asked or "photo" in asked):
        raise Unusable("'choice' stands alone; send text or a photo on a line of its own")
    if not {"text", "photo", "choice"} & set(asked):
        raise Unusable(f"nothing is said in this line; {NEED}")


def _take(seat: Seat, asked: Mapping[str, Any]) -> Said:
    if "choice" in asked:
        return seat.choose(asked["choice"])
    if "photo" in asked:
        return seat.show_photo(Path(asked["photo"]), asked.get("text", ""))
    return seat.say(asked["text"])


def _shown(message: Message) -> dict[str, Any]:
    choices = [{"n": c.n, "label": c.label, "control": c.control} for c in message.choices]
    return {
        "text": named(message).text,
        "short": message.short,
        "choices": choices,
        "signal": message.signal,
        "kind": message.kind,
    }
