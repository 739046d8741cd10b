"""The shipped flow about a bike that will not start: talks as riders have them, cases of plain answers."""

from __future__ import annotations

from functools import cache

from bot.authoring import load
from bot.core import plan
from bot.core.desk import BikeCard, Card
from bot.core.flow import Flow
from bot.core.state import State
from tests.flows import flagship, shipped
from tests.flows.shipped import FORMS, PressedChat, Told, index

ID = "will-not-start"
BIKE = {
    "oil-layout": "shared", "starter": "both", "cooling": "liquid", "clutch-cover-access": "outer",
    "fuel-system": "injection", "battery-kind": "lead",
}  # fmt: skip
BY_CHARGE = FORMS | {"number": "steps"}  # volts stand as the step of the charge that they fall into
QUIET: Told = {
    "danger-now": (), "before": (), "stops-dead": ("moves",), "how-it-turns": ("always",),
    "lights": ("bright",), "neutral-lamp": ("right",), "pump-hum": ("hums",), "petrol-smell": ("little",),
    "pattern": (), "fuel-age": ("fresh",), "fault-lamp": ("dark",), "tries": ("never",),
}  # fmt: skip
"""Nothing hurts, nothing came before, all lamps as ever; what it does at the button is each test's own."""


@cache
def flow() -> Flow:
    return load.shipped(ID).flow


def cards() -> tuple[Card, ...]:
    """The index of all shipped flows."""
    return index(ID)


class Talk(flagship.Talk):
    """A talk at this flow, answered like one at the flagship."""

    desk = PressedChat.desk


def talk(**traits: str) -> Talk:
    """A rider with one known bike."""
    return Talk(flow(), bikes=(BikeCard("b1", "Goat", {**BIKE, **traits}, 43),))


def case(told: Told, **traits: str) -> State:
    """A case in which these answers were given, and nothing else."""
    answers = (shipped.answer(flow(), ask, value, BY_CHARGE) for ask, value in told.items())
    return shipped.case(flow(), "will not start", {**BIKE, **traits}, answers)


def raised(told: Told, **traits: str) -> set[str]:
    """The stop rules that these answers make true."""
    return shipped.raised(flow(), case(told, **traits))


def bars(told: Told, **traits: str) -> set[str]:
    """What these answers bar: running, riding, both or nothing."""
    return shipped.bars(flow(), case(told, **traits))


def ranked(told: Told, **traits: str) -> list[str]:
    """The causes by how likely these answers make them, likeliest first."""
    now = plan.beliefs(flow(), case(told, **traits))
    return sorted(flow().causes, key=lambda id: -now.of(id))
