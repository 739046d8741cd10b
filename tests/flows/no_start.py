"""The shipped flow about a bike that will not start: talks as riders have them, cases of plain answers."""

from __future__ import annotations

from functools import cache

from bot.authoring import load
from bot.core import plan, stops
from bot.core.desk import BikeCard, Card, Desk
from bot.core.events import Answered, BikeTaken, Entry, FlowChosen, Opened
from bot.core.flow import Flow
from bot.core.state import State, fold
from tests.core.chat import HASH
from tests.flows import flagship
from tests.flows.flagship import FORMS, Told, words

ID = "will-not-start"
BIKE = {
    "oil-layout": "shared", "starter": "both", "cooling": "liquid", "clutch-cover-access": "outer",
    "fuel-system": "injection", "battery-kind": "lead",
}  # fmt: skip
QUIET: Told = {
    "danger-now": (), "before": (), "stops-dead": ("moves",), "how-it-turns": ("always",),
    "lights": ("bright",), "neutral-lamp": ("right",), "pump-hum": ("hums",), "petrol-smell": ("little",),
    "pattern": (), "fuel-age": ("fresh",), "fault-lamp": ("dark",), "tries": ("never",),
}  # fmt: skip
"""Nothing hurts, nothing came before, all lamps as ever; what it does at the button is each test's own."""


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
        return Desk(words(), cards(), {HASH: self.flow}, lambda *_: "the summary", self.bikes, self.settings)


def talk(**traits: str) -> Talk:
    """A rider with one known bike."""
    return Talk(flow(), bikes=(BikeCard("b1", "Goat", {**BIKE, **traits}, 43),))


def case(told: Told, **traits: str) -> State:
    """A case in which these answers were given, and nothing else."""
    events = [
        Opened(complaint="will not start"),
        FlowChosen(flow=ID, hash=HASH, title="Will not start"),
        BikeTaken(bike="b1", nickname="Goat", traits={**BIKE, **traits}, hours=43),
        *(answer(ask, value) for ask, value in told.items()),
    ]
    return fold(Entry(n, f"2026-05-04T09:{n:02}:00Z", "rider", "rider", e) for n, e in enumerate(events, 1))


def answer(ask: str, value: tuple[str, ...]) -> Answered:
    """An answer as it stands in the record; of volts the step of the charge that they fall into."""
    kind = flow().asking(ask).kind
    form = "steps" if kind == "number" else FORMS[kind]
    return Answered(ask=ask, value=value, form=form, rank=3 if ask in flow().checks else 2)  # type: ignore[arg-type]


def raised(told: Told, **traits: str) -> set[str]:
    """The stop rules that these answers make true."""
    return {rule for rule, _ in stops.newly_true(flow(), case(told, **traits))}


def bars(told: Told, **traits: str) -> set[str]:
    """What these answers bar: running, riding, both or nothing."""
    return {bar for rule in raised(told, **traits) for bar in flow().stop_rules[rule].bars}


def ranked(told: Told, **traits: str) -> list[str]:
    """The causes by how likely these answers make them, likeliest first."""
    now = plan.beliefs(flow(), case(told, **traits))
    return sorted(flow().causes, key=lambda id: -now.of(id))
