"""A shipped flow as the planner plays it: what a case is, what a move costs, what it decides.

The planner is the product's own (`choose`), on a decision laid out here from the flow; that it is the
decision which `bot.core.plan` would lay out for the same case is a test. Left out on purpose: stop
rules and limits of place, tools and time. The rider stands in the garage with everything at hand.

Minutes are the planner's own: the look, the message, money at the worth of a minute, what comes off,
what goes back on, the run that proves it, the hand-over.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cache, cached_property

from bot.core import odds, plan
from bot.core.choose import CENT, EPS, Choice, choose
from bot.core.evidence import known_signs
from bot.core.findings import Finding, History, Known, Looked, Marked, Mended
from bot.core.flow import Finds, Flow, Look, Note, Several, fits
from bot.core.problem import AccessStep, Act, Fix, Problem

MESSAGE = 2.0  # minutes of the rider that one message costs
WATCH_HOLDS = plan.WATCH_HOLDS
KEPT = 20_000  # cases whose signs and suspects are remembered

Move = tuple[str, tuple[str, ...]]  # "ask", "mend", "proof" or "hand over", and of what
HAND_OVER: Move = ("hand over", ())
WATCH = "watch:"


@dataclass(frozen=True)
class Case:
    """What is known of one bike: answers and repairs in order, what is off, what was not known.

    `watched`: harmless causes that were waited for and had not gone; they stand as often as that.
    """

    history: History = ()
    open: frozenset[str] = frozenset()
    unsure: frozenset[str] = frozenset()  # since the last repair
    watched: tuple[str, ...] = ()

    @property
    def part(self) -> int:
        return sum(isinstance(step, Mended) for step in self.history)

    @cached_property
    def newest(self) -> tuple[Finding, ...]:
        """Answers since the last repair."""
        cuts = [n for n, step in enumerate(self.history) if isinstance(step, Mended)]
        return tuple(s for s in self.history[cuts[-1] + 1 if cuts else 0 :] if isinstance(s, Finding))

    @cached_property
    def asked(self) -> frozenset[str]:
        """Whatever was ever answered."""
        return frozenset(step.ask for step in self.history if isinstance(step, Finding))


@dataclass(frozen=True)
class Decision:
    """The planner's move, the acts that pay as the author orders them, and the plan without asking."""

    move: Move
    paying: tuple[str, ...]
    leaf: Move


class Garage:
    """One flow for one frame: what stands behind what, and what everything costs."""

    def __init__(self, flow: Flow, traits: Mapping[str, str], hand_over: float | None = None) -> None:
        self.flow, self.traits = flow, traits
        price = flow.hand_over.minutes + self.paid(flow.hand_over.money) if hand_over is None else hand_over
        self.hand_over = price + MESSAGE
        self.asks = {name: ask for name, ask in flow.asks.items() if not isinstance(ask, Note)}
        self.asks = {name: ask for name, ask in self.asks.items() if fits(ask.only_when, traits)}
        first = [id for id in (*flow.safety, *flow.opening) if id in self.asks]
        self.order = tuple(dict.fromkeys((*first, *self.asks)))  # as the author has it in the talk
        self.remedies = {id: work for id, work in flow.remedies.items() if fits(work.only_when, traits)}

    def paid(self, money: float) -> float:
        """Minutes that money is worth."""
        return money / plan.MINUTE_WORTH

    def opening(self, step: str) -> float:
        access = self.flow.access[step]
        return access.open + self.paid(access.open_money) + MESSAGE

    def closing(self, step: str) -> float:
        access = self.flow.access[step]
        return access.close + self.paid(access.close_money) + MESSAGE

    def asking(self, id: str) -> float:
        ask = self.flow.asking(id)
        return ask.minutes + self.paid(ask.money) + MESSAGE

    def working(self, id: str) -> float:
        """A remedy without its parts; or waiting for the next look at the oil."""
        if id.startswith(WATCH):
            return plan.WATCH_MINUTES
        work = self.flow.remedies[id]
        return work.minutes + MESSAGE * (len(work.steps) + 1)

    def parts(self, id: str) -> float:
        """Minutes of the parts of a remedy that need not have been bought."""
        if id.startswith(WATCH):
            return 0.0
        return self.paid(sum(p.quantity * (p.price or 0) for p in self.flow.remedies[id].parts.values()))

    def proving(self, id: str) -> float:
        work = self.flow.remedies.get(id)
        return work.proof.minutes if work and work.proof and work.proof.needs != "nothing" else 0.0

    def off(self, behind: tuple[str, ...], standing: frozenset[str]) -> tuple[str, ...]:
        """What is still to come off for a job, in the order of opening."""
        out: list[str] = []
        for id in behind:
            if id in standing or any(giver in standing for giver in self.flow.access[id].given_by):
                continue
            before = plan.before(self.flow, self.traits, self.flow.access[id])
            out += [*self.off(before, standing), id]
        return tuple(dict.fromkeys(out))

    @cache  # noqa: B019 - a garage lives as long as its benchmark
    def all_behind(self, behind: tuple[str, ...]) -> frozenset[str]:
        """`behind` with everything that must be off before it."""
        before = [plan.before(self.flow, self.traits, self.flow.access[id]) for id in behind]
        return frozenset(behind).union(*(self.all_behind(ids) for ids in before))


class Planner:
    """The product's planner at one garage, with every decision remembered by what led to it."""

    def __init__(self, garage: Garage) -> None:
        self.garage, self.flow = garage, garage.flow
        self._decisions: dict[Case, Decision] = {}
        self._known: dict[History, Mapping[str, Known]] = {}
        self._last: dict[Case, Move] = {}
        self._likeliest: dict[Case, tuple[str, float]] = {}
        self.steps = tuple(
            AccessStep(id, garage.opening(id), garage.closing(id),
                       plan.before(self.flow, garage.traits, access), access.given_by)
            for id, access in self.flow.access.items()
        )  # fmt: skip

    # --- what is known -------------------------------------------------------------------

    def known(self, history: History) -> Mapping[str, Known]:
        if history not in self._known:
            if len(self._known) > KEPT:
                self._known.clear()
            self._known[history] = known_signs(self.flow, history)
        return self._known[history]

    def beliefs(self, case: Case) -> odds.Beliefs:
        """What is wrong now. Waiting in vain for a harmless cause to go speaks against it alone."""
        now = odds.posterior(self.flow, self.garage.traits, case.history)
        weights = now.weights.copy()
        for cause in case.watched:
            row = now.family.member[:, now.family.at[cause]] & (now.family.member.sum(axis=1) == 1)
            weights[row] *= 1 - WATCH_HOLDS
        return odds.Beliefs(now.family, weights, hours=now.hours)

    def candidates(self, case: Case) -> tuple[str, ...]:
        """Questions and looks that may be put: not twice between two repairs; what never changes once."""
        newest = {finding.ask for finding in case.newest} | case.unsure
        lasting = {id for id in case.asked if id in self.flow.questions and not plan.changing(self.flow, id)}
        return tuple(id for id in self.garage.asks if id not in newest | lasting)

    def remedied(self, case: Case) -> frozenset[str]:
        """Causes mended already and not found again since."""
        done = {step.remedy for step in case.history if isinstance(step, Mended)}
        again = {cause for finding in case.newest for cause in _found(self.flow, finding)}
        return frozenset(c for c, cause in self.flow.causes.items() if cause.remedy in done) - again

    # --- the decision --------------------------------------------------------------------

    def problem(self, case: Case) -> Problem:
        """The decision as the planner's arrays."""
        now = self.beliefs(case)
        at = now.family.at
        return Problem(
            member=now.family.member,
            weights=now.weights / now.total,
            actions=tuple(self._acts(case, now)),
            fixes=tuple(self._fixes(now)),
            steps=self.steps,
            hand_over=self.garage.hand_over,
            proof=plan.PROOF_MINUTES,
            open=case.open,
            empty=now.family.empty,
            unlisted=now.family.unlisted,
            remedied=frozenset(at[c] for c in self.remedied(case) if c in at),
        )

    def _acts(self, case: Case, now: odds.Beliefs) -> Iterator[Act]:
        known = self.known(case.history)
        for id in self.candidates(case):
            ask = self.flow.asking(id)
            table = odds.likelihood(self.flow, now.family, id, known, now.weights, now.hours)
            if len(table.outcomes) > 1:
                yield Act(
                    id=id,
                    minutes=self.garage.asking(id),
                    outcomes=table.outcomes,
                    need=self.garage.all_behind(ask.behind),
                    closed_only=ask.needs != "nothing",
                    dont_know=ask.not_sure,
                    lumped=table.lumped,
                    looks=tuple(
                        (now.family.at[f.cause], f.catches, f.false_alarm)
                        for f in _finds(self.flow, id)
                        if f.cause in now.family.at
                    ),
                )

    def _fixes(self, now: odds.Beliefs) -> Iterator[Fix]:
        garage, causes = self.garage, now.family.causes
        for id, work in garage.remedies.items():
            mends = tuple(k for k, cause in enumerate(causes) if self.flow.causes[cause].remedy == id)
            if mends:
                behind = garage.all_behind(work.behind)
                times = garage.working(id), mends, work.holds, behind, garage.proving(id)
                yield Fix(id, *times, wasted=garage.parts(id))
        hurts = {k for k, cause in enumerate(causes) if self.flow.causes[cause].hazard.riding == "rider"}
        limits = {"least": plan.WATCH_FROM, "most": plan.RIDING_GATE}
        for k, cause in enumerate(causes):
            if self._may_watch(cause):
                wait = Fix(WATCH + cause, plan.WATCH_MINUTES, (k,), WATCH_HOLDS, pseudo=True)
                yield replace(wait, unless=frozenset(hurts - {k}), **limits)

    def _may_watch(self, cause: str) -> bool:
        model = self.flow.causes[cause]
        return model.remedy is None and model.second_look is not None

    def decide(self, case: Case) -> Decision:
        if case not in self._decisions:
            choice = choose(self.problem(case))
            pays = {gain.act for gain in choice.gains if round(gain.net, CENT) > EPS}
            paying = tuple(id for id in self.garage.order if id in pays)
            self._decisions[case] = Decision(_move(choice.kind, choice.ids), paying, _leaf(choice))
        return self._decisions[case]

    def last_plan(self, case: Case) -> Move:
        """The best plan of repairs, or handing over, when nothing more is asked or looked at."""
        if case not in self._last:
            self._last[case] = _leaf(choose(replace(self.problem(case), actions=())))
        return self._last[case]

    def likeliest(self, case: Case) -> tuple[str, float]:
        """The likeliest cause that can still be mended or waited for, as its job, and how likely it is."""
        if case not in self._likeliest:
            if len(self._likeliest) > KEPT:
                self._likeliest.clear()
            now, done = self.beliefs(case), self.remedied(case)
            jobs = [(0.0, "")]
            for cause in now.family.causes:
                work = self.flow.causes[cause].remedy
                job = work or (WATCH + cause if self._may_watch(cause) else "")
                if job and cause not in done and (work is None or work in self.garage.remedies):
                    jobs.append((now.of(cause), job))
            chance, job = max(jobs)
            self._likeliest[case] = (job, chance)
        return self._likeliest[case]


def _finds(flow: Flow, id: str) -> tuple[Finds, ...]:
    ask = flow.asking(id)
    if isinstance(ask, Look):
        return ask.finds
    return tuple(f for m in ask.marks.values() for f in m.finds) if isinstance(ask, Several) else ()


def _found(flow: Flow, finding: Finding) -> frozenset[str]:
    """The causes that an answer found."""
    if isinstance(finding.value, Looked):
        return plan.found_bad(flow, finding.ask, (finding.value.result,))
    if isinstance(finding.value, Marked):
        return plan.found_bad(flow, finding.ask, tuple(finding.value.marks))
    return frozenset()


def _move(kind: str, ids: tuple[str, ...]) -> Move:
    if kind in ("fix", "watch", "repair"):
        return "mend", ids
    if kind in ("act", "sweep"):
        return "ask", ids[:1]
    return ("proof", ()) if kind == "proof" else HAND_OVER


def _leaf(choice: Choice) -> Move:
    return _move(choice.leaf.name, choice.leaf.first)
