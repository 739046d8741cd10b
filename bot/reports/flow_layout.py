"""Where each card of a flow's picture lies, on pages that a phone shows: worked out, not drawn.

Pixels from the upper left. A page is 800 wide, shown on a phone at about half of that; it is as high as its
cards need, up to a limit that only a single higher card passes. Texts are broken between words and never
cut. What stands under what in a tree is joined by lines that run in a gutter of their own.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Literal

from bot.reports.flow_cards import Card, Grid, Mark, Part, Row
from bot.reports.lettering import above, below, legible, width

WIDTH, HIGHEST = 800.0, 1500.0
EDGE, GAP, PAD, GUTTER = 20.0, 18.0, 14.0, 26.0
TITLE, HEAD, PLAIN, FAINT = 34.0, 27.0, 24.0, 22.0
PITCH = 1.36  # from line to line, of the size
SIGN = 30.0  # room for the mark before a row
STEP = 26.0  # a row of a further level stands so far in
DEEPEST = 6  # of a tree; what is deeper stands no further in
BAR = 12.0  # height of a share
BOLD = 1.16  # how much wider bold letters are, at most
DOT = 13.0  # the largest half of a dot in a grid
CELL = 34.0  # smallest height of a grid's row
Shade = Literal["ink", "faint"]


@dataclass(frozen=True)
class Text:
    """`y` is the line that the letters stand on; `x` their left side."""

    said: str
    x: float
    y: float
    size: float
    bold: bool = False
    shade: Shade = "ink"

    @property
    def box(self) -> tuple[float, float, float, float]:
        """Left, top, right, bottom."""
        room = width_of(self.said, self.size, self.bold)
        return self.x, self.y - above(self.size), self.x + room, self.y + below(self.size)


@dataclass(frozen=True)
class Frame:
    """A card's edge; `heavy` for what is asked in any case."""

    left: float
    top: float
    right: float
    bottom: float
    heavy: bool = False
    head: float = 0.0  # where its heading ends


@dataclass(frozen=True)
class Symbol:
    """A mark before a row, or a dot of a grid: around (x, y), `half` in size, `dark` from 0 to 1."""

    kind: Mark | Literal["dot"]
    x: float
    y: float
    half: float
    dark: float = 1.0


@dataclass(frozen=True)
class Line:
    x1: float
    y1: float
    x2: float
    y2: float
    thin: bool = False


@dataclass(frozen=True)
class Bar:
    """A share: the filled part of its track."""

    left: float
    top: float
    right: float
    bottom: float
    filled: float


@dataclass
class Page:
    """One picture."""

    title: str
    height: float = 0.0
    texts: list[Text] = field(default_factory=list)
    frames: list[Frame] = field(default_factory=list)
    symbols: list[Symbol] = field(default_factory=list)
    lines: list[Line] = field(default_factory=list)
    bars: list[Bar] = field(default_factory=list)


def width_of(text: str, size: float, bold: bool = False) -> float:
    """Pixels that this text takes at most."""
    return width(text, size) * (BOLD if bold else 1.0)


def pages(part: Part) -> tuple[Page, ...]:
    """A part of a flow on as many pages as it needs, each with its title and number."""
    laid = _grid_pages(part, part.grid) if part.grid else _card_pages(part)
    return tuple(_titled(page, part, n, len(laid)) for n, page in enumerate(laid, 1))


# --- texts ----------------------------------------------------------------------------------------


def fold(text: str, size: float, most: float, bold: bool = False) -> list[str]:
    """The text in lines of at most so many pixels: between words, and inside one that is too long."""
    lines: list[str] = []
    for word in legible(text).split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and width_of(longer, size, bold) <= most:
            lines[-1] = longer
        else:
            lines += _pieces(word, size, most, bold)
    return lines or [""]


def _pieces(word: str, size: float, most: float, bold: bool) -> Iterator[str]:
    while width_of(word, size, bold) > most and len(word) > 1:
        n = len(word) - 1
        while n > 1 and width_of(word[:n], size, bold) > most:
            n -= 1
        yield word[:n]
        word = word[n:]
    yield word


def _write(
    page: Page,
    lines: Sequence[str],
    x: float,
    y: float,
    size: float,
    bold: bool = False,
    shade: Shade = "ink",
) -> float:
    """Lines below each other from the top `y`; where the next may begin."""
    for line in lines:
        page.texts.append(Text(line, x, y + above(size), size, bold, shade))
        y += size * PITCH
    return y


def _titled(page: Page, part: Part, n: int, of: int) -> Page:
    """Title and lead above everything that was laid out from 0 on."""
    number = f"{n} of {of}" if of > 1 else ""
    whole, room = Page(f"{part.title} {number}".strip()), WIDTH - 2 * EDGE
    noted = width_of(number, FAINT)
    y = _write(whole, fold(part.title, TITLE, room - noted - PAD, True), EDGE, EDGE, TITLE, True)
    if number:
        _write(whole, [number], EDGE + room - noted, EDGE + above(TITLE) - above(FAINT), FAINT, shade="faint")
    y = _lead(whole, part.lead, y + 4) + GAP
    _put(whole, page, y)
    whole.height = y + page.height + EDGE
    return whole


def _lead(page: Page, rows: Sequence[Row], y: float) -> float:
    """What the marks mean, one after the other as they fit into a line."""
    x, right = EDGE, WIDTH - EDGE
    for row in rows:
        sign = SIGN if row.mark else 0.0
        if x > EDGE and x + sign + width_of(row.text, FAINT) > right:
            x, y = EDGE, y + FAINT * PITCH
        if row.mark:
            page.symbols.append(Symbol(row.mark, x + 10, y + FAINT * 0.62, 8.0))
        lines = fold(row.text, FAINT, right - x - sign)
        y = _write(page, lines, x + sign, y, FAINT, shade="faint") - FAINT * PITCH
        x = right if len(lines) > 1 else x + sign + width_of(lines[0], FAINT) + GAP
    return y + FAINT * PITCH


def _put(whole: Page, piece: Page, down: float) -> None:
    """Everything of a piece on the page, moved down."""
    whole.texts += [Text(t.said, t.x, t.y + down, t.size, t.bold, t.shade) for t in piece.texts]
    whole.frames += [
        Frame(f.left, f.top + down, f.right, f.bottom + down, f.heavy, f.head + down) for f in piece.frames
    ]
    whole.symbols += [Symbol(s.kind, s.x, s.y + down, s.half, s.dark) for s in piece.symbols]
    whole.lines += [Line(e.x1, e.y1 + down, e.x2, e.y2 + down, e.thin) for e in piece.lines]
    whole.bars += [Bar(b.left, b.top + down, b.right, b.bottom + down, b.filled) for b in piece.bars]


# --- cards ---------------------------------------------------------------------------------------------


def _card_pages(part: Part) -> list[Page]:
    """Cards one under the other; a new page where the next would go too far down."""
    done, page = list[Page](), Page("")
    tops = dict[int, float]()  # depth -> where the last card of that depth ends, on this page
    for card in part.cards:
        piece = _card(card)
        if page.frames and page.height + GAP + piece.height > HIGHEST:
            done.append(page)
            page, tops = Page(""), {}
        top = page.height + (GAP if page.frames else 0.0)
        _put(page, piece, top)
        if card.joined:
            _join(page, card, tops, top)
        page.height = top + piece.height
        tops = {depth: end for depth, end in tops.items() if depth < card.depth}
        tops[card.depth] = page.height
    return [*done, page]


def _left(depth: int) -> float:
    return EDGE + GUTTER * min(depth, DEEPEST)


def _join(page: Page, card: Card, tops: dict[int, float], top: float) -> None:
    """A line from the card above: straight down in a chain, down and to the right in a tree."""
    if card.depth == 0:
        if 0 in tops:
            page.lines.append(Line(_left(0) + 40, tops[0], _left(0) + 40, top))
        return
    depth = min(card.depth, DEEPEST)
    x, y = _left(depth) - GUTTER / 2, top + PAD + above(HEAD) * 0.6
    page.lines.append(Line(x, tops.get(card.depth - 1, 0.0), x, y))
    page.lines.append(Line(x, y, _left(depth), y))


def _card(card: Card) -> Page:
    """One card, from 0 down."""
    piece, left, right = Page(""), _left(card.depth), WIDTH - EDGE
    inner, room = left + PAD, right - left - 2 * PAD
    noted = width_of(card.note, FAINT) if card.note else 0.0
    beside = (
        fold(card.head, HEAD, room - noted - PAD, True) if card.note else fold(card.head, HEAD, room, True)
    )
    y = _write(piece, beside, inner, PAD - 4, HEAD, True)
    if card.note:
        at = right - PAD - noted
        _write(piece, [card.note], at, PAD - 4 + above(HEAD) - above(FAINT), FAINT, shade="faint")
    head = y = y + 4
    y += 6
    if card.bar is not None:
        piece.bars.append(Bar(inner, y + 2, right - PAD, y + 2 + BAR, max(0.0, min(1.0, card.bar))))
        y += BAR + 10
    for row in card.rows:
        y = _row(piece, row, inner, y, room)
    end = y + PAD - 4 if card.rows or card.bar is not None else head
    piece.frames.append(Frame(left, 0.0, right, end, card.bold, head))
    piece.height = end
    return piece


def _row(piece: Page, row: Row, left: float, y: float, room: float) -> float:
    size = FAINT if row.role == "faint" else PLAIN
    x = left + STEP * row.level
    if row.mark:
        piece.symbols.append(Symbol(row.mark, x + 10, y + size * 0.62, 8.0))
        x += SIGN
    elif row.level:
        x += SIGN - STEP
    lines = fold(row.text, size, room - (x - left), row.role == "strong")
    shade: Shade = "faint" if row.role == "faint" else "ink"
    return _write(piece, lines, x, y, size, row.role == "strong", shade)


# --- grid ----------------------------------------------------------------------------------------------

NAMES = 300.0  # for the names of the rows
WIDE = 38.0  # of a column
MOST_COLUMNS = int((WIDTH - 2 * EDGE - NAMES) // WIDE)


def _grid_pages(part: Part, grid: Grid) -> list[Page]:
    """Columns by as many as fit, numbered, with a list of their names below; rows that fit on a page."""
    made: list[Page] = []
    parts = -(-len(grid.columns) // MOST_COLUMNS)
    many = -(-len(grid.columns) // parts)  # alike many in each part
    for first in range(0, len(grid.columns), many):
        columns = range(first, min(first + many, len(grid.columns)))
        rows = [r for r in range(len(grid.rows)) if any((r, c) in grid.dots for c in columns)]
        while True:
            page, taken = _grid_page(grid, columns, rows)
            made.append(page)
            rows = rows[taken:]
            if not rows:
                break
    return made


def _grid_page(grid: Grid, columns: range, rows: Sequence[int]) -> tuple[Page, int]:
    """One page of dots and how many of the rows it took, at least one."""
    page, key = Page(""), _key(grid, columns)
    y, taken = _numbers(page, columns), 0
    for row in rows:
        lines = fold(grid.rows[row], FAINT, NAMES - PAD)
        high = max(CELL, len(lines) * FAINT * PITCH + 8)
        if taken and y + high + key.height > HIGHEST:
            break
        page.lines.append(Line(EDGE, y, WIDTH - EDGE, y, thin=True))
        _write(page, lines, EDGE, y + 4, FAINT)
        for n, column in enumerate(columns):
            dark = grid.dots.get((row, column))
            if dark is not None:
                half = DOT * (0.5 + 0.5 * dark)
                page.symbols.append(Symbol("dot", _column(n), y + high / 2, half, dark))
        y, taken = y + high, taken + 1
    page.lines.append(Line(EDGE, y, WIDTH - EDGE, y, thin=True))
    _put(page, key, y + GAP)
    page.height = y + GAP + key.height
    return page, taken


def _column(n: int) -> float:
    return EDGE + NAMES + WIDE * (n + 0.5)


def _numbers(page: Page, columns: range) -> float:
    for n, column in enumerate(columns):
        said = str(column + 1)
        page.texts.append(Text(said, _column(n) - width_of(said, FAINT, True) / 2, above(FAINT), FAINT, True))
    return FAINT * PITCH + 4


def _key(grid: Grid, columns: range) -> Page:
    """What the numbers stand for, and who among them nobody speaks about."""
    piece, half = Page(""), (WIDTH - 2 * EDGE - GAP) / 2
    silent = {c for c in columns if not any((r, c) in grid.dots for r in range(len(grid.rows)))}
    ends = [0.0, 0.0]
    for n, column in enumerate(columns):
        side = int(n >= (len(columns) + 1) // 2)
        told = f"{column + 1}. {grid.columns[column]}"
        told += " - nobody speaks about it" if column in silent else ""
        ends[side] = _write(piece, fold(told, FAINT, half), EDGE + side * (half + GAP), ends[side], FAINT)
    piece.height = max(ends)
    return piece
