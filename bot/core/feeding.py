"""What the bike's book answers, so that nobody is asked what it knows; said with where it came from.

A trend is of this find: what was just counted in the case, over the running hours since the last oil
change in the book, beside what the book holds; or the book's own newest look, where that is of late.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from datetime import date

from bot.core import agenda
from bot.core.book import LEAST, Book, Place, Standing, recent_intervals
from bot.core.book_entries import Look, OilChange, Work
from bot.core.events import Answered, LookRound, Shed
from bot.core.findings import BOOK
from bot.core.flow import Asked_, Graded, Number, One, fits
from bot.core.hearing import answer
from bot.core.history import pieces_told
from bot.core.offers import Chosen, Measured, Reading, Spanned
from bot.core.phrases import plain
from bot.core.plan import known
from bot.core.talk import Talk
from bot.core.trend import Interval, judge
from bot.core.trend_words import pieces_said, tell

LATELY = 14  # days that a look in the book is still of this find; common practice, no source
Numbers = tuple[float, float] | None  # what was counted or measured, a span
JUST_NOW = 0.5  # running hours since the change in which nothing can have gathered; the same


def feed(talk: Talk) -> bool:
    """Answer one more question from the book; False when it knows none."""
    state = talk.state
    looking_again = state.watch is not None and state.watch.in_round
    if state.bike is None or state.ended is not None:
        return False
    if not looking_again and (state.watch is not None or state.slice > 0):
        return False
    kept = talk.desk.books(state.bike)
    for id, ask in talk.sure().questions.items() if kept.lines else ():
        if not _is_open(talk, id, ask):
            continue
        told = _look_again(talk, id, ask, kept) if looking_again else _readings(talk, ask, kept)
        found = next(told, None)
        if found is not None:
            _write_down(talk, id, *found)
            return True
    return False


def _is_open(talk: Talk, id: str, ask: Asked_) -> bool:
    """Asked by no one, answered by no one, and not taken back after the book had answered it.

    In a second look all that counts is what was said in it.
    """
    state, again = talk.state, talk.state.watch is not None
    rounds = [e.seq for e in state.entries if isinstance(e.event, LookRound)]
    since = rounds[-1] if again and rounds else 0
    fed = any(isinstance(e.event, Answered) and (e.event.ask, e.event.rank) == (id, BOOK)
              for e in state.entries if e.seq > since)  # fmt: skip
    fed = fed or agenda.answered(state, id) or (not again and agenda.whole(state.told(id)))
    return not fed and fits(ask.only_when, known(state))


def _look_again(talk: Talk, id: str, ask: Asked_, kept: Book) -> Iterator[tuple[Reading, str, Numbers]]:
    """What the book holds of this second look: the pieces of a look made since the last one was judged."""
    watch, flow = talk.state.watch, talk.sure()
    if watch is None or watch.from_hours is None or id not in flow.second_looks[watch.plan].asks:
        return
    looks = recent_intervals(kept) if isinstance(ask, Graded) and ask.counts == "pieces" else ()
    if not looks or not isinstance(ask, Graded) or looks[-1].ends <= watch.from_hours + JUST_NOW:
        return
    low, high = looks[-1].pieces
    ids, amount = _classes(ask, low, high), pieces_said((low, high), talk.words)
    words = talk.words.say("book.pieces", n=amount, hours=f"{looks[-1].ends:.4g}")
    yield Chosen(ids[0]) if len(ids) == 1 else Spanned(ids), words, None if high is None else (low, high)


def _classes(ask: Graded, low: int, high: int | None) -> tuple[str, ...]:
    """The classes that a span of pieces touches; an open one begins above its lower end."""
    out, below = [], -1.0
    least, most = (low + 1, math.inf) if high is None else (low, high)
    for id, grade in ask.classes.items():
        top = math.inf if grade.upto is None else grade.upto
        if least <= top and most > below:
            out.append(id)
        below = top
    return tuple(out)


def shed_before(talk: Talk) -> Shed | None:
    """What this bike shed before the first repair of the case; None where nobody counted it.

    Not after a piece broke off, now or before: then silence says nothing, and a count no more.
    """
    state = talk.state
    if not state.bike or state.slice > 0:
        return None
    kept = talk.desk.books(state.bike)
    looks = _looks(talk, kept) if kept.lines else ()
    if not looks:
        return None
    pieces, hours, trend = looks[-1].pieces, looks[-1].hours, judge(looks)
    if pieces[1] is None or pieces[0] < 1 or trend.chunk_now or trend.chunk_before:
        return None
    spread = trend.dispersion if trend.widened and trend.dispersion else 1.0
    return Shed(pieces=(pieces[0], pieces[1]), hours=hours, spread=spread)


def _readings(talk: Talk, ask: Asked_, kept: Book) -> Iterator[tuple[Reading, str, Numbers]]:
    """How the book answers a question, with the words for it."""
    if isinstance(ask, Number) and ask.book == "since_work":
        hours = _since_work(talk, kept)
        if hours is not None and ask.allowed[0] <= hours[0] <= hours[1] <= ask.allowed[1]:
            yield Measured(*hours), talk.words.say("book.since_work", hours=f"{sum(hours) / 2:.3g}"), hours
    if isinstance(ask, One) and any(each.book for each in ask.answers.values()):
        looks = _looks(talk, kept)
        trend = judge(looks) if looks else None
        if trend is not None and trend.urgency == 0 and not trend.good_news:
            return  # a piece broke off, now or before: less clears nothing
        for id, each in ask.answers.items():
            if trend is not None and trend.direction in each.book:
                yield Chosen(id), f"{each.label}. {tell(trend, talk.words)}", None


def _write_down(talk: Talk, id: str, reading: Reading, words: str, number: Numbers) -> None:
    found = answer(talk, id, reading)
    assert found is not None
    told = {"rank": BOOK, "minutes": 0.0, "words": words[:300], "number": number}
    talk.emit(found.model_copy(update=told))
    said = talk.words.say("book.knows", name=talk.state.nickname, what=words)
    talk.tell(plain(talk.words, said, kind="record"))  # history: no channel shows it to a group


# --- what the book knows of this find ----------------------------------------------------------


def _looks(talk: Talk, kept: Book) -> tuple[Interval, ...]:
    """The book's newest intervals, with this find; empty when the book says nothing of it."""
    told, now = recent_intervals(kept), _this_find(talk, kept)
    if now is not None:
        return (*told, now)
    newest = next((row for row in reversed(kept.lines) if _found(row)), None)
    late = newest is not None and (talk.now.date() - date.fromisoformat(newest.day)).days > LATELY
    return () if newest is None or late else told


def _found(row: Standing) -> bool:
    return isinstance(row.line, OilChange | Look) and row.line.found is not None


def _this_find(talk: Talk, kept: Book) -> Interval | None:
    """What was counted in this case, over the hours since the oil change; None where one is not known."""
    pieces, here = _counted(talk), _here(talk, kept)
    changes = [row for row in kept.lines if isinstance(row.line, OilChange) and row.place]
    if pieces is None or here is None or not changes or changes[-1].place is None:
        return None
    low, high = kept.run(changes[-1].place, here)
    if high < JUST_NOW:
        return None
    opened = any(isinstance(row.line, Work) and row.line.opened and row.place
                 and row.place.middle >= changes[-1].place.middle for row in kept.lines)  # fmt: skip
    return Interval((max(low, LEAST), high), pieces, here.middle, fresh_work=opened)


def _counted(talk: Talk) -> tuple[int, int | None] | None:
    """The pieces that were told: the number, or what the class stands for."""
    flow = talk.sure()
    for id, ask in flow.questions.items():
        told = talk.state.told(id)
        if isinstance(ask, Graded) and ask.counts == "pieces" and agenda.whole(told):
            return pieces_told(ask, told.event)
    return None


def _here(talk: Talk, kept: Book) -> Place | None:
    """Running hours now: as read in the case, where the book knows one meter, else as the book has them."""
    if talk.state.hours is not None and len(kept.slack) == 1:
        return Place(talk.state.hours, 0)
    return kept.now


def _since_work(talk: Talk, kept: Book) -> tuple[float, float] | None:
    """Running hours since the engine was last opened."""
    works = [row.place for row in kept.lines if isinstance(row.line, Work) and row.line.opened]
    here = _here(talk, kept)
    return kept.run(works[-1], here) if works and works[-1] is not None and here is not None else None
