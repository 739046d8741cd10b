"""What comes next in a case: the fixed order of things, and only then the planner.

The order is the order of care: finish what is being done, ask what can hurt, know the bike, ask
the author's opening questions, then let the planner choose. One function per station; the first
that has something to say wins.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import TypeGuard

from bot.core import curing, plan, stops
from bot.core.desk import Desk
from bot.core.events import (
    LookRound,
    Mended_,
    ProofRun,
    Reopened,
    SaidOfRepair,
    WasAsked,
    WentOn,
)
from bot.core.flow import Flow, One, Remedy, fits
from bot.core.history import acting, sure_now
from bot.core.plan import known
from bot.core.state import State, Told, Work


@dataclass(frozen=True)
class Next:
    """The next thing to put to the rider. `extra` depends on `what`; `advice` is the planner's."""

    what: str
    id: str = ""
    extra: tuple[str, ...] = ()
    advice: plan.Advice | None = None


@dataclass(frozen=True)
class Case:
    """All that a station may read. `at_bench`: a mechanic is asked, not the rider."""

    desk: Desk
    flow: Flow
    state: State
    now: datetime
    at_bench: bool = False


Station = Callable[[Case], Next | None]


def next_step(desk: Desk, flow: Flow | None, state: State, now: datetime, at_bench: bool = False) -> Next:
    """The next step of a case. Without a flow only the problem can be asked."""
    if flow is None:
        return Next("problem")
    case = Case(desk, flow, state, now, at_bench)
    for station in STATIONS:
        found = station(case)
        if found is not None:
            return found
    raise AssertionError("the planner always has an answer")


def answered(state: State, id: str) -> bool:
    """Whether this was answered, or put aside, as far as it still counts."""
    if id in state.skipped:
        return True
    told = state.told(id)
    return whole(told) and told.slice == state.slice and told.round == state.round


def whole(told: Told | None) -> TypeGuard[Told]:
    """Whether it answers its question: marks told unprompted leave the others open."""
    return told is not None and told.event.form != "some_marks"


def settled(flow: Flow, state: State, id: str) -> bool:
    """Answered now, or earlier if nothing that it tells changes with each look."""
    if answered(state, id):
        return True
    told = state.told(id)
    return whole(told) and not plan.changing(flow, id)


def _wanted(case: Case, ids: tuple[str, ...]) -> Next | None:
    for id in ids:
        ask = case.flow.asking(id)
        if not settled(case.flow, case.state, id) and fits(ask.only_when, known(case.state)):
            return Next("check" if id in case.flow.checks else "question", id)
    return None


def let_the_bike_wait(case: Case) -> Next | None:
    """While somebody is hurt nothing is asked about the bike, whatever is in hand."""
    found = stops.ending_questions(case.flow, case.state)
    return Next("pause", found[0].rule) if found else None


def ask_safety(case: Case) -> Next | None:
    """What can hurt; not in the middle of work or of a second look, which have their own order."""
    if case.state.work is not None or case.state.watch is not None:
        return None
    return _wanted(case, case.flow.safety)


def name_the_bike(case: Case) -> Next | None:
    return Next("bike") if case.state.bike is None and not case.at_bench else None


def ask_traits(case: Case) -> Next | None:
    for trait in case.flow.needs_traits:
        model = case.flow.traits[trait]
        if trait not in case.state.traits and fits(model.only_when, known(case.state)):
            return Next("trait", trait)
    return None


def ask_opening(case: Case) -> Next | None:
    """The author's first questions; where running is barred, only those that matter all the same."""
    if case.state.slice > 0:
        return None
    barred = "running" in case.state.bars
    return _wanted(case, tuple(q for q in case.flow.opening if not barred or _matters_under_a_stop(case, q)))


def _matters_under_a_stop(case: Case, id: str) -> bool:
    """What needs no work, and opens a way or may raise another such stop. The rest is the planner's."""
    ask = case.flow.asking(id)
    if id in case.flow.checks or not _free(case, id):
        return False
    opens = isinstance(ask, One) and any(answer.opens for answer in ask.answers.values())
    return opens or stops.may_bar_running(case.flow, case.state, id)


def _free(case: Case, id: str) -> bool:
    """Whether nothing has to come off, to run or to be ridden for it."""
    ask = case.flow.asking(id)
    return ask.needs == "nothing" and not plan.missing_access(case.flow, case.state, ask.behind)


# --- nearly a stop ---------------------------------------------------------------------------

AT_MOST = 2  # questions that are put for one rule only because it is not far from being true
SHORT = "short"  # marks such a question, before the rule that it is put for


def complete_a_stop(case: Case) -> Next | None:
    """One sign short of a stop: the cheapest question that tells it, before all but the work in hand."""
    if _in_the_middle(case):
        return None
    for short in stops.nearly_true(case.flow, case.state):
        if len(short.alls) == 1 and not short.anys and (teller := _teller(case, short.alls)):
            return Next("question", teller)
    return None


def come_nearer_a_stop(case: Case) -> Next | None:
    """Two signs short, or one of several would do: asked in turn before anything has to run.

    The opening comes first, as it may tell the same; where running is barred there is no haste; and
    a second look has its own questions.
    """
    if case.state.watch is not None or "running" in case.state.bars:
        return None
    if _in_the_middle(case) or ask_opening(case) is not None:
        return None
    for short in stops.nearly_true(case.flow, case.state):
        put = _put_for(case.state, short.rule)
        wanted = [_teller(case, signs, _by_memory(case, short)) for signs in short.groups]
        if all(wanted) and len(put) + len(wanted) <= AT_MOST and not _one_of_any_asked(case, short, put):
            return Next("question", wanted[0] or "", (SHORT, short.rule))
    return None


def _by_memory(case: Case, short: stops.Short) -> bool:
    """Where others of several signs were told to be absent, no piece is taken in hand for the rest."""
    return bool(short.anys) and len(short.anys) < len(stops.any_of(case.flow, short.rule))


def _teller(case: Case, signs: tuple[str, ...], by_memory: bool = False) -> str | None:
    """The cheapest open question, with no work to it, that tells one of these signs."""
    able = [
        (a.minutes, id)
        for id, a in case.flow.questions.items()
        if plan.signs_told(case.flow, id).intersection(signs)
        and _free(case, id)
        and not (by_memory and a.tools)
        and not settled(case.flow, case.state, id)
        and fits(a.only_when, known(case.state))
    ]
    return min(able)[1] if able else None


def _put_for(state: State, rule: str) -> frozenset[str]:
    """The questions that were put for this rule since the bike was last mended or run."""
    put: set[str] = set()
    for entry in acting(state):
        if isinstance(entry.event, (Mended_, LookRound, WentOn)):
            put.clear()
        elif isinstance(entry.event, WasAsked) and entry.event.extra == (SHORT, rule):
            put.add(entry.event.id)
    return frozenset(put)


def _one_of_any_asked(case: Case, short: stops.Short, put: frozenset[str]) -> bool:
    """Where one of several signs would do, one question is enough."""
    told = {sign for id in put for sign in plan.signs_told(case.flow, id)}
    return not short.alls and not told.isdisjoint(stops.any_of(case.flow, short.rule))


def _in_the_middle(case: Case) -> bool:
    """Of a repair, of a closing list, or of a proof run of which nothing was told yet."""
    found = remedy_of(case)
    closing = any(key.partition("/")[0] in case.state.open for key in case.state.points)
    at_work = found is not None and not found[0].mended
    return at_work or closing or unheard_proof(case.state) is not None


def ask_settings(case: Case) -> Next | None:
    """Where, with what tools, and away from home how long and whether he must ride back on it."""
    have = case.state.settings
    if not have.get("place"):
        return Next("setting", "place")
    if not have.get("kit"):
        return Next("setting", "kit")
    if have["place"] != "garage":
        if "minutes_left" not in have:
            return Next("setting", "minutes_left")
        if "must_ride" not in have and "riding" not in case.state.bars:
            return Next("setting", "must_ride")
    return None


# --- work ----------------------------------------------------------------------------------


def remedy_of(case: Case) -> tuple[Work, Remedy] | None:
    work = case.state.work
    return (work, case.flow.remedies[work.remedy]) if work and work.remedy else None


def do_work(case: Case) -> Next | None:
    """Parts, access, steps, the closing list of the remedy; then all that is still open."""
    found = remedy_of(case)
    if found is None or found[0].mended:
        return None
    work, remedy = found
    if work.told:
        return _open_point(case, work.remedy, tuple(p.id for p in remedy.closing))
    if remedy.parts and f"{work.remedy}/parts" not in work.done:
        return Next("step", f"{work.remedy}/parts")
    missing = plan.missing_access(case.flow, case.state, remedy.behind)
    if missing:
        return Next("access", missing[0], (work.remedy,))
    for n in range(len(remedy.steps)):
        if f"{work.remedy}/{n}" not in work.done:
            return Next("step", f"{work.remedy}/{n}")
    return _open_point(case, work.remedy, tuple(p.id for p in remedy.closing))


def _open_point(case: Case, of: str, points: tuple[str, ...]) -> Next | None:
    for point in points:
        if case.state.points.get(f"{of}/{point}") not in ("yes", "unsure"):
            return Next("point", f"{of}/{point}")
    return None


def look_while_open(case: Case) -> Next | None:
    """Before a cover goes back on: what else is worth doing while it is off."""
    if not (case.state.open and _must_shut(case)):
        return None
    worth = plan.worth_while_open(case.desk, case.flow, case.state, case.now)
    return Next("check", worth[0], ("while_open",)) if worth else None


def _must_shut(case: Case) -> bool:
    """After the work, before the engine runs; while the run is barred, what is open stays open."""
    found = remedy_of(case)
    if found is None or not found[0].mended or found[0].proved:
        return False
    work, remedy = found
    needs = remedy.proof.needs if remedy.proof else "nothing"
    return not plan.barred_for_proof(case.flow, case.state, work, needs)


def unmended(flow: Flow, state: State) -> tuple[str, ...]:
    """Remedies of causes that a look found, or a mechanic confirmed, and no later work has mended.

    A result that may mean several causes has found those of them that are likely now, and none of the others.
    """
    done = {m.remedy: seq for seq, m in state.mended}
    newest = {t.event.ask: t for t in state.answers if t.event.ask in flow.checks}
    wanted = [
        (remedy, t.seq)
        for t in newest.values()
        for cause in _found(flow, state, t)
        if (remedy := flow.causes[cause].remedy)
    ]
    sure = ((flow.causes.get(told.event.cause), told.seq) for told in sure_now(flow, state))
    wanted += [(cause.remedy, seq) for cause, seq in sure if cause is not None and cause.remedy]
    return tuple(dict.fromkeys(r for r, seq in wanted if done.get(r, 0) < seq))


def _found(flow: Flow, state: State, told: Told) -> tuple[str, ...]:
    found: set[str] = set()
    for may in plan.found_by_results(flow, told.event.ask, told.event.value):
        now = plan.beliefs(flow, state) if len(may) > 1 else None
        found |= {cause for cause in may if now is None or now.of(cause) >= plan.LIKELY}
    return plan.in_order(flow, found)


def mend_while_open(case: Case) -> Next | None:
    """A second fault that a look found behind what is open is mended before it closes."""
    if not (case.state.open and _must_shut(case)):
        return None
    for remedy in unmended(case.flow, case.state):
        within = not plan.missing_access(case.flow, case.state, case.flow.remedies[remedy].behind)
        if within and remedy not in case.state.skipped:
            return Next("remedy", remedy)
    return None


def close_up(case: Case) -> Next | None:
    """Covers go back in reverse order, each with its list."""
    if not (case.state.open and _must_shut(case)):
        return None
    return shut_last(case)


def shut_last(case: Case) -> Next | None:
    """The next point or the shutting of what must go back first."""
    if not case.state.open:
        return None
    last = plan.shut_first(case.flow, case.state)
    point = _open_point(case, last, tuple(p.id for p in case.flow.access[last].closing))
    return point or Next("shut", last)


def prove_work(case: Case) -> Next | None:
    """The proof run, unless a stop rule bars it; the odds do not bar it after a found cause."""
    run = unheard_proof(case.state)
    if run is not None:
        return Next("held", run)
    found = remedy_of(case)
    if found is None or not found[0].mended:
        return None
    work, remedy = found
    if remedy.proof is None:
        return Next("held", work.remedy)
    if plan.barred_for_proof(case.flow, case.state, work, remedy.proof.needs):
        return None
    return _let_cure(case) or Next("proof", work.remedy)


def _let_cure(case: Case) -> Next | None:
    """Before it runs: what was glued or sealed has its time, the longest first."""
    waits = [(end, step) for step, end in curing.until(case.flow, case.state).items() if end > case.now]
    return Next("cure", max(waits)[1]) if waits else None


_OF_PROOFS = frozenset({ProofRun, SaidOfRepair, Reopened})


def unheard_proof(state: State) -> str | None:
    """The remedy of a proof run whose outcome was not told yet ('' for a general run), or None."""
    run = None
    for entry in acting(state, _OF_PROOFS):
        if isinstance(entry.event, ProofRun):
            run = entry.event.remedy
        elif isinstance(entry.event, (SaidOfRepair, Reopened)):
            run = None
    return run


# --- second looks --------------------------------------------------------------------------


def look_again(case: Case) -> Next | None:
    """In a second look: its questions; between looks: wait for the next."""
    watch = case.state.watch
    if watch is None:
        return None
    if not watch.in_round:
        return _let_cure(case) or Next("second_look", watch.plan, (str(watch.index),))
    for id in case.flow.second_looks[watch.plan].asks:
        if not answered(case.state, id):
            return Next("check" if id in case.flow.checks else "question", id)
    return None


def relapsed(state: State) -> tuple[Mended_, ...]:
    """The repairs that a reopened case looks at first, newest first; empty when not reopened."""
    if not state.reopened or not state.mended:
        return ()
    at = state.reopened[-1][0]
    if any(seq > at for seq, _ in state.mended):
        return ()
    return tuple(m for _, m in reversed(state.mended))


def question_fresh_work(case: Case) -> Next | None:
    """Unconfirmed closing points and how the work was done come before anything else (D28, D31)."""
    for mended in relapsed(case.state):
        remedy = case.flow.remedies[mended.remedy]
        for point in remedy.closing:
            key = f"{mended.remedy}/{point.id}"
            if case.state.points.get(key) != "yes" and f"{key}/again" not in case.state.points:
                return Next("point", key, ("again",))
        for sign in remedy.ask_after:
            if f"{mended.remedy}/{sign}" not in case.state.after_work:
                return Next("after_work", f"{mended.remedy}/{sign}")
    return None


def look_at_fresh_work(case: Case) -> Next | None:
    """Looks for what the repair may have left, and for causes behind the same cover, come first."""
    if plan.found_since_reopened(case.flow, case.state):
        return None
    for mended in relapsed(case.state):
        for id in plan.fresh_work_looks(case.flow, case.state, mended):
            if plan.affordable(case.desk, case.flow, case.state, case.now, id):
                return _open_first(case, "check", id, ("relapse",))
    return None


# --- stops and the planner -----------------------------------------------------------------


def clear_a_stop(case: Case) -> Next | None:
    """The look that clears the gravest stop, cheapest first, while it costs less than giving up."""
    for rules in stops.by_gravity(case.state):
        able = [
            (plan.price(case.flow, case.state, id), n, id)
            for n, id in enumerate(stops.clearing_looks(case.flow, case.state, rules))
            if plan.affordable(case.desk, case.flow, case.state, case.now, id)
        ]
        if able:
            return _open_first(case, "check", min(able)[2], ("clears",))
    return None


def _open_first(case: Case, what: str, id: str, extra: tuple[str, ...] = ()) -> Next:
    """What stands in the way comes off first, one thing a message; before it runs all is on and cured."""
    ask = case.flow.asking(id)
    if ask.needs != "nothing" and (shut := shut_last(case)):
        return Next(shut.what, shut.id, (id,))
    if ask.needs != "nothing" and (cure := _let_cure(case)):
        return cure
    missing = plan.missing_access(case.flow, case.state, ask.behind)
    return Next("access", missing[0], (id, *extra)) if missing else Next(what, id, extra)


def ask_planner(case: Case) -> Next | None:
    advice = plan.advise(case.desk, case.flow, case.state, case.now)
    if advice.kind == "ask":
        what = "check" if advice.id in case.flow.checks else "question"
        step = _open_first(case, what, advice.id)
        return Next(step.what, step.id, step.extra, advice)
    if advice.kind == "remedy":
        seen = advice.id in unmended(case.flow, case.state)
        look = None if seen else plan.free_look(case.flow, case.state, case.now, advice.id)
        if look:
            return _open_first(case, "check", look, ("first",))
    if advice.kind in ("watch", "proof") and case.state.open:
        return shut_last(case)
    if advice.kind == "proof" and (cure := _let_cure(case)):
        return cure
    if advice.kind == "hand_over" and "giving_up" not in {**case.desk.settings, **case.state.settings}:
        return Next("setting", "giving_up", (), advice)
    return Next(advice.kind, advice.id, (), advice)


STATIONS: tuple[Station, ...] = (
    let_the_bike_wait,
    ask_safety,
    name_the_bike,
    ask_traits,
    complete_a_stop,
    do_work,
    come_nearer_a_stop,
    look_while_open,
    mend_while_open,
    close_up,
    prove_work,
    look_again,
    ask_opening,
    question_fresh_work,
    ask_settings,
    clear_a_stop,
    look_at_fresh_work,
    ask_planner,
)
"""In this order: who is hurt, what can hurt, the bike, the work in hand, the second look, then the search."""
