"""What the talks about many imagined bikes come to: ends, times, what is never asked, what is confused."""

from __future__ import annotations

import math
import statistics
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from bot.authoring.simulate import ENDS, End, Outcome
from bot.core.flow import Flow

RARE = 0.01  # what fewer of the bikes were asked is named
WORST = 10  # pairs of causes that are named
FAULTS: tuple[End, ...] = ("endless", "broke")


@dataclass(frozen=True)
class Spread:
    """Mean, median, and what nine of ten bikes do not pass."""

    mean: float
    median: float
    of_100_90: float


@dataclass(frozen=True)
class CauseCount:
    """In how many bikes a cause was there, in how many of these the fault was found and mended."""

    cause: str
    there: int
    found: int


@dataclass(frozen=True)
class Gate:
    """Running or riding that the odds refused: in how many bikes, and for which cause most often."""

    bar: str
    bikes: int
    cause: str


@dataclass(frozen=True)
class Tally:
    """The figures of one flow. `rare`: (kind, id, bikes); `confused`: (true cause, repaired cause, bikes).

    `well_handed`: bikes that were handed over with a true cause as the first suspect.
    """

    bikes: int
    ends: dict[End, int]
    well_handed: int
    in_vain: int
    minutes: Spread
    money: Spread
    turns: Spread
    messages: Spread
    causes: tuple[CauseCount, ...]
    confused: tuple[tuple[str, str, int], ...]
    rare: tuple[tuple[str, str, int], ...]
    stops: dict[str, int]
    gates: tuple[Gate, ...]
    faults: tuple[tuple[int, str], ...]

    @property
    def never_found(self) -> tuple[CauseCount, ...]:
        """Causes that were there and never found."""
        return tuple(c for c in self.causes if c.there and not c.found and c.cause != "unlisted")


def count(flow: Flow, outcomes: Sequence[Outcome]) -> Tally:
    """The figures of some outcomes, at least one."""
    ends = Counter(outcome.end for outcome in outcomes)
    return Tally(
        bikes=len(outcomes),
        ends={end: ends[end] for end in ENDS},
        well_handed=sum(o.end == "handed_over" and o.first in o.fault for o in outcomes),
        in_vain=sum(o.in_vain for o in outcomes),
        minutes=spread(o.minutes for o in outcomes),
        money=spread(o.money for o in outcomes),
        turns=spread(o.turns for o in outcomes),
        messages=spread(o.messages for o in outcomes),
        causes=tuple(_cause(name, outcomes) for name in (*flow.causes, "unlisted")),
        confused=_confused(outcomes),
        rare=_rare(flow, outcomes),
        stops=_stops(flow, outcomes),
        gates=tuple(_gate(bar, outcomes) for bar in ("running", "riding")),
        faults=tuple(
            (o.n, o.how if o.end == "broke" else "without end") for o in outcomes if o.end in FAULTS
        ),
    )


def spread(values: Iterable[float]) -> Spread:
    """Of some numbers, at least one. The 90th of 100 is the least value that nine tenths do not pass."""
    told = sorted(values)
    ninth = told[math.ceil(0.9 * len(told)) - 1]
    return Spread(statistics.fmean(told), statistics.median(told), ninth)


def _cause(name: str, outcomes: Sequence[Outcome]) -> CauseCount:
    there = [o for o in outcomes if name in o.fault]
    return CauseCount(name, len(there), sum(o.end == "found" for o in there))


def _confused(outcomes: Sequence[Outcome]) -> tuple[tuple[str, str, int], ...]:
    """Each pair once a bike: what it came with, and what was repaired though it never had it."""
    pairs = Counter(
        pair
        for o in outcomes
        for pair in {(true, r.cause) for true in o.fault for r in o.repairs if not r.needed}
        if pair[1] not in o.fault
    )
    worst = sorted(pairs.items(), key=lambda item: (-item[1], item[0]))[:WORST]
    return tuple((true, repaired, bikes) for (true, repaired), bikes in worst)


def _rare(flow: Flow, outcomes: Sequence[Outcome]) -> tuple[tuple[str, str, int], ...]:
    asked = Counter(put for o in outcomes for put in o.asked)
    kinds: dict[str, Mapping[str, object]] = {
        "question": flow.questions,
        "check": flow.checks,
        "access": flow.access,
        "remedy": flow.remedies,
    }
    return tuple(
        (kind, id, asked[kind, id])
        for kind, part in kinds.items()
        for id in part
        if asked[kind, id] < RARE * len(outcomes)
    )


def _stops(flow: Flow, outcomes: Sequence[Outcome]) -> dict[str, int]:
    raised = Counter(rule for o in outcomes for rule in o.stops)
    return {rule: raised[rule] for rule in dict.fromkeys((*flow.stop_rules, *sorted(raised)))}


def _gate(bar: str, outcomes: Sequence[Outcome]) -> Gate:
    closed = [{cause for which, cause in o.gates if which == bar} for o in outcomes]
    by = Counter(cause for causes in closed for cause in causes)
    most = min(by, key=lambda cause: (-by[cause], cause), default="")
    return Gate(bar, sum(map(bool, closed)), most)
