"""Oil changes, repairs and new hour meters as upright lines with their names, those that find room."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from bot.reports.lettering import EDGE, LEFT, PITCH, SMALL, WIDTH, Label, below, legible, overlap, shorten
from bot.reports.trend_points import Along, Mark, MarkKind

ROWS = 3  # of names above the plot
MOST = 10  # lines
NUDGE = 9.0  # pixels between two lines at the same hours
ASIDE = 17.0  # pixels to the right of a look at the same hours: the look came first
NAME = 420.0  # pixels of one name
WEIGHT: Mapping[MarkKind, int] = {"repair": 0, "meter": 1, "oil_change": 2}  # the first are kept longest


@dataclass(frozen=True)
class Stem:
    """The line of a mark, from the plot up to `top`; `name`: its label if there was room."""

    mark: Mark
    x: float
    top: float
    name: Label | None = None


def choose(marks: Iterable[Mark], along: Along) -> list[Mark]:
    """Those within the hours shown, at most MOST of them, in the order of their hours.

    Repairs come first, then new meters, of each the newest. Oil changes are drawn all or none: some
    of them would look as if there had been no others.
    """
    first, last = along.span
    slack = 1e-9 * (last - first)
    within = sorted((m for m in marks if first - slack <= m.at <= last + slack), key=_worth)
    if len(within) > MOST:
        within = [mark for mark in within if mark.kind != "oil_change"][:MOST]
    return sorted(within, key=lambda mark: (mark.at, WEIGHT[mark.kind]))


def _worth(mark: Mark) -> tuple[float, float]:
    return WEIGHT[mark.kind], -mark.at


def stand(marks: Iterable[Mark], along: Along, looks: Sequence[float]) -> tuple[Stem, ...]:
    """Lines without names, each clear of the one before and of a look (at these pixels) it would hide."""
    stems: list[Stem] = []
    for mark in marks:
        x = along(mark.at)
        hidden = [at for at in looks if abs(at - x) < ASIDE / 2]
        x = max(hidden) + ASIDE if hidden else x
        x = max(x, stems[-1].x + NUDGE if stems else 0.0)
        stems.append(Stem(mark, min(x, WIDTH - EDGE), 0.0))
    return tuple(stems)


def named(stems: Sequence[Stem]) -> tuple[Stem, ...]:
    """The lines with their names, heights counted from the top of the plot.

    A name goes like a flag to the right of its line, else to the left, in the lowest row where it lies
    on no other name and no line crosses it. While not all find room, one is taken off: of oil changes,
    then meters, then repairs, the oldest. A mark without a name of its own is explained by the key.
    """
    wanted = sorted((n for n, stem in enumerate(stems) if legible(stem.mark.label)), key=_by_worth(stems))
    while (out := _all_named(stems, wanted)) is None:
        wanted.pop()
    return out


def _by_worth(stems: Sequence[Stem]) -> Callable[[int], tuple[float, float]]:
    return lambda n: _worth(stems[n].mark)


def _all_named(stems: Sequence[Stem], wanted: Iterable[int]) -> tuple[Stem, ...] | None:
    """From the right, so that a flag over lines already named finds out how high it must go."""
    out = list(stems)
    for n in sorted(wanted, reverse=True):
        others = out[:n] + out[n + 1 :]
        flag = next((flag for flag in _flags(out[n]) if _clear(flag, others)), None)
        if flag is None:
            return None
        out[n] = flag
    return tuple(out)


def _flags(stem: Stem) -> Iterator[Stem]:
    text = shorten(legible(stem.mark.label), SMALL, NAME)
    rows = [row * PITCH + below(SMALL) + 4 for row in range(ROWS)]
    right = [Label(text, stem.x + 8, y, SMALL, "mark", "left") for y in rows]
    left = [Label(text, stem.x - 8, y, SMALL, "mark", "right") for y in rows]
    yield from (Stem(stem.mark, stem.x, flag.box[3], flag) for flag in (*right, *left))


def _clear(flag: Stem, others: Iterable[Stem]) -> bool:
    label = flag.name
    if label is None or label.box[0] < LEFT or label.box[2] > WIDTH - EDGE / 2:
        return False
    return not any(_crosses(other, label) or _in_the_way(other, flag, label) for other in others)


def _in_the_way(other: Stem, flag: Stem, label: Label) -> bool:
    return other.name is not None and (_crosses(flag, other.name) or overlap(label.box, other.name.box, 4))


def _crosses(stem: Stem, label: Label) -> bool:
    left, lower, right, _ = label.box
    return left - 4 < stem.x < right + 4 and stem.top > lower


def rows_of(stems: Iterable[Stem]) -> int:
    """How many rows of names are in use."""
    heights = [stem.name.y - below(SMALL) - 4 for stem in stems if stem.name]
    return round(max(heights) / PITCH) + 1 if heights else 0


def raised(stem: Stem, top: float) -> Stem:
    """From the top of the plot to the lower side of the page."""
    label = replace(stem.name, y=stem.name.y + top) if stem.name else None
    return Stem(stem.mark, stem.x, stem.top + top, label)
