"""How each suspect stands: seven standings, their order and thresholds in one table.

The first standing that fits is taken, in the order of `ORDER`. A look is a cause's own look when
the flow says that it finds the cause. Looks are counted per slice (between two repairs): of the
same check the newest round wins, within a round the better rank and then the newer.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal, Protocol

from bot.core import events
from bot.core.events import Answered, Role
from bot.core.flow import Finds, Flow, Look, Several, Traits
from bot.core.history import Clock, acting, clock, sure_now
from bot.core.odds import ALIKE
from bot.core.state import Confirmed, State

Standing = Literal[
    "found", "repaired", "ruled-out", "suspected", "unlikely", "not-looked-at", "still-possible"
]
ORDER: tuple[Standing, ...] = (
    "found", "repaired", "ruled-out", "suspected", "unlikely", "not-looked-at", "still-possible",
)  # fmt: skip
Said = Literal["good", "bad", "other"]
Stale = Literal["", "repair", "opened", "hours"]
UNLISTED = "unlisted"


@dataclass(frozen=True)
class Thresholds:
    """Where one standing ends and the next begins: chances, a rank, a share of prior, hours."""

    repaired_below: float = 0.50
    ruled_out_upto: float = 0.02
    suspected_from: float = 0.10
    leading: int = 3
    leading_from: float = 0.05
    unlikely_below: float = 0.25  # of its prior
    # A look that finds several causes cannot tell them apart: found only what is likelier there than not.
    shared_look: float = 0.50
    stale_after: float = 10.0  # running hours


THRESHOLDS = Thresholds()


class Chances(Protocol):
    """What beliefs must tell: how likely a cause is there, and how likely one not in the flow is."""

    def of(self, cause: str) -> float: ...

    @property
    def unlisted(self) -> float: ...


@dataclass(frozen=True)
class LookMade:
    """One look at one cause. `hours`: the meter then (low, high); `alone`: it finds nothing else."""

    seq: int
    ask: str
    said: Said
    who: str
    role: Role
    at: str
    rank: int
    slice: int
    round: int
    hours: tuple[float, float] | None
    catches: float
    false_alarm: float
    alone: bool


@dataclass(frozen=True)
class Suspect:
    """A cause with its standing.

    `look` is the look that the line names: the one that found it, else the newest clean one. `sure`: the
    word of a mechanic that found it.
    `stale`: why a clean look no longer rules it out. `repaired_at`: entry of its last repair, or 0.
    """

    cause: str
    standing: Standing
    chance: float
    prior: float
    look: LookMade | None = None
    looked: bool = False
    stale: Stale = ""
    excluded_by: str = ""
    repaired_at: int = 0
    remedy: str = ""
    sure: Confirmed | None = None


# --- looks -----------------------------------------------------------------------------------


def results(flow: Flow, answer: Answered) -> Iterator[tuple[Finds, Said, bool]]:
    """For each cause that an answer is a look at: what finds it, what was said, finds nothing else."""
    ask = flow.found(answer.ask)
    if isinstance(ask, Look):
        said: Said = "bad" if "bad" in answer.value else "good" if "good" in answer.value else "other"
        for finds in ask.finds:
            yield finds, said, len(ask.finds) == 1
    elif isinstance(ask, Several):
        for name, mark in ask.marks.items():
            # Marks told unprompted say nothing of those that were not told.
            if answer.form == "marks" or name in answer.value:
                for finds in mark.finds:
                    yield finds, "bad" if name in answer.value else "good", len(mark.finds) == 1


def looks(flow: Flow, state: State, run: Clock) -> dict[str, tuple[LookMade, ...]]:
    """All acting looks by cause, in the order in which they were made."""
    made: dict[str, list[LookMade]] = {}
    for told in state.answers:
        for finds, said, alone in results(flow, told.event):
            look = LookMade(
                told.seq, told.event.ask, said, told.who, told.role, told.at, told.event.rank,
                told.slice, told.round, run.meter(told.seq), finds.catches, finds.false_alarm, alone,
            )  # fmt: skip
            made.setdefault(finds.cause, []).append(look)
    return {cause: tuple(found) for cause, found in made.items()}


def counting(made: tuple[LookMade, ...], slice: int) -> tuple[LookMade, ...]:
    """Of the looks made in a slice, the one that counts of each check, oldest first."""
    best: dict[str, LookMade] = {}
    for look in made:
        held = best.get(look.ask)
        if look.slice == slice and (held is None or _weight(look) >= _weight(held)):
            best[look.ask] = look
    return tuple(sorted(best.values(), key=lambda x: x.seq))


def _weight(look: LookMade) -> tuple[int, int]:
    return look.round, look.rank


# --- repairs ---------------------------------------------------------------------------------


@dataclass(frozen=True)
class Mending:
    """The last repair of a cause: the entry, the remedy, and whether it has been proved since."""

    seq: int
    remedy: str
    proved: bool


def mendings(state: State) -> dict[str, Mending]:
    """The last repair of each cause. Proved by the end of the case; a reopening undoes that."""
    done: dict[str, Mending] = {}
    for entry in acting(state):
        event = entry.event
        if isinstance(event, events.Mended_):
            done.update({c: Mending(entry.seq, event.remedy, False) for c in event.causes})
        elif isinstance(event, events.Ended) and event.how in ("proved", "released"):
            done = {c: Mending(m.seq, m.remedy, True) for c, m in done.items()}
        elif isinstance(event, events.Reopened):
            done = {c: _undo(m, event.remedy) for c, m in done.items()}
    watched = state.watch.for_remedy if state.watch else ""
    return {c: _undo(m, watched) if watched else m for c, m in done.items()}


def _undo(mending: Mending, remedy: str) -> Mending:
    """Not proved after all, when its remedy is named or none is."""
    proved = mending.proved and remedy not in ("", mending.remedy)
    return Mending(mending.seq, mending.remedy, proved)


# --- standing --------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Ground:
    """What the standing of one cause rests on."""

    cause: str
    chance: float
    prior: float
    leading: bool
    excluded_by: str
    made: tuple[LookMade, ...]
    counting: tuple[LookMade, ...]
    mending: Mending | None
    stale: Stale
    sure: Confirmed | None


def standings(
    flow: Flow, state: State, now: Chances, before: Chances, limits: Thresholds = THRESHOLDS
) -> dict[str, Suspect]:
    """Every cause of the flow with its standing, in the author's order.

    `now` are the beliefs after the case's history, `before` the prior ones for the same traits.
    """
    run = clock(state)
    made, mended = looks(flow, state, run), mendings(state)
    sure = {told.event.cause: told for told in sure_now(flow, state)}
    barred = {cause: excluded_by(flow, cause, state.traits) for cause in flow.causes}
    chance = {c: 0.0 if barred[c] else now.of(c) for c in flow.causes}
    leading = sorted(flow.causes, key=lambda c: -round(chance[c], ALIKE))[: limits.leading]
    out = {}
    for cause in flow.causes:
        own = made.get(cause, ())
        prior = 0.0 if barred[cause] else before.of(cause)
        ground = _Ground(
            cause, chance[cause], prior, cause in leading, barred[cause], own,
            counting(own, state.slice), mended.get(cause), _stale(flow, state, run, own, limits),
            sure.get(cause),
        )  # fmt: skip
        out[cause] = _suspect(ground, limits)
    return out


def of_unlisted(now: Chances, before: Chances, limits: Thresholds = THRESHOLDS) -> Standing:
    """The standing of 'something not in this list': no look finds or clears it, none repairs it."""
    if now.unlisted >= limits.suspected_from:
        return "suspected"
    return "unlikely" if now.unlisted < limits.unlikely_below * before.unlisted else "not-looked-at"


def excluded_by(flow: Flow, cause: str, traits: Traits) -> str:
    """The known trait that excludes a cause, or ''. A trait told as not sure is '' and excludes nothing."""
    for trait, wanted in flow.causes[cause].only_when.items():
        if traits.get(trait) and traits[trait] not in wanted:
            return trait
    return ""


def _suspect(g: _Ground, limits: Thresholds) -> Suspect:
    found, clean = _finding(g, limits), _clean(g)
    return Suspect(
        cause=g.cause,
        standing=_standing(g, found, limits),
        chance=g.chance,
        prior=g.prior,
        look=found or clean or (g.made[-1] if g.made else None),
        looked=bool(g.made),
        stale=g.stale if clean and not (found or g.sure) else "",
        excluded_by=g.excluded_by,
        repaired_at=g.mending.seq if g.mending else 0,
        remedy=g.mending.remedy if g.mending else "",
        sure=g.sure,
    )


def _standing(g: _Ground, found: LookMade | None, limits: Thresholds) -> Standing:
    """The first of `ORDER` that fits."""
    if found or g.sure:
        return "found"
    if g.mending and not g.mending.proved and g.chance < limits.repaired_below:
        return "repaired"
    if g.excluded_by or (_cleared(g) and g.chance <= limits.ruled_out_upto):
        return "ruled-out"
    if g.chance >= limits.suspected_from or (g.leading and g.chance >= limits.leading_from):
        return "suspected"
    if g.chance < limits.unlikely_below * g.prior:
        return "unlikely"
    return "still-possible" if g.made or g.mending else "not-looked-at"


def _finding(g: _Ground, limits: Thresholds) -> LookMade | None:
    """The look that found it: bad, and neither repeated nor followed by a repair of that cause."""
    since = g.mending.seq if g.mending else 0
    for look in (*reversed(g.counting), *reversed(_still_standing(g.made, since))):
        if look.said == "bad" and (look.alone or g.chance >= limits.shared_look):
            return look
    return None


def _still_standing(made: tuple[LookMade, ...], since: int) -> tuple[LookMade, ...]:
    """Of each check the look that counts in the last slice in which it was made, after entry `since`."""
    later = tuple(look for look in made if look.seq > since)
    last = {look.ask: look.slice for look in later}
    return tuple(
        sorted(
            (x for s in set(last.values()) for x in counting(later, s) if last[x.ask] == s),
            key=lambda x: x.seq,
        )
    )


def _clean(g: _Ground) -> LookMade | None:
    """The newest clean look of any slice, when the newest look is clean."""
    newest = g.counting[-1] if g.counting else (g.made[-1] if g.made else None)
    return newest if newest and newest.said == "good" else None


def _cleared(g: _Ground) -> bool:
    """Looked at clean in this slice, by every check that looked, and not stale since."""
    return bool(g.counting) and all(x.said == "good" for x in g.counting) and not g.stale


def _stale(flow: Flow, state: State, run: Clock, made: tuple[LookMade, ...], limits: Thresholds) -> Stale:
    """Why the last clean look of a cause no longer rules it out."""
    clean = [look for look in made if look.said == "good"]
    if not clean:
        return ""
    if clean[-1].slice < state.slice:
        return "repair"
    if _reopened(flow, state, clean[-1]):
        return "opened"
    return "hours" if run.since(clean[-1].seq) > limits.stale_after else ""


def _reopened(flow: Flow, state: State, look: LookMade) -> bool:
    """Whether a place that the look was behind was opened again after it."""
    behind = flow.asks[look.ask].behind
    return any(
        isinstance(entry.event, events.AccessOpened) and entry.seq > look.seq and entry.event.access in behind
        for entry in acting(state)
    )
