"""The shipped flow about clutches: a talk at it as riders have it, and a case of plain answers."""

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

ID = "clutch-slips-or-drags"
HOME = {"place": "garage", "kit": "special", "skill": "workshop", "giving_up": 1200.0}


@cache
def flow() -> Flow:
    return load.shipped(ID).flow


def cards() -> tuple[Card, ...]:
    """The index of all shipped flows."""
    return index(ID)


def traits(kind: str) -> dict[str, str]:
    """A bike with this kind of clutch, one oil for all, and a small cover over the clutch."""
    return {"clutch-kind": kind, "oil-layout": "shared", "clutch-cover-access": "outer"}


class Talk(flagship.Talk):
    """A talk at this flow, answered like one at the flagship."""

    desk = PressedChat.desk


def talk(kind: str = "cable") -> Talk:
    """A rider at home with all tools and one known bike."""
    return Talk(flow(), bikes=(BikeCard("b1", "Goat", traits(kind), 43),), settings=HOME)


def case(told: Told, kind: str = "cable") -> State:
    """A case in which these answers were given, and nothing else."""
    events = [
        *(SettingTold(setting=name, value=value) for name, value in HOME.items()),
        *(shipped.answer(flow(), ask, value) for ask, value in told.items()),
    ]
    return shipped.case(flow(), "clutch drags", traits(kind), events)


def raised(told: Told, kind: str = "cable") -> set[str]:
    """The stop rules that these answers make true."""
    return shipped.raised(flow(), case(told, kind))


def first(told: Told, kind: str = "cable") -> str:
    """The likeliest cause after these answers."""
    state = case(told, kind)
    now = odds.posterior(flow(), traits(kind), history(flow(), state))
    return max(flow().causes, key=now.of)
