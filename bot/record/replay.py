"""Running a case again: what was heard, through today's code, against what was kept then."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from typing import Any, NamedTuple

from bot.core.events import BikeTaken, Entry, Heard, WasHeard
from bot.core.state import State, apply

Rerun = Callable[[int, State, Heard, datetime], Sequence[Any]]  # first entry's number -> events


class Difference(NamedTuple):
    """Where a case, run again, first goes another way. Events as JSON; None: there is none."""

    seq: int
    then: str | None
    now: str | None


def moment(at: str) -> datetime:
    """A stored time as a datetime in UTC."""
    return datetime.strptime(at, "%Y-%m-%dT%H:%M:%SZ").replace(tzinfo=UTC)


def first_difference(entries: Sequence[Entry], rerun: Rerun) -> Difference | None:
    """Run each turn of a case from the state that was, until one gives other events."""
    starts = [i for i, entry in enumerate(entries) if isinstance(entry.event, WasHeard)]
    state = State()
    for begin, end in zip(starts, [*starts[1:], len(entries)], strict=True):
        whole = entries[begin:end]
        then = [entry for entry in whole if entry.who]  # what nobody said is of no turn: a flow moved, say
        now = rerun(then[0].seq, state, then[0].event.heard, moment(then[0].at))
        found = _compare(then, now)
        if found is not None:
            return found
        for entry in whole:
            state = apply(state, entry)
    return None


def _compare(then: Sequence[Entry], now: Sequence[Any]) -> Difference | None:
    for i in range(max(len(then), len(now))):
        old = then[i].dump() if i < len(then) else None
        new = _as_stored(now[i], then[i].event if i < len(then) else None) if i < len(now) else None
        if old != new:
            return Difference(then[0].seq + i, old, new)
    return None


def _as_stored(event: Any, stored: Any) -> str:
    """An event as it would stand in the record: a bike to be made has the number it got."""
    to_be_made = isinstance(event, BikeTaken) and not event.bike
    same = to_be_made and isinstance(stored, BikeTaken) and event.nickname == stored.nickname
    return str((stored if same else event).model_dump_json())
