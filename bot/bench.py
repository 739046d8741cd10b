"""A mechanic's bench: the cases he holds, those that must not run first; as lines for a phone, and as CSV."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

from bot.core.book_csv import write_table
from bot.core.messages import Message
from bot.core.spoken import tokens
from bot.core.words import Words
from bot.record.store import Store

COLUMNS = 38  # of a phone
PAGE = 10
STOPS = ("running", "riding", "")  # what is barred, gravest first
HEAD = ("number", "bike", "complaint", "stop", "days", "opened", "held_since", "last", "ended")


@dataclass(frozen=True)
class Row:
    """One case on the bench. Times are UTC ISO; `stop`: the gravest thing that is barred, "" for none."""

    number: int
    bike: str
    complaint: str
    title: str
    stop: str
    days: int
    opened: str
    held_since: str
    last: str
    ended: str


def rows(store: Store, person: int, at: str) -> tuple[Row, ...]:
    """What this person holds: running barred first, then riding, then the oldest."""
    found = []
    for held in store.held_by(person):
        line, state = store.case(held.case), store.state(held.case)
        stop = next((bar for bar in STOPS if bar in state.bars), "")
        days = (datetime.fromisoformat(at) - datetime.fromisoformat(line.opened)).days
        complaint = " ".join(line.complaint.split())
        found.append(Row(held.number, line.nickname, complaint, line.title, stop, max(0, days), line.opened,
                         held.since, line.last, line.ended))  # fmt: skip
    return tuple(sorted(found, key=lambda row: (STOPS.index(row.stop), row.opened, row.number)))


def fitting(found: Sequence[Row], wanted: Sequence[str], words: Words) -> tuple[Row, ...]:
    """The rows in which every one of these words begins a word."""
    return tuple(row for row in found if all(_fits(row, word, words) for word in wanted))


def _fits(row: Row, wanted: str, words: Words) -> bool:
    stop = _stop(row, words)
    said = tokens(f"{row.bike} {row.complaint} {row.title} {stop} {row.ended} {row.number}")
    return any(word.startswith(wanted) for word in said)


def _stop(row: Row, words: Words) -> str:
    key = {"running": "bench.stop", "riding": "bench.look"}.get(row.stop, "bench.over" if row.ended else "")
    return words.say(key) if key else ""


def line(row: Row, words: Words) -> str:
    """A row on a phone: number, bike, what is wrong, what is barred, days; cut where it is too long."""
    tail = words.say("bench.tail", stop=_stop(row, words), days=row.days).rstrip()
    name = row.bike or words.say("bench.unnamed")
    told = words.say("bench.line", n=row.number, name=name, complaint=row.complaint or row.title)
    room = COLUMNS - len(tail)
    return (told if len(told) <= room else told[: room - 1].rstrip() + "…") + tail


def say_bench(store: Store, person: int, at: str, words: Words, asked: Sequence[str] = ()) -> Message:
    """The bench as one message. `asked`: which page of it, and words that its rows must fit."""
    page = int(asked[0][:6]) if asked and asked[0].isdecimal() else 1
    wanted = tuple(asked[1:] if asked and asked[0].isdecimal() else asked)
    found = rows(store, person, at)
    return Message("\n".join(_told(found, wanted, page, words)), kind="record")


def _told(found: Sequence[Row], wanted: Sequence[str], page: int, words: Words) -> Iterator[str]:
    fit = fitting(found, wanted, words)
    here = fit[PAGE * (page - 1) : PAGE * page] if page > 0 else ()
    if not found:
        yield words.say("bench.none")
    elif not fit:
        yield words.say("bench.nothing", n=len(found))
    elif not here:
        yield words.say("bench.no_page", page=page)
    yield from (line(row, words) for row in here)
    left = len(fit) - PAGE * page
    if here and left > 0:
        yield words.say("bench.more", n=left, page=" ".join((str(page + 1), *wanted)))
    if here:
        yield words.say("bench.how", n=here[0].number)


def as_csv(found: Sequence[Row]) -> str:
    """The rows with their times as CSV text with a header."""
    cells = [{name: str(getattr(row, name)) for name in HEAD} for row in found]
    return write_table(HEAD, cells)
