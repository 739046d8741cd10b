"""The bike's book in the talk: a line is read back and written after a yes; shown, put right, judged.

The book is no part of a case: what is written there moves nothing, and the open question comes again.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from functools import reduce
from typing import Any

from bot.core.agenda import Next
from bot.core.book import Book, Standing, grow, oil_hours, oil_km, recent_intervals
from bot.core.book_bikes import NEW, Addressed, addressed, is_line, picked
from bot.core.book_draft import Trouble
from bot.core.book_entries import LINE, Entry, Lab, Look, Meter, Odometer, OilChange
from bot.core.book_limits import Past, past_limit
from bot.core.book_lines import misfit, read_line
from bot.core.book_say import distance, figure, say_back, say_line, say_row, say_trouble
from bot.core.desk import BikeCard
from bot.core.events import BookWritten, WasAsked
from bot.core.hearing import is_nod
from bot.core.lab import tell_lab
from bot.core.messages import Message
from bot.core.offers import Chosen, Reading
from bot.core.phrases import Option, plain, units_of
from bot.core.spoken import ENGLISH, tokens
from bot.core.state import Asked
from bot.core.talk import Talk, stamp
from bot.core.trend import Direction, judge
from bot.core.trend_words import numbers, tell
from bot.core.words import Units

After = str
ASKED = ("book", "book_bike")
ANY_WORDS = ("bike", "problem", "confirm")  # questions that take a line of the book for their answer
SHOWN = 6  # lines of the book in one message
NAME_LONGEST = 24
SEVERAL = frozenset({"part", "work", "ride", "note"})  # kinds of which a second line corrects no first one
_TREND = re.compile(r"^\W*(?:the )?trend\b", re.IGNORECASE)
_NO_BUT = re.compile(r"^\W*(?:no|not|it is|its|it's|that is|that's)\b\W*", re.IGNORECASE)
_NUMBERS = re.compile(r"\b(?:numbers?|figures)\b", re.IGNORECASE)
HARD = frozenset({"chunk", "splinter", "grain"})  # forms that outrank any count
_CALLED = re.compile(r"^\W*(?:my |the )?(?:log ?)?book\b[\s:,.-]*", re.IGNORECASE)
_CHANGE = re.compile(r"^(?:change|correct)\W*(\d{1,6})\W+(.*)$", re.IGNORECASE | re.DOTALL)
_STRIKE = re.compile(r"^(?:strike|delete|remove)(?: out)?(?: line)?\W*(\d{1,6})\W*$", re.IGNORECASE)


def is_called(talk: Talk) -> bool:
    """Whether words begin with 'book' and say what is to be done in it."""
    called = _CALLED.match(talk.heard.text)
    rest = talk.heard.text[called.end() :].strip() if called else ""
    if called is None or not rest:
        return False
    said = addressed(talk, rest)
    told = not said.text or _CHANGE.match(said.text) or _STRIKE.match(said.text) or is_line(said)
    return ":" in called[0] or bool(told)


def is_meant(talk: Talk) -> bool:
    """Whether words that answer nothing are for the book.

    While a case is open only what names running hours, or the bike before all else: the rest may well be
    about the case.
    """
    if not _is_line(talk):
        return False
    said = addressed(talk, talk.heard.text)
    if is_called(talk) or talk.flow is None or talk.state.ended is not None or said.ahead:
        return True
    lines = read_line(said.text, ENGLISH, talk.now)
    return not isinstance(lines, Trouble) and any(line.hours or line.km for line in lines)


def interrupts(talk: Talk) -> bool:
    """Whether words at a question that takes any words are a line of the book, and so no answer to it."""
    return talk.asked is not None and talk.asked.what in ANY_WORDS and _is_line(talk)


def _is_line(talk: Talk) -> bool:
    return is_called(talk) or is_line(addressed(talk, talk.heard.text))


# --- what is asked for -----------------------------------------------------------------------


def book(talk: Talk, rest: str) -> After:
    """'book' shows it, 'book oil change at 54.5' writes, 'book change 3: ...' and 'book strike 3' mend.

    The name of a bike may stand with each of them.
    """
    text = _CALLED.sub("", talk.heard.text.strip(), count=1).strip()
    said = addressed(talk, text)
    if not said.text:
        return _show(talk, said.bike)
    if changed := _CHANGE.match(said.text):
        return _change(talk, said, int(changed[1]), changed[2])
    if struck := _STRIKE.match(said.text):
        return _change(talk, said, int(struck[1]), "")
    if _names_no_bike(talk, said):
        names, note = _names(talk), f"{talk.words.controls['book'][0]} note: {text}"
        talk.say("book.no_bike", said=text, names=names, like=note)
        return _after(talk)
    return propose(talk, text)


def _names_no_bike(talk: Talk, said: Addressed) -> bool:
    """One word that is no line, where it may be any of several bikes: a name that none has."""
    return len(talk.desk.bikes) > 1 and len(tokens(said.text)) == 1 and not is_line(said)


def trend(talk: Talk, rest: str) -> After:
    """'trend' in words, 'trend numbers' with its figures; of the bike that is named with it."""
    text = _TREND.sub("", talk.heard.text, count=1)
    bike = addressed(talk, _NUMBERS.sub("", text)).bike
    if bike is None and len(talk.desk.bikes) > 1:
        _ask_which(talk, "trend")
        return _after(talk)
    kept = talk.desk.books(bike.id) if bike else Book()
    looks = recent_intervals(kept)
    if not looks:
        talk.say("book.no_trend")
        return _after(talk)
    judged = judge(looks)
    if _NUMBERS.search(text):
        talk.tell(_history(talk, numbers(judged, talk.words)))
    else:
        talk.tell(_history(talk, tell(judged, talk.words)))
        talk.say("book.trend.more")
    return _after(talk)


def propose(talk: Talk, text: str) -> After:
    """Read a line and read it back; nothing is written before the yes."""
    return _propose(talk, addressed(talk, text))


def _propose(talk: Talk, said: Addressed, replaces: int = 0) -> After:
    if not talk.owns and said.bike is None:
        talk.say("holding.other_bike")
        return _after(talk)
    bike = None if replaces else said.bike  # an older line may well lie below the newest reading
    last, last_km = (bike.shown, bike.shown_km) if bike else (None, None)
    lines = read_line(said.text, ENGLISH, talk.now, last, last_km, _far(talk))
    if isinstance(lines, Trouble):
        talk.tell(_info(talk, say_trouble(lines, talk.words)))
        return _after(talk)
    fresh = tuple(_with_photo(lines, talk.heard.file))
    id, waiting = _beside_the_open(talk, said.id or talk.state.bike or "", fresh, replaces)
    extra = (str(replaces), *(line.model_dump_json() for line in (*waiting, *fresh)))
    _put(talk, "book" if id else "book_bike", id, extra)
    return ""


def _beside_the_open(talk: Talk, id: str, fresh: Sequence[Any], replaces: int) -> tuple[str, Sequence[Any]]:
    """Whose book it is, and the lines that wait for their yes already and stay beside these.

    One of the same kind gives way, since the new one puts it right; of what there may be several of,
    none does. What waits for another bike is said to be left.
    """
    asked = talk.asked
    if asked is None or asked.what not in ASKED or asked.extra[0] != "0" or replaces:
        return id, ()
    waiting = _revived(asked.extra)
    id = id or asked.id
    if asked.id and id != asked.id:
        told = " ".join(say_line(line, talk.words, _units(talk)) for line in waiting)
        talk.say("book.left", was=told, name=_name(talk, asked.id))
        return id, ()
    kinds = {line.kind for line in fresh} - SEVERAL
    return id, [line for line in waiting if line.kind not in kinds and line not in fresh]


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


def _change(talk: Talk, said: Addressed, place: int, text: str) -> After:
    """Another line in the place of one, or (no text) none."""
    bike = said.bike
    lines = talk.desk.books(bike.id).lines if bike else ()
    if bike is None and len(talk.desk.bikes) > 1:
        _ask_which(talk, "book")
        return _after(talk)
    if bike is None or not 1 <= place <= len(lines):
        talk.say("book.no_line", n=place)
        return _after(talk)
    number = lines[place - 1].number
    if text.strip():
        return _propose(talk, Addressed(bike, "", text), number)
    _put(talk, "book", bike.id, (str(number),))
    return ""


def _put(talk: Talk, what: Any, id: str, extra: tuple[str, ...]) -> None:
    step = Next(what, id, extra)
    talk.emit(WasAsked(seat=talk.seat, what=what, id=id, extra=extra))
    talk.tell(put_book(talk, step) if what == "book" else put_book_bike(talk, step))


# --- put and answered ------------------------------------------------------------------------


def put_book(talk: Talk, step: Next) -> Message:
    """The read-back, with the bike's name and the line that would go."""
    words = talk.words
    name = _name(talk, step.id)
    old = _standing(talk, step.id, int(step.extra[0])) if step.extra[0] != "0" else None
    was = say_line(old.line, words, _units(talk)) if old else ""
    lines = _revived(step.extra)
    said = say_back(lines, words, _units(talk)) if lines else ""
    lead = [words.say("book.for", name=name)] if name else []
    if old:
        lead.append(words.say("book.instead" if lines else "book.strike", was=was))
    if any(find.photo for line in lines for find in getattr(line, "found", None) or ()):
        lead.append(words.say("book.photo"))
    between = "\n" if old else " "
    offered = [Option("yes", words.say("book.yes")), Option("no", words.say("book.no"))]
    if lines and not old and talk.owns:
        offered.append(Option("other", words.say("book.other_bike")))
    return plain(words, f"{' '.join(lead)}{between}{said}".strip(), offered)


def put_book_bike(talk: Talk, step: Next) -> Message:
    bikes = () if talk.holds else talk.desk.bikes  # the rider's other bikes are none of a mechanic's
    offered = tuple(Option(b.id, b.nickname) for b in bikes)
    return plain(talk.words, talk.words.say("book.which" if offered else "book.name"), offered)


def name_its_bike(talk: Talk, asked: Asked, reading: Reading) -> bool:
    """Whose book it is: one of his bikes, or a new one as it was typed."""
    said = " ".join(talk.heard.text.split())
    if known := picked(talk.desk.bikes, said, reading):
        fitting = _fitting(talk, known, asked.extra)
        if len(fitting) > 1 or len(asked.extra) == 1:
            _put(talk, "book", known.id, fitting)
    elif wrong := no_name(talk, said):
        talk.say(wrong, said=said)
        _put(talk, "book_bike", "", asked.extra)
    else:
        _put(talk, "book", f"{NEW}{said}", asked.extra)
    return True


def _fitting(talk: Talk, bike: BikeCard, extra: tuple[str, ...]) -> tuple[str, ...]:
    """What waited for its bike, without the readings that cannot be this one's; of those it is said why."""
    kept = [extra[0]]
    for text, line in zip(extra[1:], _revived(extra), strict=True):
        wrong = misfit(line, talk.now, bike.shown, bike.shown_km, _far(talk))
        if wrong is None:
            kept.append(text)
        else:
            talk.tell(_info(talk, say_trouble(wrong, talk.words)))
    return tuple(kept)


def no_name(talk: Talk, said: str) -> str:
    """Why words are no name of a bike, as a key of the wording; "" when they may be one."""
    if len(said) > NAME_LONGEST:
        return "bike.too_long"
    return "bike.no_name" if is_nod(talk) or not any(ch.isalnum() for ch in said) else ""


def goes_elsewhere(talk: Talk, asked: Asked) -> bool:
    """'Mule' or 'no, Mule' in place of the yes: the lines are for that bike's book."""
    said = _NO_BUT.sub("", talk.heard.text)
    found = addressed(talk, said)
    if asked.extra[0] != "0" or found.bike is None or found.text or not said.strip():
        return False
    fitting = _fitting(talk, found.bike, asked.extra)
    if len(fitting) > 1:
        _put(talk, "book", found.bike.id, fitting)
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
    talk.emit(BookWritten(bike=bike, name=new, lines=tuple(extra[1:]), replaces=replaces))
    talk.say("book.written" if lines else "book.struck", name=_name(talk, bike or f"{NEW}{new}"))
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
    for line in lines:
        if isinstance(line, Meter | Odometer):
            talk.say(f"book.{line.kind}.kept")


def _send_on(talk: Talk, past: Past | None, direction: Direction) -> None:
    """To a case, for more than may wait for the next look, or for a rise.

    Much that grows less at each look since the work is let be, as long as it is small.
    """
    if past and not (direction == "running_in" and past in ("pieces", "hairs")):
        talk.tell(_info(talk, talk.words.say(f"book.past.{past}"), "warning"))
    elif direction == "rising":
        talk.say("book.rising")


# --- shown -----------------------------------------------------------------------------------


def _show(talk: Talk, bike: BikeCard | None) -> After:
    """The newest lines with their numbers, hours on the oil, and how to write."""
    kept = talk.desk.books(bike.id) if bike else Book()
    if bike is None or not kept.lines:
        if bike is None and len(talk.desk.bikes) > 1:
            _ask_which(talk, "book")
        else:
            talk.say("book.empty")
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
        yield say_row(n, row, words, _units(talk))
    on_oil = oil_hours(kept)
    if on_oil is not None:
        yield words.say("book.on_oil", hours=figure(on_oil))
    far_on_oil = oil_km(kept)
    if far_on_oil is not None:
        yield words.say("book.on_oil.km", km=distance(far_on_oil, _units(talk)))
    yield words.say("book.how")


# --- small things ----------------------------------------------------------------------------


def _after(talk: Talk) -> After:
    """The open question again; nothing where there is none."""
    return "again" if talk.asked is not None else ""


def _units(talk: Talk) -> Units:
    return units_of({**talk.desk.settings, **talk.state.settings})


def _far(talk: Talk) -> str:
    """The unit of a distance that he tells without one."""
    return "mi" if _units(talk) == "imperial" else "km"


def _ask_which(talk: Talk, control: str) -> None:
    """Of several bikes: by their names what to send."""
    like = f"{talk.words.controls[control][0]} {talk.desk.bikes[0].nickname}"
    talk.say("book.which_bike", names=_names(talk), like=like)


def _names(talk: Talk) -> str:
    """Pepper, Goat or Mule."""
    *others, last = (bike.nickname for bike in talk.desk.bikes)
    return f"{', '.join(others)} {talk.words.say('book.or')} {last}" if others else last


def _info(talk: Talk, text: str, signal: Any = None) -> Message:
    return plain(talk.words, text, kind="info", signal=signal)


def _history(talk: Talk, text: str) -> Message:
    """What a bike did before: of its rider alone, so that no channel shows it to a group."""
    return plain(talk.words, text, kind="record")


def _name(talk: Talk, id: str) -> str:
    """What a bike is called, a new one too; "" for one that is not named yet."""
    card = next((bike for bike in talk.desk.bikes if bike.id == id), None)
    return card.nickname if card else id.removeprefix(NEW) or talk.state.nickname


def _standing(talk: Talk, bike: str, number: int) -> Standing | None:
    return next((row for row in talk.desk.books(bike).lines if row.number == number), None)


def _revived(extra: Sequence[str]) -> list[Any]:
    return [LINE.validate_json(line) for line in extra[1:]]
