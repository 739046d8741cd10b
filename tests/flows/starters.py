"""The shipped flow about a starter that spins, clanks or runs on: talks as riders have them, plain cases."""

from __future__ import annotations

from functools import cache

from bot.authoring import load
from bot.core import plan
from bot.core.desk import BikeCard, Card
from bot.core.events import SettingTold
from bot.core.flow import Flow
from bot.core.state import State
from tests.flows import flagship, shipped
from tests.flows.shipped import FORMS, PressedChat, Told, index

ID = "starter-spins-or-clanks"
BIKE = {"oil-layout": "shared", "starter": "both", "battery-kind": "lead", "drive-kind": "one-way"}
HOME = {"place": "garage", "kit": "special", "skill": "workshop", "giving_up": 2400.0}
BY_CHARGE = FORMS | {"number": "steps"}  # volts stand as the step of the charge that they fall into
QUIET: Told = {
    "danger-now": (), "stops-dead": ("moves",), "pieces-seen": ("clean",), "pattern": (), "lately": (),
    "lights": ("bright",), "kicked-or-pushed": ("well",),
}  # fmt: skip
"""Nothing hurts, nothing came before; what the starter does is each test's own."""


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
    """A rider at home with all tools and one known bike."""
    return Talk(flow(), bikes=(BikeCard("b1", "Goat", {**BIKE, **traits}, 43),), settings=HOME)


def case(told: Told, **traits: str) -> State:
    """A case in which these answers were given, and nothing else."""
    events = [
        *(SettingTold(setting=name, value=value) for name, value in HOME.items()),
        *(shipped.answer(flow(), ask, value, BY_CHARGE) for ask, value in told.items()),
    ]
    return shipped.case(flow(), "starter just spins", {**BIKE, **traits}, events)


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
