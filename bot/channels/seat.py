"""A person's place at the terminal: what he says goes in, what is for him comes out."""

from __future__ import annotations

import signal
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from types import FrameType
from typing import Any, Literal
from uuid import uuid4

from bot import turn
from bot.channels.plain import storable
from bot.core.events import Heard
from bot.core.messages import Choice

CHANNEL = "terminal"
CHAT = "here"
LONGEST = 20_000  # characters of one message; a person's own words are far shorter
LARGEST = 20_000_000  # bytes of a picture

NO_CASE: dict[str, Any] = {
    "asked": {"kind": "none", "id": ""},
    "suspects": [],
    "stop": {"rules": [], "bars": []},
    "minutes": {"spent": 0, "expected": 0},
    "fixed": 0,
}

Role = Literal["rider", "mechanic", "admin"]
Said = tuple[turn.Outgoing, ...]


class Unusable(Exception):
    """Something said cannot be used; the text is one sentence that says why."""


def moment(text: str) -> datetime:
    """A time with its zone. Raises Unusable for anything else."""
    try:
        at = datetime.fromisoformat(text)
    except ValueError as err:
        raise Unusable(f"'{text}' is not a time; write it like 2026-05-01T09:00:00Z") from err
    if at.utcoffset() is None:
        raise Unusable(f"'{text}' has no zone; write it like 2026-05-01T09:00:00Z")
    try:
        return at.astimezone(UTC)
    except OverflowError as err:
        raise Unusable(f"'{text}' is too far away; write it like 2026-05-01T09:00:00Z") from err


def clock(now: str | None) -> Callable[[], datetime]:
    """The clock of this machine, or one that stands at a given time. Raises Unusable."""
    if now is None:
        return lambda: datetime.now(UTC)
    at = moment(now)
    return lambda: at


@dataclass
class Seat:
    """Who speaks, in which role, by which clock. `flow`: the only flow on offer, "" for all."""

    store: turn.Store
    who: str
    role: Role = "rider"
    flow: str = ""
    clock: Callable[[], datetime] = field(default_factory=lambda: clock(None))
    offered: list[Choice] = field(default_factory=list)  # by the last message that had choices
    offered_in: list[int | None] = field(default_factory=list)  # in which case

    # --- what goes in ----------------------------------------------------------------------

    def say(self, text: str, *, press: str = "", file: str = "", file_kind: str = "") -> Said:
        """Hand in one message, do its turn, and return what is to be shown for it."""
        typed = storable(text[:LONGEST])
        heard = Heard(text=typed, press=press, file=file, file_kind=file_kind, who=self.who, role=self.role)
        now = self.clock()
        inbox = turn.accept(self.store, CHANNEL, CHAT, self.who, uuid4().hex, heard, now, flow=self.flow)
        assert inbox is not None  # the id of the message was made just now
        said = turn.take(self.store, inbox, now)
        return self._offering(tuple(out for out in said if out.person == self.name))  # others' stay due

    def choose(self, n: int) -> Said:
        """Press the choice with this number. Raises Unusable when it is not on offer."""
        standing = self.standing()
        if self.offered_in != [standing.case if standing else None]:  # the talk is about another case now
            self.offered.clear()
        if not self.offered:
            self.again()
        for choice in self.offered:
            if choice.n == n:
                return self.say("", press=f"{self._asked_entry()}:{choice.press}")
        if not self.offered:
            raise Unusable(f"there is no choice {n}: nothing is on offer now")
        raise Unusable(f"there is no choice {n}; the last one is {self.offered[-1].n}")

    def show_photo(self, path: Path, text: str = "") -> Said:
        """Hand in a picture, kept under its digest beside the record. Raises Unusable."""
        data = _bytes(path)
        try:
            digest = turn.keep_file(self.store, CHANNEL, self.who, data, "photo", self.clock())
        except turn.Unreadable as err:
            raise Unusable(f"{path} is no picture that I can read; save it as JPEG or PNG") from err
        return self.say(text, file=digest, file_kind="photo")

    # --- what comes out --------------------------------------------------------------------

    def left(self) -> Said:
        """Take what a killed program left behind; what is still to be shown to this person.

        Not of what he is to be reminded: that would break into a talk.
        """
        now = self.clock()
        turn.finish(self.store, now, channel=CHANNEL)
        return self._offering(tuple(out for out in self._waiting(now) if out.priority != "reminder"))

    def reminded(self) -> Said:
        """What this person is to be reminded of, when he begins to talk."""
        now = self.clock()
        turn.remind(self.store, now)
        return tuple(out for out in self._waiting(now) if out.priority == "reminder")

    def _waiting(self, now: datetime) -> Said:
        return turn.due(self.store, now, channel=CHANNEL, chat=CHAT, person_name=self.name)

    def again(self) -> Said:
        """The open question and any stop, once more; nothing without an open question.

        What was shown last is shown again if it was a question. If it was not (a 'later', say), the
        talk itself is asked to repeat.
        """
        shown = turn.resume(self.store, CHANNEL, CHAT, self.who)
        if not shown or any(outgoing.message.choices for outgoing in shown):
            return self._offering(shown)
        asked = self._asked_entry()
        return self.say("", press=f"{asked}:control:repeat") if asked else ()

    def own_words(self, key: str) -> str:
        """A line of the bot's own wording, in this person's language."""
        known = self.store.known_as(CHANNEL, self.who)
        language = known.settings.get("language", "en") if known else "en"
        return turn.read_words(str(language)).say(key)

    def sent(self, outgoing: turn.Outgoing) -> None:
        """It was shown."""
        turn.sent(self.store, outgoing.id, self.clock())

    def _offering(self, said: Said) -> Said:
        """Remember what may be chosen by its number."""
        for outgoing in said:
            if outgoing.message.choices:
                self.offered[:] = outgoing.message.choices
                self.offered_in[:] = [outgoing.case]
        return said

    # --- where the talk is -----------------------------------------------------------------

    @property
    def name(self) -> str:
        """The name by which the record knows this person."""
        known = self.store.known_as(CHANNEL, self.who)
        return known.name if known else self.who

    def standing(self) -> turn.Standing | None:
        """Where this person is in his case; None before there is one."""
        return turn.stand(self.store, CHANNEL, CHAT, self.who, self.clock())

    def overview(self) -> dict[str, Any]:
        """Where the talk is, for programs: asked, suspects, stop, minutes, case, fixed."""
        standing = self.standing()
        if standing is None:
            return {**NO_CASE, "case": None}
        return {**standing.view.dump(), "case": standing.case}

    def is_asked(self) -> bool:
        """Whether a question is open for this person in a case that is not at rest."""
        return self._asked_entry() > 0

    def _asked_entry(self) -> int:
        """The entry that asked what is open now; 0 when nothing is."""
        standing = self.standing()
        asked = standing.state.asked.get(self.name) if standing else None
        if standing is None or asked is None or standing.state.ended is not None or asked.what == "none":
            return 0
        return asked.seq


def _bytes(path: Path) -> bytes:
    try:
        if not path.is_file():
            raise Unusable(f"there is no file {path}; name a picture that is there")
        if path.stat().st_size > LARGEST:
            raise Unusable(f"{path} is larger than {LARGEST // 1_000_000} MB; send a smaller picture")
        return path.read_bytes()
    except (OSError, ValueError) as err:
        raise Unusable(f"the file {path} cannot be read; name a picture that you may open") from err


@contextmanager
def unbroken() -> Iterator[None]:
    """Let a turn come to its end before Ctrl-C acts; a second Ctrl-C acts at once."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    pressed: list[int] = []
    before: Any = signal.getsignal(signal.SIGINT)

    def hold(number: int, frame: FrameType | None) -> None:
        if pressed:
            raise KeyboardInterrupt
        pressed.append(number)

    signal.signal(signal.SIGINT, hold)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)
    if pressed:
        raise KeyboardInterrupt
