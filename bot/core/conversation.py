"""The talk as a table-driven machine.

Two rules. First: all that moves a case stands in `TABLE`: for each kind of step that can be open
at a seat, which readings move it, and by which move. Whatever is not in the table is refused: it
is kept in the record, answered usefully, and leaves the case as it was. Second: this machine does
not know which channel it speaks through, what time it is, or what was stored; it is handed all.

One turn: what came in is kept first (`heard`); a control word or an answer becomes events by one
move; then `settle` brings the case to rest: stops that are now true are raised and said before
anything else, stops that were cleared are lifted, a finished second look is judged; and at last
the next step is put, one question a message. What is not an answer is never lost: it is a note,
or findings in the rider's own words that are read back for one confirmation before they act. Only
a stop acts before that: it is said at once, on the first word that makes it true.

`state` is the fold of the entries, so a case can be resumed at any word, and the same words lead
to the same events on any machine. The open question is kept per seat (case and person); findings
are common.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from bot.core import (
    bookkeeping,
    confirming,
    controls,
    corrections,
    holding,
    moves,
    pause,
    queries,
    reasons,
    reminded,
    seats,
    taking_up,
)
from bot.core.agenda import Next
from bot.core.answers import IN_WORDS, as_written, read
from bot.core.book_draft import SHOWN
from bot.core.book_say import cut
from bot.core.claims import (
    claims,
    hear_beside,
    hear_first,
    listen_again,
    told_of_the_open,
    unsaid,
    warn_at_once,
)
from bot.core.desk import Desk
from bot.core.events import Heard, Noted, SettingTold, WasAsked, WasHeard, Withdrawn
from bot.core.hearing import is_nod, offer
from bot.core.messages import Message
from bot.core.moves import MOVES, Move
from bot.core.offers import (
    Ambiguous,
    Chosen,
    Control,
    Measured,
    Offer,
    OutOfRange,
    Reading,
    Spanned,
    Sweeping,
    Ticked,
    Unclear,
    WrongUnit,
)
from bot.core.overview import View, begins_new, overview
from bot.core.putting import PUT
from bot.core.settling import settle, upcoming
from bot.core.spoken import tokens
from bot.core.state import BESIDE, FOLLOWING, OWN_WORDS, STILL_ASKED, Asked, State
from bot.core.talk import Talk
from bot.core.told import pick

__all__ = ["TABLE", "Turn", "View", "begins_new", "draw_table", "overview", "receive"]


@dataclass(frozen=True)
class Turn:
    """What a message led to: events for the record, and messages, in order."""

    events: tuple[Any, ...]
    messages: tuple[Message, ...]


LONG_PAUSE = timedelta(hours=6)
MISSES = 3  # texts in a row that are no answer; then a way out is offered
BEFORE_A_CASE = ("book", "language", "trend", "vin", "shares", "units", *holding.WORDS)
TOLD_ONCE = ("confirm", "which", "slip")  # questions that follow from what was said, and not from the case

# --- the table -------------------------------------------------------------------------------

_FORMS: dict[str, tuple[type, ...]] = {
    "question": (Chosen, Ticked, Spanned, Measured),
    "check": (Chosen, Ticked, Spanned, Measured),
    "second_look": (Chosen, Unclear),  # "2.5 h" is no label but the running hours
    "bike": (Chosen, Unclear),
    "problem": (Chosen, Unclear),
    "setting": (Chosen, Unclear),  # "40 min" is no label but a time all the same
    "book_bike": (Chosen, Unclear),
    "query": (Chosen, Unclear),
    "cause": (Chosen, Unclear),
    "repair": (Chosen, Unclear),
    "lift": (Chosen, Unclear),
    "outcome": (Chosen, Unclear),
    "pause": (Unclear,),  # nothing is offered: a clear word takes the bike up
}
TABLE: dict[tuple[str, type], Move] = {
    (what, form): move for what, move in MOVES.items() for form in _FORMS.get(what, (Chosen,))
}
"""(kind of step that is open, form of the reading) -> the move. Nothing else moves a case."""


def draw_table() -> str:
    """The table as Mermaid text, one arrow a row, for DEVELOPERS.md."""
    rows = ["stateDiagram-v2"]
    for (what, form), move in TABLE.items():
        rows.append(f"    {what} --> settle: {form.__name__.lower()} / {move.__name__}")
    rows.append("    settle --> settle: stop raised, stop lifted, look judged")
    rows += [f"    settle --> {what}: next step" for what in MOVES]
    return "\n".join(rows)


# --- one turn ----------------------------------------------------------------------------------


def receive(desk: Desk, state: State, heard: Heard, now: datetime) -> Turn:
    """What follows from what was heard. ValueError when `now` has no zone."""
    talk = Talk(desk, state, heard, now)
    talk.emit(WasHeard(heard=heard))
    if heard.admitted:
        holding.begin(talk)
        return Turn(tuple(talk.events), tuple(talk.messages))
    if heard.rewords:
        _word_anew(talk)
    else:
        _take(talk)
        _leave_nobody_waiting(talk)
    return Turn(tuple(talk.events), tuple(talk.messages))


def _take(talk: Talk) -> None:
    """A press, words, or a file alone."""
    heard = talk.heard
    if heard.file:
        _keep_file(talk)
    if heard.press:
        _take_press(talk)
    elif heard.text.strip() or not heard.file:
        _take_words(talk)
    elif talk.asked is not None and talk.asked.what == "query":
        _apply(talk, Unclear())  # a photo is an answer too
    elif talk.asked is not None or talk.state.hash:
        put_again(talk, "" if pause.waits(talk) else "file_question")
    else:
        put_next(talk)


def _leave_nobody_waiting(talk: Talk) -> None:
    """Whoever speaks is answered, also where nothing is asked of him any more."""
    if any(not message.to for message in talk.messages):
        return
    ended = talk.state.ended
    if ended is not None:
        talk.say("ended.resume", how=talk.words.say(f"ended.{ended.how}"))
    else:
        put_again(talk)


def _word_anew(talk: Talk) -> None:
    """The newest note of its writer gets another text; it never answers anything."""
    mine = [(seq, note) for seq, _, who, note in talk.state.notes if who == talk.heard.who and note.words]
    text = talk.heard.text.strip()
    if not mine or mine[-1][0] != talk.heard.rewords or not text:
        talk.say("note.stands")
        return
    seq, note = mine[-1]
    talk.emit(Withdrawn(entries=(seq,)))
    talk.emit(Noted(words=text[:1000], about=note.about))
    talk.say("note.reworded")


def _keep_file(talk: Talk) -> None:
    about = f"{talk.asked.what}:{talk.asked.id}" if talk.asked else ""
    talk.emit(Noted(file=talk.heard.file, file_kind=talk.heard.file_kind, about=about))
    talk.say("noted.file")


def _take_press(talk: Talk) -> None:
    """A button: '<entry that asked>:<answer>'. Presses of closed questions never move the case."""
    seq, _, id = talk.heard.press.partition(":")
    if talk.asked is None or seq != str(talk.asked.seq):
        talk.say("stale")
        put_again(talk)
        return
    if id.startswith("control:"):
        _control(talk, Control(id.removeprefix("control:")))
        return
    if id not in {c.press for c in _shown(talk, talk.asked).choices}:
        talk.say("stale")
        put_again(talk)
        return
    if talk.asked.what in BESIDE:
        _move_aside(talk, talk.asked, Chosen(id))
        return
    _apply(talk, Chosen(id))


def _take_words(talk: Talk) -> None:
    if holding.hear(talk):
        return
    asked = talk.asked
    if asked is not None and asked.what in BESIDE:
        if _take_aside(talk, asked):
            return
        asked = talk.asked
    if reminded.hear(talk):
        if talk.asked is not None and talk.asked.what not in bookkeeping.ASKED:
            put_again(talk)
        return
    if talk.state.ended is not None and (asked is None or asked.what not in STILL_ASKED):
        _after_the_end(talk)
        return
    if not talk.state.complaint and (asked is None or asked.what == "problem"):
        _take_first_words(talk)
        return
    offered = offer(talk, asked, _shown(talk, asked).choices) if asked else None
    reading = _reading(talk, offered)
    if isinstance(reading, Control) and reading.name == "answer" and asked and not queries.is_for(talk):
        reading = read(reading.rest, offered, talk.words.controls, talk.words.spoken)  # of what he is asked
    if isinstance(reading, Control):
        _control(talk, reading)
    elif asked is None or (asked.what in pause.KINDS and not pause.waits(talk)):
        _wake(talk)
    elif isinstance(reading, Unclear) and not pause.waits(talk) and bookkeeping.interrupts(talk):
        hear_beside(talk, asked)
        _to_the_book(talk)
    else:
        _apply(talk, reading)


def _reading(talk: Talk, offered: Offer | None = None) -> Reading:
    """What was said, given what was offered. A rider's "note: ..." may be a line for the book."""
    reading = read(talk.heard.text, offered, talk.words.controls, talk.words.spoken)
    note = isinstance(reading, Control) and reading.name == "note"
    return Unclear() if note and not talk.holds and bookkeeping.is_meant(talk) else reading


def _take_aside(talk: Talk, asked: Asked) -> bool:
    """An answer about a line of the book or about shares, or another line; False for words that are neither.

    Where nothing else is open such words leave book and shares as they were and are taken as if nothing
    were asked.
    """
    reading = _reading(talk, offer(talk, asked, _shown(talk, asked).choices))
    if isinstance(reading, Control):
        return False
    if asked.what in bookkeeping.ASKED and isinstance(reading, Unclear) and bookkeeping.is_meant(talk):
        _to_the_book(talk)
        return True
    if _move_aside(talk, asked, reading):
        return True
    if asked.what == "book" and bookkeeping.goes_elsewhere(talk, asked):
        return True
    if talk.state.ended is not None or not talk.state.complaint:
        talk.say("shares.left" if asked.what == "shares" else "book.dropped")
        talk.emit(WasAsked(seat=talk.seat, what="none", id=""))
    return False


def _move_aside(talk: Talk, asked: Asked, reading: Reading) -> bool:
    """Take the answer; then the case goes on, unless something further is asked first."""
    if not _moves(talk, asked, reading):
        return False
    if talk.asked is None or talk.asked.seq == asked.seq:
        settle(talk)
        beneath = _beneath(talk)
        seats.put(talk, beneath) if beneath else put_next(talk)
    return True


def _beneath(talk: Talk) -> Next | None:
    """The question over which the book was laid, where the agenda would not put it again by itself."""
    asks = (e.event for e in reversed(talk.state.entries) if isinstance(e.event, WasAsked))
    last = next((ask for ask in asks if ask.seat == talk.seat and ask.what not in BESIDE), None)
    if last is None or last.what not in TOLD_ONCE or talk.state.ended is not None:
        return None
    return Next(last.what, last.id, last.extra)


def _to_the_book(talk: Talk) -> None:
    """Words for the book; the open question comes again where none of the book's takes its place."""
    if bookkeeping.book(talk, "") == "again":
        put_again(talk)


def _after_the_end(talk: Talk) -> None:
    """A closed case that is spoken to again: control words, going on from parking, or a relapse."""
    ended = talk.state.ended
    assert ended is not None
    reading = _reading(talk)
    if isinstance(reading, Control) and reading.name not in ("came_back", "repeat"):
        if _run(talk, reading) == "next" and reading.name in IN_WORDS:
            settle(talk)
            put_next(talk)
        return
    if bookkeeping.is_meant(talk):
        _to_the_book(talk)
        return
    if confirming.told(talk):
        return
    if not talk.owns and not isinstance(reading, Control):
        _note_at_rest(talk)
        return
    if ended.how in ("parked", "put_off") and talk.owns:
        talk.say("welcome_back")
        for setting in ("place", "kit"):
            talk.emit(SettingTold(setting=setting, value=""))
        listen_again(talk)
    elif isinstance(reading, Control) and reading.name == "repeat":
        talk.say("ended.resume", how=talk.words.say(f"ended.{ended.how}"))
        return
    elif not isinstance(reading, Control) and not _is_of_the_fault(talk, ended.how):
        _note_at_rest(talk)
        return
    else:
        _note(talk)
        moves.come_back(talk)
    settle(talk)
    put_next(talk)


def _note_at_rest(talk: Talk) -> None:
    """Words that change nothing are kept, and it is said how the case would be opened again."""
    ended = talk.state.ended
    assert ended is not None
    _note(talk)
    key = "ended.noted" if ended.how == "closed" else "ended.noted.so"
    talk.say(key, how=talk.words.say(f"ended.{ended.how}"))


def _is_of_the_fault(talk: Talk, how: str) -> bool:
    """Whether the rider's words after the end speak of the fault; thanks do not."""
    if controls.says_back(talk):
        return True
    if how != "closed":
        return not _is_thanks(talk)
    return pick(talk.heard.text, talk.desk.cards, talk.words.spoken).flow == talk.state.flow


def _is_thanks(talk: Talk) -> bool:
    """Whether words are no more than polite: 'ok, thank you'."""
    lists = talk.words.lists
    polite = {word for name in ("yes", "done", "thanks") for phrase in lists[name] for word in tokens(phrase)}
    said = tokens(talk.heard.text)
    return bool(said) and polite.issuperset(said)


def _take_first_words(talk: Talk) -> None:
    """The first words pick the flow and may fill findings; a bare greeting is greeted."""
    asked = talk.asked
    if asked is not None:
        reading = _reading(talk, offer(talk, asked, _shown(talk, asked).choices))
        if isinstance(reading, Chosen):
            _apply(talk, reading)
            return
    reading = _reading(talk)
    if isinstance(reading, Control) and reading.name in BEFORE_A_CASE:
        _run(talk, reading)
        return
    if bookkeeping.is_meant(talk):
        _to_the_book(talk)
        return
    if isinstance(reading, Control) and (reading.name == "repeat" or reading.name in controls.ANYTIME):
        talk.say("help" if reading.name == "help" else "hello")
        return
    if not any(ch.isalnum() for ch in talk.heard.text) or is_nod(talk):
        talk.say("hello")
        return
    hear_first(talk)
    settle(talk)
    put_next(talk)


def _apply(talk: Talk, reading: Reading) -> None:
    """A reading that the table knows moves the case; any other is answered and kept."""
    asked = talk.asked
    assert asked is not None
    in_a_sentence = isinstance(reading, Unclear) and _wants_a_sentence(talk, asked)
    if in_a_sentence and _moves(talk, asked, reading):
        _after_move(talk, asked)
        return
    if isinstance(reading, Unclear) and controls.owned_up(talk):
        _control(talk, Control("went_on", talk.heard.text))
        return
    if isinstance(reading, Unclear) and controls.says_back(talk):
        _control(talk, Control("came_back", talk.heard.text))
        return
    if isinstance(reading, Unclear) and (rest := corrections.wish(talk, talk.words.spoken)):
        _control(talk, Control("change", rest))
        return
    if _moves(talk, asked, reading) or _moves(talk, asked, told_of_the_open(talk, asked)):
        _after_move(talk, asked)
        return
    _misfit(talk, asked, reading)


def _wants_a_sentence(talk: Talk, asked: Asked) -> bool:
    """Whether it is answered in own words alone, whatever they may mean elsewhere."""
    own = asked.what in ("query", *OWN_WORDS)
    return own and all(choice.control for choice in _shown(talk, asked).choices)


def _after_move(talk: Talk, asked: Asked) -> None:
    """The next step, unless the move asks something further itself."""
    if talk.asked is None or talk.asked.seq == asked.seq:
        settle(talk)
        put_next(talk)


def _moves(talk: Talk, asked: Asked, reading: Reading) -> bool:
    move = TABLE.get((asked.what, type(reading)))
    return move is not None and move(talk, asked, reading)


def _misfit(talk: Talk, asked: Asked, reading: Reading) -> None:
    words = talk.words
    if isinstance(reading, OutOfRange):
        value, low, high = (f"{x:g}" for x in (reading.value, reading.low, reading.high))
        talk.say("out_of_range", value=value, low=low, high=high, unit=reading.unit)
    elif isinstance(reading, WrongUnit):
        _ask_in_its_unit(talk, reading)
    elif isinstance(reading, Sweeping):
        talk.say("sweeping", n=f"{reading.marks}")
    elif isinstance(reading, Ambiguous):
        labels = {c.press: c.label for c in _shown(talk, asked).choices}
        names = [labels.get(i, i) for i in reading.ids]
        bare = talk.heard.text.strip(" .!")
        if bare.isdecimal():
            talk.say("ambiguous.count", n=bare, place=names[0], amount=names[-1])
        else:
            talk.say("ambiguous", labels=" / ".join(names))
    elif asked.what == "confirm":
        _leave_unconfirmed(talk)
        return
    elif asked.what == "pause":
        _keep_while_it_waits(talk)
        return
    elif asked.what not in bookkeeping.ASKED and bookkeeping.is_called(talk):
        _to_the_book(talk)
        return
    elif listen_again(talk):
        settle(talk)
        put_next(talk)
        return
    elif asked.what not in bookkeeping.ASKED and bookkeeping.is_meant(talk):
        _to_the_book(talk)
        return
    elif confirming.told(talk):
        return
    else:
        _note(talk)
        wanted = asked.what == "hand_over" and reasons.misfit(talk.sure(), talk.state)
        if not talk.owns and controls.sounds_back(talk):
            talk.say("noted.back")
        elif wanted or talk.holds or talk.state.ended is not None:
            talk.say("noted.words")  # a sentence that was asked for, a mechanic's, or thanks
        elif _long_pause(talk):
            talk.say("welcome_back")
        else:
            lost = talk.flow is not None and controls.misses(talk) >= MISSES
            talk.say("unclear.third" if lost else "unclear", again=words.say("again"))
    put_again(talk)


def _ask_in_its_unit(talk: Talk, reading: WrongUnit) -> None:
    """What was told is another kind of measure than was asked for, or no count."""
    said = cut(talk.heard.text, SHOWN)
    if not reading.wanted:
        talk.say("wrong_unit.count", said=said)
        return
    named = talk.words.texts.get(f"unit.{reading.wanted}", reading.wanted)
    talk.say("wrong_unit", said=said, wanted=named)


def _keep_while_it_waits(talk: Talk) -> None:
    """Somebody is hurt: what is said is a note and no line of a book; only another stop is heard in it."""
    before = len(talk.state.notes)
    _note(talk)
    warn_at_once(talk)
    if len(talk.state.notes) > before:
        talk.say("noted.words")
    settle(talk)
    put_next(talk)


def _leave_unconfirmed(talk: Talk) -> None:
    """Words that confirm nothing but answer the next question, or tell something: the claims are left out.

    What answers nothing at all, an empty message or a shrug, leaves the claims open.
    """
    step = upcoming(talk)
    following = Asked(talk.state.next_seq, step.what, step.id, "", step.extra)
    offered = offer(talk, following, _shown(talk, following).choices)
    reading = read(talk.heard.text, offered, talk.words.controls, talk.words.spoken)
    answers = (step.what, type(reading)) in TABLE
    moving = answers and not isinstance(reading, Unclear)
    if not moving and not claims(talk.sure(), talk, talk.heard.text):
        _note(talk)
        talk.say("unclear", again=talk.words.say("again"))
        put_again(talk)
        return
    talk.say("confirm.none")
    talk.emit(WasAsked(seat=talk.seat, what=step.what, id=step.id, extra=step.extra))  # type: ignore[arg-type]
    if answers:
        _apply(talk, reading)
        return
    _note(talk)
    put_again(talk)


def _long_pause(talk: Talk) -> bool:
    """Whether the open question was put so long ago that the rider may have lost the thread."""
    assert talk.asked is not None
    put = datetime.fromisoformat(talk.asked.at)
    return talk.now - put > LONG_PAUSE


def _note(talk: Talk) -> None:
    """Words that are no answer are kept, unless there are none."""
    text = talk.heard.text.strip()
    if text and any(ch.isalnum() for ch in text):
        about = f"{talk.asked.what}:{talk.asked.id}" if talk.asked else ""
        talk.emit(Noted(words=text[:1000], about=about))


def _control(talk: Talk, control: Control) -> None:
    """Control words work at any step; each says whether the next step is put or the same again."""
    after = _run(talk, control)
    if after == "next":
        settle(talk)
        put_next(talk)
    elif after == "again":
        put_again(talk)


def _run(talk: Talk, control: Control) -> str:
    """What a control word does; what is said in a sentence is handed on as it was written.

    What is the rider's own is refused to everyone else.
    """
    if holding.refuses(talk, control.name):
        return "again"
    rest = control.rest
    if control.name in IN_WORDS:
        rest = as_written(talk.heard.text, rest)
    return controls.CONTROLS[control.name](talk, rest)


def _wake(talk: Talk) -> None:
    """A word when nothing is asked: the case goes on where it can."""
    if controls.says_back(talk):
        _control(talk, Control("came_back", talk.heard.text))
        return
    if pause.waits(talk):
        if not taking_up.hear(talk):
            _keep_while_it_waits(talk)
        return
    if bookkeeping.is_meant(talk):
        _to_the_book(talk)
        return
    if not listen_again(talk):
        if confirming.told(talk):
            return
        _note(talk)
        if not talk.owns and controls.sounds_back(talk):
            talk.say("noted.back")
    settle(talk)
    put_next(talk)


# --- putting -----------------------------------------------------------------------------------


def put_next(talk: Talk) -> None:
    """Put the next step and keep what was asked; at rest, or with nothing but a book, nothing is asked."""
    only_the_book = not talk.state.complaint and talk.flow is None and not talk.heard.file
    if only_the_book or (talk.state.ended is not None and not seats.follows(talk)):
        _ask_nothing(talk)
        return
    first = None if pause.waits(talk) else unsaid(talk) or controls.pending(talk)
    first = first or queries.waits(talk)
    step = first or upcoming(talk)
    if step.what == "bike" and not talk.owns:
        talk.emit(WasAsked(seat=talk.seat, what="none", id=""))
        talk.say("held.unnamed")
    elif first is None and seats.rests(talk, step):
        seats.rest(talk)
    elif first is None and talk.holds and step.what in FOLLOWING:
        seats.leave_to_rider(talk, step)
    else:
        seats.put(talk, step)


def _ask_nothing(talk: Talk) -> None:
    """At rest: but for what a mechanic wants to know, and what a closed case leaves the rider to do."""
    query = queries.waits(talk)
    if query is not None:
        seats.put(talk, query)
        return
    talk.emit(WasAsked(seat=talk.seat, what="none", id=""))
    seats.go_on(talk)


def put_again(talk: Talk, lead: str = "") -> None:
    """The open question once more, with what stands; the next step when nothing is open or time went by."""
    if lead:
        talk.say(lead)
    if talk.asked is not None and _has_passed(talk, talk.asked):
        put_next(talk)
        return
    if talk.asked is None:
        if talk.state.ended is None and talk.state.entries:
            settle(talk)
            put_next(talk)
        return
    talk.tell(_shown(talk, talk.asked))


def _has_passed(talk: Talk, asked: Asked) -> bool:
    """Whether what is open came to its end by itself: time went by, or somebody else took the bike up."""
    if asked.what in pause.KINDS:
        return not pause.waits(talk)
    return asked.what == "cure" and upcoming(talk).what != "cure"


def _shown(talk: Talk, asked: Asked) -> Message:
    """The message of an open question, built again from what was asked."""
    step = Next(asked.what, asked.id, asked.extra)
    if asked.what in ("park", "hand_over"):
        step = upcoming(talk)
        step = step if step.what == asked.what else Next(asked.what, asked.id, asked.extra)
    return PUT[asked.what](talk, step)
