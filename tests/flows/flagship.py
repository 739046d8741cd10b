"""The shipped flow about metal in the oil: a talk at it as riders have it, and a case of plain answers."""

from __future__ import annotations

from functools import cache

from bot.authoring import load
from bot.core import stops
from bot.core.desk import BikeCard, Card, Desk
from bot.core.events import Answered, BikeTaken, Entry, FlowChosen, Opened
from bot.core.flow import Flow
from bot.core.state import State, fold
from bot.core.words import Words
from tests.core.chat import HASH, Chat, wording

ID = "metal-in-oil"
BIKE = {"oil-layout": "shared", "starter": "both", "cooling": "liquid", "clutch-cover-access": "outer"}
HOME = {"place": "garage", "kit": "special", "giving_up": "600"}
FORMS = {"one": "one", "number": "one", "several": "marks", "graded": "steps", "look": "look"}
Told = dict[str, tuple[str, ...]]  # question or check -> answers, marks, class, 'good' or 'bad'


@cache
def flow() -> Flow:
    return load.shipped(ID).flow


@cache
def cards() -> tuple[Card, ...]:
    """The index of all shipped flows; all but the flagship under hashes of their own."""
    return tuple(
        Card(c.flow, HASH if c.flow == ID else c.flow, c.title, c.riders_say, c.told_as) for c in load.cards()
    )


@cache
def words() -> Words:
    return wording()


class Talk(Chat):
    """A talk that picks its flow from all that are shipped."""

    def desk(self) -> Desk:
        flows = {c.hash: load.shipped(c.flow).flow for c in cards()} | {HASH: self.flow}
        return Desk(words(), cards(), flows, lambda *_: "the summary", self.bikes, self.settings)

    def press(self, id: str) -> None:
        """The button of this answer under the open question."""
        self.say(press=f"{self.state.asked['rider'].seq}:{id}")

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
    events = [
        Opened(complaint="metal in the oil"),
        FlowChosen(flow=ID, hash=HASH, title="Metal in the oil"),
        BikeTaken(bike="b1", nickname="Goat", traits=BIKE if traits is None else traits, hours=43),
        *(answer(ask, value) for ask, value in told.items()),
    ]
    return fold(Entry(n, f"2026-05-04T09:{n:02}:00Z", "rider", "rider", e) for n, e in enumerate(events, 1))


def answer(ask: str, value: tuple[str, ...]) -> Answered:
    kind = flow().asking(ask).kind
    rank = 3 if ask in flow().checks else 2
    return Answered(ask=ask, value=value, form=FORMS[kind], rank=rank)  # type: ignore[arg-type]


def raised(told: Told, traits: dict[str, str] | None = None) -> set[str]:
    """The stop rules that these answers make true."""
    return {rule for rule, _ in stops.newly_true(flow(), case(told, traits))}


def bars(told: Told, traits: dict[str, str] | None = None) -> set[str]:
    """What these answers bar: running, riding, both or nothing."""
    return {bar for rule in raised(told, traits) for bar in flow().stop_rules[rule].bars}
