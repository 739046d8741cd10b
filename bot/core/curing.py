"""What was glued or sealed has to cure before it runs: since when, for how long, and by whose word not."""

from __future__ import annotations

from datetime import datetime, timedelta

from bot.core.events import Noted, StepDone
from bot.core.flow import Flow
from bot.core.history import acting
from bot.core.state import State

CURED = "cured:"  # about: the rider's word that a step of work needs no more waiting


_OF_CURING = frozenset({StepDone, Noted})


def until(flow: Flow, state: State) -> dict[str, datetime]:
    """Steps of work after which it must not run for a time, `<remedy>/<n>`, with the end of that time.

    The rider's word that it has cured, or needs less, ends it.
    """
    ends: dict[str, datetime] = {}
    for entry in acting(state, _OF_CURING):
        event = entry.event
        if isinstance(event, StepDone) and (hours := wait_after(flow, event.of)):
            ends[event.of] = datetime.fromisoformat(entry.at) + timedelta(hours=hours)
        elif isinstance(event, Noted) and event.about.startswith(CURED):
            ends.pop(event.about.removeprefix(CURED), None)
    return ends


def wait_after(flow: Flow, step: str) -> float:
    """Hours that it must not run after this step of work, `<remedy>/<n>`; 0 when it may at once."""
    remedy, _, n = step.partition("/")
    steps = flow.remedies[remedy].steps if remedy in flow.remedies else ()
    return (steps[int(n)].wait_hours or 0.0) if n.isdecimal() and int(n) < len(steps) else 0.0
