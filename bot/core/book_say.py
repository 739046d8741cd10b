"""Lines of the book said back before they are written, and why a line is not written, on a phone's screen."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any, NamedTuple

from bot.core.book import Standing
from bot.core.book_draft import SHOWN, Trouble
from bot.core.book_entries import (
    Distance,
    Find,
    Hours,
    Lab,
    Look,
    Meter,
    Note,
    Odometer,
    OilChange,
    Part,
    Ride,
    Work,
)
from bot.core.units import convert, show
from bot.core.words import Units, Words

LONGEST = 299  # characters of a read-back


class _Room(NamedTuple):
    """How much is shown: letters of each free text, kinds of finds, lines; and in whose units."""

    letters: int
    finds: int
    lines: int
    units: Units = "metric"


_ROOMS = (_Room(1000, 99, 99), _Room(60, 4, 99), _Room(30, 2, 4), _Room(20, 1, 2), _Room(12, 1, 1))


def say_back(lines: Sequence[Any], words: Words, units: Units = "metric") -> str:
    """What would be written, closed by the question; under 300 characters, long texts cut short with '…'.

    In metric units it is itself a message that reads as these lines, as far as nothing was cut.
    """
    rooms = [room._replace(units=units) for room in _ROOMS]
    said = [words.say("book.ask", lines=_said(lines, words, room)) for room in rooms]
    return next((text for text in said if len(text) <= LONGEST), said[-1])


def say_line(line: Any, words: Words, units: Units = "metric") -> str:
    """One line as the book shows it."""
    return _line(line, words, _ROOMS[1]._replace(units=units))


def say_row(n: int, row: Standing, words: Words, units: Units = "metric") -> str:
    """A line of the book with its number, and its day once."""
    line = say_line(row.line.model_copy(update={"date": None}), words, units)
    return words.say("book.line", n=n, day=row.day, line=line)


def say_trouble(trouble: Trouble, words: Words) -> str:
    """Why it is not written, and what to do."""
    values = {name: cut(value, SHOWN) for name, value in trouble.values}
    return words.say(f"book.trouble.{trouble.key}", **values)


def cut(text: str, letters: int) -> str:
    """A text on one line and no longer than that."""
    plain = " ".join(text.split())
    return plain if len(plain) <= letters else plain[: letters - 1].rstrip() + "…"


def _said(lines: Sequence[Any], words: Words, room: _Room) -> str:
    told = "\n".join(_line(line, words, room) for line in lines[: room.lines])
    left = len(lines) - room.lines
    return told + (words.count("book.more", left) if left > 0 else "")


def _line(line: Any, words: Words, room: _Room) -> str:
    parts = [_HEADS[line.kind](line, words, room)]
    if isinstance(line, OilChange | Look) and line.found is not None:
        parts.append(say_found(line.found, words, room.units, room.finds, room.letters))
    if isinstance(line, Look) and line.cleaned:
        parts.append(words.say(f"book.cleaned.{line.cleaned}"))
    if line.note and not isinstance(line, Note):
        parts.append(words.say("book.kept", note=cut(line.note, room.letters)))
    return " ".join(parts)


def figure(span: tuple[float, float]) -> str:
    """'54.5', or '40–60' when it is not sure."""
    low, high = (f"{end:.10g}" for end in span)
    return low if low == high else f"{low}–{high}"


def distance(span: tuple[float, float], units: Units) -> str:
    """'1240 km', '770.5 mi' or both; '800–1200 km' when it is not sure."""
    said = [f"{figure(_in(span, unit))} {unit}" for unit in ("km", "mi")]
    return {"metric": said[0], "imperial": said[1]}.get(units, f"{said[0]} ({said[1]})")


def _in(span: tuple[float, float], unit: str) -> tuple[float, float]:
    low, high = (round(convert(end, "km", unit) or 0.0, 1) for end in span)
    return low, high


def _when(line: Any, words: Words, room: _Room) -> str:
    """The meters and the day."""
    hours = words.say("book.hours_shown", hours=figure(line.hours)) if line.hours else ""
    told = [each for each in (hours, distance(line.km, room.units) if line.km else "") if each]
    at = words.say("book.at", shown=", ".join(told)) if told else ""
    return at + (words.say("book.on", date=line.date) if line.date else "")


def _with(words: Words, *told: str) -> str:
    return "".join(words.say("book.with", what=what) for what in told if what)


# --- each kind -------------------------------------------------------------------------------


def _oil_change(line: OilChange, words: Words, room: _Room) -> str:
    more = (
        words.say("book.oil", oil=cut(line.oil, room.letters)) if line.oil else "",
        words.say(f"book.filter.{line.filter}") if line.filter else "",
        words.say(f"book.screen.{line.screen}") if line.screen else "",
    )
    return words.say("book.oil_change", rest=_when(line, words, room) + _with(words, *more))


def _plain(line: Look | Hours | Distance, words: Words, room: _Room) -> str:
    return words.say(f"book.{line.kind}", rest=_when(line, words, room))


def _meter(line: Meter, words: Words, room: _Room) -> str:
    day = words.say("book.on", date=line.date) if line.date else ""
    said = words.say("book.meter", shows=f"{line.shows:.10g}", rest=day)
    old = words.say("book.meter.old", hours=figure(line.hours)) if line.hours else ""
    return f"{said} {old}".rstrip()


def _odometer(line: Odometer, words: Words, room: _Room) -> str:
    day = words.say("book.on", date=line.date) if line.date else ""
    said = words.say("book.odometer", shows=distance((line.shows,) * 2, room.units), rest=day)
    old = words.say("book.odometer.old", km=distance(line.km, room.units)) if line.km else ""
    return f"{said} {old}".rstrip()


def _part(line: Part, words: Words, room: _Room) -> str:
    amount = f"{line.price:.10g}" if line.price is not None else ""
    price = words.say("price", amount=amount, currency=cut(line.currency, room.letters)) if amount else ""
    rest = _with(words, price.strip()) + _when(line, words, room)
    return words.say("book.part", what=cut(line.what, room.letters), rest=rest)


def _work(line: Work, words: Words, room: _Room) -> str:
    said = words.say("book.work", what=cut(line.what, room.letters), rest=_when(line, words, room))
    return f"{said} {words.say('book.work.opened')}" if line.opened else said


def _ride(line: Ride, words: Words, room: _Room) -> str:
    rest = _with(words, cut(line.ride, room.letters)) + _with(words, _when(line, words, room).strip(" ,"))
    return words.say("book.ride", ridden=figure(line.ridden), rest=rest)


def _lab(line: Lab, words: Words, room: _Room) -> str:
    ppm = ", ".join(f"{symbol} {value:.10g}" for symbol, value in line.ppm.items())
    said = words.say("book.lab", rest=_when(line, words, room), ppm=ppm)
    return f"{said} {words.say('book.lab.on_oil', hours=figure(line.on_oil))}" if line.on_oil else said


def _note(line: Note, words: Words, room: _Room) -> str:
    return words.say("book.note", rest=_when(line, words, room), note=cut(line.note, room.letters))


_HEADS: Mapping[str, Callable[[Any, Words, _Room], str]] = {
    "oil_change": _oil_change, "look": _plain, "hours": _plain, "distance": _plain, "meter": _meter,
    "odometer": _odometer, "part": _part, "work": _work, "ride": _ride, "lab": _lab, "note": _note,
}  # fmt: skip


# --- what was found --------------------------------------------------------------------------


def say_found(
    found: Sequence[Find], words: Words, units: Units = "metric", most: int = 99, letters: int = 1000
) -> str:
    """'Found: 6 flakes, silver, biggest 1 mm.'"""
    if not found:
        return words.say("book.found.nothing")
    told = [", ".join(_find(find, words, units, letters)) for find in found[:most]]
    if len(found) > most:
        told.append(words.count("book.found.more", len(found) - most))
    return words.say("book.found", finds="; ".join(told))


def _find(find: Find, words: Words, units: Units, letters: int) -> Iterator[str]:
    yield _pieces(find, words, letters)
    if find.metal:
        yield words.say(f"book.metal.{find.metal}")
    if find.magnet != "untested":
        yield words.say(f"book.magnet.{find.magnet}")
    if find.biggest:
        yield words.say("book.biggest", size=show(find.biggest, "mm", units))
    if find.where:
        yield words.say(f"book.where.{find.where}")


def _pieces(find: Find, words: Words, letters: int) -> str:
    key = f"book.form.{find.form or 'piece'}"
    if find.amount:
        form = words.say(f"{key}.other", n="").strip()
        return words.say("book.amount", amount=cut(find.amount, letters), form=form)
    low, high = find.count
    if high is not None:
        one = "one" if low == high == 1 else "other"
        return words.say(f"{key}.{one}", n=figure((low, high)))
    many = words.say("book.least", n=low + 1) if low < 2 else words.say("book.over", n=low)
    return words.say(f"{key}.other", n=many)
