"""What a mechanic wants to know of the rider: asked at the rider's seat, answered to who asked.

The rider's own open question stays. He answers with "answer: ...", or by just writing where the query is
all that is open for him. Of several the oldest comes first.
"""

from __future__ import annotations

from bot.core.agenda import Next
from bot.core.events import Noted, RiderAnswered, RiderAsked, WasAsked
from bot.core.messages import Message
from bot.core.offers import Reading
from bot.core.phrases import plain
from bot.core.spoken import tokens
from bot.core.state import Asked, Query
from bot.core.talk import Talk

After = str
LONGEST = 1000  # characters of a question or an answer
CAPTION = 300  # characters of a question under a photo


# --- asked -----------------------------------------------------------------------------------


def ask_rider(talk: Talk, rest: str) -> After:
    """'ask rider: did you change the plates?'"""
    words = rest[:LONGEST]
    if not talk.holds:
        talk.say("mechanic.only")
    elif not tokens(words):
        talk.say("query.how")
    elif any(tokens(q.words) == tokens(words) and q.who == talk.seat for q in talk.state.unanswered):
        talk.say("query.again")
    else:
        _ask(talk, words)
    return "again"


def _ask(talk: Talk, words: str) -> None:
    waiting = talk.state.unanswered
    talk.emit(RiderAsked(words=words))
    rider = talk.state.rider
    open_ = talk.state.asked.get(rider)
    if open_ is None or open_.what == "none":
        _open_at(talk, rider, talk.state.unanswered[0])
    else:
        key = "query.queued" if open_.what == "query" else "query.more" if waiting else "query.beside"
        talk.say_at(rider, key, words=words)
    talk.say("query.away" if rider in talk.desk.away else "query.sent")


def _open_at(talk: Talk, rider: str, query: Query) -> None:
    """The query is all that is open at the rider's seat."""
    step = Next("query", str(query.seq))
    talk.emit(WasAsked(seat=rider, what="query", id=step.id))
    talk.tell_at(rider, put_query(talk, step))


def put_query(talk: Talk, step: Next) -> Message:
    query = next(q for q in talk.state.queries if str(q.seq) == step.id)
    return plain(talk.words, talk.words.say("query.ask", words=query.words))


def is_for(talk: Talk) -> bool:
    """Whether a mechanic waits for an answer of whoever speaks."""
    return talk.seat == talk.state.rider and not talk.holds and bool(talk.state.unanswered)


def waits(talk: Talk) -> Next | None:
    """The oldest query, once the rider has nothing else open that comes first."""
    return Next("query", str(talk.state.unanswered[0].seq)) if is_for(talk) else None


# --- answered --------------------------------------------------------------------------------


def answer_query(talk: Talk, asked: Asked, reading: Reading) -> bool:
    """Whatever the rider writes, or the photo that he sends, is the answer to the query that is open."""
    query = next((q for q in talk.state.unanswered if str(q.seq) == asked.id), None)
    if query is None or not (tokens(talk.heard.text) or talk.heard.file):
        return False
    _answer(talk, query, talk.heard.text.strip())
    return True


def answer(talk: Talk, rest: str) -> After:
    """'answer: yes, both' beside an open question: to the oldest query."""
    if not is_for(talk):
        talk.emit(Noted(words=talk.heard.text.strip()[:LONGEST]))
        talk.say("query.none")
        return "again"
    first = talk.state.unanswered[0]
    if not (tokens(rest) or talk.heard.file):
        talk.say("query.how_answer", words=first.words)
        return "again"
    _answer(talk, first, rest)
    if talk.asked is None or talk.asked.what == "query":
        return "next"
    if talk.state.unanswered:
        talk.say("query.more", words=talk.state.unanswered[0].words)
    return "again"


def _answer(talk: Talk, query: Query, words: str) -> None:
    said = words[:LONGEST]
    talk.emit(RiderAnswered(query=query.seq, words=said, file=talk.heard.file))
    told = talk.words.say("query.answered", asked=query.words, words=said, photo=_with(talk)).strip()
    holders = talk.state.holders
    for seat in (query.who,) if query.who in holders else holders:
        talk.tell_seat(seat, plain(talk.words, told, kind="info"))
        for photo in _photos(talk):
            talk.tell_seat(seat, _shown(talk, query, photo))
    talk.say("query.told" if holders else "query.gone")


def _photos(talk: Talk) -> list[str]:
    """Photos that came with what was heard; they have been bared of what the camera wrote, or will be."""
    return talk.heard.file.split() if talk.heard.file_kind == "photo" else []


def _with(talk: Talk) -> str:
    if photos := _photos(talk):
        return talk.words.count("query.photo", len(photos))
    return talk.words.say("query.file") if talk.heard.file else ""


def _shown(talk: Talk, query: Query, photo: str) -> Message:
    """A photo that answers, as it is sent on to the mechanic; it may still be on its way."""
    asked = " ".join(query.words.split())
    asked = asked if len(asked) <= CAPTION else f"{asked[:CAPTION].rstrip()}..."
    missing = talk.words.say("query.photo_lost", asked=asked)
    return Message(
        talk.words.say("query.photo_shown", asked=asked), kind="record", stays=missing, photo=photo
    )
