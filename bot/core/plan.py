"""From a case to the planner's arrays and back: what may be done here and now, and what it costs.

Money becomes minutes at the rider's `minute_worth`; every message has a price in minutes. What the
rider cannot do here (place, tools, skill, time left) is left out and kept for the garage list.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from functools import lru_cache, partial
from typing import NamedTuple

from bot.core import odds
from bot.core.choose import Choice, choose
from bot.core.desk import Desk
from bot.core.events import Mended_
from bot.core.findings import History, Known, Pinned
from bot.core.flow import (
    Access,
    Asked_,
    Asking,
    Finds,
    Flow,
    Graded,
    Look,
    Note,
    Number,
    One,
    Remedy,
    Several,
    fits,
)
from bot.core.history import history, sure_now
from bot.core.kept import Kept
from bot.core.problem import AccessStep, Act, Fix, Problem
from bot.core.state import State, Work

LIKELY = 0.2  # a cause whose repair is worth naming when it cannot be done here
MINUTE_WORTH = 0.30  # of the flow's currency; a setting
RUNNING_GATE = 0.25  # no running while one cause that running makes worse is likelier (D8)
RIDING_GATE = 0.05  # no riding while one cause that can hurt the rider is likelier (D8)
WATCH_FROM = 0.3  # below this a harmless cause is no ground to wait and look again
WATCH_HOLDS = 0.95  # a harmless cause has not always gone by the next look
WATCH_MINUTES = 20.0  # a second look: pan, look, photo
PROOF_MINUTES = 30.0  # a run that shows whether it is fixed, where the flow names none
KITS = ("bare", "roll", "garage", "special")
SKILLS = ("anyone", "home", "workshop")


@dataclass(frozen=True)
class Advice:
    """What the planner says: `ask`, `remedy`, `watch`, `proof`, `park` or `hand_over`.

    `left_out`: (id, reason) of what cannot be done here. `refused`: running or riding that the
    odds refuse, with the cause that does it.
    """

    kind: str
    id: str = ""
    choice: Choice | None = None
    left_out: tuple[tuple[str, str], ...] = ()
    refused: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class Limits:
    """What holds here and now. None: no limit told."""

    place: str | None
    kit: int
    skill: int
    minutes_left: float | None
    must_ride: bool
    bars: frozenset[str]


# --- reading flow and state ------------------------------------------------------------------


def signs_told(flow: Flow, id: str) -> frozenset[str]:
    """The signs that an answer of this question or check may show or deny."""
    return _signs_told(Pinned(flow), id)


@lru_cache(maxsize=4096)
def _signs_told(pinned: Pinned, id: str) -> frozenset[str]:
    ask = pinned.flow.asking(id)
    if isinstance(ask, One):
        return frozenset(s for a in ask.answers.values() for s in (*a.shows, *a.denies))
    if isinstance(ask, Several):
        return frozenset(m.shows for m in ask.marks.values() if m.shows)
    if isinstance(ask, Graded):
        return frozenset({ask.sign})
    if isinstance(ask, Number):
        plain = {s for r in ask.ranges for s in (*r.shows, *r.denies)}
        return frozenset(plain | ({ask.sign} if ask.sign else set()))
    return frozenset()


def changing(flow: Flow, id: str) -> bool:
    """Whether it tells something that may be different at the next look."""
    return any(flow.signs[s].changes == "each_look" for s in signs_told(flow, id))


def causes_found(ask: Asked_) -> frozenset[str]:
    """The causes that a check is made for."""
    if isinstance(ask, Look):
        return frozenset(f.cause for f in ask.finds)
    if isinstance(ask, Several):
        return frozenset(f.cause for m in ask.marks.values() for f in m.finds)
    return frozenset()


def in_order(flow: Flow, causes: Collection[str]) -> tuple[str, ...]:
    """Some causes in the author's order: that of a set is another one on each machine."""
    return tuple(cause for cause in flow.causes if cause in causes)


def known(state: State) -> Mapping[str, str]:
    """Traits that are known; 'not sure' is not."""
    return {t: a for t, a in state.traits.items() if a}


def before(flow: Flow, traits: Mapping[str, str], access: Access) -> tuple[str, ...]:
    """What must be off before this access, by what is known of the bike."""
    for trait, lists in access.after_when.items():
        if traits.get(trait) in lists:
            return lists[traits[trait]]
    return access.after


def missing_access(flow: Flow, state: State, behind: Iterable[str]) -> tuple[str, ...]:
    """What is still to come off for `behind`, in the order of opening."""
    wanted = tuple(behind)
    if not wanted:
        return ()
    return _MISSING.of((flow, state.traits), lambda: _missing(flow, state, wanted), state.open, wanted)


_MISSING: Kept[tuple[str, ...]] = Kept(512)


def _missing(flow: Flow, state: State, behind: tuple[str, ...]) -> tuple[str, ...]:
    traits, out = known(state), list[str]()

    def visit(id: str) -> None:
        access = flow.access[id]
        if id in state.open or id in out or any(g in state.open for g in access.given_by):
            return
        for first in before(flow, traits, access):
            visit(first)
        out.append(id)

    for id in behind:
        visit(id)
    return tuple(out)


def shut_first(flow: Flow, state: State) -> str:
    """What goes back next: nothing that another still open one is behind, and fluids last.

    Among the rest, what was opened last.
    """
    traits = known(state)
    under = {s for id in state.open for s in before(flow, traits, flow.access[id])}
    free = [id for id in state.open if id not in under] or list(state.open)
    dry = [id for id in free if not flow.access[id].fills]
    return (dry or free)[-1]


def beliefs(flow: Flow, state: State) -> odds.Beliefs:
    """What is wrong now, with what probability, replayed from the entries."""
    steps = history(flow, state)
    traits = tuple(sorted(known(state).items()))
    return _BELIEFS.of((flow, steps), lambda: _beliefs(Pinned(flow), traits, steps), traits)


_BELIEFS: Kept[odds.Beliefs] = Kept(16)
_SIGNS: Kept[Mapping[str, Known]] = Kept(8)


@lru_cache(maxsize=16)
def _beliefs(pinned: Pinned, traits: tuple[tuple[str, str], ...], steps: History) -> odds.Beliefs:
    """One replay for the several questions that a turn asks of the same case."""
    return odds.posterior(pinned.flow, dict(traits), steps)


def known_signs(flow: Flow, state: State) -> Mapping[str, Known]:
    """The value of each sign that holds now."""
    steps = history(flow, state)
    return _SIGNS.of((flow, steps), lambda: odds.known_signs(flow, steps))


def worth(desk: Desk, state: State) -> float:
    """Currency a minute of the rider is worth."""
    value = state.settings.get("minute_worth", desk.settings.get("minute_worth", MINUTE_WORTH))
    return max(0.01, float(value))


def giving_up(desk: Desk, flow: Flow, state: State) -> float:
    """The price of handing over, in minutes: the rider's word, else the flow's."""
    told = state.settings.get("giving_up", desk.settings.get("giving_up"))
    if told is not None:
        return float(told)
    return flow.hand_over.minutes + flow.hand_over.money / worth(desk, state)


def limits(flow: Flow, state: State, now: datetime) -> Limits:
    """What the rider said of place, tools and time, with the time that has run since."""
    have = state.settings
    left = have.get("minutes_left")
    if left is not None and have.get("place") != "garage":
        said = datetime.fromisoformat(state.settings_at["minutes_left"])
        left = max(0.0, float(left) - (now - said).total_seconds() / 60)
    else:
        left = None
    kit = str(have.get("kit") or "special")
    skill = str(have.get("skill") or "home")
    place = str(have.get("place")) if have.get("place") else None
    bars = state.bars | {b for b, _ in refused(flow, state)}
    return Limits(place, KITS.index(kit), SKILLS.index(skill), left, bool(have.get("must_ride")), bars)


def refused(flow: Flow, state: State) -> tuple[tuple[str, str], ...]:
    """Running or riding that the odds refuse, with the likeliest single cause that does (D8)."""
    return _refused(Pinned(flow), beliefs(flow, state))


@lru_cache(maxsize=16)
def _refused(pinned: Pinned, now: odds.Beliefs) -> tuple[tuple[str, str], ...]:
    flow = pinned.flow
    found = []
    for bar, gate in (("running", RUNNING_GATE), ("riding", RIDING_GATE)):
        harmful = [
            (now.of(id), id)
            for id, c in flow.causes.items()
            if ((c.hazard.running == "engine" or c.hazard.running == "rider") and bar == "running")
            or (c.hazard.riding == "rider" and bar == "riding")
        ]
        worst = max((h for h in harmful if h[0] > gate), default=None)
        if worst:
            found.append((bar, worst[1]))
    return tuple(found)


def barred_for_proof(flow: Flow, state: State, work: Work, needs: str) -> bool:
    """Stop rules always bar a proof run; the odds only after a repair on suspicion (D8)."""
    bars = set(state.bars)
    if work.suspicion:
        others = [(b, c) for b, c in refused(flow, state) if flow.causes[c].remedy != work.remedy]
        bars |= {b for b, _ in others}
    return needs in bars or (needs == "riding" and "running" in bars)


# --- limits --------------------------------------------------------------------------------


def _why_not(flow: Flow, here: Limits, at: Iterable[str], tools: Iterable[str], skill: str) -> str:
    if here.place and here.place not in at:
        return "place"
    lacks = here.kit < len(KITS) - 1  # who has everything lacks nothing
    if lacks and any(KITS.index(flow.tools[t].kit) > here.kit for t in tools if t in flow.tools):
        return "tools"
    return "skill" if SKILLS.index(skill) > here.skill else ""


def obstacle(flow: Flow, state: State, here: Limits, id: str) -> str:
    """Why this question or check cannot be done here: place, tools, skill, time, running; or ''."""
    ask = flow.asking(id)
    if id in state.skipped and state.skipped[id].why == "cant":
        return "cant"
    if _barred(ask.needs, here):
        return "running"
    return _blocked(flow, state, here, ask, ask.behind, ask.minutes)


def _barred(needs: str, here: Limits) -> bool:
    return (needs != "nothing" and "running" in here.bars) or (needs == "riding" and "riding" in here.bars)


def _blocked(
    flow: Flow, state: State, here: Limits, job: Asking | Remedy, behind: Iterable[str], minutes: float
) -> str:
    steps = missing_access(flow, state, behind)
    for step in (flow.access[s] for s in steps):
        why = _why_not(flow, here, step.at, step.tools, step.skill)
        if why:
            return why
    if any(s in state.skipped for s in steps):
        return "cant"
    why = _why_not(flow, here, job.at, job.tools, job.skill)
    if why or here.minutes_left is None:
        return why
    closing = sum(flow.access[s].close for s in (*steps, *state.open)) if here.must_ride else 0.0
    needed = minutes + sum(flow.access[s].open for s in steps) + closing
    return "time" if needed > here.minutes_left else ""


# --- building the problem ---------------------------------------------------------------------


def candidates(flow: Flow, state: State) -> tuple[str, ...]:
    """Questions and checks that could still tell something, wherever the rider is."""
    traits, newest, out = known(state), state.newest, []
    for id, ask in flow.asks.items():
        told = newest.get(id)
        fresh = told is None or (told.slice, told.round) != (state.slice, state.round)
        if told is not None and fresh and told.slice == state.slice and not changing(flow, id):
            fresh = id in flow.checks and told.round != state.round
        if told is not None and told.slice != state.slice and id in flow.questions and not changing(flow, id):
            fresh = False
        put_off = id in state.skipped and state.skipped[id].why != "cant"
        if fresh and not put_off and not isinstance(ask, Note) and fits(ask.only_when, traits):
            out.append(id)
    return tuple(out)


_ACTS: Kept[tuple[Act, ...]] = Kept(2)
_FIXES: Kept[tuple[Fix, ...]] = Kept(4)
_STEPS: Kept[tuple[AccessStep, ...]] = Kept(4)


def _acts_of(
    desk: Desk, flow: Flow, state: State, now: odds.Beliefs, ids: tuple[str, ...]
) -> tuple[Act, ...]:
    """The same acts while nothing but covers has moved: beliefs tell the traits and what is known."""
    prices = (worth(desk, state), desk.message_minutes)
    return _ACTS.of((flow, now), lambda: tuple(_acts(desk, flow, state, now, ids)), ids, *prices)


def _acts(desk: Desk, flow: Flow, state: State, now: odds.Beliefs, ids: Iterable[str]) -> Iterator[Act]:
    known_now = known_signs(flow, state)
    traits = known(state)
    column = {c: n for n, c in enumerate(now.family.causes)}
    for id in ids:
        ask = flow.asking(id)
        table = odds.likelihood(flow, now.family, id, known_now, now.weights, now.hours)
        if table.outcomes.shape[0] < 2:
            continue
        looks = tuple((column[f.cause], f.catches, f.false_alarm) for f in _finds(ask) if f.cause in column)
        yield Act(
            id=id,
            minutes=ask.minutes + ask.money / worth(desk, state) + desk.message_minutes,
            outcomes=table.outcomes,
            need=frozenset(_needed(flow, traits, ask.behind)),
            closed_only=ask.needs != "nothing",
            dont_know=ask.not_sure,
            lumped=table.lumped,
            looks=looks,
        )


def _finds(ask: Asked_) -> tuple[Finds, ...]:
    if isinstance(ask, Look):
        return ask.finds
    return tuple(f for m in ask.marks.values() for f in m.finds) if isinstance(ask, Several) else ()


def _needed(flow: Flow, traits: Mapping[str, str], behind: Iterable[str]) -> Iterator[str]:
    """`behind` with everything that must be off before it."""
    for id in behind:
        yield from _needed(flow, traits, before(flow, traits, flow.access[id]))
        yield id


def _fixes_of(
    desk: Desk, flow: Flow, state: State, now: odds.Beliefs, here: Limits | None
) -> tuple[Fix, ...]:
    """The same fixes while none of them is put off, blocked or freed; beliefs tell the traits."""
    ids = tuple(_doable(flow, state, now, here))
    clearing = _clearing_remedies(flow, state).intersection(ids)
    waits = here is None or "riding" not in state.bars
    prices = (worth(desk, state), desk.message_minutes)
    make = partial(_fixes, desk, flow, state, now, ids, clearing, waits)
    return _FIXES.of((flow, now), lambda: tuple(make()), ids, clearing, waits, *prices)


def _doable(flow: Flow, state: State, now: odds.Beliefs, here: Limits | None) -> Iterator[str]:
    traits, mending = known(state), {flow.causes[c].remedy for c in now.family.causes}
    for id, remedy in flow.remedies.items():
        if id not in mending or not fits(remedy.only_when, traits) or id in state.skipped:
            continue
        if not (here and _blocked(flow, state, here, remedy, remedy.behind, remedy.minutes)):
            yield id


def _fixes(
    desk: Desk, flow: Flow, state: State, now: odds.Beliefs,
    ids: tuple[str, ...], clearing: frozenset[str], waits: bool,
) -> Iterator[Fix]:  # fmt: skip
    traits = known(state)
    column = {c: n for n, c in enumerate(now.family.causes)}
    for id in ids:
        remedy = flow.remedies[id]
        proof = remedy.proof.minutes if remedy.proof and remedy.proof.needs != "nothing" else 0.0
        yield Fix(
            id=id,
            minutes=remedy.minutes + desk.message_minutes * (len(remedy.steps) + 1),
            causes=tuple(n for c, n in column.items() if flow.causes[c].remedy == id),
            holds=remedy.holds,
            need=frozenset(_needed(flow, traits, remedy.behind)),
            proof_minutes=proof,
            clears_stop=id in clearing,
            wasted=sum(p.quantity * (p.price or 0) for p in remedy.parts.values()) / worth(desk, state),
        )
    if waits:
        yield from _waits(flow, column)


def _waits(flow: Flow, column: Mapping[str, int]) -> Iterator[Fix]:
    """Waiting for the next look, for each harmless cause. It means riding on, so D8's gate holds for it."""
    hurts = frozenset(n for c, n in column.items() if flow.causes[c].hazard.riding == "rider")
    for c, n in column.items():
        cause = flow.causes[c]
        if cause.remedy is None and cause.second_look:
            yield Fix(
                f"watch:{c}", WATCH_MINUTES, (n,), WATCH_HOLDS,
                pseudo=True, least=WATCH_FROM, unless=hurts - {n}, most=RIDING_GATE,
            )  # fmt: skip


def _clearing_remedies(flow: Flow, state: State) -> frozenset[str]:
    rules = [flow.stop_rules[s.rule] for s in state.standing if s.rule in flow.stop_rules]
    return frozenset(n for r in rules for n in (*r.cleared_by.any, *r.cleared_by.all) if "." not in n)


def _steps_of(desk: Desk, flow: Flow, state: State) -> tuple[AccessStep, ...]:
    prices = (worth(desk, state), desk.message_minutes)
    return _STEPS.of((flow, state.traits), lambda: _steps(desk, flow, state), *prices)


def _steps(desk: Desk, flow: Flow, state: State) -> tuple[AccessStep, ...]:
    traits, rate = known(state), worth(desk, state)
    return tuple(
        AccessStep(
            id,
            a.open + a.open_money / rate + desk.message_minutes,
            a.close + a.close_money / rate + desk.message_minutes,
            before(flow, traits, a),
            a.given_by,
        )
        for id, a in flow.access.items()
    )


def _remedied(flow: Flow, state: State, now: odds.Beliefs) -> frozenset[int]:
    """Causes already mended and not found again since; a failed repair is not simply repeated."""
    column = {c: n for n, c in enumerate(now.family.causes)}
    reopened = state.reopened[-1][0] if state.reopened else 0
    newest = [t.event for t in state.answers if t.slice == state.slice]
    again = {c for event in newest for c in found_bad(flow, event.ask, event.value)}
    again |= {sure.event.cause for sure in sure_now(flow, state)}
    done = {c for seq, m in state.mended if seq > reopened for c in m.causes}
    return frozenset(column[c] for c in done - again if c in column)


def found_bad(flow: Flow, id: str, value: tuple[str, ...]) -> frozenset[str]:
    ask = flow.found(id)
    if isinstance(ask, Look) and "bad" in value:
        return causes_found(ask)
    if isinstance(ask, Several):
        return frozenset(f.cause for v in value if v in ask.marks for f in ask.marks[v].finds)
    return frozenset()


def found_by_results(flow: Flow, id: str, value: tuple[str, ...]) -> tuple[frozenset[str], ...]:
    """What each bad result of a check may mean, mark by mark."""
    ask = flow.found(id)
    if isinstance(ask, Several):
        return tuple(found_bad(flow, id, (mark,)) for mark in value)
    return (found_bad(flow, id, value),)


def ranked(now: odds.Beliefs) -> list[tuple[str, float]]:
    """All causes with their chance, likeliest first; alike ones as the author wrote them.

    What differs by less than a machine may add or lose is alike, or two machines would tell two orders.
    """
    chances = ((cause, now.of(cause)) for cause in now.family.causes)
    return sorted(chances, key=lambda x: -round(x[1], odds.ALIKE))


def _blocked_repairs(flow: Flow, state: State, here: Limits, now: odds.Beliefs) -> list[tuple[str, str]]:
    """Repairs of likely causes that cannot be done here, likeliest first, with the reason."""
    out = []
    for cause in (c for c, p in ranked(now) if p >= LIKELY):
        id = flow.causes[cause].remedy
        if id is not None:
            remedy = flow.remedies[id]
            why = _blocked(flow, state, here, remedy, remedy.behind, remedy.minutes)
            out += [(id, why)] if why and (id, why) not in out else []
    return out


def problem(
    desk: Desk, flow: Flow, state: State, here: Limits | None
) -> tuple[Problem, tuple[tuple[str, str], ...]]:
    """The planner's arrays, and what was left out for the limits (None: no limits)."""
    now = beliefs(flow, state)
    able, left = [], []
    for id in candidates(flow, state):
        why = obstacle(flow, state, here, id) if here else ""
        (left.append((id, why)) if why else able.append(id))
    left += _blocked_repairs(flow, state, here, now) if here else []
    return _same_problem(desk, flow, state, now, here, tuple(able)), tuple(left)


_SAME: Kept[Problem] = Kept(4)


def _same_problem(
    desk: Desk, flow: Flow, state: State, now: odds.Beliefs, here: Limits | None, able: tuple[str, ...]
) -> Problem:
    """The very problem that was laid out last, if it comes to the same: then its choice is known too."""
    parts = (
        now, _acts_of(desk, flow, state, now, able), _fixes_of(desk, flow, state, now, here),
        _steps_of(desk, flow, state),
    )  # fmt: skip
    rest = _Rest(
        giving_up(desk, flow, state) + desk.message_minutes,
        frozenset(state.open),
        _remedied(flow, state, now),
        here is not None and "running" in state.bars,
        here is not None and bool(state.of_the_bike),  # what stands is not proved away by a run
    )
    return _SAME.of(parts, lambda: _problem(*parts, rest), rest)


class _Rest(NamedTuple):
    """The plain values of a problem that the case tells."""

    hand_over: float
    open: frozenset[str]
    remedied: frozenset[int]
    barred_run: bool
    barred_proof: bool


def _problem(
    now: odds.Beliefs,
    acts: tuple[Act, ...],
    fixes: tuple[Fix, ...],
    steps: tuple[AccessStep, ...],
    rest: _Rest,
) -> Problem:
    family = now.family
    return Problem(
        member=family.member,
        weights=now.chances,
        actions=acts,
        fixes=fixes,
        steps=steps,
        proof=PROOF_MINUTES,
        empty=family.empty,
        unlisted=family.unlisted,
        **rest._asdict(),
    )


Laid = tuple[Problem, tuple[tuple[str, str], ...]]
_PROBLEMS: Kept[Laid] = Kept(
    2
)  # a closing list, or what giving up costs, is asked between two that are the same
_CHOICES: Kept[Choice] = Kept(2)


def _laid_out(desk: Desk, flow: Flow, state: State, here: Limits) -> Laid:
    """The problem, as long as nothing of what it is made from has changed."""
    if state.confirmed:  # what a mechanic is sure of depends on more than the parts that are named here
        return problem(desk, flow, state, here)
    parts = (
        flow, beliefs(flow, state), state.traits, state.answers, state.skipped, state.mended, state.reopened,
        state.stops,
    )  # fmt: skip
    prices = (giving_up(desk, flow, state), worth(desk, state), desk.message_minutes)
    plain = (here, *prices, state.open, state.slice, state.round)
    return _PROBLEMS.of(parts, lambda: problem(desk, flow, state, here), *plain)


def _chosen(built: Problem) -> Choice:
    return _CHOICES.of((built,), lambda: choose(built))


def advise(desk: Desk, flow: Flow, state: State, now: datetime) -> Advice:
    """The planner's advice for here and now; parks when only the place or the time is wrong."""
    here = limits(flow, state, now)
    built, left = _laid_out(desk, flow, state, here)
    homely = [x for x in left if x[1] in ("place", "tools", "time", "skill")]
    if homely and here.place != "garage":
        free = replace(here, place=None, kit=len(KITS) - 1, minutes_left=None)
        built = replace(built, parked=problem(desk, flow, state, free)[0])
    choice = _chosen(built)
    return Advice(*_translate(choice), choice=choice, left_out=left, refused=refused(flow, state))


def _translate(choice: Choice) -> tuple[str, str]:
    id = choice.ids[0] if choice.ids else ""
    if choice.kind == "act":
        return "ask", id
    if choice.kind == "fix":
        return "remedy", id
    return choice.kind, id.removeprefix("watch:")


# --- prices for the fixed order ----------------------------------------------------------------


def price(flow: Flow, state: State, id: str) -> float:
    """Minutes of a check with what must come off and go on for it."""
    ask = flow.asking(id)
    steps = missing_access(flow, state, ask.behind)
    return ask.minutes + sum(flow.access[s].open + flow.access[s].close for s in steps)


def affordable(desk: Desk, flow: Flow, state: State, now: datetime, id: str) -> bool:
    """Whether a check can be done here and costs less than handing over."""
    if not fits(flow.asking(id).only_when, known(state)) or id in state.skipped:
        return False
    if obstacle(flow, state, limits(flow, state, now), id):
        return False
    return price(flow, state, id) < giving_up(desk, flow, state)


def worth_while_open(desk: Desk, flow: Flow, state: State, now: datetime) -> tuple[str, ...]:
    """Looks that need nothing more to come off and still pay before the cover goes back."""
    if not any(_open_now(flow, state, id) for id in candidates(flow, state)):
        return ()
    built, _ = _laid_out(desk, flow, state, limits(flow, state, now))
    return tuple(id for id in _chosen(built).worth_while_open if _open_now(flow, state, id))


def _open_now(flow: Flow, state: State, id: str) -> bool:
    ask = flow.asking(id)
    reachable = bool(ask.behind) and not missing_access(flow, state, ask.behind)
    return id in flow.checks and reachable and id not in state.skipped


def free_look(flow: Flow, state: State, now: datetime, remedy: str) -> str | None:
    """A look at the very cause that comes for nothing on the way to a repair on suspicion."""
    causes = {c for c, m in flow.causes.items() if m.remedy == remedy}
    newest = [t.event for t in state.answers if t.slice == state.slice]
    if any(causes & found_bad(flow, event.ask, event.value) for event in newest):
        return None
    on_the_way = set(_needed(flow, known(state), flow.remedies[remedy].behind))
    here = limits(flow, state, now)
    for id in candidates(flow, state):
        ask = flow.asking(id)
        within = set(_needed(flow, known(state), ask.behind)) <= on_the_way
        if (
            id in flow.checks
            and causes & causes_found(ask)
            and within
            and not obstacle(flow, state, here, id)
        ):
            return id
    return None


def fresh_work_looks(flow: Flow, state: State, mended: Mended_) -> tuple[str, ...]:
    """Looks not made since the repair: at the mended causes, at what it may leave, at its cover."""
    remedy = flow.remedies[mended.remedy]
    newest, since = state.newest, _reopened_at(state)
    finding = {id: causes_found(ask) for id, ask in flow.checks.items()}
    behind = set(remedy.behind)
    near = [id for id, a in flow.checks.items() if a.behind and set(a.behind) <= behind]
    same_cover = {c for id in near for c in finding[id]}
    groups = (set(mended.causes), set(remedy.may_leave), same_cover)
    made = {id for id, told in newest.items() if told.seq > since}
    ordered = [id for group in groups for id, causes in finding.items() if causes & group and id not in made]
    return tuple(dict.fromkeys(ordered))


def found_since_reopened(flow: Flow, state: State) -> bool:
    """Whether a look has found something since the fault came back: then that goes first."""
    at = _reopened_at(state)
    return any(t.seq > at and found_bad(flow, t.event.ask, t.event.value) for t in state.answers)


def _reopened_at(state: State) -> int:
    return state.reopened[-1][0] if state.reopened else 0
