"""What the bot says, with no channel in it."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any, Literal

Signal = Literal["danger", "warning", "caution", "notice"]
SIGNALS: tuple[Signal, ...] = ("danger", "warning", "caution", "notice")  # worst first
Kind = Literal["question", "stop", "step", "plan", "result", "record", "info", "error", "secret"]


@dataclass(frozen=True)
class Choice:
    """A numbered answer; `press` is what a button sends back, `control` marks the fixed words."""

    n: int
    label: str
    press: str
    short: str = ""
    control: bool = False


@dataclass(frozen=True)
class Message:
    """One message. `short` is for channels that pay by the character; `more` waits behind 'more'."""

    text: str
    short: str = ""
    choices: tuple[Choice, ...] = ()
    signal: Signal | None = None
    kind: Kind = "info"
    more: str = ""
    to: str = ""  # a seat's person id; empty: who spoke
    many: bool = False  # several of the choices may be taken together
    stays: str = ""  # what stands in its place: of a secret once it is out, of a photo that was not kept
    how: str = ""  # how it is done, in short lines: what `text` says and `short` leaves out
    photo: str = ""  # one that is shown with it: its digest, or its name while it is still on its way

    def dump(self) -> dict[str, Any]:
        """Plain data for JSON, with all keys."""
        return asdict(self)


def in_short(message: Message) -> str:
    """A message where every letter is paid for; one without a short form is its text with its answers."""
    answers = (f"{c.n} {c.short or c.label}" for c in message.choices if not c.control)
    return message.short or "\n".join((message.text, *answers))


def worst(signals: tuple[Signal | None, ...]) -> Signal | None:
    """The gravest of some signals, or None."""
    found = [s for s in SIGNALS if s in signals]
    return found[0] if found else None
