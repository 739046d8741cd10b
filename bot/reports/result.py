"""How a case ended, for people who are not part of it: no names, hours, bike or history."""

from __future__ import annotations

from collections.abc import Iterator

from bot.core import events, odds, plan
from bot.core.flow import Flow
from bot.core.history import acting, repairs
from bot.core.plan import known
from bot.core.standing import standings
from bot.core.state import State
from bot.core.words import Words

NO_RESULT = ("abandoned", "put_off", "parked")


def told_to_others(flow: Flow, state: State, words: Words) -> str:
    """A few lines on what it was and what was done; "" while there is neither and the case is open."""
    lines = [words.say("result.found", cause=flow.causes[cause].name) for cause in _found(flow, state)]
    work = dict.fromkeys(repair.remedy for repair in repairs(flow, state) if repair.remedy in flow.remedies)
    lines += [words.say("result.done", work=flow.remedies[remedy].name) for remedy in work]
    if state.ended is not None and state.ended.how not in NO_RESULT:
        lines.append(words.say("result.ended", how=words.say(f"ended.{state.ended.how}")))
    return "\n".join([state.title, *lines]) if lines else ""


def _found(flow: Flow, state: State) -> Iterator[str]:
    """What a look found: it still stands so, or was repaired because of it."""
    standing = standings(flow, state, plan.beliefs(flow, state), odds.prior(flow, known(state)))
    found = {s.cause for s in standing.values() if s.standing == "found"}
    guessed: dict[str, bool] = {}
    for entry in acting(state):
        if isinstance(entry.event, events.RemedyBegun):
            guessed[entry.event.remedy] = entry.event.suspicion
        elif isinstance(entry.event, events.Mended_) and not guessed.get(entry.event.remedy, True):
            found |= set(entry.event.causes)
    yield from (cause for cause in flow.causes if cause in found)
