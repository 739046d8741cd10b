"""A case as the odds read it: findings, repairs and running time in the order of the entries.

An answer acts where it stands: before or after a repair. What is asked after the work (was the
thread dry?) and what is told of a closing point later belong to the repair itself, wherever they
stand, so the walk is done twice: once for what was told of each repair, once for the steps.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence, Set
from dataclasses import dataclass, field, replace
from functools import partial
from typing import Any, Literal, NamedTuple

from bot.core import events, findings
from bot.core.events import Answered, Entry
from bot.core.flow import Flow, Graded, Look, Several
from bot.core.kept import Kept
from bot.core.state import Confirmed, State

TRAIT_RANK = 2  # a careful question


_OF_REPAIRS = frozenset({
    events.RemedyBegun, events.Mended_, events.PointTold, events.AccessShut, events.AfterWork, events.WorkLeft
})  # fmt: skip
_OF_HISTORY = frozenset({
    events.TraitTold, events.BikeTaken, events.CauseConfirmed, events.Answered, events.Mended_,
    events.SaidOfRepair, events.Ran, events.LookRound, events.ProofRun, events.WentOn
})  # fmt: skip
_MOVE_HISTORY = _OF_HISTORY | {events.Reopened}  # all that it depends on, beside the repairs
_HISTORIES: Kept[findings.History] = Kept(16)
_OF_STATES: Kept[findings.History] = Kept(8)
_TALK = frozenset({events.WasHeard, events.WasAsked})
_MOVED: Kept[Sequence[Entry]] = Kept(4)
_REPAIRED: Kept[tuple[Repair, ...]] = Kept(256)


def acting(state: State, kinds: Set[type] | None = None) -> Sequence[Entry]:
    """Entries that still act, of all kinds or of these: neither withdrawn nor a withdrawal."""
    gone = state.withdrawn
    if kinds is not None:
        if not kinds.isdisjoint(_TALK):
            return [e for e in state.entries if type(e.event) in kinds and e.seq not in gone]
        moved = _MOVED.of((state.entries, gone), lambda: _moved(state))
        return [e for e in moved if type(e.event) in kinds]
    return [e for e in state.entries if e.seq not in gone and type(e.event) is not events.Withdrawn]


def _moved(state: State) -> Sequence[Entry]:
    """What acts without what was only heard and asked, which is most of a case."""
    found = [e for e in state.entries if type(e.event) not in _TALK]
    return [e for e in found if e.seq not in state.withdrawn] if state.withdrawn else found


# --- running hours ---------------------------------------------------------------------------


@dataclass(frozen=True)
class Reckoning:
    """Running hours after an entry: since the case began, and on the meter (low, high) if read."""

    ran: float = 0.0
    meter: tuple[float, float] | None = None

    def add(self, hours: float) -> Reckoning:
        meter = self.meter and (self.meter[0] + hours, self.meter[1] + hours)
        return Reckoning(self.ran + hours, meter)

    def read(self, low: float, high: float) -> Reckoning:
        """A reading replaces what was reckoned; hours beyond the reckoning were run unseen."""
        unseen = (low + high - sum(self.meter)) / 2 if self.meter else 0.0
        return Reckoning(self.ran + max(0.0, unseen), (low, high))


@dataclass(frozen=True)
class Clock:
    """The running hours of a bike at each entry of a case."""

    at: Mapping[int, Reckoning] = field(default_factory=dict)
    now: Reckoning = Reckoning()

    def meter(self, seq: int) -> tuple[float, float] | None:
        """The meter when entry `seq` was made, or None when no reading was known."""
        return self.at[seq].meter if seq in self.at else None

    def since(self, seq: int) -> float:
        """Running hours between entry `seq` and now."""
        return self.now.ran - self.at[seq].ran if seq in self.at else self.now.ran


def ran(event: Any) -> float:
    """Hours that the engine ran in an event; 0 when it did not."""
    if isinstance(event, events.Ran):
        return event.hours
    if isinstance(event, events.LookRound):
        return event.ran_hours
    if isinstance(event, events.ProofRun):
        return event.minutes / 60
    if isinstance(event, events.WentOn):
        return (event.minutes or 0.0) / 60
    return 0.0


def clock(state: State) -> Clock:
    """Running hours at every acting entry, from meter readings and from what was run between."""
    reckoned, at = Reckoning(), {}
    for entry in acting(state):
        event = entry.event
        if isinstance(event, events.HoursRead):
            reckoned = reckoned.read(event.low, event.high)
        elif isinstance(event, events.BikeTaken) and event.hours is not None:
            reckoned = reckoned.read(event.hours, event.hours)
        elif hours := ran(event):
            reckoned = reckoned.add(hours)
        at[entry.seq] = reckoned
    return Clock(at, reckoned)


# --- repairs ---------------------------------------------------------------------------------


@dataclass(frozen=True)
class Repair:
    """One time that a remedy was done, with what was told of that work before and after."""

    remedy: str
    seq: int  # of its `mended` entry; 0 while the work goes on
    confirmed: bool = False
    points: Mapping[str, str] = field(default_factory=dict)  # "<of>/<point>" -> yes|no|unsure
    badly: frozenset[str] = frozenset()
    shut: frozenset[str] = frozenset()  # access closed since: later points there are of later work


def closing_of(flow: Flow, remedy: str) -> tuple[str, ...]:
    """The closing points of a remedy and of what it stood behind, as `<of>/<point>`."""
    work = flow.remedies.get(remedy)
    if work is None:
        return ()
    own = [f"{remedy}/{p.id}" for p in work.closing]
    shut = [f"{a}/{p.id}" for a in work.behind if a in flow.access for p in flow.access[a].closing]
    return (*own, *shut)


def repairs(flow: Flow, state: State) -> tuple[Repair, ...]:
    """Every repair of the case in order, each with its closing points and its `ask_after` answers."""
    done: tuple[Repair, ...] = ()
    for entry in acting(state, _OF_REPAIRS):
        done = _REPAIRED.of((flow, done, entry), partial(_repaired, flow, done, entry))
    return tuple(r for r in done if r.seq)


def _repaired(flow: Flow, before: tuple[Repair, ...], entry: Entry) -> tuple[Repair, ...]:
    """The repairs after one more entry, those that go on included."""
    done, event = list(before), entry.event
    if isinstance(event, events.RemedyBegun):
        done.append(Repair(event.remedy, 0))
    elif isinstance(event, events.Mended_):
        _close(done, entry.seq, event)
    elif isinstance(event, events.PointTold):
        _tell_point(flow, done, event)
    elif isinstance(event, events.AccessShut):
        done = [replace(r, shut=r.shut | {event.access}) if r.seq else r for r in done]
    elif isinstance(event, events.AfterWork):
        _tell_after(done, event)
    elif isinstance(event, events.WorkLeft):  # what is told of it later is told of the work before
        done = [r for r in done if r.seq]
    return tuple(done)


def _close(done: list[Repair], seq: int, event: events.Mended_) -> None:
    """The work is done: the repair that was begun, or one of which no beginning was told."""
    if not done or done[-1].remedy != event.remedy or done[-1].seq:
        done.append(Repair(event.remedy, 0))
    done[-1] = replace(done[-1], seq=seq, confirmed=event.confirmed)


def _tell_point(flow: Flow, done: list[Repair], event: events.PointTold) -> None:
    """A cover is shut once after several repairs behind it: its points speak for all of them.

    A remedy's own point speaks for the newest repair by that remedy only.
    """
    for i in range(len(done) - 1, -1, -1):
        repair = done[i]
        work = flow.remedies.get(repair.remedy)
        own = repair.remedy == event.of
        if own or (work and event.of in work.behind and event.of not in repair.shut):
            points = {**repair.points, f"{event.of}/{event.point}": event.answer}
            done[i] = replace(repair, points=points)
        if own:
            return


def _tell_after(done: list[Repair], event: events.AfterWork) -> None:
    for i in range(len(done) - 1, -1, -1):
        if done[i].remedy == event.remedy and done[i].seq:
            badly = done[i].badly - {event.sign}
            done[i] = replace(done[i], badly=badly | {event.sign} if event.bad else badly)
            return


def confirmed(flow: Flow, repair: Repair) -> bool:
    """Whether every closing point was answered yes, when the work was done or since.

    One 'no' or 'not sure' is enough against it. A remedy without closing points confirms nothing
    by itself: then the entry's own word counts.
    """
    if any(answer != "yes" for answer in repair.points.values()):
        return False
    wanted = closing_of(flow, repair.remedy)
    return repair.confirmed or (bool(wanted) and all(p in repair.points for p in wanted))


# --- causes that a mechanic confirmed --------------------------------------------------------


@dataclass(frozen=True)
class Surety:
    """A cause that a mechanic confirmed, and the repair that it speaks of: its entry, or 0 for the bike now.

    Said after the cause was mended, it tells what was mended, unless the fault has come back since.
    """

    told: Confirmed
    repair: int


def sureties(state: State) -> tuple[Surety, ...]:
    """What mechanics confirmed, once for each cause and stretch between repairs: the newest word."""
    found: dict[tuple[str, int, int], Surety] = {}
    for told in state.confirmed:
        repair = _mended_before(state, told)
        found[told.event.cause, repair, told.slice if not repair else -1] = Surety(told, repair)
    return tuple(sorted(found.values(), key=lambda s: s.told.seq))


def _mended_before(state: State, told: Confirmed) -> int:
    mended = 0
    for entry in acting(state):
        if entry.seq > told.seq:
            break
        event = entry.event
        if isinstance(event, events.Mended_) and told.event.cause in event.causes:
            mended = entry.seq
        elif isinstance(event, events.Reopened) or (
            isinstance(event, events.SaidOfRepair) and event.word != "gone"
        ):
            mended = 0
    return mended


def sure_now(flow: Flow, state: State) -> tuple[Confirmed, ...]:
    """What is confirmed of the bike as it is: neither mended since, nor found clean by a mechanic's look."""
    if not state.confirmed:
        return ()
    done = {cause: seq for seq, mended in state.mended for cause in mended.causes}
    told = (surety.told for surety in sureties(state) if not surety.repair)
    return tuple(
        sure
        for sure in told
        if done.get(sure.event.cause, 0) < sure.seq and not _cleared_since(flow, state, sure)
    )


def _cleared_since(flow: Flow, state: State, sure: Confirmed) -> bool:
    later = (t for t in state.answers if t.seq > sure.seq and t.event.rank == findings.MECHANIC)
    return any(_clean_of(flow, told.event, sure.event.cause) for told in later)


def _clean_of(flow: Flow, said: Answered, cause: str) -> bool:
    """Whether a look that would find the cause found nothing of it."""
    ask = flow.found(said.ask)
    if isinstance(ask, Look):
        return said.value == ("good",) and any(f.cause == cause for f in ask.finds)
    if not isinstance(ask, Several) or said.form != "marks":
        return False
    finding = [m for m, mark in ask.marks.items() if any(f.cause == cause for f in mark.finds)]
    return bool(finding) and not set(finding) & set(said.value)


# --- the history ---------------------------------------------------------------------------


def history(flow: Flow, state: State) -> findings.History:
    """The steps of a case for `odds.posterior`, in the order of its entries.

    A trait stands where it was first told, with the value it has now: a corrected trait was never
    otherwise. Answers to what the flow does not have are left out, as are notes.
    """
    return _OF_STATES.of((flow, state), lambda: _history(flow, state))


def _history(flow: Flow, state: State) -> findings.History:
    """Most entries do not move it, so the state before had the same one."""
    done = {repair.seq: _work(flow, repair) for repair in repairs(flow, state)}
    parts = (flow, state.traits, state.answers, state.confirmed, *acting(state, _MOVE_HISTORY))
    return _HISTORIES.of(parts, lambda: _walk(flow, state, done), *done.items())


class _Work(NamedTuple):
    """What the odds hear of a repair: whether all of its points are confirmed, and what was told badly."""

    confirmed: bool
    badly: frozenset[str]


def _work(flow: Flow, repair: Repair) -> _Work:
    return _Work(confirmed(flow, repair), repair.badly)


def _walk(flow: Flow, state: State, done: Mapping[int, _Work]) -> findings.History:
    sure: dict[int, list[findings.Confirmed]] = {}  # by the entry at which it acts
    for each in sureties(state):
        told_of = each.told.event
        sure.setdefault(each.repair or each.told.seq, []).append(
            findings.Confirmed(told_of.cause, told_of.how, each.told.seq)
        )
    rounds = {told.seq: told.round for told in state.answers}
    steps: list[findings.Step] = []
    told: set[str] = set()
    for entry in acting(state, _OF_HISTORY):
        steps.extend(_traits(flow, state, entry, told))
        steps.extend(sure.get(entry.seq, ()))
        step = _step_of(flow, entry, done, rounds)
        if step is not None:
            steps.append(step)
    # Of the very same steps the very same history, so that nobody need compare it step by step.
    return _WALKED.of(tuple(steps), lambda: tuple(steps))


def _traits(flow: Flow, state: State, entry: Entry, told: set[str]) -> Iterator[findings.Finding]:
    """Findings of the traits that an entry tells for the first time."""
    event = entry.event
    if isinstance(event, events.TraitTold):
        names = [event.trait]
    elif isinstance(event, events.BikeTaken):
        names = list(event.traits)
    else:
        return
    fresh = {n: state.traits[n] for n in names if n not in told and state.traits.get(n)}
    told.update(fresh)
    make = partial(findings.tell_traits, flow, fresh, entry.seq)
    yield from _TRAITS.of((flow, entry), make, *fresh.items())


_STEPS: Kept[findings.Step | None] = Kept(256)
_TRAITS: Kept[tuple[findings.Finding, ...]] = Kept(64)
_WALKED: Kept[findings.History] = Kept(16)


def _step_of(
    flow: Flow, entry: Entry, done: Mapping[int, _Work], rounds: Mapping[int, int]
) -> findings.Step | None:
    """The very same step for an entry as long as nothing that was told later bears on it."""
    make = partial(_step, flow, entry, done, rounds)
    return _STEPS.of((flow, entry), make, rounds.get(entry.seq), done.get(entry.seq))


def _step(
    flow: Flow, entry: Entry, done: Mapping[int, _Work], rounds: Mapping[int, int]
) -> findings.Step | None:
    event = entry.event
    if isinstance(event, Answered):
        value = value_of(event)
        if value is None or flow.found(event.ask) is None:
            return None
        counted = _pieces(flow, event)
        return findings.Finding(event.ask, value, event.rank, rounds[entry.seq], entry.seq, counted)
    if isinstance(event, events.Mended_):
        if event.remedy not in flow.remedies:
            return None
        work = done[entry.seq]
        return findings.Mended(event.remedy, work.confirmed, work.badly, entry.seq, _shed(event))
    if isinstance(event, events.SaidOfRepair):
        return findings.Said(event.word, entry.seq)
    hours = ran(event)
    return findings.Ran(hours, entry.seq) if hours > 0 else None


def pieces_told(ask: Graded, v: Answered) -> tuple[int, int | None]:
    """How many pieces an answer means: the number that was said, or what its classes stand for."""
    if v.number is not None:
        return round(v.number[0]), round(v.number[1])
    order = list(ask.classes)
    first, last = (order.index(v.value[place]) for place in (0, -1))
    below = ask.classes[order[first - 1]].upto if first else None
    top = ask.classes[order[last]].upto
    return 0 if below is None else round(below) + 1, None if top is None else round(top)


def _pieces(flow: Flow, event: Answered) -> tuple[int, int | None] | None:
    ask = flow.asking(event.ask)
    return pieces_told(ask, event) if isinstance(ask, Graded) and ask.counts == "pieces" else None


def _shed(event: events.Mended_) -> findings.Shed | None:
    """The slowest shedding that was counted: a repair is not to be called proved by what was vague."""
    shed = event.shed
    return None if shed is None else findings.Shed(shed.pieces[0], shed.hours[1], shed.spread)


def value_of(event: Answered) -> findings.Value | None:
    """An answer as the odds read it; None for a note. ValueError for an answer of no value."""
    if event.form == "note":
        return None
    if event.form in ("marks", "some_marks"):
        return findings.Marked(frozenset(event.value), partly=event.form == "some_marks")
    if not event.value:
        raise ValueError(f"the answer to {event.ask} is empty")
    if event.form == "steps":
        return findings.Stepped(frozenset(event.value))
    if event.form == "look":
        return findings.Looked(_result(event.value[0]))
    return findings.Answered(event.value[0])


def _result(said: str) -> Literal["good", "bad", "other"]:
    if said == "good":
        return "good"
    return "bad" if said == "bad" else "other"
