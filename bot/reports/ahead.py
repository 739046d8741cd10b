"""What comes next in a case and why, as facts: the next step, its price, the plan, what is left out."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from bot.core import odds, plan
from bot.core.agenda import next_step
from bot.core.desk import Desk
from bot.core.flow import Flow, Look, Several
from bot.core.plan import known
from bot.core.state import State

__all__ = ["Ahead", "LeftOut", "known", "look_ahead"]

Why = Literal["safety", "work", "again", "stop", "cheapest", "plan", "waits"]
_WHY: dict[str, Why] = {
    "remedy": "plan", "hand_over": "plan", "park": "plan", "watch": "plan",
    "step": "work", "point": "work", "shut": "work", "proof": "work", "held": "work",
    "after_work": "work", "second_look": "again", "bike": "waits", "trait": "waits", "setting": "waits",
    "pause": "waits",
}  # fmt: skip


@dataclass(frozen=True)
class LeftOut:
    """What cannot be done where the bike is. `why`: place, tools, skill, time, running, cant."""

    what: str
    why: str


@dataclass(frozen=True)
class Ahead:
    """The next step in words, why, and the price of the whole way to the end in minutes.

    `saves`, `costs`: minutes that the step saves on average and takes, where the planner chose it.
    `remedies`: ids of what the plan would repair. `giving_up`: what handing over counts as, in minutes by
    the rider's word, or in minutes and money by the flow's.
    """

    what: str = ""
    kind: str = "none"
    why: Why = "waits"
    costs: float | None = None
    saves: float | None = None
    minutes: float = 0.0
    remedies: tuple[str, ...] = ()
    giving_up: float = 0.0
    giving_up_money: float = 0.0
    left_out: tuple[LeftOut, ...] = ()


def look_ahead(desk: Desk, flow: Flow, state: State, now: datetime) -> Ahead:
    """What comes next, by the same machine that asks."""
    step = next_step(desk, flow, state, now)
    told = state.settings.get("giving_up", desk.settings.get("giving_up"))
    advice = step.advice or plan.advise(desk, flow, state, now)
    gain = next((g for g in advice.choice.gains if g.act == advice.id), None) if advice.choice else None
    chosen = step.advice is not None and gain is not None and step.what in ("question", "check", "access")
    return Ahead(
        what=_what(flow, step.what, step.id),
        kind=step.what,
        why=_why(flow, step.what, step.id, step.extra, chosen),
        costs=gain.cost if chosen and gain else None,
        saves=gain.net if chosen and gain else None,
        minutes=advice.choice.minutes if advice.choice else 0.0,
        remedies=tuple(_remedies(flow, state, step.what, step.id, advice)),
        giving_up=flow.hand_over.minutes if told is None else float(told),
        giving_up_money=flow.hand_over.money if told is None else 0.0,
        left_out=tuple(_left_out(flow, state, advice.left_out)),
    )


def _why(flow: Flow, what: str, id: str, extra: Iterable[str], chosen: bool) -> Why:
    if id in flow.safety:
        return "safety"
    if "clears" in extra:
        return "stop"
    if "relapse" in extra:
        return "work"
    return "cheapest" if chosen else _WHY.get(what, "waits")


def _what(flow: Flow, what: str, id: str) -> str:
    """The step in the flow's words; '' where only its kind says it."""
    of, _, rest = id.partition("/")
    if id in flow.asks:
        return flow.asks[id].name or flow.asks[id].short or flow.asks[id].ask
    if what == "access":
        return flow.access[id].do
    if what == "shut":
        return flow.access[id].shut
    if what == "step" and rest.isdecimal():
        return flow.remedies[of].steps[int(rest)].do
    if what == "second_look":
        return flow.second_looks[id].say
    if what == "trait":
        return flow.traits[id].ask
    return flow.remedies[of].name if of in flow.remedies else ""


def _remedies(flow: Flow, state: State, what: str, id: str, advice: plan.Advice) -> Iterable[str]:
    """The remedy in hand or next; else what the plan without questions would repair."""
    if state.work is not None and not state.work.mended and state.work.remedy in flow.remedies:
        return (state.work.remedy,)
    if what == "remedy":
        return (id,)
    leaf = advice.choice.leaf if advice.choice else None
    whole = leaf.whole if leaf and leaf.name == "repair" else ()
    return tuple(r for r in whole if r in flow.remedies)


def _left_out(flow: Flow, state: State, left: Iterable[tuple[str, str]]) -> Iterable[LeftOut]:
    """What was left out here, for the garage, the most telling first; also what he said he cannot do."""
    reasons: Mapping[str, str] = {
        **dict(left),
        **{id: "cant" for id, s in state.skipped.items() if s.why == "cant"},
    }
    now = plan.beliefs(flow, state)
    for id, why in sorted(reasons.items(), key=lambda r: -_telling(flow, now, r[0])):
        if id in flow.asks and (why == "cant" or _needs_a_place(flow, id)):
            yield LeftOut(flow.asks[id].called, why)
        elif id in flow.remedies:
            yield LeftOut(flow.remedies[id].name, why)
        elif id in flow.access:
            yield LeftOut(flow.access[id].do, why)


def _needs_a_place(flow: Flow, ask: str) -> bool:
    """Whether an ask is work with hands: what memory answers is not left for a garage."""
    return ask in flow.checks or bool(flow.asks[ask].tools or flow.asks[ask].behind)


def _telling(flow: Flow, now: odds.Beliefs, id: str) -> float:
    """How likely it is that this finds or mends something that is there."""
    if id in flow.remedies:
        return sum(now.of(c) for c, cause in flow.causes.items() if cause.remedy == id)
    ask = flow.asks.get(id)
    marks = ask.marks.values() if isinstance(ask, Several) else [ask] if isinstance(ask, Look) else []
    return sum(f.catches * now.of(f.cause) for mark in marks for f in mark.finds)
