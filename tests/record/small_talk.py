"""A talk of our own, small and pure, so that the record is tested without the real one.

Three questions one after the other. Besides answers it understands `bike NAME`, `hours N`,
`trait NAME VALUE`, `set NAME VALUE`, `take back SEQ`, `tell NAME: WORDS` and `break`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from bot import turn
from bot.core import events
from bot.core.desk import Desk
from bot.core.events import Heard
from bot.core.messages import Message
from bot.core.state import State

QUESTIONS = ("magnet", "flakes", "knock")
NINE = datetime(2026, 5, 1, 9, 0, tzinfo=UTC)


@dataclass(frozen=True)
class Said:
    events: tuple[Any, ...]
    messages: tuple[Message, ...]


def receive(desk: Desk, state: State, heard: Heard, now: datetime) -> Said:
    word, _, rest = heard.text.partition(" ")
    done, said = _COMMANDS.get(word, _answer)(state, heard, rest)
    first = () if state.entries else (events.Opened(complaint=heard.text),)
    return Said((events.WasHeard(heard=heard), *first, *done), said)


def _ask(heard: Heard, question: str) -> tuple[Any, ...]:
    return (events.WasAsked(seat=heard.who, what="question", id=question),)


def _answer(state: State, heard: Heard, rest: str) -> tuple[tuple[Any, ...], tuple[Message, ...]]:
    """The first message opens; each later one answers what is open; `yes` to knock raises a stop."""
    asked = state.asked.get(heard.who)
    if asked is None or asked.what == "none":
        return _ask(heard, QUESTIONS[0]), (Message(f"{QUESTIONS[0]}?", kind="question"),)
    answer = events.Answered(ask=asked.id, value=(heard.text,), form="one", rank=2)
    left = QUESTIONS[QUESTIONS.index(asked.id) + 1 :]
    stop = asked.id == "knock" and heard.text == "yes"
    raised = (events.StopRaised(rule="knock", bars=("running", "riding")),) if stop else ()
    warned = (Message("STOP. Do not start it.", kind="stop"),) if stop else ()
    if left:
        return (answer, *_ask(heard, left[0])), (Message(f"{left[0]}?", kind="question"),)
    ended = events.WasAsked(seat=heard.who, what="none", id="")
    return (answer, *raised, ended), (*warned, Message("That is all.", kind="result"))


def _bike(state: State, heard: Heard, rest: str) -> Any:
    return (events.BikeTaken(bike="", nickname=rest),), (Message(f"Noted: {rest}."),)


def _hours(state: State, heard: Heard, rest: str) -> Any:
    low, _, high = rest.partition("-")
    return (events.HoursRead(low=float(low), high=float(high or low)),), (Message("Noted."),)


def _trait(state: State, heard: Heard, rest: str) -> Any:
    name, _, value = rest.partition(" ")
    return (events.TraitTold(trait=name, answer=value),), (Message("Noted."),)


def _set(state: State, heard: Heard, rest: str) -> Any:
    name, _, value = rest.partition(" ")
    return (events.SettingTold(setting=name, value=value),), (Message("Noted."),)


def _take_back(state: State, heard: Heard, rest: str) -> Any:
    return (events.Withdrawn(entries=(int(rest.split()[-1]),)),), (Message("Taken back."),)


def _tell(state: State, heard: Heard, rest: str) -> Any:
    name, _, words = rest.partition(": ")
    return (events.Noted(words=words),), (Message(f"{heard.who}: {words}", to=name), Message("Told."))


def _end(state: State, heard: Heard, rest: str) -> Any:
    return (events.Ended(how="proved"),), (Message("Good.", kind="result"),)


def _break(state: State, heard: Heard, rest: str) -> Any:
    raise ZeroDivisionError(f"nobody may read this: {heard.text}")


_COMMANDS: dict[str, Callable[[State, Heard, str], Any]] = {
    "bike": _bike,
    "hours": _hours,
    "trait": _trait,
    "set": _set,
    "take": _take_back,
    "tell": _tell,
    "end": _end,
    "break": _break,
}


def begins_new(desk: Desk, state: State, heard: Heard, now: datetime) -> bool:
    return state.ended is not None


@dataclass
class Rider:
    """Someone who talks: numbers his messages, does their turns, and marks what he got as sent."""

    store: turn.Store
    name: str = "ann"
    chat: str = "pit"
    role: events.Role = "rider"
    said: int = 0
    now: datetime = NINE

    def say(self, text: str, **heard: Any) -> list[Message]:
        """One message and its turn; what he is shown for it."""
        mine = [out for out in self.hand_in(text, **heard) if out.person == self.name]
        for out in mine:
            turn.sent(self.store, out.id, self.now)
        return [out.message for out in mine]

    def hand_in(self, text: str, **heard: Any) -> tuple[turn.Outgoing, ...]:
        self.said += 1
        self.now += timedelta(minutes=1)
        told = Heard(text=text, role=self.role, **heard)
        number = f"{self.name}-{self.said}"
        inbox = turn.accept(self.store, "terminal", self.chat, self.name, number, told, self.now)
        assert inbox is not None
        return turn.take(self.store, inbox, self.now, receive, begins_new)

    @property
    def number(self) -> int:
        found = self.store.known_as("terminal", self.name)
        assert found is not None
        return found.id


def admit(store: turn.Store, case: int, person: int, address: turn.Address, now: datetime = NINE) -> None:
    """What a code of the rider brings about in the record, without the talk that goes with it."""
    at, digest = turn.stamp(now), f"digest for {person} of {case}"
    with store.writing():
        store.keep_code(case, store.case(case).person, digest, at)
        found = store.case_of_code(digest, at)
        assert found is not None
        store.use_code(found[0], person, at)
        store.sit_down(case, person, address, at)


def seat_mechanic(store: turn.Store, case: int = 1, name: str = "Max", chat: str = "garage") -> Rider:
    """A mechanic sits down at a case of someone else, as by a code of its rider."""
    with store.writing():
        person = store.meet("terminal", name, name, "mechanic", turn.stamp(NINE))
    admit(store, case, person.id, turn.Address("terminal", chat))
    return Rider(store, name, chat=chat, role="mechanic")


def heard_texts(store: turn.Store, case: int) -> list[str]:
    """What was said in a case, in order."""
    told = (entry.event for entry in store.entries(case))
    return [event.heard.text for event in told if event.kind == "heard"]


def beside(path: Path) -> list[Path]:
    """The database and everything that lies beside it, however deep."""
    return [p for p in path.parent.rglob("*") if p.is_file()]
