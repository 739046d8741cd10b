"""Next question, check, remedy, proof run, parking or handing over: the least expected minutes.

One look ahead over the leaf plans of `leaf.py`, with a gate. An act (question or check) pays its
minutes and the access it opens; after each answer the cheapest leaf plan follows. Its *net* gain
is the leaf price now less that sum. Acts whose net gain does not pass `EPS` are no candidates: this
gate is the stopping rule, and it matters more than the ranking. Among the candidates the one with
the largest *gross* gain (net + cost) for each minute of its cost is taken, so that the short
question comes before the dear look that would make it pointless. With no candidate left the first
step of the cheapest leaf plan is done.

One look ahead cannot see that two short questions pay together where neither pays alone. So before
it hands over or parks, the planner tries two in a row: each of the `SHORTLIST` acts that lose least
alone, and after each of its answers the best other one of them, or stopping there.
Not before a repair: that is no end, since questions may follow when it fails, and the leaf plans do
not count them, so the comparison would always be for asking.

"Don't know" leaves the weights as they are, but uses the act up and leaves its access open and
paid. What an act leaves open must be closed again, and that is part of its cost; an act that
needs the engine closed and running pays for closing what stands open now.

Ties: gains and prices are compared rounded to .01 minute, then the author's order (the order of
`Problem.actions`) decides, then the id.

Method: myopic value of information against expected repair cost (Breese and Heckerman,
"Decision-theoretic troubleshooting", UAI 1996); one step of look-ahead never asks too much, it
can only stop too early (Hay, Russell, Tolpin and Shimony, UAI 2012), hence the pairs.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from bot.core.ahead import Ahead
from bot.core.kept import Kept
from bot.core.leaf import Leaf
from bot.core.problem import AccessStep, Act, Fix, Problem
from bot.core.tables import Tables

__all__ = ["EPS", "AccessStep", "Act", "Choice", "Fix", "Gain", "Plan", "Problem", "choose"]

EPS = 0.05  # minutes: a smaller net gain is no gain
CENT = 2  # decimals of a minute to which prices are compared
LEAST_COST = 0.01  # minutes: so that an act that costs nothing can be ranked
SHORTLIST = 4  # acts tried two in a row before stopping
FEW = 6  # answers an act may have to be on the shortlist
FLAT = 1e-12  # answers that differ by less between rows tell nothing

Kind = Literal["act", "fix", "watch", "proof", "park", "hand_over"]
PlanName = Literal["repair", "sweep", "proof", "hand_over", "park"]


@dataclass(frozen=True)
class Gain:
    """What asking `act` now would save (net minutes, can be negative) and what it adds in cost."""

    act: str
    net: float
    cost: float

    @property
    def rate(self) -> float:
        """Gross gain for each minute of cost, from rounded values so that every machine agrees."""
        cost = max(round(self.cost, CENT), LEAST_COST)
        return round((round(self.net, CENT) + cost) / cost, 6)


@dataclass(frozen=True)
class Plan:
    """The cheapest plan without a further question: its price, what is done first, and all of it.

    For `repair` the ids are remedies (`first` is the session before the next closing up; a sweep
    that may follow is not listed), for `sweep` they are checks; else empty.
    """

    name: PlanName
    minutes: float
    first: tuple[str, ...] = ()
    whole: tuple[str, ...] = ()


@dataclass(frozen=True)
class Choice:
    """What to do next, and why.

    `minutes` is what is still to be expected, hand-over included. `gains`: every act that tells
    something, best first. `worth_while_open`: other acts that pay and need only what stands open,
    to be named before it is closed. `leaf`: the plan that would be followed without questions.
    """

    kind: Kind
    ids: tuple[str, ...]
    minutes: float
    gains: tuple[Gain, ...]
    worth_while_open: tuple[str, ...]
    leaf: Plan


def choose(problem: Problem) -> Choice:
    """The next step of one decision. Raises ValueError where ids of `problem` do not fit."""
    parts = (problem.actions, problem.weights)
    acts = _TELLING.of(parts, lambda: tuple(_telling(problem)), problem.barred_run)
    ahead = Ahead(problem, acts)
    plan = _plan(problem, ahead)
    gains = _ranked(acts, [Gain(act.id, *gain) for act, gain in zip(acts, ahead.gains(), strict=True)])
    paying = [gain for gain in gains if round(gain.net, CENT) > EPS]
    if not paying and plan.name in ("hand_over", "park"):
        paying = _paying_in_pairs(ahead, gains)
    kind, ids, minutes = _first_step(problem, plan)
    if paying:
        kind, ids, minutes = "act", (paying[0].act,), plan.minutes - paying[0].net
    near = ahead.behind_open()
    still = tuple(gain.act for gain in paying if gain.act in near and gain.act not in ids)
    return Choice(kind, ids, minutes, gains, still, plan)


_TELLING: Kept[tuple[Act, ...]] = Kept(1)


def _telling(problem: Problem) -> Iterator[Act]:
    """The acts that may be put: one that tells nothing must not even change the plan.

    One that needs running may be barred.
    """
    live = problem.weights > 0
    for act in problem.actions:
        if act.closed_only and problem.barred_run:
            continue
        if any(float(np.ptp(chances[live])) > FLAT for chances in act.outcomes):
            yield act


def _ranked(acts: Sequence[Act], gains: Sequence[Gain]) -> tuple[Gain, ...]:
    place = {act.id: n for n, act in enumerate(acts)}
    return tuple(sorted(gains, key=lambda gain: (-gain.rate, place[gain.act], gain.act)))


def _paying_in_pairs(ahead: Ahead, gains: Sequence[Gain]) -> list[Gain]:
    """Acts that pay once a second one may follow, best first.

    Tried are those that lose least alone: short questions, for the most part.
    """
    place = {act.id: n for n, act in enumerate(ahead.acts)}
    few = {act.id for act in ahead.acts if len(act.outcomes) <= FEW and act.lumped < 0}
    by_net = sorted(gains, key=lambda gain: (-round(gain.net, CENT), place[gain.act]))
    short = [gain for gain in by_net if gain.act in few][:SHORTLIST]
    nets = ahead.pair_nets([place[gain.act] for gain in short])
    pairs = [Gain(gain.act, net, gain.cost) for gain, net in zip(short, nets, strict=True)]
    paying = [gain for gain in pairs if round(gain.net, CENT) > EPS]
    return sorted(paying, key=lambda gain: (-round(gain.net, CENT), place[gain.act]))


def _first_step(problem: Problem, plan: Plan) -> tuple[Kind, tuple[str, ...], float]:
    """What the leaf plan does first, as a choice."""
    if plan.name == "repair":
        harmless = {fix.id for fix in problem.fixes if fix.pseudo}
        return ("watch" if set(plan.first) <= harmless else "fix"), plan.first, plan.minutes
    if plan.name == "sweep":
        return "act", plan.first, plan.minutes
    return plan.name, (), plan.minutes


def _plan(problem: Problem, ahead: Ahead) -> Plan:
    """The cheapest leaf plan now; what can be done here goes before parking when they tie."""
    plan = _plan_at(ahead.sites[0].tables, ahead.leaves[0])
    if problem.parked is not None:
        later = _plan_at(ahead.sites[1].tables, ahead.leaves[1])
        if later.name != "hand_over" and round(later.minutes, CENT) < round(plan.minutes, CENT):
            return Plan("park", later.minutes, (), later.whole)
    return plan


def _plan_at(tables: Tables, leaf: Leaf) -> Plan:
    """The cheapest plan of row 0, prices compared rounded, in the order written here."""
    fixes = tuple(fix.id for fix in tables.fixes)
    looks = tuple(look.id for look in tables.looks)
    session = int(leaf.repairs.session[0])
    order = [int(n) for n in leaf.repairs.order[0, : int(leaf.repairs.length[0])]]
    mended = tuple(fixes[n] for n in sorted(order[:session]) + order[session:])
    seen = tuple(looks[n] for n in leaf.sweeps.visits[0, : int(leaf.sweeps.length[0])])
    name: PlanName = "repair" if session else "proof"
    plans = [
        Plan(name, float(leaf.repairs.price[0]), mended[:session], mended),
        Plan(name, float(leaf.repair_sweep[0]), mended[:session], mended[:session]),
        Plan("sweep", float(leaf.sweeps.price[0]), seen[:1], seen),
        Plan("hand_over", float(leaf.hand_over[0])),
    ]
    return min(plans, key=lambda plan: round(plan.minutes, CENT))
