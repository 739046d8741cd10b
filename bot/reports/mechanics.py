"""The mechanic's part of a case: the frame, who holds it, what he asked, what he is sure of, how it ended."""

from __future__ import annotations

from collections.abc import Iterator

from bot.core import events
from bot.core.events import Entry
from bot.core.flow import Flow
from bot.core.history import Clock, acting
from bot.core.state import Query, State
from bot.reports.findings import spoken
from bot.reports.sheet import ConfirmedLine, FileLine, OutcomeLine, QueryLine, VinLine


def tell_vin(state: State) -> VinLine | None:
    return VinLine(state.vin.vin, state.vin.digit, state.vin.reread) if state.vin else None


def tell_queries(state: State, run: Clock) -> Iterator[QueryLine]:
    """What mechanics asked the rider, with his answers."""
    entries = {entry.seq: entry for entry in acting(state)}
    for query in state.queries:
        asked = spoken(entries[query.seq], run)
        reply = _reply(entries, query)
        if reply is None or query.answer is None:
            yield QueryLine(query.words, asked, "", None)
            continue
        kind = _kind_of(entries, reply)
        files = tuple(FileLine(kind, n, query.words, ref) for n, ref in _numbered(query.answer.file))
        yield QueryLine(query.words, asked, query.answer.words, spoken(reply, run), files)


def _numbered(refs: str) -> Iterator[tuple[int, str]]:
    yield from enumerate(refs.split(), 1)


def _reply(entries: dict[int, Entry], query: Query) -> Entry | None:
    """The entry with which a question was answered last."""
    said = [e for e in entries.values() if isinstance(e.event, events.RiderAnswered)]
    return next((e for e in reversed(said) if e.event.query == query.seq), None)


def _kind_of(entries: dict[int, Entry], reply: Entry) -> str:
    """Of what kind the files of an answer are: as they came in just before it."""
    came = [e.event.heard for e in entries.values()
            if e.seq < reply.seq and isinstance(e.event, events.WasHeard)]  # fmt: skip
    return came[-1].file_kind if came and came[-1].file_kind else "photo"


def tell_confirmed(flow: Flow, state: State, run: Clock) -> Iterator[ConfirmedLine]:
    """The causes that a mechanic confirmed; one that this flow does not know is in his words."""
    entries = {entry.seq: entry for entry in acting(state)}
    for sure in state.confirmed:
        name, voice = _name(flow, sure.event.cause), spoken(entries[sure.seq], run)
        yield ConfirmedLine(name, sure.event.words, sure.event.how, voice, sure.slice)


def tell_outcome(flow: Flow, state: State, run: Clock) -> OutcomeLine | None:
    """How the case came out, while it is closed."""
    told = [entry for entry in acting(state) if isinstance(entry.event, events.OutcomeTold)]
    if state.outcome is None or not told:
        return None
    outcome, voice = state.outcome, spoken(told[-1], run)
    return OutcomeLine(outcome.result, _name(flow, outcome.cause), outcome.words, outcome.how, voice)


def _name(flow: Flow, cause: str) -> str:
    return flow.causes[cause].name if cause in flow.causes else ""
