"""Whether an open case may go over to another version of its flow, and what keeps it.

What the rider answered must mean the same in both: texts, figures, minutes and strengths may differ, but
not what an answer shows or denies, nor when the thing is asked. And what the case has its hands on (a
cause found, a repair, a cover that is off, a stop) must still be there.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Literal

from bot.core import odds, plan
from bot.core.flow import Flow
from bot.core.standing import standings
from bot.core.state import State
from bot.core.translation import PHRASES, TEXTS

What = Literal["flow", "question", "trait", "cause", "remedy", "access", "stop", "second_look"]
HELD = ("found", "repaired")  # standings of causes that a case rests on
# Of a question or look: how strong, how long, how dear, how it is done and said. The rest is its meaning.
FREE = TEXTS | PHRASES | {
    "catches", "false_alarm", "slip", "not_sure", "minutes", "money", "steps", "figures", "normal",
    "cautions", "tools", "skill", "at", "by_feel", "id",
}  # fmt: skip


@dataclass(frozen=True)
class Hindrance:
    """What keeps a case with its version: it is gone from the other one, or means something else there."""

    what: What
    id: str
    gone: bool


def hindrances(old: Flow, new: Flow, state: State) -> tuple[Hindrance, ...]:
    """Everything that keeps the case with `old`; empty when it may go over to `new`."""
    if old.flow != new.flow:
        return (Hindrance("flow", new.flow, gone=False),)
    return tuple(dict.fromkeys([*_answered(old, new, state), *_gone(new, state, old)]))


def _answered(old: Flow, new: Flow, state: State) -> Iterator[Hindrance]:
    """Questions and traits that were answered, or are open, and are not what they were."""
    put = [asked.id for asked in state.asked.values() if asked.what in ("question", "check")]
    asks = dict.fromkeys([*(told.event.ask for told in state.answers), *put])
    traits = [trait for trait, answer in state.traits.items() if answer]
    yield from _changed("question", asks, old.asks, new.asks)
    yield from _changed("trait", traits, old.traits, new.traits)


def _changed(
    what: What, ids: Iterable[str], old: Mapping[str, Any], new: Mapping[str, Any]
) -> Iterator[Hindrance]:
    for id in ids:
        if id in old and (id not in new or meaning(new[id]) != meaning(old[id])):
            yield Hindrance(what, id, gone=id not in new)


def _gone(new: Flow, state: State, old: Flow) -> Iterator[Hindrance]:
    """What the case has its hands on and the other version has no more."""
    there: tuple[tuple[What, Iterable[str], Mapping[str, Any]], ...] = (
        ("cause", _held(old, state), new.causes),
        ("remedy", _repairs(state), new.remedies),
        ("access", (*state.open, *_put(state, "access")), new.access),
        ("stop", (stop.rule for stop in state.standing if stop.rule in old.stop_rules), new.stop_rules),
        ("second_look", (state.watch.plan,) if state.watch else (), new.second_looks),
    )
    for what, named, known in there:
        yield from (Hindrance(what, id, gone=True) for id in named if id not in known)


def _held(flow: Flow, state: State) -> tuple[str, ...]:
    now, before = plan.beliefs(flow, state), odds.prior(flow, plan.known(state))
    return tuple(c for c, suspect in standings(flow, state, now, before).items() if suspect.standing in HELD)


def _repairs(state: State) -> Iterator[str]:
    yield from (mended.remedy for _, mended in state.mended)
    yield from _put(state, "remedy")
    if state.work is not None:
        yield state.work.remedy


def _put(state: State, what: str) -> tuple[str, ...]:
    """What was proposed and waits for an answer."""
    return tuple(asked.id for asked in state.asked.values() if asked.what == what)


def meaning(asked: Any) -> Any:
    """A question, look or trait without what may differ between versions, as plain data."""
    return _bare(asked.model_dump())


def _bare(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {key: _bare(child) for key, child in value.items() if key not in FREE}
    if isinstance(value, (list, tuple)):
        return [_bare(child) for child in value]
    return value
