"""A case as its entries left it: the fold of its entries, and nothing else.

`apply` needs no flow. `took_back` withdraws entries: the rest is folded anew. A stop that was raised is
an entry of its own and survives the answer that raised it; only `stop_lifted` ends it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from functools import partial, reduce
from typing import Any

from bot.core.events import (
    AccessOpened,
    AccessShut,
    AfterWork,
    Answered,
    BikeRenamed,
    BikeTaken,
    CaseHeld,
    CauseConfirmed,
    Ended,
    Entry,
    FlowChosen,
    FlowMoved,
    HoldEnded,
    HoursRead,
    LookJudged,
    LookRound,
    Mended_,
    Noted,
    Opened,
    OutcomeTold,
    PointTold,
    ProofRun,
    Ran,
    RemedyBegun,
    Reopened,
    RiderAnswered,
    RiderAsked,
    Role,
    SaidOfRepair,
    SettingTold,
    Skipped,
    StepDone,
    StopLifted,
    StopRaised,
    TakenUp,
    TraitTold,
    VinTold,
    WasAsked,
    WasHeard,
    WatchSet,
    WentOn,
    Withdrawn,
    WorkLeft,
)
from bot.core.kept import Kept


@dataclass(frozen=True)
class Asked:
    seq: int
    what: str
    id: str
    at: str
    extra: tuple[str, ...] = ()


@dataclass(frozen=True)
class Told:
    """An answer that still acts, with who gave it, when, in which slice and round."""

    seq: int
    at: str
    who: str
    role: Role
    slice: int
    event: Answered
    round: int


@dataclass(frozen=True)
class Stop:
    rule: str
    seq: int
    at: str
    bars: tuple[str, ...]
    because: tuple[int, ...]
    lifted_by: str = ""
    looked_at: str = ""  # by the mechanic whose word lifted it, or what was told of a doctor
    taken_up: int = 0  # the entry by which the bike was taken up under it last
    taken_by: str = ""  # other | rider


@dataclass(frozen=True)
class Work:
    """A remedy under way: which steps are done. `before`: its closing points as they stood till then.

    `touched`: something was done or opened, so that what was confirmed before no longer holds.
    `told`, `money`: as when it was begun.
    """

    remedy: str
    seq: int
    suspicion: bool
    told: bool = False
    money: float | None = None
    done: tuple[str, ...] = ()
    mended: bool = False
    proved: bool = False
    before: Mapping[str, str] = field(default_factory=dict)
    touched: bool = False


@dataclass(frozen=True)
class Watch:
    plan: str
    index: int
    for_remedy: str
    from_hours: float | None
    at: str
    in_round: bool = False


@dataclass(frozen=True)
class Confirmed:
    """What a mechanic was sure of: in which slice, by whom, when."""

    seq: int
    at: str
    who: str
    slice: int
    event: CauseConfirmed


@dataclass(frozen=True)
class Query:
    """Something that a mechanic asked the rider. `answer`: None while it is open."""

    seq: int
    at: str
    who: str
    words: str
    answer: RiderAnswered | None = None


@dataclass(frozen=True)
class State:
    """A case as its entries left it."""

    entries: tuple[Entry, ...] = ()
    withdrawn: frozenset[int] = frozenset()
    complaint: str = ""
    flow: str = ""
    hash: str = ""
    title: str = ""
    bike: str | None = None
    nickname: str = ""
    traits: Mapping[str, str] = field(default_factory=dict)
    settings: Mapping[str, str | float | bool] = field(default_factory=dict)
    settings_at: Mapping[str, str] = field(default_factory=dict)
    benches: Mapping[str, Mapping[str, str | float | bool]] = field(default_factory=dict)  # by who holds it
    asked: Mapping[str, Asked] = field(default_factory=dict)  # by seat
    answers: tuple[Told, ...] = ()
    skipped: Mapping[str, Skipped] = field(default_factory=dict)
    skipped_by: Mapping[str, str] = field(default_factory=dict)  # who did, by question
    open: tuple[str, ...] = ()  # access now open, in the order it was opened
    opened_ever: tuple[str, ...] = ()
    slice: int = 0
    round: int = 0
    work: Work | None = None
    mended: tuple[tuple[int, Mended_], ...] = ()
    points: Mapping[str, str] = field(default_factory=dict)  # "<of>/<point>" -> yes|no|unsure
    after_work: Mapping[str, bool] = field(default_factory=dict)  # "<remedy>/<sign>" -> bad
    watch: Watch | None = None
    judged: tuple[tuple[int, LookJudged], ...] = ()
    stops: tuple[Stop, ...] = ()
    hours: tuple[float, float] | None = None
    ran_since: float = 0  # running hours since the last repair
    went_on: tuple[tuple[str, WentOn], ...] = ()
    notes: tuple[tuple[int, str, str, Noted], ...] = ()  # seq, at, who, note
    reopened: tuple[tuple[int, Reopened], ...] = ()
    minutes: float = 0
    money: float = 0
    ended: Ended | None = None
    vin: VinTold | None = None
    holders: tuple[str, ...] = ()  # mechanics who hold the case now, by name
    queries: tuple[Query, ...] = ()
    confirmed: tuple[Confirmed, ...] = ()
    outcome: OutcomeTold | None = None  # of a closed case; none once it is reopened

    @property
    def next_seq(self) -> int:
        return self.entries[-1].seq + 1 if self.entries else 1

    @property
    def rider(self) -> str:
        """Whose case it is: who spoke first; "" before anyone did."""
        riders = (e.who for e in self.entries if e.role != "mechanic")
        return next(riders, self.entries[0].who if self.entries else "")

    @property
    def unanswered(self) -> tuple[Query, ...]:
        """What mechanics want to know of the rider and he has not answered, oldest first."""
        return tuple(q for q in self.queries if q.answer is None)

    @property
    def standing(self) -> tuple[Stop, ...]:
        """Stop rules that stand now."""
        return tuple(s for s in self.stops if not s.lifted_by)

    @property
    def of_the_bike(self) -> tuple[Stop, ...]:
        """Stops that speak of whoever has the bike now: not those of a hurt person who gave it away."""
        return tuple(s for s in self.standing if s.taken_by != "other")

    @property
    def bars(self) -> frozenset[str]:
        """What is barred. Somebody else may run a hurt rider's engine; what is ridden, the rider rides."""
        given = {b for s in self.standing for b in s.bars if b != "running"}
        return frozenset(given.union(*(s.bars for s in self.of_the_bike)))

    @property
    def newest(self) -> dict[str, Told]:
        """The newest acting answer to each question or check, for who asks it of many."""
        return {told.event.ask: told for told in self.answers}

    def told(self, ask: str, round: int | None = None) -> Told | None:
        """The newest acting answer to this question or check, or None."""
        for told in reversed(self.answers):
            if told.event.ask == ask and (round is None or told.round == round):
                return told
        return None


def fold(entries: Iterable[Entry]) -> State:
    """The state that these entries lead to, from the first on; as `apply`, one after the other."""
    told = tuple(entries)
    last = max((i for i, e in enumerate(told) if isinstance(e.event, Withdrawn)), default=-1)
    if last < 0:
        return reduce(apply, told, State())
    # Each taking back folds anew: only the last of them matters, with all that is gone by then.
    before = told[:last]
    gone = frozenset(
        seq for e in told[: last + 1] if isinstance(e.event, Withdrawn) for seq in e.event.entries
    )
    return reduce(apply, told[last + 1 :], _fold_without(gone, before, told[last]))


def apply(state: State, entry: Entry) -> State:
    """The state after one more entry. Pure; raises KeyError on an event it does not know."""
    if isinstance(entry.event, Withdrawn):
        return _take_back(state, entry)
    grown = _grown(state, (*state.entries, entry))
    return _EFFECTS[entry.event.kind](grown, entry, entry.event)


_AFTER: Kept[State] = Kept(32)  # more than the events of a turn


def grow(state: State, at: str, who: str, role: Role, event: Any) -> State:
    """The state after an event that is told now.

    The very same state for whoever tells the same event of the same state: what the talk worked out for a
    state is kept for that object, so who follows the talk must not come to another one that is equal.
    """
    make = partial(Entry, state.next_seq, at, who, role, event)
    return _AFTER.of((state, event), lambda: apply(state, make()), at, who, role)


def _grown(state: State, entries: tuple[Entry, ...]) -> State:
    """The same state with other entries, as `replace` makes it, without setting forty fields one by one."""
    grown = object.__new__(State)
    grown.__dict__.update(state.__dict__, entries=entries)
    return grown


def _take_back(state: State, entry: Entry) -> State:
    """Fold everything anew without what is withdrawn; stops stand on their own (D9)."""
    return _fold_without(state.withdrawn | frozenset(entry.event.entries), state.entries, entry)


def _fold_without(gone: frozenset[int], before: tuple[Entry, ...], entry: Entry) -> State:
    acting = [e for e in before if e.seq not in gone and not isinstance(e.event, Withdrawn)]
    return replace(fold(acting), entries=(*before, entry), withdrawn=gone)


WAITING = ("handed_over", "parked", "put_off")  # ends after which a case is gone on with
# Kinds of open questions by what they have to do with the search for the fault.
BESIDE = ("book", "book_bike", "shares")  # beside the case: they move nothing of it
OWN_WORDS = ("cause", "repair", "lift", "outcome")  # asked because someone began to tell it
ASIDE = ("none", *BESIDE, "query", *OWN_WORDS)  # no part of the search
FOLLOWING = ("cure", "proof", "held", "second_look")  # what a rider still does after a case was closed
STILL_ASKED = frozenset({"query", *OWN_WORDS, *FOLLOWING})  # answered after the end, too


def _hear(s: State, e: Entry, v: WasHeard) -> State:
    """A word of the mechanic who holds it takes up a case that waits."""
    return _taken_up(s) if e.role == "mechanic" and e.who in s.holders else s


def _taken_up(s: State) -> State:
    return replace(s, ended=None) if s.ended and s.ended.how in WAITING else s


def _open_case(s: State, e: Entry, v: Opened) -> State:
    return replace(s, complaint=v.complaint)


def _choose_flow(s: State, e: Entry, v: FlowChosen) -> State:
    return replace(s, flow=v.flow, hash=v.hash, title=v.title)


def _move_flow(s: State, e: Entry, v: FlowMoved) -> State:
    return replace(s, hash=v.hash, title=v.title)


def _take_bike(s: State, e: Entry, v: BikeTaken) -> State:
    hours = s.hours if v.hours is None else (v.hours, v.hours)
    vin = VinTold(vin=v.vin, digit=v.digit) if v.vin and s.vin is None else s.vin
    return replace(s, bike=v.bike, nickname=v.nickname, traits={**v.traits, **s.traits}, hours=hours, vin=vin)


def _rename_bike(s: State, e: Entry, v: BikeRenamed) -> State:
    return replace(s, nickname=v.nickname)


def _tell_trait(s: State, e: Entry, v: TraitTold) -> State:
    return replace(s, traits={**s.traits, v.trait: v.answer})


def _tell_setting(s: State, e: Entry, v: SettingTold) -> State:
    """A setting of the case; what a mechanic who holds it tells is of his own bench."""
    if e.role == "mechanic" and e.who in s.holders:
        return replace(s, benches={**s.benches, e.who: {**s.benches.get(e.who, {}), v.setting: v.value}})
    return replace(
        s,
        settings={**s.settings, v.setting: v.value},
        settings_at={**s.settings_at, v.setting: e.at},
        ended=None if s.ended and s.ended.how in WAITING[1:] else s.ended,
    )


def _ask(s: State, e: Entry, v: WasAsked) -> State:
    closed = s.ended is not None and s.ended.how == "closed"
    alive = s.ended if v.what in ASIDE or (closed and v.what in FOLLOWING) else None
    return replace(s, asked={**s.asked, v.seat: Asked(e.seq, v.what, v.id, e.at, v.extra)}, ended=alive)


def _answer(s: State, e: Entry, v: Answered) -> State:
    told = Told(e.seq, e.at, e.who, e.role, s.slice, v, s.round)
    opened = tuple(a for a in v.opens if a not in s.open)
    skipped = {k: x for k, x in s.skipped.items() if k != v.ask}
    return replace(
        s,
        answers=(*s.answers, told),
        skipped=skipped,
        open=(*s.open, *opened),
        opened_ever=(*s.opened_ever, *opened),
        minutes=s.minutes + v.minutes,
    )


def _skip(s: State, e: Entry, v: Skipped) -> State:
    return replace(
        s,
        skipped={**s.skipped, v.ask: v},
        skipped_by={**s.skipped_by, v.ask: e.who},
        minutes=s.minutes + v.minutes,
    )


def _open_access(s: State, e: Entry, v: AccessOpened) -> State:
    if v.access in s.open:
        return s
    return replace(
        s,
        work=replace(s.work, touched=True) if s.work else None,
        open=(*s.open, v.access),
        opened_ever=(*s.opened_ever, v.access),
        minutes=s.minutes + v.minutes,
        money=s.money + v.money,
    )


def _shut_access(s: State, e: Entry, v: AccessShut) -> State:
    points = {k: x for k, x in s.points.items() if not k.startswith(v.access + "/")}
    return replace(
        s,
        open=tuple(a for a in s.open if a != v.access),
        points=points,
        minutes=s.minutes + v.minutes,
        money=s.money + v.money,
    )


def _begin_remedy(s: State, e: Entry, v: RemedyBegun) -> State:
    """The points of the new work are open again; the old ones are kept in case nothing comes of it."""
    s = _put_aside(s)
    before = {k: x for k, x in s.points.items() if k.startswith(v.remedy + "/")}
    points = {k: x for k, x in s.points.items() if k not in before}
    work = Work(v.remedy, e.seq, v.suspicion, v.told, v.money, before=before)
    return replace(s, work=work, points=points, ended=None)


def _leave_work(s: State, e: Entry, v: WorkLeft) -> State:
    return _put_aside(s)


def _put_aside(s: State) -> State:
    """No work in hand. What was confirmed before still holds when nothing was done since."""
    untouched = s.work is not None and not (s.work.mended or s.work.touched)
    before = s.work.before if s.work and untouched else {}
    return replace(s, work=None, points={**s.points, **before})


def _do_step(s: State, e: Entry, v: StepDone) -> State:
    assert s.work is not None
    touched = s.work.touched or not v.of.endswith("/parts")
    return replace(s, work=replace(s.work, done=(*s.work.done, v.of), touched=touched))


def _tell_point(s: State, e: Entry, v: PointTold) -> State:
    return replace(s, points={**s.points, f"{v.of}/{v.point}": v.answer})


def _mend(s: State, e: Entry, v: Mended_) -> State:
    """A slice ends: what was seen so far has acted, and looks may be made anew."""
    work = replace(s.work, mended=True) if s.work else None
    kept = {k: x for k, x in s.skipped.items() if x.why == "cant"}
    return replace(
        s,
        work=work,
        mended=(*s.mended, (e.seq, v)),
        slice=s.slice + 1,
        skipped=kept,
        ran_since=0,
        minutes=s.minutes + v.minutes,
        money=s.money + v.money,
    )


def _tell_after_work(s: State, e: Entry, v: AfterWork) -> State:
    return replace(s, after_work={**s.after_work, f"{v.remedy}/{v.sign}": v.bad})


def _prove(s: State, e: Entry, v: ProofRun) -> State:
    work = replace(s.work, proved=True) if s.work else None
    return replace(s, work=work, minutes=s.minutes + v.minutes, ran_since=s.ran_since + v.minutes / 60)


def _say_of_repair(s: State, e: Entry, v: SaidOfRepair) -> State:
    """Unless it is gone, a case that was closed is open again, and how it came out no longer holds."""
    s = _put_aside(s)
    return s if v.word == "gone" else replace(s, ended=None, outcome=None)


def _set_watch(s: State, e: Entry, v: WatchSet) -> State:
    return replace(_put_aside(s), watch=Watch(v.plan, v.index, v.for_remedy, v.from_hours, e.at))


def _begin_round(s: State, e: Entry, v: LookRound) -> State:
    watch = replace(s.watch, in_round=True) if s.watch else None
    kept = {k: x for k, x in s.skipped.items() if x.why == "cant"}
    return replace(
        s,
        round=s.round + 1,
        watch=watch,
        skipped=kept,
        ran_since=s.ran_since + v.ran_hours,
        ended=None,
    )


def _judge(s: State, e: Entry, v: LookJudged) -> State:
    return replace(s, judged=(*s.judged, (e.seq, v)), watch=None)


def _read_hours(s: State, e: Entry, v: HoursRead) -> State:
    return replace(s, hours=(v.low, v.high))


def _run(s: State, e: Entry, v: Ran) -> State:
    return replace(s, ran_since=s.ran_since + v.hours)


def _go_on(s: State, e: Entry, v: WentOn) -> State:
    """What changes with each look is asked anew after the bike was run on."""
    return replace(s, went_on=(*s.went_on, (e.at, v)), round=s.round + 1)


def _raise_stop(s: State, e: Entry, v: StopRaised) -> State:
    return replace(s, stops=(*s.stops, Stop(v.rule, e.seq, e.at, v.bars, v.because)))


def _lift_stop(s: State, e: Entry, v: StopLifted) -> State:
    stops = tuple(
        replace(x, lifted_by=v.by, looked_at=v.words) if x.rule == v.rule and not x.lifted_by else x
        for x in s.stops
    )
    return replace(s, stops=stops)


def _take_up(s: State, e: Entry, v: TakenUp) -> State:
    taken = tuple(
        replace(x, taken_up=e.seq, taken_by=v.by) if x.rule in v.rules and not x.lifted_by else x
        for x in s.stops
    )
    return replace(s, stops=taken)


def _note(s: State, e: Entry, v: Noted) -> State:
    return replace(s, notes=(*s.notes, (e.seq, e.at, e.who, v)))


def _reopen(s: State, e: Entry, v: Reopened) -> State:
    return replace(_put_aside(s), reopened=(*s.reopened, (e.seq, v)), ended=None, watch=None, outcome=None)


def _end(s: State, e: Entry, v: Ended) -> State:
    return replace(s, ended=v)


def _tell_vin(s: State, e: Entry, v: VinTold) -> State:
    return replace(s, vin=v)


def _hold(s: State, e: Entry, v: CaseHeld) -> State:
    return replace(_taken_up(s), holders=tuple(dict.fromkeys((*s.holders, e.who))))


def _end_hold(s: State, e: Entry, v: HoldEnded) -> State:
    """What was asked at his seat is asked no more."""
    asked = {who: open_ for who, open_ in s.asked.items() if who != v.holder}
    return replace(s, holders=tuple(who for who in s.holders if who != v.holder), asked=asked)


def _ask_rider(s: State, e: Entry, v: RiderAsked) -> State:
    return replace(s, queries=(*s.queries, Query(e.seq, e.at, e.who, v.words)))


def _answer_mechanic(s: State, e: Entry, v: RiderAnswered) -> State:
    queries = tuple(replace(q, answer=v) if q.seq == v.query else q for q in s.queries)
    return replace(s, queries=queries)


def _confirm(s: State, e: Entry, v: CauseConfirmed) -> State:
    return replace(s, confirmed=(*s.confirmed, Confirmed(e.seq, e.at, e.who, s.slice, v)))


def _tell_outcome(s: State, e: Entry, v: OutcomeTold) -> State:
    return replace(s, outcome=v)


_EFFECTS: dict[str, Callable[[State, Entry, Any], State]] = {
    "heard": _hear,
    "book_written": lambda s, e, v: s,
    "reminder_told": lambda s, e, v: s,
    "opened": _open_case,
    "flow_chosen": _choose_flow,
    "flow_moved": _move_flow,
    "bike_taken": _take_bike,
    "bike_renamed": _rename_bike,
    "trait_told": _tell_trait,
    "setting_told": _tell_setting,
    "asked": _ask,
    "answered": _answer,
    "skipped": _skip,
    "access_opened": _open_access,
    "access_shut": _shut_access,
    "remedy_begun": _begin_remedy,
    "work_left": _leave_work,
    "step_done": _do_step,
    "point_told": _tell_point,
    "mended": _mend,
    "after_work": _tell_after_work,
    "proof_run": _prove,
    "said_of_repair": _say_of_repair,
    "watch_set": _set_watch,
    "look_round": _begin_round,
    "look_judged": _judge,
    "hours_read": _read_hours,
    "ran": _run,
    "went_on": _go_on,
    "stop_raised": _raise_stop,
    "stop_lifted": _lift_stop,
    "taken_up": _take_up,
    "noted": _note,
    "vin_told": _tell_vin,
    "shared": lambda s, e, v: s,
    "shares_accepted": lambda s, e, v: s,
    "case_held": _hold,
    "hold_ended": _end_hold,
    "rider_asked": _ask_rider,
    "rider_answered": _answer_mechanic,
    "cause_confirmed": _confirm,
    "outcome_told": _tell_outcome,
    "reopened": _reopen,
    "ended": _end,
}
