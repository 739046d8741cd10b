"""The shipped flow about heat and coolant: a talk at it, and a case of plain answers."""

from __future__ import annotations

from functools import cache

from bot.authoring import load
from bot.core import stops
from bot.core.desk import BikeCard, Card, Desk
from bot.core.events import Answered, Entry, StopLifted, StopRaised
from bot.core.flow import Flow
from bot.core.plan import beliefs
from bot.core.state import State, apply
from tests.core.chat import HASH
from tests.flows import shipped
from tests.flows.shipped import PressedChat, Told, words

ID = "overheats-or-loses-coolant"
BIKE = {"oil-layout": "shared", "starter": "both", "cooling": "liquid", "fan": "none"}
TWO_STROKE = BIKE | {"oil-layout": "two-stroke"}
QUIET: Told = {
    "heat-now": ("quiet",), "where-wet": (), "level": (), "oil-look": (),
    "heat-when": ("slow-only",), "history": (), "gas-signs": (), "running": (),
}  # fmt: skip
"""A bike that gets hot only when crawling, with nothing else to be seen."""


@cache
def flow() -> Flow:
    return load.shipped(ID).flow


@cache
def cards() -> tuple[Card, ...]:
    """This flow alone, under the hash that the talk has it by."""
    made = load.card(flow())
    return (Card(made.flow, HASH, made.title, made.riders_say, made.told_as),)


class Talk(PressedChat):
    """A talk that knows this flow alone."""

    def desk(self) -> Desk:
        return Desk(words(), cards(), {HASH: self.flow}, lambda *_: "the summary", self.bikes, self.settings)


def talk(**traits: str) -> Talk:
    """A rider with one known bike."""
    return Talk(flow(), bikes=(BikeCard("b1", "Goat", {**BIKE, **traits}, 43),))


def grown(state: State, event: object) -> State:
    return apply(state, Entry(state.next_seq, "2026-05-04T10:00:00Z", "rider", "rider", event))


def answer(ask: str, value: tuple[str, ...]) -> Answered:
    return shipped.answer(flow(), ask, value)


def case(told: Told, traits: dict[str, str] | None = None) -> State:
    """A case in which these answers were given, and nothing else."""
    answers = (answer(ask, value) for ask, value in told.items())
    return shipped.case(flow(), "it overheats", BIKE if traits is None else traits, answers)


def answered(state: State, id: str, value: tuple[str, ...]) -> State:
    """An answer, with the stops that it raises and lifts."""
    state = grown(state, answer(id, value))
    for rule, by in stops.cleared(flow(), state):
        state = grown(state, StopLifted(rule=rule, by=by))
    for rule, because in stops.newly_true(flow(), state):
        state = grown(state, StopRaised(rule=rule, bars=flow().stop_rules[rule].bars, because=because))
    return state


def raised(told: Told, traits: dict[str, str] | None = None) -> set[str]:
    """The stop rules that these answers make true."""
    return shipped.raised(flow(), case(told, traits))


def ranking(told: Told, traits: dict[str, str] | None = None) -> list[str]:
    """All causes, likeliest first, after these answers."""
    now = beliefs(flow(), case(told, traits))
    return sorted(now.family.causes, key=now.of, reverse=True)
