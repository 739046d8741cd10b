"""The shipped flow about metal in the oil: a talk at it as riders have it, and a case of plain answers."""

from __future__ import annotations

from functools import cache

from bot.authoring import load
from bot.core.desk import BikeCard, Card, Desk
from bot.core.events import Answered
from bot.core.flow import Flow
from bot.core.state import State
from tests.core.chat import HASH
from tests.flows import shipped
from tests.flows.shipped import FORMS, PressedChat, Told, index, words

__all__ = ["BIKE", "FORMS", "ID", "Talk", "Told", "answer", "bars", "cards", "case", "flow", "raised", "talk"]

ID = "metal-in-oil"
BIKE = {"oil-layout": "shared", "starter": "both", "cooling": "liquid", "clutch-cover-access": "outer"}
HOME = {"place": "garage", "kit": "special", "giving_up": "600"}


@cache
def flow() -> Flow:
    return load.shipped(ID).flow


def cards() -> tuple[Card, ...]:
    """The index of all shipped flows."""
    return index(ID)


class Talk(PressedChat):
    """A talk that picks its flow from all that are shipped."""

    def desk(self) -> Desk:
        flows = {c.hash: load.shipped(c.flow).flow for c in cards()} | {HASH: self.flow}
        return Desk(words(), cards(), flows, lambda *_: "the summary", self.bikes, self.settings)

    def reply(self, told: Told) -> None:
        """The rider's answer to what is open: as told, else not sure; what must be done is done."""
        what, id = self.asked
        if what in ("question", "check"):
            self._answer(id, told)
        elif what in ("access", "shut", "step", "proof", "second_look"):
            self.press("have" if id.endswith("/parts") else "done")
        elif what == "setting":
            self.press(HOME[id])
        else:
            work = {"point": "yes", "remedy": "do", "held": "gone", "cure": "cured"}
            self.press((work | {"confirm": "yes", "bike": "b1"})[what])

    def _answer(self, id: str, told: Told) -> None:
        ask = self.flow.asking(id)
        if id not in told:
            self.press("control:not_sure")
        elif ask.kind == "several":
            places = [str(1 + list(ask.marks).index(mark)) for mark in told[id]]
            self.say(" ".join(places) or str(len(ask.marks) + 1))
        else:
            self.press(told[id][0])


def talk(**traits: str) -> Talk:
    """A rider with one known bike."""
    return Talk(flow(), bikes=(BikeCard("b1", "Goat", {**BIKE, **traits}, 43),))


def case(told: Told, traits: dict[str, str] | None = None) -> State:
    """A case in which these answers were given, and nothing else."""
    answers = (answer(ask, value) for ask, value in told.items())
    return shipped.case(flow(), "metal in the oil", BIKE if traits is None else traits, answers)


def answer(ask: str, value: tuple[str, ...]) -> Answered:
    return shipped.answer(flow(), ask, value)


def raised(told: Told, traits: dict[str, str] | None = None) -> set[str]:
    """The stop rules that these answers make true."""
    return shipped.raised(flow(), case(told, traits))


def bars(told: Told, traits: dict[str, str] | None = None) -> set[str]:
    """What these answers bar: running, riding, both or nothing."""
    return shipped.bars(flow(), case(told, traits))
