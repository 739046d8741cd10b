"""How far a repair is proved by clean running: P(fixed) from the odds, and the clean hours still wanted.

It is the same filter as everything else (`odds.py`): clean hours multiply each row of causes by its
chance to shed nothing for so long. Silence proves nothing of a fault that shed one piece, or a chunk.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from bot.core import plan
from bot.core.chances import rows_of
from bot.core.counts import solve
from bot.core.events import Mended_, RemedyBegun, Shed
from bot.core.evidence import known_signs
from bot.core.family import Array
from bot.core.findings import ABSENT, reading
from bot.core.flow import Flow, Graded, SecondLook
from bot.core.history import acting, history, pieces_told
from bot.core.odds import Beliefs
from bot.core.proof import LEVELS
from bot.core.state import State
from bot.core.talk import Talk
from bot.core.trend_words import seen

SENSIBLE = 200  # clean running hours that anyone would still wait for
LONGEST = 10_000.0  # running hours in which the answer is looked for


def say_how_far(talk: Talk, second: SecondLook) -> None:
    """P(fixed) after a look, and how much more clean running would make it 90 and 95 of 100."""
    flow, state = talk.sure(), talk.state
    now = plan.beliefs(flow, state)
    chance = min(99, max(1, math.floor(100 * now.fixed + 1e-9)))
    if _a_chunk_came(flow, state) and _on_suspicion(state):
        talk.say("proof.held.chunk")
    elif _few_came(flow, state):
        talk.say("proof.held.few", chance=chance)
    else:
        talk.say("proof.lines", lines=" ".join(_lines(talk, second, now, chance)))


def _lines(talk: Talk, second: SecondLook, now: Beliefs, chance: int) -> Iterator[str]:
    flow, words = talk.sure(), talk.words
    wanted = [level for level in LEVELS if now.fixed < level]
    yield words.say("proof.held" if wanted else "proof.proved", chance=chance)
    if shed := _counted_by_the_book(talk.state):
        yield words.say("proof.own", counted=seen(shed.pieces, shed.hours, words))
    hours = {level: clean_hours_to(flow, now, second, level) for level in wanted}
    able = [level for level in wanted if hours[level] <= SENSIBLE]
    for level in able:
        yield words.count("proof.more", _whole(hours[level]), level=f"{100 * level:g}")
    if wanted and not able:
        yield words.say("proof.never")


def _counted_by_the_book(state: State) -> Shed | None:
    """What this bike shed before the last repair, where that was counted."""
    done = [entry.event for entry in acting(state) if isinstance(entry.event, Mended_)]
    return done[-1].shed if done else None


def _whole(hours: float) -> int:
    return max(1, math.ceil(hours - 1e-9))


def clean_hours_to(flow: Flow, now: Beliefs, second: SecondLook, level: float) -> float:
    """Further running hours, looked through and clean by this plan of looks, until P(fixed) is `level`.

    inf when no silence will do: what is left would shed as little as a sound engine.
    """
    each, own = clean_hour(flow, now, second), now.shedding

    def unfixed(hours: float) -> float:
        clean = np.exp(hours * np.log(each / each.max()))
        if own is not None and hours > 0:
            clean = own.beside(now.family, clean, own.factor(flow, now.family, 0, hours))
        weights = now.weights * clean
        return 1 - float(weights[now.family.empty] / weights.sum())

    return math.inf if unfixed(LONGEST) > 1 - level else solve(unfixed, 1 - level)


def clean_hour(flow: Flow, now: Beliefs, second: SecondLook) -> Array:
    """P(nothing gathered in one hour | row), over the signs that the looks of this plan speak of; (rows,)."""
    rows = rows_of(flow, now.family, 1.0)
    out = np.ones(now.family.rows)
    for sign in _gathering(flow, second):
        out = out * rows.of(sign, ABSENT)
    return out


def _gathering(flow: Flow, second: SecondLook) -> tuple[str, ...]:
    found: dict[str, None] = {}
    for ask in second.asks:
        asked = reading(flow, ask)
        for sign in asked.observables if asked else ():
            if sign in flow.signs and flow.signs[sign].gathers:
                found[sign] = None
    return tuple(found)


# --- what silence cannot prove -----------------------------------------------------------------


def _a_chunk_came(flow: Flow, state: State) -> bool:
    """A broken part sheds once: where such a sign took the voice from 'less', it takes it from silence."""
    known = known_signs(flow, history(flow, state))
    return any(
        value.silent for sign, value in known.items() if sign in flow.signs and flow.signs[sign].from_book
    )


def _on_suspicion(state: State) -> bool:
    """Whether the last repair was begun without a look that found its cause."""
    begun = [entry.event for entry in acting(state) if isinstance(entry.event, RemedyBegun)]
    return bool(begun) and begun[-1].suspicion


def _few_came(flow: Flow, state: State) -> bool:
    """At most one piece was counted before the repair, so that none since is no news."""
    counted = list(_counted_before(flow, state))
    return bool(counted) and all(high is not None and high <= 1 for _, high in counted)


def _counted_before(flow: Flow, state: State) -> Iterator[tuple[int, int | None]]:
    done = [entry.seq for entry in acting(state) if isinstance(entry.event, Mended_)]
    for told in state.answers:
        ask = flow.found(told.event.ask)
        if isinstance(ask, Graded) and ask.counts == "pieces" and done and told.seq < done[-1]:
            yield pieces_told(ask, told.event)
