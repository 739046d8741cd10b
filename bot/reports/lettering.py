"""How much room a text takes on a picture, known before anything is drawn, and names made fit to draw."""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

WIDTH, HEIGHT = 1080, 1350  # pixels of the page; a phone shows a third of them
SMALL, PLAIN, BIG = 33.0, 36.0, 50.0  # sizes of letters: 11, 12 and 17 pixels on the phone
EDGE = 32.0  # free on all four sides
LEFT = 138.0  # where a plot begins: room for the figures beside it
LINE = 1.4  # from line to line, of the size
PITCH = SMALL * LINE

Box = tuple[float, float, float, float]  # left, lower, right, upper; from the lower left of the page
Role = Literal["title", "unit", "tick", "hours", "mark", "alarm", "key", "note"]

# Advance of a letter in parts of its size: no less than that of DejaVu Sans, which is the font drawn with.
_ADVANCES = (
    ("ijlIJ'", 0.30),
    (" ,./:;|\\", 0.34),
    ("!()-[]rft", 0.43),
    ('cksvxyz_*`"', 0.60),
    ("#%&+<=>@MW^mw~", 1.0),
)
_ASCII = {letter: part for letters, part in _ADVANCES for letter in letters}
_ABOVE, _BELOW = 0.95, 0.28  # of the size, over and under the line that the letters stand on
CUT = "…"


@lru_cache(maxsize=4096)
def _advance(letter: str) -> float:
    if letter.isascii():
        return _ASCII.get(letter, 0.8 if letter.isupper() else 0.64)
    plain = [c for c in unicodedata.normalize("NFKD", letter) if not unicodedata.combining(c)]
    if letter < "\u2000" and plain and all(c.isascii() for c in plain):
        return max(0.5, 1.16 * sum(map(_advance, plain)))
    return 1.25 if letter < "\u0700" else 1.75


def width(text: str, size: float) -> float:
    """Pixels that this text takes at most; a guess on the safe side."""
    return size * sum(map(_advance, text))


@dataclass(frozen=True)
class Label:
    """A text; `y` is the line its letters stand on, `side` the side of it that is at `x`."""

    text: str
    x: float
    y: float
    size: float
    role: Role
    side: Literal["left", "center", "right"] = "left"

    @property
    def box(self) -> Box:
        room = width(self.text, self.size)
        left = self.x - {"left": 0.0, "center": room / 2, "right": room}[self.side]
        return left, self.y - _BELOW * self.size, left + room, self.y + _ABOVE * self.size


def overlap(one: Box, other: Box, apart: float = 0.0) -> bool:
    return (
        one[0] < other[2] + apart
        and other[0] < one[2] + apart
        and one[1] < other[3] + apart
        and other[1] < one[3] + apart
    )


def above(size: float) -> float:
    return _ABOVE * size


def below(size: float) -> float:
    return _BELOW * size


def legible(text: str) -> str:
    """A text of anyone's as one line: no control characters, no half pairs, no marks heaped on a letter."""
    one_line = " ".join(text.split())
    composed = unicodedata.normalize("NFC", one_line)
    return "".join(c for c in composed if unicodedata.category(c)[0] != "C" and not _heaped(c)).strip()


def _heaped(letter: str) -> bool:
    return unicodedata.category(letter) in ("Mn", "Me")


def shorten(text: str, size: float, most: float) -> str:
    """As much of the text as fits into so many pixels, with a sign that there was more."""
    if width(text, size) <= most:
        return text
    while text and width(text + CUT, size) > most:
        text = text[:-1]
    return text.rstrip() + CUT


def fold(text: str, size: float, most: float) -> list[str]:
    """The text in lines of at most so many pixels, broken between words."""
    lines: list[str] = []
    for word in text.split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and width(longer, size) <= most:
            lines[-1] = longer
        else:
            lines.append(shorten(word, size, most))
    return lines
