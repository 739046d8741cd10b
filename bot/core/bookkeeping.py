"""The bike's book in the talk: a line is read back and written after a yes; shown, put right, judged.

The book is no part of a case: what is written there moves nothing, and the open question comes again.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from functools import reduce
from typing import Any

from bot.core.agenda import Next
from bot.core.book import Book, Standing, grow, oil_hours, recent_intervals
from bot.core.book_draft import Trouble
from bot.core.book_entries import LINE, Entry, Lab, Look, Meter, OilChange
from bot.core.book_limits import Past, past_limit
from bot.core.book_lines import is_book_talk, read_line
from bot.core.book_say import figure, say_back, say_line, say_trouble
from bot.core.desk import BikeCard
from bot.core.events import BookWritten, WasAsked
from bot.core.lab import tell_lab
from bot.core.messages import Message
from bot.core.offers import Chosen, Reading
from bot.core.phrases import Option, plain, units_of
from bot.core.spoken import ENGLISH, tokens
from bot.core.state import Asked
from bot.core.talk import Talk, stamp
from bot.core.trend import Direction, judge
from bot.core.trend_words import numbers, tell

After = str
ASKED = ("book", "book_bike")
SHOWN = 6  # lines of the book in one message
NAME_LONGEST = 24
_FIGURES = frozenset({"number", "numbers", "figures"})
NEW = "new:"  # before the name of a bike that the record has yet to make
HARD = frozenset({"chunk", "splinter", "grain"})  # forms that outrank any count
_CALLED = re.compile(r"^\W*(?:my |the )?(?:log ?)?book\b[\s:,.-]*", re.IGNORECASE)
_CHANGE = re.compile(r"^(?:change|correct)\W*(\d{1,6})\W+(.*)$", re.IGNORECASE | re.DOTALL)
_NAMED = re.compile(r"^\s*([^\W\d_][\w .'-]{0,23}?)\s*:\s*(.+)$", re.DOTALL)
_STRIKE = re.compile(r"^(?:strike|delete|remove)(?: out)?(?: line)?\W*(\d{1,6})\W*$", re.IGNORECASE)


def is_called(text: str) -> bool:
    """Whether words begin with 'book' and say what is to be done in it."""
    called = _CALLED.match(text)
    rest = text[called.end() :].strip() if called else ""
    if called is None or not rest:
        return False
    return ":" in called[0] or bool(_CHANGE.match(rest) or _STRIKE.match(rest)) or is_book_talk(rest, ENGLISH)


def is_meant(talk: Talk) -> bool:
    """Whether words that answer nothing are for the book.

    While a case is open only what names running hours: the rest may well be about the case.
    """
    text = talk.heard.text
    if is_called(text):
        return True
    if not is_book_talk(text, ENGLISH):
        return False
    if talk.flow is None or talk.state.ended is not None:
        return True
    lines = read_line(text, ENGLISH, talk.now)
    return not isinstance(lines, Trouble) and any(line.hours for line in lines)


# --- what is asked for -----------------------------------------------------------------------


def book(talk: Talk, rest: str) -> After:
    """'book' shows it, 'book oil change at 54.5' writes, 'book change 3: ...' and 'book strike 3' mend."""
    text = _CALLED.sub("", talk.heard.text.strip(), count=1).strip()
    if not text:
        return _show(talk)
    if changed := _CHANGE.match(text):
        return _change(talk, int(changed[1]), changed[2])
    if struck := _STRIKE.match(text):
        return _change(talk, int(struck[1]), "")
    return propose(talk, text)


def trend(talk: Talk, rest: str) -> After:
    """'trend' in words, 'trend numbers' with its figures."""
    bike = _bike(talk, talk.heard.text)
    kept = talk.desk.books(bike.id) if bike else Book()
    looks = recent_intervals(kept)
    if not looks:
        talk.say("book.no_trend")
        return _after(talk)
    judged = judge(looks)
    if _FIGURES & set(tokens(talk.heard.text)):
        talk.tell(_history(talk, numbers(judged, talk.words)))
    else:
        talk.tell(_history(talk, tell(judged, talk.words)))
        talk.say("book.trend.more")
    return _after(talk)


def propose(talk: Talk, text: str, replaces: int = 0) -> After:
    """Read a line and read it back; nothing is written before the yes."""
    new, text = _new_bike(talk, text)
    bike = None if new else _bike(talk, text)
    if not talk.owns and bike is None:
        talk.say("holding.other_bike")
        return _after(talk)
    last = bike.shown if bike and not replaces else None  # an older line may well lie below the newest
    lines = read_line(_without_name(text, bike), ENGLISH, talk.now, last)
    if isinstance(lines, Trouble):
        talk.tell(_info(talk, say_trouble(lines, talk.words)))
        return _after(talk)
    extra = (str(replaces), *(line.model_dump_json() for line in _with_photo(lines, talk.heard.file)))
    again = talk.asked.id if talk.asked and talk.asked.what == "book" else ""  # whose line this one replaces
    id = bike.id if bike else new or again or talk.state.bike or ""
    _put(talk, "book" if id else "book_bike", id, extra)
    return ""


def _with_photo(lines: Sequence[Any], file: str) -> Sequence[Any]:
    """A photo under which a line was written shows what was found."""
    if not file:
        return lines
    photo, out = file.split()[0], []
    for line in lines:
        found = getattr(line, "found", None)
        if found:
            first = found[0].model_copy(update={"photo": photo})
            line = line.model_copy(update={"found": (first, *found[1:])})
        out.append(line)
    return out


def _change(talk: Talk, place: int, text: str) -> After:
    """Another line in the place of one, or (no text) none."""
    bike = _bike(talk, text)
    lines = talk.desk.books(bike.id).lines if bike else ()
    if bike is None or not 1 <= place <= len(lines):
        talk.say("book.no_line", n=place)
        return _after(talk)
    number = lines[place - 1].number
    if text.strip():
        return propose(talk, text, number)
    _put(talk, "book", bike.id, (str(number),))
    return ""


def _put(talk: Talk, what: Any, id: str, extra: tuple[str, ...]) -> None:
    step = Next(what, id, extra)
    talk.emit(WasAsked(seat=talk.seat, what=what, id=id, extra=extra))
    talk.tell(put_book(talk, step) if what == "book" else put_book_bike(talk, step))


# --- which bike ------------------------------------------------------------------------------


def _bike(talk: Talk, text: str) -> BikeCard | None:
    """The bike that is named, else that of the case, else the only one; for a mechanic that of the case."""
    bikes, said = talk.desk.bikes, tokens(text)
    if talk.holds:
        return _card(talk, talk.state.bike or "")
    named = [b for b in bikes if _holds(said, tokens(b.nickname))]
    here = [b for b in bikes if b.id == talk.state.bike]
    found = named if len(named) == 1 else here or (list(bikes) if len(bikes) == 1 else [])
    return found[0] if found else None


def _new_bike(talk: Talk, text: str) -> tuple[str, str]:
    """'Goat: hours 9' where no Goat is known: a new bike, and the line without its name."""
    named = None if talk.holds else _NAMED.match(text)
    if named is None or not is_book_talk(named[2], ENGLISH) or is_book_talk(f"{named[1]} 1 h", ENGLISH):
        return "", text
    name = " ".join(named[1].split())
    known = any(bike.is_called(name) for bike in talk.desk.bikes)
    return ("", text) if known else (f"{NEW}{name}", named[2])


def _holds(said: Sequence[str], name: Sequence[str]) -> bool:
    places = range(len(said) - len(name) + 1)
    return bool(name) and any(tuple(said[i : i + len(name)]) == tuple(name) for i in places)


def _without_name(text: str, bike: BikeCard | None) -> str:
    """The bike's name is no part of the line."""
    if bike is None or not _holds(tokens(text), tokens(bike.nickname)):
        return text
    name = re.escape(bike.nickname)
    return re.sub(rf"(?:\b(?:for|of|on)\s+)?(?<!\w){name}(?!\w)[\s:,.-]*", "", text, flags=re.IGNORECASE)


# --- put and answered ------------------------------------------------------------------------


def put_book(talk: Talk, step: Next) -> Message:
    """The read-back, with the bike's name and the line that would go."""
    words = talk.words
    bike = _card(talk, step.id)
    name = bike.nickname if bike else step.id.removeprefix(NEW) or talk.state.nickname
    old = _standing(talk, step.id, int(step.extra[0])) if step.extra[0] != "0" else None
    was = say_line(old.line, words) if old else ""
    lines = _revived(step.extra)
    said = say_back(lines, words, units_of({**talk.desk.settings, **talk.state.settings})) if lines else ""
    lead = [words.say("book.for", name=name)] if name else []
    if old:
        lead.append(words.say("book.instead" if lines else "book.strike", was=was))
    if any(find.photo for line in lines for find in getattr(line, "found", None) or ()):
        lead.append(words.say("book.photo"))
    offered = [Option("yes", words.say("book.yes")), Option("no", words.say("book.no"))]
    if lines and not old and talk.owns:
        offered.append(Option("other", words.say("book.other_bike")))
    return plain(words, " ".join((*lead, said)).strip(), offered)


def put_book_bike(talk: Talk, step: Next) -> Message:
    bikes = () if talk.holds else talk.desk.bikes  # the rider's other bikes are none of a mechanic's
    offered = tuple(Option(b.id, b.nickname) for b in bikes)
    return plain(talk.words, talk.words.say("book.which" if offered else "book.name"), offered)


def name_its_bike(talk: Talk, asked: Asked, reading: Reading) -> bool:
    """Whose book it is: one of his bikes, or a new one as it was typed."""
    said = " ".join(talk.heard.text.split())
    id = reading.id if isinstance(reading, Chosen) else ""
    known = [b for b in talk.desk.bikes if b.id == id or b.is_called(said)]
    if known:
        _put(talk, "book", known[0].id, asked.extra)
        return True
    if not any(ch.isalnum() for ch in said) or len(said) > NAME_LONGEST:
        return False
    _put(talk, "book", f"{NEW}{said}", asked.extra)
    return True


def answer_book(talk: Talk, asked: Asked, reading: Reading) -> bool:
    """Yes writes; anything else leaves the book as it was."""
    if not isinstance(reading, Chosen):
        return False
    if reading.id == "yes":
        _write(talk, asked.id, asked.extra)
    elif reading.id == "other":
        _put(talk, "book_bike", "", asked.extra)
    else:
        talk.say("book.dropped")
    return True


def _write(talk: Talk, bike: str, extra: tuple[str, ...]) -> None:
    replaces, lines = int(extra[0]), _revived(extra)
    new = bike.removeprefix(NEW) if bike.startswith(NEW) else ""
    bike = "" if new else bike or talk.state.bike or ""
    before = talk.desk.books(bike) if bike else Book()
    card = _card(talk, bike)
    name = card.nickname if card else new or talk.state.nickname
    talk.emit(BookWritten(bike=bike, name=new, lines=tuple(extra[1:]), replaces=replaces))
    talk.say("book.written" if lines else "book.struck", name=name)
    _follow_up(talk, _grown(before, lines, replaces, talk), lines)


def _grown(before: Book, lines: Sequence[Any], replaces: int, talk: Talk) -> Book:
    """The book as it will be once this is written."""
    number = max((entry.number for entry in before.entries), default=0)
    at, old = stamp(talk.now), replaces or None
    fresh = [
        Entry(number + n, at, line, old if n == 1 else None) for n, line in enumerate(lines or [None], 1)
    ]
    return reduce(grow, fresh, before)


def _follow_up(talk: Talk, kept: Book, lines: Sequence[Any]) -> None:
    """What the new lines mean: hard pieces first, then the trend, then the laboratory."""
    finds = [f for line in lines if isinstance(line, OilChange | Look) for f in line.found or ()]
    told = any(isinstance(line, OilChange | Look) and line.found is not None for line in lines)
    looks = recent_intervals(kept) if told else ()
    judged = judge(looks) if looks else None
    hard = any(find.form in HARD or find.chunk for find in finds)
    if hard:
        talk.tell(_info(talk, talk.words.say("book.hard"), "warning"))
    if judged is not None:
        talk.tell(_history(talk, tell(judged, talk.words)))
    if not hard and talk.flow is None:  # a case says it itself
        _send_on(talk, past_limit(finds), judged.direction if judged else "first")
    if any(isinstance(line, Lab) for line in lines):
        talk.tell(_history(talk, "\n".join(tell_lab(kept, talk.words))))
    if any(isinstance(line, Meter) for line in lines):
        talk.say("book.meter.kept")


def _send_on(talk: Talk, past: Past | None, direction: Direction) -> None:
    """To a case, for more than may wait for the next look, or for a rise.

    Much that grows less at each look since the work is let be, as long as it is small.
    """
    if past and not (direction == "running_in" and past in ("pieces", "hairs")):
        talk.tell(_info(talk, talk.words.say(f"book.past.{past}"), "warning"))
    elif direction == "rising":
        talk.say("book.rising")


# --- shown -----------------------------------------------------------------------------------


def _show(talk: Talk) -> After:
    """The newest lines with their numbers, hours on the oil, and how to write."""
    bike = _bike(talk, talk.heard.text)
    kept = talk.desk.books(bike.id) if bike else Book()
    if bike is None or not kept.lines:
        talk.say("book.which_empty" if len(talk.desk.bikes) > 1 else "book.empty")
        return _after(talk)
    talk.tell(_history(talk, "\n".join(_page(talk, bike, kept))))
    return _after(talk)


def _page(talk: Talk, bike: BikeCard, kept: Book) -> Iterator[str]:
    words = talk.words
    left = len(kept.lines) - SHOWN
    yield words.say("book.title", name=bike.nickname)
    if left > 0:
        yield words.count("book.earlier", left)
    for n, row in list(enumerate(kept.lines, 1))[-SHOWN:]:
        yield words.say("book.line", n=n, day=row.day, line=say_line(row.line, words))
    on_oil = oil_hours(kept)
    if on_oil is not None:
        yield words.say("book.on_oil", hours=figure(on_oil))
    yield words.say("book.how")


# --- small things ----------------------------------------------------------------------------


def _after(talk: Talk) -> After:
    """The open question again; nothing where there is none."""
    return "again" if talk.asked is not None else ""


def _info(talk: Talk, text: str, signal: Any = None) -> Message:
    return plain(talk.words, text, kind="info", signal=signal)


def _history(talk: Talk, text: str) -> Message:
    """What a bike did before: of its rider alone, so that no channel shows it to a group."""
    return plain(talk.words, text, kind="record")


def _card(talk: Talk, id: str) -> BikeCard | None:
    return next((bike for bike in talk.desk.bikes if bike.id == id), None)


def _standing(talk: Talk, bike: str, number: int) -> Standing | None:
    return next((row for row in talk.desk.books(bike).lines if row.number == number), None)


def _revived(extra: Sequence[str]) -> list[Any]:
    return [LINE.validate_json(line) for line in extra[1:]]
