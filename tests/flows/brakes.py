"""The shipped flow about brakes: a talk at it as riders have it, and a case of plain answers."""

from __future__ import annotations

from functools import cache

from bot.authoring import load
from bot.core import odds
from bot.core.desk import BikeCard, Card
from bot.core.events import SettingTold
from bot.core.flow import Flow
from bot.core.history import history
from bot.core.state import State
from tests.flows import flagship, shipped
from tests.flows.shipped import PressedChat, Told, index

ID = "brake-feel"
HOME = {"place": "garage", "kit": "special", "skill": "workshop", "giving_up": 1200.0}


@cache
def flow() -> Flow:
    return load.shipped(ID).flow


def cards() -> tuple[Card, ...]:
    """The index of all shipped flows."""
    return index(ID)


class Talk(flagship.Talk):
    """A talk at this flow, answered like one at the flagship."""

    desk = PressedChat.desk


def talk(kind: str = "discs") -> Talk:
    """A rider at home with all tools and one known bike."""
    return Talk(flow(), bikes=(BikeCard("b1", "Goat", {"brake-kind": kind}, 43),), settings=HOME)


def case(told: Told, kind: str = "discs") -> State:
    """A case in which these answers were given, and nothing else."""
    events = [
        *(SettingTold(setting=name, value=value) for name, value in HOME.items()),
        *(shipped.answer(flow(), ask, value) for ask, value in told.items()),
    ]
    return shipped.case(flow(), "spongy brake", {"brake-kind": kind}, events)


def raised(told: Told, kind: str = "discs") -> set[str]:
    """The stop rules that these answers make true."""
    return shipped.raised(flow(), case(told, kind))


def first(told: Told, kind: str = "discs") -> str:
    """The likeliest cause after these answers."""
    state = case(told, kind)
    now = odds.posterior(flow(), {"brake-kind": kind}, history(flow(), state))
    return max(flow().causes, key=now.of)
