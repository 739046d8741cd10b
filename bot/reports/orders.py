"""The order list of a plan: parts, prices, and what would only be bought on suspicion."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from bot.core.flow import Flow, Part
from bot.core.plan import missing_access
from bot.core.reasons import found_by_look
from bot.core.state import State


@dataclass(frozen=True)
class OrderLine:
    """One part. `price`: of one, None when not known. `suspicion`: no look has found the fault yet."""

    name: str
    quantity: int
    price: float | None
    single_use: bool
    suspicion: bool
    for_work: str

    @property
    def total(self) -> float:
        return self.quantity * (self.price or 0.0)


@dataclass(frozen=True)
class Order:
    """`total`: all that has a price; `sure`: without what is only suspected; `unpriced`: how many not."""

    lines: tuple[OrderLine, ...] = ()
    total: float = 0.0
    sure: float = 0.0
    unpriced: int = 0


def order_list(flow: Flow, state: State, remedies: Iterable[str]) -> Order:
    """The parts for these remedies and for closing what they stand behind; what is open now too."""
    lines = tuple(_lines(flow, state, tuple(remedies)))
    return Order(
        lines,
        sum(line.total for line in lines),
        sum(line.total for line in lines if not line.suspicion),
        sum(line.price is None for line in lines),
    )


def _lines(flow: Flow, state: State, remedies: tuple[str, ...]) -> Iterator[OrderLine]:
    covers = {a: (flow.access[a].shut, False) for a in state.open if a in flow.access}
    for remedy in remedies:
        model = flow.remedies[remedy]
        guess = not found_by_look(flow, state, remedy)
        yield from (_line(part, guess, model.name) for part in model.parts.values())
        for access in missing_access(flow, state, model.behind):
            _, known_guess = covers.get(access, ("", True))
            covers[access] = (flow.access[access].shut, guess and known_guess)
    for access, (shut, guess) in covers.items():
        yield from (_line(part, guess, shut) for part in flow.access[access].parts.values())


def _line(part: Part, suspicion: bool, work: str) -> OrderLine:
    return OrderLine(part.name, part.quantity, part.price, part.single_use, suspicion, work)
