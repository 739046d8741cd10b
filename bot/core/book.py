"""A bike's book: its entries folded into running hours, hours on the oil, and intervals between looks."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from bot.core.book_entries import Entry, Find, Look, Meter, OilChange, Ride, Work
from bot.core.trend import RECENT, Interval

LEAST = 0.1  # hours: an hour meter shows no smaller step (from memory, no source)
FIGURES = 6  # decimals kept, so that 70.2 - 63.5 is 6.7
Hours = tuple[float, float]


@dataclass(frozen=True)
class Place:
    """Running hours of the bike over all its meters: a span, and on which of its meters it was read."""

    total: Hours
    meter: int = 0

    @property
    def middle(self) -> float:
        return sum(self.total) / 2


@dataclass(frozen=True)
class Standing:
    """A line that holds, with its day and its place in the bike's running hours (None: not known)."""

    number: int
    day: str
    line: Any  # one of book_entries.Line
    place: Place | None


@dataclass(frozen=True)
class Book:
    """`lines` in order of time. `replaced`: number of an entry -> of the one that took its place.

    `now`: running hours by the last reading and the rides since. `slack`: for each meter, by how much
    its beginning is unsure. `fallen`: entries whose reading was below one of an earlier day or line.
    """

    entries: tuple[Entry, ...] = ()
    replaced: Mapping[int, int] = field(default_factory=dict)
    lines: tuple[Standing, ...] = ()
    now: Place | None = None
    slack: tuple[float, ...] = (0.0,)
    fallen: tuple[int, ...] = ()
    offset: float = 0.0  # what the running hours are ahead of the meter now fitted

    @property
    def total(self) -> Hours | None:
        return self.now.total if self.now else None

    def run(self, start: Place, end: Place) -> Hours:
        """Running hours from one place to a later one; readings of one meter differ exactly."""
        unsure = sum(self.slack[start.meter + 1 : end.meter + 1])
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
    run = _Run()
    taken = [run.take(Standing(entry.number, day, entry.line, None)) for day, _, entry in rows]
    lines, now = tuple(_between(_capped(taken))), run.here(run.last)
    return Book(kept, replaced, lines, now, tuple(run.slack), tuple(run.fallen), run.offset)


def grow(book: Book, entry: Entry) -> Book:
    """The book with one more entry, as `fold` would give it; at once where it only goes on from the end.

    That is a line of this day or later with a reading at or above the last line's, both of one meter: no
    earlier line is moved by it.
    """
    if not _goes_on(book, entry):
        return fold((*book.entries, entry))
    low, high = entry.line.hours
    place = Place((book.offset + low, book.offset + high), len(book.slack) - 1)
    row = Standing(entry.number, entry.line.date or entry.at[:10], entry.line, place)
    return replace(book, entries=(*book.entries, entry), lines=(*book.lines, row), now=place)


def _goes_on(book: Book, entry: Entry) -> bool:
    line, last = entry.line, book.lines[-1] if book.lines else None
    if entry.replaces is not None or line is None or line.hours is None or isinstance(line, Meter | Ride):
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
    """The running hours while lines are taken in order of time.

    `read`: by the last reading; below it no later reading can be. `last`: with the rides since, which
    give way to the next reading.
    """

    offset: float = 0.0
    read: Hours | None = None
    last: Hours | None = None
    slack: list[float] = field(default_factory=lambda: [0.0])
    fallen: list[int] = field(default_factory=list)

    def here(self, total: Hours | None) -> Place | None:
        return None if total is None else Place(total, len(self.slack) - 1)

    def take(self, row: Standing) -> Standing:
        """The line with its place, where it tells one."""
        line = row.line
        if line.hours is not None:
            self._reading(row.number, line.hours)
        if isinstance(line, Meter):
            self._fit(line.shows)
        elif isinstance(line, Ride) and line.hours is None:
            before = self.last or (0.0, 0.0)
            self.last = (before[0] + line.ridden[0], before[1] + line.ridden[1])
        elif line.hours is None:
            return row
        return replace(row, place=self.here(self.last))

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


def _capped(lines: Sequence[Standing]) -> list[Standing]:
    """No line lies beyond a later one of the same meter: rides that were told too long give way."""
    out: list[Standing] = []
    after: Place | None = None
    for row in reversed(lines):
        place = row.place
        if place and after and after.meter == place.meter:
            ends = zip(place.total, after.total, strict=True)
            low, high = (min(mine, theirs) for mine, theirs in ends)
            place = Place((low, high), place.meter)
        after = place or after
        out.append(replace(row, place=place))
    return out[::-1]


def _between(lines: Sequence[Standing]) -> Iterator[Standing]:
    """Lines that tell no hours: those of a line of the same day, else from the last known to the next."""
    for i, row in enumerate(lines):
        yield row if row.place else replace(row, place=_guessed(lines, i))


def _guessed(lines: Sequence[Standing], i: int) -> Place | None:
    before = next((row for row in reversed(lines[:i]) if row.place), None)
    after = next((row for row in lines[i + 1 :] if row.place), None)
    same = [row for row in (before, after) if row and row.day == lines[i].day]
    if same:
        return same[0].place
    if before is None or before.place is None:
        return None
    if after is None or after.place is None or after.place.meter != before.place.meter:
        return before.place
    return Place((before.place.total[0], after.place.total[1]), before.place.meter)


# --- what the oil tells ----------------------------------------------------------------------


def oil_hours(book: Book) -> Hours | None:
    """Running hours since the last oil change; None when there was none, or its hours are not known."""
    changes = [row for row in book.lines if isinstance(row.line, OilChange)]
    if not changes or changes[-1].place is None or book.now is None:
        return None
    return book.run(changes[-1].place, book.now)


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
