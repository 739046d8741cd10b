"""What tests of shipped flows share: the index as a talk has it, a talk with buttons, plain cases."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import cache
from typing import Any

from bot.authoring import load
from bot.core import stops
from bot.core.desk import Card, Desk
from bot.core.events import Answered, BikeTaken, Entry, FlowChosen, Opened
from bot.core.flow import Flow, Number
from bot.core.state import State, fold
from bot.core.words import Words
from tests.core.chat import HASH, Chat, wording

FORMS = {"one": "one", "number": "one", "several": "marks", "graded": "steps", "look": "look"}
Told = dict[str, tuple[str, ...]]  # question or check -> answers, marks, class, 'good' or 'bad'


@cache
def words() -> Words:
    return wording()


@cache
def index(own: str) -> tuple[Card, ...]:
    """The index of all shipped flows; `own` under the hash that a talk has it by, the others under theirs."""
    return tuple(
        Card(c.flow, HASH if c.flow == own else c.flow, c.title, c.riders_say, c.told_as)
        for c in load.cards()
    )


class PressedChat(Chat):
    """A talk at one flow that may be answered by buttons and is picked from all that are shipped."""

    def desk(self) -> Desk:
        own = index(self.flow.flow)
        return Desk(words(), own, {HASH: self.flow}, lambda *_: "the summary", self.bikes, self.settings)

    def press(self, id: str) -> None:
        """The button of this answer under the open question."""
        self.say(press=f"{self.state.asked['rider'].seq}:{id}")


def read_back(chat: Chat) -> set[str]:
    """What is read back to a rider for a yes, as question=answer."""
    asked = chat.state.asked["rider"]
    pairs = [claim.partition("=") for claim in (asked.extra if asked.what == "confirm" else ())]
    return {f"{ask}={value}" for ask, _, values in pairs for value in values.split(",")}


def step_of(flow: Flow, id: str, volts: float) -> str:
    """The step of the flow's number question into which so many volts fall."""
    ask = flow.checks[id]
    assert isinstance(ask, Number)
    found = next(r for r in ask.ranges if r.upto is None or volts <= r.upto)
    assert found.step is not None
    return found.step


def answer(flow: Flow, ask: str, value: tuple[str, ...], forms: Mapping[str, str] = FORMS) -> Answered:
    """An answer as it stands in the record: of a look by the rider, or to a question."""
    rank = 3 if ask in flow.checks else 2
    form: Any = forms[flow.asking(ask).kind]
    return Answered(ask=ask, value=value, form=form, rank=rank)


def case(flow: Flow, complaint: str, traits: Mapping[str, str], told: Iterable[Any]) -> State:
    """A case in which these things were told, and nothing else, one a minute."""
    events = [
        Opened(complaint=complaint),
        FlowChosen(flow=flow.flow, hash=HASH, title=flow.title),
        BikeTaken(bike="b1", nickname="Goat", traits=dict(traits), hours=43),
        *told,
    ]
    return fold(Entry(n, f"2026-05-04T09:{n:02}:00Z", "rider", "rider", e) for n, e in enumerate(events, 1))


def raised(flow: Flow, state: State) -> set[str]:
    """The stop rules that what was told makes true."""
    return {rule for rule, _ in stops.newly_true(flow, state)}


def bars(flow: Flow, state: State) -> set[str]:
    """What they bar: running, riding, both or nothing."""
    return {bar for rule in raised(flow, state) for bar in flow.stop_rules[rule].bars}
