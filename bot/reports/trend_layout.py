"""Where everything on the picture of a trend lies, in pixels from the lower left: worked out, not drawn.

Nothing here knows the program that draws. From the top: the bike's name, what is shown, names of
marks, the plot, the running hours, the key, and what must be known beside it. The plot gets the rest.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import median
from typing import Literal

from bot.core.stretches import Span
from bot.core.words import Words
from bot.reports.lettering import (
    BIG,
    EDGE,
    HEIGHT,
    LEFT,
    PITCH,
    PLAIN,
    SMALL,
    WIDTH,
    Box,
    Label,
    above,
    below,
    fold,
    legible,
    overlap,
    shorten,
    width,
)
from bot.reports.trend_marks import WEIGHT, Stem, choose, named, raised, rows_of, stand
from bot.reports.trend_points import (
    Alarm,
    Along,
    Point,
    PointKind,
    TrendPicture,
    Upwards,
    alarms,
    even_ticks,
    points,
    rate_ticks,
    scale_hours,
    scale_rates,
)

FLOOR = 18.0  # between 0 and the lower side of the plot, so that a marker at 0 is whole
DOT = 13.0  # half of a marker
CROWDED = 0.55  # of that where they would hide each other
SYMBOL = 84.0  # pixels for a marker in the key
KeyKind = Literal[
    "counted", "vague", "open", "chunk", "pooled", "other", "span", "oil_change", "repair", "meter"
]


@dataclass(frozen=True)
class Dot:
    """A point in pixels: marker at (x, y), of twice `half`; run, rate and limits as (from, to)."""

    point: Point
    x: float
    y: float
    run: Span
    rate: Span
    limits: Span
    half: float = DOT

    @property
    def marker(self) -> Box:
        lower, upper = min(self.rate[0], self.y - self.half), max(self.rate[1], self.y + self.half)
        return self.x - self.half, lower, self.x + self.half, upper

    @property
    def bar(self) -> Box:
        """Of the limits."""
        return self.x - 4, self.limits[0], self.x + 4, self.limits[1]


@dataclass(frozen=True)
class Level:
    """An alarm limit across the plot; `doubt`: a rise only at one end of what was vague.

    `clear`: its label hides no marker, so that it may be written on a ground of its own.
    """

    y: float
    rate: float
    doubt: bool
    label: Label
    clear: bool


@dataclass(frozen=True)
class KeyLine:
    kind: KeyKind
    x: float
    label: Label


@dataclass(frozen=True)
class Layout:
    """`plot`: its box. `zero`: height of rate 0. `gap`: pixels where the axis of hours is cut.

    `narrow`: the scale of rates narrows upwards. `crowded`: markers of full size would hide each other.
    `beside`, `under`: heights and places of the figures beside and under the plot.
    """

    plot: Box
    zero: float
    gap: Span | None
    narrow: bool
    crowded: bool
    dots: tuple[Dot, ...]
    stems: tuple[Stem, ...]
    levels: tuple[Level, ...]
    key: tuple[KeyLine, ...]
    beside: tuple[float, ...]
    under: tuple[float, ...]
    labels: tuple[Label, ...]


def lay_out(picture: TrendPicture) -> Layout:
    """The whole picture, from both ends to the plot between them. ValueError without a look."""
    say, drawn, limits = picture.words, points(picture), alarms(picture.trend)
    along = scale_hours(drawn, picture.trend.next_hours, LEFT, WIDTH - EDGE)
    narrow = scale_rates(drawn, limits, 0.0, 1.0).knee > 0
    title = _title(picture)
    ends = [along(point.hours[1]) for point in drawn]
    stems = named(stand(choose(picture.marks, along), along, ends))
    top = title[-1].box[1] - 24 - rows_of(stems) * PITCH
    notes = _notes(picture, drawn, along, stems, narrow)
    key = _key(drawn, stems, say, EDGE + len(notes) * PITCH + 16)
    floor = key[0].label.y + 3 * PITCH + 16
    plot = (LEFT, floor, WIDTH - EDGE, top)
    up = scale_rates(drawn, limits, floor + FLOOR, top)
    crowded = len(ends) > 1 and median(b - a for a, b in pairwise(ends)) < 2 * DOT
    dots = tuple(_dot(point, along, up, CROWDED * DOT if crowded else DOT) for point in drawn)
    stems = tuple(raised(stem, top) for stem in stems)
    levels = _levels(limits, plot, up, dots, stems, say)
    beside, under = _beside(up, say), _under(along, floor, say)
    return Layout(
        plot=plot,
        zero=up(0.0),
        gap=along.gap,
        narrow=narrow,
        crowded=crowded,
        dots=dots,
        stems=stems,
        levels=levels,
        key=key,
        beside=tuple(label.y + 0.36 * SMALL for label in beside),
        under=tuple(label.x for label in under[:-1]),
        labels=(
            *title,
            *beside,
            *under,
            *(stem.name for stem in stems if stem.name),
            *(level.label for level in levels),
            *(line.label for line in key),
            *notes,
        ),
    )


def figure(x: float, words: Words) -> str:
    """Two significant figures; under a hundredth is said as that."""
    if 0 < x < 0.005:
        return words.say("trend.under", high=0.01)
    return f"{float(f'{x:.2g}'):.0f}" if x >= 10 else f"{round(x, 1 if x >= 1 else 2):g}"


# --- title and notes ------------------------------------------------------------------------


def _title(picture: TrendPicture) -> list[Label]:
    name = shorten(legible(picture.title), BIG, WIDTH - 2 * EDGE)
    y = HEIGHT - EDGE - above(BIG)
    head = [Label(name, EDGE, y, BIG, "title")] if name else []
    y = y - 1.25 * BIG if name else HEIGHT - EDGE - above(PLAIN)
    return [*head, Label(picture.words.say("picture.unit"), EDGE, y, PLAIN, "unit")]


def _notes(
    picture: TrendPicture, drawn: Sequence[Point], along: Along, stems: Sequence[Stem], narrow: bool
) -> tuple[Label, ...]:
    """All that must be known beside the picture, in running lines at its foot; the lowest line last."""
    text = " ".join(_remarks(picture, drawn, along, stems, narrow))
    lines = fold(text, SMALL, WIDTH - 2 * EDGE)
    heights = (EDGE + below(SMALL) + n * PITCH for n in reversed(range(len(lines))))
    return tuple(Label(line, EDGE, y, SMALL, "note") for line, y in zip(lines, heights, strict=True))


def _remarks(
    picture: TrendPicture, drawn: Sequence[Point], along: Along, stems: Sequence[Stem], narrow: bool
) -> Iterator[str]:
    say = picture.words
    yield _alarm_note(picture)
    if narrow:
        yield say.say("picture.note.narrow")
    if picture.spread > 1:
        yield say.say("picture.note.widened")
    groups = [point.looks for point in drawn if point.looks > 1]
    if groups:
        yield say.say("picture.note.pooled", n=sum(groups), each=max(groups))
    if along.gap:
        yield say.say("picture.note.cut")
    if left_out := len(picture.marks) - len(stems):
        yield say.count("picture.note.not_drawn", left_out)
    if nameless := sum(bool(legible(stem.mark.label)) and stem.name is None for stem in stems):
        yield say.count("picture.note.not_named", nameless)


def _alarm_note(picture: TrendPicture) -> str:
    (low, high), say, trend = picture.trend.alarm, picture.words, picture.trend
    hours = figure(trend.next_hours, say)
    if high is None:
        return say.say("picture.note.alarm.open", low=low, hours=hours)
    key = "picture.note.alarm" if low == high else "picture.note.alarm.span"
    return say.say(key, low=low, high=high, hours=hours)


# --- points and alarm -----------------------------------------------------------------------


def _dot(point: Point, along: Along, up: Upwards, half: float) -> Dot:
    low, high = up(point.rate[0]), up(point.rate[1])
    begin, end = (along(hours) for hours in point.hours)
    if along.gap and end > along.gap[1]:
        begin = max(begin, along.gap[1])  # what begins where the axis is cut begins behind the cut
    limits = (up(point.limits[0]), up(point.limits[1]))
    y = low if point.open else (low + high) / 2
    return Dot(point, end, y, (begin, end), (low, high), limits, half)


def _levels(
    limits: Sequence[Alarm],
    plot: Box,
    up: Upwards,
    dots: Sequence[Dot],
    stems: Sequence[Stem],
    say: Words,
) -> tuple[Level, ...]:
    levels: list[Level] = []
    for rate, doubt in limits:
        text = say.say("picture.alarm.doubt" if doubt else "picture.alarm", rate=figure(rate, say))
        lines = [up(other) for other, _ in limits]
        label = _written(text, up(rate), plot, dots, stems, levels, lines)
        clear = not any(overlap(label.box, dot.marker) for dot in dots)
        levels.append(Level(up(rate), rate, doubt, label, clear))
    return tuple(levels)


def _written(
    text: str,
    y: float,
    plot: Box,
    dots: Sequence[Dot],
    stems: Sequence[Stem],
    levels: Sequence[Level],
    lines: Sequence[float],
) -> Label:
    """The text on or under its line where it hides least, from the right to the left."""

    def hidden(label: Label) -> float:
        box = label.box
        cost = 10.0 * sum(overlap(box, dot.bar) for dot in dots)
        cost += 30.0 * sum(overlap(box, dot.marker, 4) for dot in dots)
        cost += 8.0 * sum(box[0] - 5 < stem.x < box[2] + 5 for stem in stems)
        cost += 100.0 * sum(overlap(box, level.label.box, 4) for level in levels)
        cost += 5.0 * sum(box[1] < line < box[3] for line in lines)
        return cost + 1000.0 * (box[1] < plot[1] or box[3] > plot[3])

    on, under = y + 6 + below(SMALL), y - 6 - above(SMALL)
    right, left = int(plot[2]) - 8, int(plot[0] + 8 + width(text, SMALL))
    ends = range(right, left, -3)
    return min((Label(text, x, at, SMALL, "alarm", "right") for x in ends for at in (on, under)), key=hidden)


# --- key and ticks --------------------------------------------------------------------------


def _key(drawn: Sequence[Point], stems: Sequence[Stem], say: Words, lower: float) -> tuple[KeyLine, ...]:
    """What is on the picture, in two columns; what is not on it is not explained."""
    kinds = list(_shown(drawn, stems))
    column, rows = (WIDTH - 2 * EDGE) / 2, math.ceil(len(kinds) / 2)
    lines = []
    for n, kind in enumerate(kinds):
        x, y = EDGE + column * (n // rows), lower + (rows - 1 - n % rows) * PITCH + below(SMALL) + 6
        text = shorten(say.say(f"picture.key.{kind}"), SMALL, column - SYMBOL)
        lines.append(KeyLine(kind, x + SYMBOL / 2 - 10, Label(text, x + SYMBOL, y, SMALL, "key")))
    return tuple(lines)


def _shown(drawn: Sequence[Point], stems: Sequence[Stem]) -> Iterator[KeyKind]:
    kinds: tuple[PointKind, ...] = ("counted", "vague", "chunk", "pooled")
    yield from (kind for kind in kinds if any(point.kind == kind for point in drawn))
    if any(point.open for point in drawn):
        yield "open"
    if any(point.other_cleaning for point in drawn):
        yield "other"
    yield "span"
    yield from (kind for kind in WEIGHT if any(stem.mark.kind == kind for stem in stems))


def _beside(up: Upwards, say: Words) -> tuple[Label, ...]:
    ticks = rate_ticks(up, 1.9 * SMALL)
    return tuple(
        Label(figure(rate, say), LEFT - 16, up(rate) - 0.36 * SMALL, SMALL, "tick", "right") for rate in ticks
    )


def _under(along: Along, floor: float, say: Words) -> tuple[Label, ...]:
    """Figures of the running hours from the newest, those without room left out; last what they are."""
    y, kept = floor - 14 - above(SMALL), list[Label]()
    for begin, end, left, right in reversed(along.parts):
        most = (right - left) / (width(f"{end:.0f}", SMALL) + 50)
        for hours in reversed(even_ticks(begin, end, most)):
            label = Label(f"{hours:.10g}", along(hours), y, SMALL, "tick", "center")
            if _has_room(label, along, kept):
                kept.append(label)
    middle = (LEFT + WIDTH - EDGE) / 2
    return (*kept, Label(say.say("picture.hours"), middle, y - PITCH, SMALL, "hours", "center"))


def _has_room(label: Label, along: Along, kept: Sequence[Label]) -> bool:
    """Within the page, clear of the cut in the axis and of the figures beside it."""
    if along.gap and label.box[0] < along.gap[1] + 6 and along.gap[0] - 6 < label.box[2]:
        return False
    return label.box[2] < WIDTH - 6 and not any(overlap(label.box, other.box, 16) for other in kept)
