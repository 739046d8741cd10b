"""Who plays which moves, and what one invented bike costs under them, to the end.

Parts of a repair count where the repair was not needed: needed ones cost the same at a workshop.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from bot.core import plan
from bot.core.findings import ASKED, LOOKED, Finding, Mended, Ran, Said, reading
from tests.bench.played_flow import HAND_OVER, WATCH, WATCH_HOLDS, Case, Garage, Move, Planner
from tests.bench.worlds_of_flow import NOTHING, UNLISTED, Bike, gathered

LONGEST = 300  # moves; a policy that needs more goes in circles

# --- who plays ------------------------------------------------------------------------------------

Policy = Callable[[Case], Move]


def planner_moves(planner: Planner) -> Policy:
    return lambda case: planner.decide(case).move


def order_and_gate(planner: Planner) -> Policy:
    """The same gate; among the acts that pay, the first in the author's order."""

    def policy(case: Case) -> Move:
        decision = planner.decide(case)
        return ("ask", decision.paying[:1]) if decision.paying else decision.move

    return policy


def opening_first(planner: Planner) -> Policy:
    """As the talk does it: the author's safety and opening questions, then the planner."""
    flow = planner.flow
    first = [id for id in (*flow.safety, *flow.opening) if id in planner.garage.asks]

    def policy(case: Case) -> Move:
        left = [id for id in first if id not in case.asked | case.unsure] if case.part == 0 else []
        return ("ask", (left[0],)) if left else planner.decide(case).move

    return policy


def opening_only(planner: Planner) -> Policy:
    """The author's safety and opening questions, then the best plan of repairs, or handing over."""
    flow = planner.flow
    first = [id for id in (*flow.safety, *flow.opening) if id in planner.garage.asks]

    def policy(case: Case) -> Move:
        left = [id for id in first if id not in case.asked | case.unsure] if case.part == 0 else []
        return ("ask", (left[0],)) if left else planner.last_plan(case)

    return policy


def fixed_order(planner: Planner, threshold: float, limit: float) -> Policy:
    """The author's order; mends the likeliest cause once it is likely enough.

    Refuses looks of more than `limit` minutes, opening and closing in; puts nothing that can tell
    nothing new, and nothing twice; ends with the best plan of repairs or hands over.
    """
    garage = planner.garage

    def affordable(case: Case, id: str) -> bool:
        ask = garage.flow.asking(id)
        steps = garage.off(ask.behind, frozenset() if ask.needs != "nothing" else case.open)
        dear = sum(garage.opening(s) + garage.closing(s) for s in steps) + garage.asking(id)
        return dear <= limit

    def tells(case: Case, id: str) -> bool:
        asked, known = reading(garage.flow, id), planner.known(case.history)
        return asked is not None and any(seen not in known for seen in asked.observables)

    def policy(case: Case) -> Move:
        job, chance = planner.likeliest(case)
        if chance >= threshold:
            return "mend", (job,)
        for id in garage.order:
            if id not in case.asked | case.unsure and tells(case, id) and affordable(case, id):
                return "ask", (id,)
        return planner.last_plan(case)

    return policy


def hand_over_at_once(planner: Planner) -> Policy:
    return lambda case: HAND_OVER


# --- playing --------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Bill:
    """What one bike cost, and how it ended."""

    minutes: float = 0.0
    messages: int = 0
    fixed: bool = False
    reopened: bool = False  # something came off a second time
    for_running: bool = False  # ... that was closed only because a check needed the engine running
    repairs: int = 0
    in_vain: int = 0  # repairs of what was not there


class Play:
    """One bike under one policy, at the prices that are true."""

    def __init__(self, garage: Garage, planner: Planner, bike: Bike) -> None:
        self.garage, self.planner, self.bike = garage, planner, bike
        self.case, self.bill = Case(), Bill()
        self.closed: dict[str, str] = {}  # what was closed again, and for what

    def run(self, policy: Policy) -> Bill:
        for _ in range(LONGEST):
            kind, ids = policy(self.case)
            if kind == "ask":
                self._ask(ids[0])
            elif kind == "hand over":
                self._close("hand over")
                self._pay(self.garage.hand_over, 1)
                return self.bill
            elif self._prove(ids):
                return replace(self.bill, fixed=True)
        raise RuntimeError(f"bike {self.bike.name}: no end after {LONGEST} moves")

    def _pay(self, minutes: float, messages: int = 0) -> None:
        spent, sent = self.bill.minutes + minutes, self.bill.messages + messages
        self.bill = replace(self.bill, minutes=spent, messages=sent)

    def _open(self, behind: tuple[str, ...]) -> None:
        for step in self.garage.off(behind, self.case.open):
            self._pay(self.garage.opening(step), 1)
            if step in self.closed:
                again = self.bill.for_running or self.closed[step] == "running"
                self.bill = replace(self.bill, reopened=True, for_running=again)
            self.case = replace(self.case, open=self.case.open | {step})

    def _close(self, why: str) -> None:
        for step in self.case.open:
            self._pay(self.garage.closing(step), 1)
            self.closed[step] = why
        self.case = replace(self.case, open=frozenset())

    def _tell(self, *steps: Finding | Mended | Ran | Said) -> None:
        history = self.case.history
        numbered = tuple(replace(step, seq=len(history) + n) for n, step in enumerate(steps, 1))
        self.case = replace(self.case, history=history + numbered)

    def _ask(self, id: str) -> None:
        ask = self.garage.flow.asking(id)
        if ask.needs != "nothing":
            self._close("running")
        self._open(ask.behind)
        self._pay(self.garage.asking(id), 1)
        case = self.case
        hours = gathered(self.garage.flow, case.history)
        value = self.bike.answer(id, case.part, self.planner.known(case.history), hours)
        if value is None:
            self.case = replace(case, unsure=case.unsure | {id})
        else:
            self._tell(Finding(id, value, LOOKED if id in self.garage.flow.checks else ASKED))

    def _prove(self, jobs: tuple[str, ...]) -> bool:
        """Do these jobs (or none), close up, run it; whether nothing is wrong any more."""
        waits = [job.removeprefix(WATCH) for job in jobs if job.startswith(WATCH)]
        for job in jobs:
            if not job.startswith(WATCH):
                self._mend(job)
        self._close("test")
        self._pay(sum(self.garage.working(WATCH + cause) for cause in waits))
        for cause in waits:
            self.bike.watch(cause, WATCH_HOLDS)
        run = max((self.garage.proving(job) for job in jobs), default=plan.PROOF_MINUTES)
        self._pay(run)
        if self.bike.wrong == NOTHING:
            return True
        self.case = replace(self.case, watched=self.case.watched + tuple(waits))
        if len(waits) < len(jobs) or not jobs:
            self._tell(*([Ran(run / 60)] if run else []), Said("same"))
        return False

    def _mend(self, id: str) -> None:
        work = self.garage.flow.remedies[id]
        self._open(work.behind)
        self._pay(self.garage.working(id), len(work.steps) + 1)
        needed = self.bike.mend(id)
        self._pay(0.0 if needed else self.garage.parts(id))
        bill = self.bill
        self.bill = replace(bill, repairs=bill.repairs + 1, in_vain=bill.in_vain + (not needed))
        self.case = replace(self.case, unsure=frozenset())
        self._tell(Mended(id, confirmed=True))


def clairvoyant(garage: Garage, bike: Bike) -> float:
    """Minutes of one who knows what is wrong and which repair will hold; no policy can do better.

    He mends everything in one session, again as often as it will not hold, or hands over at once. What
    the work may leave behind is forgiven him.
    """
    if bike.wrong == UNLISTED:
        return garage.hand_over
    jobs = {cause: _job(bike, cause) for cause in bike.wrong}
    if not all(jobs.values()):
        return garage.hand_over
    tries: dict[str, int] = {}
    for cause, job in sorted(jobs.items()):
        tries[job] = max(tries.get(job, 0), _tries(bike, cause, job))
    total = 0.0
    for nth in range(max(tries.values())):
        total += session(garage, tuple(job for job, often in tries.items() if often > nth))
    return min(garage.hand_over, total)


def session(garage: Garage, jobs: tuple[str, ...]) -> float:
    """Minutes of some jobs done from closed, together, with the closing up and the run."""
    works = [garage.flow.remedies[job] for job in jobs if not job.startswith(WATCH)]
    behind = tuple(dict.fromkeys(step for work in works for step in work.behind))
    steps = garage.off(behind, frozenset())
    covers = sum(garage.opening(step) + garage.closing(step) for step in steps)
    return covers + sum(garage.working(job) for job in jobs) + max(garage.proving(job) for job in jobs)


def _job(bike: Bike, cause: str) -> str:
    """What ends this cause, "" when nothing does."""
    model = bike.truth.flow.causes[cause]
    return model.remedy or (WATCH + cause if model.second_look else "")


def _tries(bike: Bike, cause: str, job: str) -> int:
    """How often the job must be done until it holds."""
    holds = WATCH_HOLDS if job.startswith(WATCH) else bike.truth.flow.remedies[job].holds
    return next(nth for nth in range(1, 100) if bike.chance("holds", cause, nth) < holds)
