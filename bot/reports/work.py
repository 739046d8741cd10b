"""What hands did to the bike in a case: repairs and whether they held, covers, closing points, parts."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any, Literal

from bot.core import events
from bot.core.book import Book, Standing
from bot.core.book_entries import Part as BookPart
from bot.core.book_entries import Work
from bot.core.events import Entry
from bot.core.flow import Flow, Part
from bot.core.history import Clock, Repair, acting, closing_of, repairs
from bot.core.state import State
from bot.reports.findings import spoken
from bot.reports.sheet import (
    AccessLine,
    Held,
    InHandLine,
    LookAgainLine,
    PartLine,
    RepairLine,
    Voice,
    WorkLine,
)

BOOK_LINES = 20  # parts and work of the bike's book: the newest; older ones are counted


# --- repairs ---------------------------------------------------------------------------------


def tell_repairs(
    flow: Flow, state: State, run: Clock, fixed: float, found: Mapping[str, int]
) -> Iterator[RepairLine]:
    """Every repair with whether it held.

    `fixed`: chance that nothing is wrong any more, now. `found`: causes that stand as found, with the entry
    of the look.
    """
    entries = {e.seq: e for e in acting(state)}
    done = [r for r in repairs(flow, state) if r.remedy in flow.remedies]
    trials = _trials(entries.values(), [r.seq for r in done])
    _find_again(trials, found)
    for repair in done:
        trial, begun = trials[repair.seq], _begun(entries.values(), repair)
        yield RepairLine(
            flow.remedies[repair.remedy].name,
            spoken(entries[repair.seq], run),
            begun is None or begun.suspicion,
            _unconfirmed(flow, repair),
            trial.held,
            fixed if trial.held == "held" and repair is done[-1] else None,
            _ran_between(run, repair.seq, trial.told) if trial.told else None,
            begun.money if begun else None,
        )


def _begun(entries: Iterable[Entry], repair: Repair) -> events.RemedyBegun | None:
    """The beginning of a repair: the last one of its remedy before it was done."""
    told = [e.event for e in entries if e.seq < repair.seq and isinstance(e.event, events.RemedyBegun)]
    return next((event for event in reversed(told) if event.remedy == repair.remedy), None)


def tell_in_hand(flow: Flow, state: State, run: Clock) -> InHandLine | None:
    """Work that is begun and not done; None where there is none."""
    work = state.work
    if work is None or work.mended or work.remedy not in flow.remedies:
        return None
    begun = next(entry for entry in acting(state) if entry.seq == work.seq)
    name = flow.remedies[work.remedy].name
    return InHandLine(name, spoken(begun, run), work.suspicion, work.told, work.money)


@dataclass
class _Trial:
    """What was told of a repair since: how it held, and the entry up to which it was clean, or failed."""

    causes: tuple[str, ...]
    remedy: str
    held: Held = "not-proved"
    told: int = 0


def _trials(entries: Iterable[Entry], done: Collection[int]) -> dict[int, _Trial]:
    """By the entry of each repair what became of it.

    A good word or look speaks for every repair that has not failed; "the same" is said of those that
    nothing was told of yet; "it came back" of the remedy that is named, else of the last repair.
    """
    trials: dict[int, _Trial] = {}
    acted = [*entries, None]
    for entry, following in pairwise(acted):
        assert entry is not None
        if isinstance(entry.event, events.Mended_) and entry.seq in done:
            trials[entry.seq] = _Trial(entry.event.causes, entry.event.remedy)
        elif word := _word(entry.event, following.event if following else None):
            for trial in _meant(list(trials.values()), word, getattr(entry.event, "remedy", "")):
                less = isinstance(entry.event, events.LookJudged) and entry.event.verdict == "less"
                trial.held, trial.told = word, trial.told if less else entry.seq
    return trials


def _find_again(trials: dict[int, _Trial], found: Mapping[str, int]) -> None:
    """A cause that a look found after its last repair is back, whatever was said."""
    for cause, look in found.items():
        mended = [seq for seq, trial in trials.items() if cause in trial.causes and seq < look]
        if mended:
            trials[mended[-1]].held, trials[mended[-1]].told = "came-back", look


def _word(event: Any, following: Any) -> Held:
    """What an event says of the repairs before it; "" for nothing."""
    if isinstance(event, events.LookJudged):
        return "held" if event.verdict in ("clean", "less") else ""  # "back" is said by the reopening
    if isinstance(event, events.Reopened):
        return "came-back" if event.remedy else ""  # a watch of what was never repaired names none
    if not isinstance(event, events.SaidOfRepair):
        return ""
    if event.word == "came_back":  # the reopening that follows says of which
        return "" if isinstance(following, events.Reopened) else "came-back"
    return "held" if event.word == "gone" else "same"


def _meant(trials: list[_Trial], word: Held, named: str) -> list[_Trial]:
    """The repairs that a word is of."""
    if word == "held":
        return [trial for trial in trials if trial.held in ("held", "not-proved")]
    if word == "same":
        return [trial for trial in trials if trial.held == "not-proved"]
    return [trial for trial in trials if not named or trial.remedy == named][-1:]


def _ran_between(run: Clock, start: int, end: int) -> float:
    """Running hours between two entries."""
    return round(max(0.0, run.at[end].ran - run.at[start].ran), 2)


def _unconfirmed(flow: Flow, repair: Repair) -> tuple[str, ...]:
    open_ = [p for p in closing_of(flow, repair.remedy) if repair.points.get(p) != "yes"]
    return tuple(_point(flow, p) for p in open_)


def _point(flow: Flow, key: str) -> str:
    of, _, point = key.partition("/")
    closing = flow.remedies[of].closing if of in flow.remedies else flow.access[of].closing
    return next(p.point for p in closing if p.id == point)


# --- covers ----------------------------------------------------------------------------------


@dataclass
class _Cover:
    """One access over the case. `told`: its closing points since it was opened last."""

    opened: Voice
    times: int = 1
    open: bool = True
    told: dict[str, str] = field(default_factory=dict)


def tell_access(flow: Flow, state: State, run: Clock) -> Iterator[AccessLine]:
    """Everything that was opened in the case, in the order in which it was opened first."""
    covers: dict[str, _Cover] = {}
    for entry in acting(state):
        for access in _opened(entry.event):
            _open(covers, access, spoken(entry, run))
        if isinstance(entry.event, events.PointTold) and entry.event.of in covers:
            covers[entry.event.of].told[entry.event.point] = entry.event.answer
        elif isinstance(entry.event, events.AccessShut) and entry.event.access in covers:
            covers[entry.event.access].open = False
    for access, cover in covers.items():
        if access in flow.access:
            model = flow.access[access]
            left = () if cover.open else (p.point for p in model.closing if cover.told.get(p.id) != "yes")
            yield AccessLine(model.short or model.do, cover.open, cover.opened, cover.times, tuple(left))


def _opened(event: Any) -> tuple[str, ...]:
    if isinstance(event, events.AccessOpened):
        return (event.access,)
    return event.opens if isinstance(event, events.Answered) else ()


def _open(covers: dict[str, _Cover], access: str, voice: Voice) -> None:
    cover = covers.get(access)
    if cover is None:
        covers[access] = _Cover(voice)
    elif not cover.open:
        cover.open, cover.times, cover.told = True, cover.times + 1, {}


# --- parts -----------------------------------------------------------------------------------


def tell_fitted(flow: Flow, state: State, run: Clock, book: Book) -> tuple[PartLine, ...]:
    """Parts that the work of the case asks for, and those that the bike's book tells of, oldest first."""
    currency = flow.money.currency if flow.money else ""
    found = list(_of_book(book))
    for entry in acting(state):
        event = entry.event
        if isinstance(event, events.Mended_) and event.remedy in flow.remedies:
            remedy = flow.remedies[event.remedy]
            found += _parts(remedy.parts.values(), currency, "repair", remedy.name, spoken(entry, run))
        elif isinstance(event, events.AccessShut) and event.access in flow.access:
            access = flow.access[event.access]
            found += _parts(access.parts.values(), currency, "closing", access.shut, spoken(entry, run))
    return tuple(sorted(found, key=lambda part: part.day))


def _parts(
    parts: Iterable[Part], money: str, source: Literal["repair", "closing"], work: str, voice: Voice
) -> Iterator[PartLine]:
    for part in parts:
        currency = money if part.price is not None else ""
        yield PartLine(
            part.name, part.quantity, part.price, currency, source, work, voice.at[:10], voice.hours
        )


def _of_book(book: Book) -> Iterator[PartLine]:
    for row in _newest(book):
        line = row.line
        if isinstance(line, BookPart):
            yield PartLine(line.what, 1, line.price, line.currency, "book", "", row.day, _hours(row))


def tell_worked(book: Book) -> Iterator[WorkLine]:
    """Work that the bike's book tells of."""
    for row in _newest(book):
        if isinstance(row.line, Work):
            yield WorkLine(row.line.what, row.day, _hours(row), row.line.opened)


def earlier_in(book: Book) -> int:
    """How many parts and works of the book are older than those that are told."""
    return max(0, sum(isinstance(row.line, BookPart | Work) for row in book.lines) - BOOK_LINES)


def _newest(book: Book) -> list[Standing]:
    return [row for row in book.lines if isinstance(row.line, BookPart | Work)][-BOOK_LINES:]


def _hours(row: Standing) -> tuple[float, float] | None:
    return row.place.total if row.place else None


# --- looks to come ---------------------------------------------------------------------------


def tell_looks_again(flow: Flow, state: State) -> Iterator[LookAgainLine]:
    """Looks of the running plan that are still to come."""
    if state.watch is None or state.watch.plan not in flow.second_looks:
        return
    plan = flow.second_looks[state.watch.plan]
    for look in plan.looks[state.watch.index :]:
        yield LookAgainLine(
            look.do, look.after_minutes, look.after_hours, look.running, plan.basis, state.watch.from_hours
        )
