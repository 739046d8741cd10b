"""Laboratory reports of a bike's oil: each element per running hour, beside the same bike's earlier reports.

A limit for all machines misses the quiet ones: a gearbox that had always read 0 ppm of iron and then read
6 was failing, while the general limit was 50 (reliabilityweb.com, "Rate of change"). So only the rate of
change against the bike's own past counts; 100 ppm in 100 h are 1 ppm an hour (machinerylubrication.com,
Read/284). The spectrometer is blind above about 10 micrometres, so no report ever clears a visible piece.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from statistics import median

from bot.core.book import Book, Standing
from bot.core.book_entries import Lab, OilChange
from bot.core.words import Words

# Of wear, dirt and coolant; zinc, phosphorus, calcium, magnesium, molybdenum, boron and barium are put
# into the oil by its maker.
JUDGED = ("Fe", "Cu", "Al", "Cr", "Pb", "Sn", "Si", "Ni", "Ag", "Ti", "V", "Mn", "Sb", "Cd", "Na", "K")
TIMES = 2.0  # times the usual rate from which it is called up; our own line, no source
FLOOR = 5.0  # ppm above the usual that two analyses may differ by (from memory, no source)


@dataclass(frozen=True)
class Sample:
    """A report: ppm by symbol, running hours of that oil (None: not known), and which filling it was."""

    ppm: Mapping[str, float]
    hours: float | None
    filling: int


@dataclass(frozen=True)
class Verdict:
    """One element of the newest report. `usual`: median rate of earlier ones, None for the first."""

    element: str
    ppm: float
    rate: float
    usual: float | None
    raised: bool


def samples(book: Book) -> tuple[Sample, ...]:
    """The bike's reports in order; oil drained at a change belongs to the filling that ended there.

    Hours on the oil are those told with the report, else those since the change before it.
    """
    changes = [row for row in book.lines if isinstance(row.line, OilChange) and row.place]
    return tuple(_sample(book, row, changes) for row in book.lines if isinstance(row.line, Lab))


def _sample(book: Book, row: Standing, changes: Sequence[Standing]) -> Sample:
    """A report at an unknown place is a filling of its own, numbered below 0."""
    line = row.line
    if row.place is None:
        return Sample(line.ppm, sum(line.on_oil) / 2 if line.on_oil else None, -row.number)
    here = row.place
    earlier = [each for each in changes if each.place and each.place.middle < here.middle]
    since = book.run(earlier[-1].place, here) if earlier and earlier[-1].place else None
    told = line.on_oil or since
    return Sample(line.ppm, sum(told) / 2 if told else None, len(earlier))


def rate(reports: Sequence[Sample], i: int, element: str) -> float | None:
    """ppm per running hour in report `i`: since the one before on the same oil, else since that oil was new.

    None where the element or the hours are not told, or no time has passed.
    """
    here = reports[i]
    if element not in here.ppm or here.hours is None:
        return None
    before = [each for each in reports[:i] if each.filling == here.filling and element in each.ppm]
    last = before[-1] if before else Sample({element: 0.0}, 0.0, here.filling)
    hours = here.hours - (last.hours or 0.0)
    return (here.ppm[element] - last.ppm[element]) / hours if hours > 0 else None


def judge(reports: Sequence[Sample]) -> tuple[Verdict, ...]:
    """Each judged element of the newest report beside the earlier ones; those that are up come first."""
    if not reports:
        return ()
    told = [_verdict(reports, element) for element in JUDGED]
    return tuple(sorted((each for each in told if each), key=lambda each: not each.raised))


def _verdict(reports: Sequence[Sample], element: str) -> Verdict | None:
    last = len(reports) - 1
    now = rate(reports, last, element)
    if now is None:
        return None
    earlier = [each for i in range(last) if (each := rate(reports, i, element)) is not None]
    usual = median(earlier) if earlier else None
    raised = usual is not None and now > TIMES * usual and (now - usual) * _hours(reports[last]) >= FLOOR
    return Verdict(element, reports[last].ppm[element], now, usual, raised)


def _hours(report: Sample) -> float:
    return report.hours or 0.0


def tell_lab(book: Book, words: Words) -> tuple[str, ...]:
    """What the newest report says, a sentence each under 300 characters; () without a report.

    The last one always says what no report can see.
    """
    reports = samples(book)
    if not reports:
        return ()
    said = tuple(_sentences(judge(reports), words)) or (words.say("book.lab.hours"),)
    return (*said, words.say("book.lab.blind"))


def _sentences(verdicts: Sequence[Verdict], words: Words) -> Iterator[str]:
    for each in verdicts:
        key = "first" if each.usual is None else "raised" if each.raised else "usual"
        element = words.say(f"book.element.{each.element}")
        usual = f"{each.usual or 0:.2g}"
        text = words.say(
            f"book.lab.{key}", element=element, ppm=f"{each.ppm:g}", rate=f"{each.rate:.2g}", usual=usual
        )
        yield text[0].upper() + text[1:]
