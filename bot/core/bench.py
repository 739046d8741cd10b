"""A mechanic's bench: what holds where he works, in place of what the rider said of himself.

A case is one and the same for both. Only the limits differ: what there is to work with, how long, whether
it must be ridden home, and what giving up would cost. The rider's are his own business and no message to
the mechanic is reckoned with them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from bot.core.events import Skipped
from bot.core.flow import Flow
from bot.core.plan import MINUTE_WORTH
from bot.core.state import State

REFERRING_ON = 2400.0  # minutes that yet another workshop counts as; common practice, no source
BENCH: Mapping[str, str | float | bool] = {
    "place": "garage", "kit": "special", "skill": "workshop", "must_ride": False,
    "giving_up": REFERRING_ON, "minute_worth": MINUTE_WORTH,
}  # fmt: skip


def seen_from(flow: Flow | None, state: State, seat: str) -> State:
    """The case as it is planned at this seat: at a mechanic's with his own limits, else as it is."""
    if seat not in state.holders:
        return state
    skipped = {ask: left for ask, left in state.skipped.items() if _stays_left(flow, state, ask, left)}
    return replace(state, settings={**BENCH, **state.benches.get(seat, {})}, skipped=skipped)


def _stays_left(flow: Flow | None, state: State, ask: str, left: Skipped) -> bool:
    """What a mechanic left out himself, and what the rider could not remember.

    Where only the rider's hands, eyes or tools did not do, a mechanic may well.
    """
    if state.skipped_by.get(ask) in state.holders:
        return True
    memory = flow is not None and ask in flow.questions and not flow.questions[ask].tools
    return left.why == "not_sure" and memory
