"""The shipped flow about brakes: a talk at it as riders have it, and a case of plain answers."""

from __future__ import annotations

from functools import cache

from bot.authoring import load
from bot.core import odds, stops
from bot.core.desk import BikeCard, Card, Desk
from bot.core.events import Answered, BikeTaken, Entry, FlowChosen, Opened, SettingTold
from bot.core.flow import Flow
from bot.core.history import history
from bot.core.state import State, fold
from tests.core.chat import HASH
from tests.flows import flagship
from tests.flows.flagship import FORMS, Told, words

ID = "brake-feel"
HOME = {"place": "garage", "kit": "special", "skill": "workshop", "giving_up": 1200.0}


@cache
def flow() -> Flow:
    return load.shipped(ID).flow


@cache
def cards() -> tuple[Card, ...]:
    """The index of all shipped flows; all but this one under hashes of their own."""
    return tuple(
        Card(c.flow, HASH if c.flow == ID else c.flow, c.title, c.riders_say, c.told_as) for c in load.cards()
    )


class Talk(flagship.Talk):
    """A talk that picks its flow from all that are shipped."""

    def desk(self) -> Desk:
        flows = {HASH: self.flow}
        return Desk(words(), cards(), flows, lambda *_: "the summary", self.bikes, self.settings)


def talk(kind: str = "discs") -> Talk:
    """A rider at home with all tools and one known bike."""
    return Talk(flow(), bikes=(BikeCard("b1", "Goat", {"brake-kind": kind}, 43),), settings=HOME)


def case(told: Told, kind: str = "discs") -> State:
    """A case in which these answers were given, and nothing else."""
    events = [
        Opened(complaint="spongy brake"),
        FlowChosen(flow=ID, hash=HASH, title=flow().title),
        BikeTaken(bike="b1", nickname="Goat", traits={"brake-kind": kind}, hours=43),
        *(SettingTold(setting=name, value=value) for name, value in HOME.items()),
        *(answer(ask, value) for ask, value in told.items()),
    ]
    return fold(Entry(n, f"2026-05-04T09:{n:02}:00Z", "rider", "rider", e) for n, e in enumerate(events, 1))


def answer(ask: str, value: tuple[str, ...]) -> Answered:
    rank = 3 if ask in flow().checks else 2
    return Answered(ask=ask, value=value, form=FORMS[flow().asking(ask).kind], rank=rank)  # type: ignore[arg-type]


def raised(told: Told, kind: str = "discs") -> set[str]:
    """The stop rules that these answers make true."""
    return {rule for rule, _ in stops.newly_true(flow(), case(told, kind))}


def first(told: Told, kind: str = "discs") -> str:
    """The likeliest cause after these answers."""
    state = case(told, kind)
    now = odds.posterior(flow(), {"brake-kind": kind}, history(flow(), state))
    return max(flow().causes, key=now.of)
