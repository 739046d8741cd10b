"""A page of a flow's picture as SVG, or as PNG; the program that draws PNGs is loaded only for them.

Nothing is told by colour: frames, marks and dots differ in form, and shades are greys.
"""

from __future__ import annotations

import io
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any
from xml.sax.saxutils import escape, quoteattr

from bot.reports.flow_layout import WIDTH, Bar, Frame, Page, Symbol
from bot.reports.lettering import legible

INK, SOFT, TRACK, BAND, CARD, PAPER = "#111111", "#444444", "#c8c8c8", "#dedede", "#f7f7f7", "#ffffff"
FONTS = "DejaVu Sans, Verdana, Bitstream Vera Sans, sans-serif"
# The outline of a stop sign, around nothing.
_EIGHT = ((-1, -0.42), (-0.42, -1), (0.42, -1), (1, -0.42), (1, 0.42), (0.42, 1), (-0.42, 1), (-1, 0.42))
_STROKE = 4.0

Point = tuple[float, float]


@dataclass(frozen=True)
class Area:
    """A filled outline; `edge` 0: without one."""

    points: tuple[Point, ...]
    fill: str
    edge: float = 0.0


@dataclass(frozen=True)
class Stroke:
    begin: Point
    end: Point
    colour: str = INK
    wide: float = _STROKE


@dataclass(frozen=True)
class Disc:
    at: Point
    half: float
    fill: str
    edge: float = 2.5


@dataclass(frozen=True)
class Letters:
    at: Point
    said: str
    size: float
    bold: bool
    colour: str


Shape = Area | Stroke | Disc | Letters


def grey(dark: float) -> str:
    """A grey from light to black for 0 to 1."""
    level = round(0xC0 * (1 - dark))
    return f"#{level:02x}{level:02x}{level:02x}"


def shapes(page: Page) -> Iterator[Shape]:
    """Everything on the page in the order in which it is put there."""
    yield _box(0.0, 0.0, WIDTH, page.height, PAPER)
    for frame in page.frames:
        yield from _frame(frame)
    for line in page.lines:
        looks = (TRACK, 1.5) if line.thin else (SOFT, _STROKE)
        yield Stroke((line.x1, line.y1), (line.x2, line.y2), *looks)
    for bar in page.bars:
        yield from _bar(bar)
    for symbol in page.symbols:
        yield from _symbol(symbol)
    for text in page.texts:
        colour = INK if text.shade == "ink" else SOFT
        yield Letters((text.x, text.y), text.said, text.size, text.bold, colour)


def _box(left: float, top: float, right: float, bottom: float, fill: str, edge: float = 0.0) -> Area:
    return Area(((left, top), (right, top), (right, bottom), (left, bottom)), fill, edge)


def _frame(frame: Frame) -> Iterator[Shape]:
    yield _box(frame.left, frame.top, frame.right, frame.bottom, CARD)
    yield _box(frame.left, frame.top, frame.right, frame.head, BAND)
    corners = _box(frame.left, frame.top, frame.right, frame.bottom, "").points
    for begin, end in zip(corners, (*corners[1:], corners[0]), strict=True):
        yield Stroke(begin, end, INK if frame.heavy else SOFT, 4.0 if frame.heavy else 1.5)


def _bar(bar: Bar) -> Iterator[Shape]:
    yield _box(bar.left, bar.top, bar.right, bar.bottom, TRACK)
    yield _box(bar.left, bar.top, bar.left + (bar.right - bar.left) * bar.filled, bar.bottom, INK)


def _symbol(symbol: Symbol) -> Iterator[Shape]:
    x, y, half = symbol.x, symbol.y, symbol.half
    if symbol.kind in ("+", "-"):
        yield Stroke((x - half, y), (x + half, y))
    if symbol.kind == "+":
        yield Stroke((x, y - half), (x, y + half))
    elif symbol.kind == "!":
        yield Area(tuple((x + half * a * 1.2, y + half * b * 1.2) for a, b in _EIGHT), INK)
    elif symbol.kind == ">":
        yield Area(((x - half, y - half), (x + half, y), (x - half, y + half)), INK)
    elif symbol.kind == "?":  # a looking glass
        yield Disc((x - 2, y - 2), half * 0.75, PAPER)
        yield Stroke((x + half * 0.4, y + half * 0.4), (x + half, y + half))
    elif symbol.kind == "dot":
        yield Disc((x, y), half, grey(symbol.dark))


# --- SVG -------------------------------------------------------------------------------------------


def svg(page: Page) -> str:
    """The page as SVG. Letters stay letters, so that one can search; the fonts named are of one width."""
    body = "\n".join(map(_svg, shapes(page)))
    size = f'width="{WIDTH:g}" height="{page.height:g}" viewBox="0 0 {WIDTH:g} {page.height:g}"'
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" {size} font-family={quoteattr(FONTS)}>\n'
        f"<title>{escape(legible(page.title))}</title>\n{body}\n</svg>\n"
    )


def _svg(shape: Shape) -> str:
    if isinstance(shape, Area):
        edge = f' stroke="{INK}" stroke-width="{shape.edge:g}"' if shape.edge else ""
        points = " ".join(f"{x:.1f},{y:.1f}" for x, y in shape.points)
        return f'<polygon points="{points}" fill="{shape.fill}"{edge}/>'
    if isinstance(shape, Stroke):
        (x1, y1), (x2, y2) = shape.begin, shape.end
        ends = f'x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}"'
        return f'<line {ends} stroke="{shape.colour}" stroke-width="{shape.wide:g}" stroke-linecap="square"/>'
    x, y = shape.at
    if isinstance(shape, Disc):
        look = f'fill="{shape.fill}" stroke="{INK}" stroke-width="{shape.edge:g}"'
        return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{shape.half:.1f}" {look}/>'
    look = f'font-size="{shape.size:g}" fill="{shape.colour}"' + (' font-weight="bold"' if shape.bold else "")
    return f'<text x="{x:.1f}" y="{y:.1f}" {look}>{escape(shape.said)}</text>'


# --- PNG -------------------------------------------------------------------------------------------


def png(page: Page) -> bytes:
    """The page as PNG, 800 pixels wide. ImportError where the drawing program is not installed."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    # At 72 dots an inch one point is one pixel.
    figure = Figure(figsize=(WIDTH / 72, page.height / 72), dpi=72, facecolor=PAPER)
    canvas: Any = FigureCanvasAgg(figure)
    _put(figure, list(shapes(page)), page.height)
    out = io.BytesIO()
    metadata = {"Title": legible(page.title), "Software": None}
    canvas.print_png(out, metadata=metadata, pil_kwargs={"compress_level": 9})
    return out.getvalue()


def _put(figure: Any, drawn: Sequence[Shape], height: float) -> None:
    """All shapes on the figure, each on top of those before it; the program counts from below."""
    from matplotlib.transforms import IdentityTransform

    for n, shape in enumerate(drawn, 1):
        artist = _letters(shape, height) if isinstance(shape, Letters) else _artist(shape, height)
        artist.set(transform=IdentityTransform(), zorder=n)
        figure.add_artist(artist)


def _artist(shape: Area | Stroke | Disc, height: float) -> Any:
    from matplotlib.lines import Line2D
    from matplotlib.patches import Circle, Polygon

    if isinstance(shape, Area):
        points = [(x, height - y) for x, y in shape.points]
        return Polygon(points, facecolor=shape.fill, edgecolor=INK, linewidth=shape.edge)
    if isinstance(shape, Stroke):
        (x1, y1), (x2, y2) = shape.begin, shape.end
        return Line2D([x1, x2], [height - y1, height - y2], color=shape.colour, linewidth=shape.wide)
    x, y = shape.at
    return Circle((x, height - y), shape.half, facecolor=shape.fill, edgecolor=INK, linewidth=shape.edge)


def _letters(shape: Letters, height: float) -> Any:
    from matplotlib import get_data_path
    from matplotlib.font_manager import FontProperties
    from matplotlib.text import Text

    file = "DejaVuSans-Bold.ttf" if shape.bold else "DejaVuSans.ttf"
    font = FontProperties(fname=f"{get_data_path()}/fonts/ttf/{file}", size=shape.size)
    x, y = shape.at
    made: Any = Text(x, height - y, shape.said, fontproperties=font, color=shape.colour)
    made.set(verticalalignment="baseline", parse_math=False, usetex=False)
    return made
