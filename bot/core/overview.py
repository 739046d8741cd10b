"""Where a case stands, as plain facts for programs."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from datetime import datetime, timedelta
from typing import Any

from bot.core import odds, plan
from bot.core.answers import read
from bot.core.bench import seen_from
from bot.core.desk import Desk
from bot.core.events import Heard
from bot.core.flow import Flow
from bot.core.history import history
from bot.core.offers import Control
from bot.core.standing import of_unlisted, standings
from bot.core.state import STILL_ASKED, Asked, State
from bot.core.told import pick

RELAPSE_HOURS = 20.0  # running hours within which the same complaint is the same case
RELAPSE_DAYS = 60.0  # where running hours are not known


# The kinds of open question that programs are told of; finer ones are folded into them.
KINDS = {
    "setting": "trait", "access": "check", "step": "remedy", "point": "remedy", "shut": "remedy",
    "held": "proof", "after_work": "remedy", "which": "confirm", "slip": "confirm", "park": "confirm",
    "hand_over": "confirm", "shares": "confirm", "query": "question", "cause": "confirm", "repair": "remedy",
    "lift": "confirm", "outcome": "confirm", "pause": "none", "take_up": "confirm",
}  # fmt: skip


@dataclass(frozen=True)
class Suspected:
    """A cause that no known trait excludes, or 'unlisted', with its chance (0 to 1) and standing."""

    cause: str
    chance: float
    standing: str


@dataclass(frozen=True)
class View:
    """`minutes_spent`: declared minutes of what was done. `minutes_expected`: what is still to come."""

    asked_kind: str
    asked_id: str
    suspects: tuple[Suspected, ...]
    stops: tuple[str, ...]
    bars: tuple[str, ...]
    minutes_spent: float
    minutes_expected: float
    fixed: float
    ended: str

    def dump(self) -> dict[str, Any]:
        """As one JSON object: asked, suspects, stop, minutes, fixed."""
        return {
            "asked": {"kind": self.asked_kind, "id": self.asked_id},
            "suspects": [asdict(s) for s in self.suspects],
            "stop": {"rules": list(self.stops), "bars": list(self.bars)},
            "minutes": {"spent": self.minutes_spent, "expected": self.minutes_expected},
            "fixed": self.fixed,
        }


def overview(desk: Desk, state: State, now: datetime, seat: str = "") -> View:
    """The facts of a case as they are now. `seat`: whose open question; else the newest one."""
    asked = _open(state, seat)
    kind = KINDS.get(asked.what, asked.what) if asked else "none"
    flow = desk.flows[state.hash] if state.hash else None
    seen = seen_from(flow, state, seat)
    suspects, fixed, expected = ((), 0.0, 0.0) if flow is None else _odds(desk, flow, seen, now)
    return View(
        kind, asked.id if asked else "", suspects, tuple(s.rule for s in state.standing),
        tuple(sorted(state.bars)), round(state.minutes, 2), expected, fixed,
        state.ended.how if state.ended else "",
    )  # fmt: skip


def _open(state: State, seat: str) -> Asked | None:
    asked = state.asked.get(seat) if seat else max(state.asked.values(), key=lambda a: a.seq, default=None)
    return asked if asked and asked.what != "none" else None


def _odds(desk: Desk, flow: Flow, state: State, now: datetime) -> tuple[tuple[Suspected, ...], float, float]:
    traits = plan.known(state)
    after = odds.posterior(flow, traits, history(flow, state))
    before = odds.prior(flow, traits)
    listed = [
        Suspected(s.cause, round(s.chance, 6), s.standing)
        for s in standings(flow, state, after, before).values()
        if not s.excluded_by
    ]
    unlisted = Suspected("unlisted", round(after.unlisted, 6), of_unlisted(after, before))
    expected = 0.0
    if state.ended is None:
        choice = plan.advise(desk, flow, state, now).choice
        expected = round(choice.minutes, 2) if choice else 0.0
    return (*listed, unlisted), round(after.fixed, 6), expected


def begins_new(desk: Desk, state: State, heard: Heard, now: datetime) -> bool:
    """Whether words after the end belong to a new case.

    Not when it was only put off or parked, not while a mechanic who holds it speaks, or something of it
    is still asked of whoever speaks; and not when the same complaint of the same bike comes back within
    `RELAPSE_HOURS` running hours (`RELAPSE_DAYS` where hours are unknown): then the old case is opened
    again (D28).
    """
    if state.ended is None or state.ended.how in ("parked", "put_off"):
        return False
    asked = state.asked.get(heard.who)
    if heard.who in state.holders or (asked is not None and asked.what in STILL_ASKED):
        return False
    if state.ended.how == "abandoned" or not _lately(desk, state, now):
        return True
    return not _same_complaint(desk, state, heard)


def _lately(desk: Desk, state: State, now: datetime) -> bool:
    bike = next((b for b in desk.bikes if b.id == state.bike), None)
    if bike and bike.hours is not None and state.hours is not None and bike.hours > state.hours[1]:
        return bike.hours - state.hours[1] <= RELAPSE_HOURS
    # What nobody said (a flow moved, a bike renamed) is no part of the talk.
    ended = datetime.fromisoformat(next(entry.at for entry in reversed(state.entries) if entry.who))
    return now - ended <= timedelta(days=RELAPSE_DAYS)


def _same_complaint(desk: Desk, state: State, heard: Heard) -> bool:
    """'It is back', or words that speak of the same flow."""
    if heard.file or heard.press:
        return True
    reading = read(heard.text, None, desk.words.controls, desk.words.spoken)
    if isinstance(reading, Control):
        return True
    return pick(heard.text, desk.cards, desk.words.spoken).flow in (state.flow, None)
