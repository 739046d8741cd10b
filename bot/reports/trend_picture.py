"""The trend of a bike's metal pieces as a picture for a phone, and the same said in one message.

The picture is a PNG of 1080 by 1350 pixels, to be read at a third of that. What is drawn where is worked
out in `trend_layout.py`; here it is only put on paper. The program that draws is loaded when the first
picture is asked for, since the start of everything else would wait for it. No colour means anything
alone: what differs, differs in marker or dashes too (`STYLES`).
"""

from __future__ import annotations

import io
import re
import unicodedata
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from bot.core.trend_words import LONGEST, tell
from bot.reports.lettering import HEIGHT, WIDTH, Label, legible
from bot.reports.trend_layout import (
    DOT,
    Dot,
    KeyLine,
    Layout,
    Level,
    figure,
    lay_out,
)
from bot.reports.trend_points import Mark, TrendPicture, points

__all__ = ["STYLES", "Mark", "Style", "TrendPicture", "draw", "lay_out", "text_line"]

INK, FAINT, RANGE, PAPER = "#1d2733", "#d9dee5", "#c9d3e0", "#ffffff"
UNSHOWN = "□"  # for letters that the font has not, however many in a row
STEP = 16  # of 255 between two shades of a colour: nearer ones are taken for each other
CAP = 9.0  # half of the bar at the end of a limit
NAME = 60  # letters of the bike's name in the message


@dataclass(frozen=True)
class Style:
    """`marker`: as the drawing program names it, "" none. `dash`: pixels on and off, () for a whole line."""

    colour: str
    marker: str = ""
    dash: tuple[float, ...] = ()
    width: float = 3.0
    hollow: bool = False


STYLES: Mapping[str, Style] = {
    "counted": Style("#1f4e8c", "o"),
    "vague": Style("#1f4e8c", "", (), 22.0),
    "open": Style("#1f4e8c", "^"),
    "chunk": Style("#b3261e", "D"),
    "pooled": Style("#1f4e8c", "s"),
    "other": Style("#1f4e8c", "o", hollow=True),
    "span": Style("#1f4e8c", "", (), 2.5),
    "oil_change": Style("#8a6d00", "", (4.0, 8.0), 4.0),
    "repair": Style("#1b6e3c", "", (), 5.0),
    "meter": Style("#6a3d9a", "", (20.0, 7.0, 3.0, 7.0), 4.0),
    "alarm": Style("#b3261e", "", (22.0, 11.0), 4.0),
    "doubt": Style("#b3261e", "", (9.0, 11.0), 3.0),
}


# --- the message ----------------------------------------------------------------------------


def text_line(picture: TrendPicture) -> str:
    """The same in words, under 300 characters; what was found comes whole and last.

    Before it, as far as there is room, in this order: bike and looks, the alarm, repairs, new meters.
    """
    verdict = tell(picture.trend, picture.words)
    text = ""
    for sentence in _said_before(picture):
        if len(text) + len(sentence) + len(verdict) + 2 <= LONGEST:
            text = f"{text} {sentence}".lstrip()
    return f"{text} {verdict}".lstrip()


def _said_before(picture: TrendPicture) -> Iterator[str]:
    say, drawn = picture.words, points(picture)
    name = legible(picture.title)
    name = name if len(name) <= NAME else f"{name[: NAME - 1]}…"
    begin, end = (f"{hours:.0f}" for hours in (drawn[0].hours[0], drawn[-1].hours[1]))
    name = name or say.say("picture.line.nameless")
    yield say.count("picture.line.looks", len(picture.looks), name=name, begin=begin, end=end)
    low, high = picture.trend.alarm
    if low == high:
        yield say.say("picture.line.alarm", high=high, hours=figure(picture.trend.next_hours, say))
    for kind in ("repair", "meter"):
        if n := sum(mark.kind == kind for mark in picture.marks):
            yield say.count(f"picture.line.{kind}", n)


# --- the drawing ----------------------------------------------------------------------------


def draw(picture: TrendPicture) -> bytes:
    """A PNG with its title and `text_line` inside; the same bytes for the same picture.

    ValueError without a look. ImportError where the drawing program is not installed.
    """
    layout, paper = lay_out(picture), Paper()
    _draw_frame(layout, paper)
    for stem in layout.stems:
        paper.line((stem.x, stem.x), (layout.plot[1], stem.top), STYLES[stem.mark.kind])
    for level in layout.levels:
        _draw_level(level, layout, paper)
    for dot in layout.dots:
        _draw_dot(dot, layout, paper)
    for level in layout.levels:
        if level.clear:
            paper.box(*level.label.box, PAPER, PAPER)
    for line in layout.key:
        _draw_key(line, paper)
    for label in layout.labels:
        paper.text(label)
    title = legible(picture.title) or picture.words.say("picture.unit")
    return paper.print({"Title": title, "Description": text_line(picture)})


class Paper:
    """A sheet of WIDTH by HEIGHT pixels and what can be put on it; each picture has its own."""

    def __init__(self) -> None:
        from matplotlib import get_data_path
        from matplotlib.backends.backend_agg import FigureCanvasAgg
        from matplotlib.figure import Figure
        from matplotlib.font_manager import FontProperties, get_font
        from matplotlib.lines import Line2D
        from matplotlib.patches import Rectangle
        from matplotlib.transforms import IdentityTransform

        letters = f"{get_data_path()}/fonts/ttf/DejaVuSans.ttf"
        # At 72 dots an inch one point is one pixel.
        self.figure = Figure(figsize=(WIDTH / 72, HEIGHT / 72), dpi=72, facecolor=PAPER)
        self.canvas: Any = FigureCanvasAgg(self.figure)
        self._has = get_font(letters).get_charmap()
        self._font: Callable[[float], Any] = lambda size: FontProperties(fname=letters, size=size)
        self._line, self._box, self._pixels = Line2D, Rectangle, IdentityTransform()
        self._laid = 0

    def line(self, xs: Sequence[float], ys: Sequence[float], style: Style, width: float = 0.0) -> None:
        """Through these points, dashed as the style says, without its marker."""
        width = width or style.width
        dashes = tuple(part / width for part in style.dash)
        self._add(
            self._line(
                xs,
                ys,
                color=style.colour,
                linewidth=width,
                linestyle=(0, dashes) if dashes else "-",
                marker="",
                solid_capstyle="butt",
                dash_capstyle="butt",
            )
        )

    def marker(self, x: float, y: float, marker: str, colour: str, hollow: bool, size: float) -> None:
        fill = PAPER if hollow else colour
        self._add(
            self._line(
                [x],
                [y],
                linestyle="",
                marker=marker,
                markersize=0.85 * size,
                markerfacecolor=fill,
                markeredgecolor=colour,
                markeredgewidth=0.3 * size / 2,
            )
        )

    def box(self, left: float, lower: float, right: float, upper: float, edge: str, fill: str) -> None:
        rectangle = self._box(
            (left, lower), right - left, upper - lower, facecolor=fill, edgecolor=edge, linewidth=3.0
        )
        self._add(rectangle)

    def text(self, label: Label) -> None:
        self.figure.text(
            label.x,
            label.y,
            self._drawable(label.text),
            transform=self._pixels,
            zorder=self._laid + 1,
            fontproperties=self._font(label.size),
            color=STYLES["alarm"].colour if label.role == "alarm" else INK,
            horizontalalignment=label.side,
            verticalalignment="baseline",
            parse_math=False,
            usetex=False,
        )

    def print(self, said: Mapping[str, str]) -> bytes:
        """The PNG, in the colours that are drawn with and their shades towards the paper.

        A shade that lies between two of them takes the nearest, without dots; it makes the file a third.
        """
        from PIL import Image
        from PIL.PngImagePlugin import PngInfo

        self.canvas.draw()
        shades = Image.new("P", (1, 1))
        shades.putpalette([part for shade in _shades() for part in shade])
        whole = Image.frombuffer("RGBA", (WIDTH, HEIGHT), self.canvas.buffer_rgba()).convert("RGB")
        texts, out = PngInfo(), io.BytesIO()
        for name, text in said.items():
            texts.add_text(name, text)
        drawn = whole.quantize(palette=shades, dither=Image.Dither.NONE)
        drawn.save(out, "PNG", pnginfo=texts, compress_level=9)
        return out.getvalue()

    def _add(self, artist: Any) -> None:
        """On top of what lies there already."""
        self._laid += 1
        artist.set(transform=self._pixels, zorder=self._laid)
        self.figure.add_artist(artist)

    def _drawable(self, text: str) -> str:
        """Pictograms that the font has not are left out, letters become one box each run.

        So the drawing program is never given one that it lacks, and has nothing to warn of.
        """
        known = "".join(c if ord(c) in self._has else _instead(c) for c in text)
        return re.sub(f"{UNSHOWN}+", UNSHOWN, known).strip() or UNSHOWN


def _shades() -> Iterator[tuple[int, int, int]]:
    """Each colour that is drawn with, and the steps from it to the paper: edges of letters and lines."""
    colours = dict.fromkeys((INK, RANGE, FAINT, *(style.colour for style in STYLES.values())))
    ground = _parts(PAPER)
    yield ground
    for parts in map(_parts, colours):
        steps = max(abs(g - p) for p, g in zip(parts, ground, strict=True)) // STEP
        for step in range(steps):
            red, green, blue = (round(p + (g - p) * step / steps) for p, g in zip(parts, ground, strict=True))
            yield (red, green, blue)


def _parts(colour: str) -> tuple[int, int, int]:
    """Red, green and blue of '#rrggbb'."""
    return (int(colour[1:3], 16), int(colour[3:5], 16), int(colour[5:7], 16))


def _instead(letter: str) -> str:
    return "" if unicodedata.category(letter) in ("So", "Sk") else UNSHOWN


def _draw_frame(layout: Layout, paper: Paper) -> None:
    left, lower, right, upper = layout.plot
    grid = Style(FAINT, width=2.0)
    for y in layout.beside:
        paper.line((left, right), (y, y), grid)
    for x in layout.under:
        paper.line((x, x), (lower, lower - 10), Style(INK, width=3.0))
    paper.line((left, left), (lower, upper), Style(INK, width=3.0))
    paper.line((left, right), (lower, lower), Style(INK, width=3.0))
    if layout.gap:
        begin, end = layout.gap
        paper.box(begin, lower - 12, end, upper, PAPER, PAPER)
        for x in layout.gap:
            paper.line((x - 6, x + 6), (lower - 14, lower + 14), Style(INK, width=3.0))


def _draw_level(level: Level, layout: Layout, paper: Paper) -> None:
    style = STYLES["doubt" if level.doubt else "alarm"]
    paper.line((layout.plot[0], layout.plot[2]), (level.y, level.y), style)


def _draw_dot(dot: Dot, layout: Layout, paper: Paper) -> None:
    """The run it stands for, limits, the range if it was vague, and the marker on top."""
    style, half = STYLES[dot.point.kind], dot.half
    paper.line(dot.run, (dot.y, dot.y), STYLES["span"])
    top = layout.plot[3] if dot.point.open else dot.limits[1]
    caps = () if layout.crowded else dot.limits[:1] if dot.point.open else dot.limits
    _draw_limits(dot.x, (dot.limits[0], top), caps, style.colour, paper)
    if dot.rate[0] != dot.rate[1]:
        upper = top - half if dot.point.open else dot.rate[1]
        paper.box(dot.x - 0.8 * half, dot.rate[0], dot.x + 0.8 * half, upper, style.colour, RANGE)
    if dot.point.open:
        paper.marker(dot.x, top - half, STYLES["open"].marker, style.colour, False, 2 * half)
    if style.marker:
        paper.marker(dot.x, dot.y, style.marker, style.colour, dot.point.other_cleaning, 2 * half)


def _draw_limits(
    x: float, limits: tuple[float, float], caps: Sequence[float], colour: str, paper: Paper
) -> None:
    thin = Style(colour, width=3.0 if caps else 2.0)
    paper.line((x, x), limits, thin)
    for y in caps:
        paper.line((x - CAP, x + CAP), (y, y), thin)


def _draw_key(line: KeyLine, paper: Paper) -> None:
    style, x, y = STYLES[line.kind], line.x, line.label.y + 12
    if line.kind == "span":
        paper.line((x - 28, x + 28), (y, y), style)
    elif line.kind in ("oil_change", "repair", "meter"):
        paper.line((x, x), (y - 20, y + 20), style)
    elif line.kind == "vague":
        paper.box(x - 11, y - 16, x + 11, y + 16, style.colour, RANGE)
    else:
        if line.kind == "counted":
            _draw_limits(x, (y - 20, y + 20), (y - 20, y + 20), style.colour, paper)
        paper.marker(x, y, style.marker, style.colour, style.hollow, 2 * DOT)
