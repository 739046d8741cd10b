"""A bike's book: its entries folded into running hours and kilometres, and intervals between looks."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from bot.core.book_entries import Entry, Find, Look, Meter, Odometer, OilChange, Ride, Work
from bot.core.trend import RECENT, Interval

LEAST = 0.1  # hours: an hour meter shows no smaller step (from memory, no source)
FIGURES = 6  # decimals kept, so that 70.2 - 63.5 is 6.7
Hours = tuple[float, float]


@dataclass(frozen=True)
class Place:
    """Running hours (or kilometres) over all meters of the bike: a span, and on which meter it was read."""

    total: Hours
    meter: int = 0

    @property
    def middle(self) -> float:
        return sum(self.total) / 2


@dataclass(frozen=True)
class Standing:
    """A line that holds, with its day and its place in the bike's running hours (None: not known).

    `km`: its place in the bike's kilometres.
    """

    number: int
    day: str
    line: Any  # one of book_entries.Line
    place: Place | None
    km: Place | None = None


@dataclass(frozen=True)
class Book:
    """`lines` in order of time. `replaced`: number of an entry -> of the one that took its place.

    `now`: running hours by the last reading and the rides since. `slack`: for each meter, by how much
    its beginning is unsure. `fallen`: entries whose reading was below one of an earlier day or line.
    `km`, `slack_km`: the same of the kilometres by its odometers.
    """

    entries: tuple[Entry, ...] = ()
    replaced: Mapping[int, int] = field(default_factory=dict)
    lines: tuple[Standing, ...] = ()
    now: Place | None = None
    slack: tuple[float, ...] = (0.0,)
    fallen: tuple[int, ...] = ()
    offset: float = 0.0  # what the running hours are ahead of the meter now fitted
    km: Place | None = None
    slack_km: tuple[float, ...] = (0.0,)

    @property
    def total(self) -> Hours | None:
        return self.now.total if self.now else None

    def run(self, start: Place, end: Place) -> Hours:
        """Running hours from one place to a later one; readings of one meter differ exactly."""
        return _between_places(start, end, self.slack)


def _between_places(start: Place, end: Place, slack: Sequence[float]) -> Hours:
    unsure = sum(slack[start.meter + 1 : end.meter + 1])
    low = end.total[0] - start.total[1] - unsure
    high = end.total[1] - start.total[0] + unsure
    return (max(0.0, round(low, FIGURES)), max(0.0, round(high, FIGURES)))


# --- correcting ------------------------------------------------------------------------------


def amend(book: Book, number: int, line: Any, at: str) -> Book:
    """The book with `line` in the place of entry `number`, or of what stands there by now.

    The new entry is the last of `entries`. Raises KeyError when there is no such entry.
    """
    if number not in {entry.number for entry in book.entries}:
        raise KeyError(number)
    fresh = Entry(max(entry.number for entry in book.entries) + 1, at, line, number)
    return fold((*book.entries, fresh))


def strike(book: Book, number: int, at: str) -> Book:
    """The book with that line struck out; the same book when it is so already. Raises KeyError as above."""
    last = _last(number, book.replaced)
    struck = any(entry.number == last and entry.line is None for entry in book.entries)
    return book if struck else amend(book, number, None, at)


def _last(number: int, replaced: Mapping[int, int]) -> int:
    while number in replaced:
        number = replaced[number]
    return number


# --- folding ---------------------------------------------------------------------------------


def fold(entries: Iterable[Entry]) -> Book:
    """The same book whatever the order of the entries.

    Lines stand in order of their day (that of writing, where none was told), then of their numbers; a
    line that replaces another stands where that one stood. Raises ValueError for two entries of one
    number and for one that replaces no earlier entry.
    """
    kept = tuple(sorted(entries, key=lambda entry: entry.number))
    replaced, roots = _chains(kept)
    rows = [
        (entry.line.date or roots[entry.number].at[:10], roots[entry.number].number, entry)
        for entry in kept
        if entry.line is not None and entry.number not in replaced
    ]
    rows.sort(key=lambda row: row[:2])
    days, told = [day for day, _, _ in rows], [entry for _, _, entry in rows]
    hours, far = _Run("hours", Meter), _Run("km", Odometer)
    places = _settled(days, [hours.take(entry) for entry in told])
    kms = _settled(days, [far.take(entry) for entry in told])
    lines = tuple(
        Standing(entry.number, day, entry.line, place, km)
        for entry, day, place, km in zip(told, days, places, kms, strict=True)
    )
    fallen = tuple(dict.fromkeys((*hours.fallen, *far.fallen)))
    now, km = hours.here(hours.last), far.here(far.last)
    return Book(kept, replaced, lines, now, tuple(hours.slack), fallen, hours.offset, km, tuple(far.slack))


def grow(book: Book, entry: Entry) -> Book:
    """The book with one more entry, as `fold` would give it; at once where it only goes on from the end.

    That is a line of this day or later with a reading at or above the last line's, both of one meter: no
    earlier line is moved by it.
    """
    if not _goes_on(book, entry):
        return fold((*book.entries, entry))
    low, high = entry.line.hours
    place = Place((book.offset + low, book.offset + high), len(book.slack) - 1)
    row = Standing(entry.number, entry.line.date or entry.at[:10], entry.line, place, book.lines[-1].km)
    return replace(book, entries=(*book.entries, entry), lines=(*book.lines, row), now=place)


def _goes_on(book: Book, entry: Entry) -> bool:
    line, last = entry.line, book.lines[-1] if book.lines else None
    if entry.replaces is not None or line is None or line.hours is None or line.km is not None:
        return False
    if isinstance(line, Meter | Odometer | Ride):
        return False
    if last is None or last.place is None or last.line.hours is None or isinstance(last.line, Meter | Ride):
        return False
    if book.now != last.place or entry.number <= book.entries[-1].number:
        return False
    told = all(
        book.offset + shown >= reached for shown, reached in zip(line.hours, last.place.total, strict=True)
    )
    return told and (line.date or entry.at[:10]) >= last.day


def _chains(kept: Sequence[Entry]) -> tuple[dict[int, int], dict[int, Entry]]:
    """Which entry took whose place, and the first of each chain; of two for one line, the later holds."""
    replaced: dict[int, int] = {}
    roots: dict[int, Entry] = {}
    for entry in kept:
        if entry.number in roots:
            raise ValueError(f"two entries of number {entry.number}")
        if entry.replaces is None:
            roots[entry.number] = entry
        elif entry.replaces not in roots:
            raise ValueError(f"entry {entry.number} replaces {entry.replaces}, which is no earlier entry")
        else:
            replaced[_last(entry.replaces, replaced)] = entry.number
            roots[entry.number] = roots[entry.replaces]
    return replaced, roots


@dataclass
class _Run:
    """The running hours, or the kilometres, while lines are taken in order of time.

    `of`: which reading of a line it is; `fitted`: the lines that tell of another meter. `read`: by the
    last reading; below it no later reading can be. `last`: with the rides since, which give way to the
    next reading.
    """

    of: str
    fitted: type
    offset: float = 0.0
    read: Hours | None = None
    last: Hours | None = None
    slack: list[float] = field(default_factory=lambda: [0.0])
    fallen: list[int] = field(default_factory=list)

    def here(self, total: Hours | None) -> Place | None:
        return None if total is None else Place(total, len(self.slack) - 1)

    def take(self, entry: Entry) -> Place | None:
        """The line's place, where it tells one."""
        line = entry.line
        shown: Hours | None = getattr(line, self.of)
        if shown is not None:
            self._reading(entry.number, shown)
        if isinstance(line, self.fitted):
            self._fit(line.shows)  # type: ignore[attr-defined]
        elif isinstance(line, Ride) and shown is None and self.of == "hours":
            before = self.last or (0.0, 0.0)
            self.last = (before[0] + line.ridden[0], before[1] + line.ridden[1])
        elif shown is None:
            return None
        return self.here(self.last)

    def _reading(self, number: int, shown: Hours) -> None:
        total = (self.offset + shown[0], self.offset + shown[1])
        if self.read is not None:
            if total[1] < self.read[0]:
                self.fallen.append(number)
                total = self.read
            total = (max(total[0], self.read[0]), total[1])  # what was unsure before is as sure as now
        self.read = self.last = total

    def _fit(self, shows: float) -> None:
        """Another meter: the total goes on from the middle of where it was."""
        if self.last is not None:
            self.slack.append((self.last[1] - self.last[0]) / 2)
            self.offset = sum(self.last) / 2 - shows
        self.read = self.last = (self.offset + shows,) * 2


_Known = tuple[str, Place] | None  # the day of a line and its place


def _settled(days: Sequence[str], told: Sequence[Place | None]) -> list[Place | None]:
    """Where each line stands: none beyond a later one, and those that tell no reading between others."""
    known = [(day, place) if place else None for day, place in zip(days, _capped(told), strict=True)]
    befores, afters = _last_known(known), _last_known(known[::-1])[::-1]
    around = zip(known, days, befores, afters, strict=True)
    return [here[1] if here else _guessed(day, before, after) for here, day, before, after in around]


def _last_known(known: Sequence[_Known]) -> list[_Known]:
    """For each line the nearest one up to it that has a place."""
    out: list[_Known] = []
    for each in known:
        out.append(each or (out[-1] if out else None))
    return out


def _capped(told: Sequence[Place | None]) -> list[Place | None]:
    """No line lies beyond a later one of the same meter: rides that were told too long give way."""
    out: list[Place | None] = []
    after: Place | None = None
    for place in reversed(told):
        if place and after and after.meter == place.meter:
            ends = zip(place.total, after.total, strict=True)
            low, high = (min(mine, theirs) for mine, theirs in ends)
            place = Place((low, high), place.meter)
        after = place or after
        out.append(place)
    return out[::-1]


def _guessed(day: str, before: _Known, after: _Known) -> Place | None:
    """That of a line of the same day, else from the last known to the next."""
    same = [each[1] for each in (before, after) if each and each[0] == day]
    if same or before is None:
        return same[0] if same else None
    start, end = before[1], after[1] if after else None
    if end is None or end.meter != start.meter:
        return start
    return Place((start.total[0], end.total[1]), start.meter)


# --- what the oil tells ----------------------------------------------------------------------


def oil_hours(book: Book) -> Hours | None:
    """Running hours since the last oil change; None when there was none, or its hours are not known."""
    changes = [row for row in book.lines if isinstance(row.line, OilChange)]
    if not changes or changes[-1].place is None or book.now is None:
        return None
    return book.run(changes[-1].place, book.now)


def oil_km(book: Book) -> Hours | None:
    """Kilometres since the last oil change; None when there was none, or none were read since."""
    changes = [i for i, row in enumerate(book.lines) if isinstance(row.line, OilChange)]
    since = book.lines[changes[-1] :] if changes else ()
    read = any(row.line.km or isinstance(row.line, Odometer) for row in since[1:])
    if not read or since[0].km is None or book.km is None:
        return None
    return _between_places(since[0].km, book.km, book.slack_km)


@dataclass
class _Open:
    """An interval that is still running."""

    start: Place
    cleaned: str
    looks: list[Standing] = field(default_factory=list)


def recent_intervals(book: Book) -> tuple[Interval, ...]:
    """The newest `RECENT` intervals and a few before them, without looking through the whole book.

    A chunk of before stands on the first of them: it counts until its source is found.
    """
    ends, start = 0, 0
    for i in range(len(book.lines) - 1, -1, -1):
        ends += _cleans(book.lines[i].line)
        if ends > RECENT + 1:
            start = i
            break
    found = intervals(replace(book, lines=book.lines[start:]))
    earlier = any(_holds_chunk(row.line) for row in book.lines[:start])
    return (replace(found[0], chunk=True), *found[1:]) if earlier and found else found


def _holds_chunk(line: Any) -> bool:
    return isinstance(line, OilChange | Look) and any(find.chunk for find in line.found or ())


def _cleans(line: Any) -> bool:
    return isinstance(line, OilChange) or (isinstance(line, Look) and line.cleaned == "cleaned")


def intervals(book: Book) -> tuple[Interval, ...]:
    """What each stretch between two cleanings gave, oldest first.

    A stretch begins with an oil change, or with a look after which screen, plug and pan were cleaned,
    and ends with the next one of these. What a look saw that cleaned nothing may have been picked out
    or may lie there still when the stretch ends, so its pieces count with the others: at least as the
    larger of the two, at most as both together. A stretch that has not ended, or whose end says
    nothing of what was found, is given up to its last look. Where nothing was said, where it is not
    known when the oil way was last cleaned, or where no time has passed, there is no interval.

    Work that opened the engine is fresh when it was done at the beginning of a stretch or within it,
    and not when it was done at its very end, where nothing has run since.
    """
    opened = [row.place.middle for row in book.lines if row.place and _opens(row)]
    out: list[Interval] = []
    stretch: _Open | None = None
    for row in book.lines:
        if not isinstance(row.line, OilChange | Look):
            continue
        if stretch and row.line.found is not None and row.place:
            stretch.looks.append(row)
        if _cleans(row.line):
            out += _ended(book, stretch, opened)
            stretch = _Open(row.place, _cleaned(row.line)) if row.place else None
    return (*out, *_ended(book, stretch, opened))


def _opens(row: Standing) -> bool:
    return isinstance(row.line, Work) and row.line.opened


def _cleaned(line: OilChange | Look) -> str:
    """A new filter or a cleaned screen, and neither left as it was, is the whole oil way."""
    if isinstance(line, Look):
        return ""
    if line.filter == "kept" or line.screen == "left":
        return "oil"
    return "filter" if line.filter or line.screen else ""


def _ended(book: Book, stretch: _Open | None, opened: Sequence[float]) -> Iterator[Interval]:
    if stretch is None or not stretch.looks or stretch.looks[-1].place is None:
        return
    end = stretch.looks[-1].place
    low, high = book.run(stretch.start, end)
    if high < LEAST:
        return
    finds = [row.line.found for row in stretch.looks]
    yield Interval(
        hours=(max(low, LEAST), high),
        pieces=_together([count(found) for found in finds]),
        ends=round(end.middle, FIGURES),
        cleaned=stretch.cleaned,
        fresh_work=any(stretch.start.middle <= at < end.middle for at in opened),
        chunk=any(find.chunk for found in finds for find in found),
    )


def count(found: Iterable[Find]) -> tuple[int, int | None]:
    """How many pieces these are together; high is None for more than low."""
    return _summed([find.count for find in found])


def _summed(counts: Sequence[tuple[int, int | None]]) -> tuple[int, int | None]:
    least = sum(low + (high is None) for low, high in counts)
    most = [high for _, high in counts if high is not None]
    return (least, sum(most)) if len(most) == len(counts) else (least - 1, None)


def _together(counts: Sequence[tuple[int, int | None]]) -> tuple[int, int | None]:
    """Counts of looks that may have seen the same pieces: the largest at least, their sum at most."""
    least = max(low + (high is None) for low, high in counts)
    high = _summed(counts)[1]
    return (least, high) if high is not None else (least - 1, None)
