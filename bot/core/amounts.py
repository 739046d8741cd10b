"""Amounts in a typed message, as digits or words, before any unit is looked at."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from bot.core.spoken import Bound, Spoken

ABOUT = 0.2  # "about 40" is 32 to 48 (our own reading, no source)


class Token(NamedTuple):
    kind: str
    text: str
    start: int
    end: int


_TOKEN = re.compile(
    r"""(?P<clock>\d+:\d\d(?![\d:])) | (?P<part>\d+\s?/\s?\d+(?![\d/]))
      | (?P<number>[1-9]\d{0,2}(?:,\d{3})+(?:\.\d+)?(?![\d,]) | [1-9]\d{0,2}(?:[ ]\d{3})+(?![\d/]|[.,]\d)
                 | \d+[.,]\d+ | \d+ | [.]\d+)
      | (?P<word>[^\W\d_]+(?:'[^\W\d_]+)*) | (?P<sign>\S)""",
    re.VERBOSE,
)
_GROUPED = re.compile(r"[1-9]\d{0,2}(?:[, ]\d{3})+(?:\.\d+)?")


def tokens(text: str) -> list[Token]:
    return [Token(m.lastgroup or "", m.group(), m.start(), m.end()) for m in _TOKEN.finditer(text)]


def _number(text: str) -> float:
    """'4,5' is 4.5; '1,200' and '1 200' are twelve hundred: three digits after a comma part thousands."""
    if _GROUPED.fullmatch(text):
        return float(text.replace(",", "").replace(" ", ""))
    return float(text.replace(",", "."))


class Part(NamedTuple):
    low: float
    high: float
    unit: str
    next: int


@dataclass(frozen=True, slots=True)
class Line:
    """One message being read: its tokens, the unit asked for, the language."""

    tokens: Sequence[Token]
    asked: str | None
    spoken: Spoken

    def text(self, i: int) -> str:
        return self.tokens[i].text if 0 <= i < len(self.tokens) else ""

    def kind(self, i: int) -> str:
        return self.tokens[i].kind if 0 <= i < len(self.tokens) else ""

    def glued(self, i: int) -> bool:
        return 0 < i < len(self.tokens) and self.tokens[i - 1].end == self.tokens[i].start

    def skip(self, i: int, *words: Sequence[str]) -> int:
        """The place after any run of these words."""
        while self.text(i) and any(self.text(i) in some for some in words):
            i += 1
        return i

    def phrase(self, i: int, phrases: Mapping[str, Bound]) -> tuple[Bound | None, int]:
        """The longest of these phrases that begins here, and the place after it."""
        for n in (3, 2, 1):
            said = " ".join(self.text(j) for j in range(i, i + n))
            if said in phrases:
                return phrases[said], i + n
        return None, i


def _figure(line: Line, i: int) -> Part | None:
    """Digits: 54, 4,5, 1/2, 1 1/2, 3k, 54:30 (as hours, or minutes, when those are asked)."""
    kind, text = line.kind(i), line.text(i)
    if kind == "clock":
        return _clock(line, i)
    if kind == "part":
        return _fraction(text, i)
    if kind != "number":
        return None
    value = _number(text)
    more = _fraction(line.text(i + 1), i + 1) if line.kind(i + 1) == "part" else None
    if more and more.low < 1 and value == int(min(value, 1e9)):
        return Part(value + more.low, value + more.high, "", more.next)
    return packed(line, value, i + 1)


def _clock(line: Line, i: int) -> Part | None:
    if line.asked not in ("h", "min"):
        return None
    whole, sixtieths = line.text(i).split(":")
    value = float(whole) + float(sixtieths) / 60
    return Part(value, value, line.asked, i + 1)


def _fraction(text: str, i: int) -> Part | None:
    above, below = (float(side) for side in text.split("/"))
    return Part(above / below, above / below, "", i + 1) if below else None


def packed(line: Line, value: float, i: int) -> Part:
    """'two dozen', '3k', 'two and a half', 'three quarters'."""
    spoken = line.spoken
    if line.text(i) in spoken.packs and (line.text(i) != "k" or line.glued(i)):
        value, i = value * spoken.packs[line.text(i)], i + 1
    elif line.text(i) in spoken.parts:
        value, i = value * spoken.parts[line.text(i)], i + 1
    half = line.skip(line.skip(i, spoken.and_), spoken.articles)
    if line.text(i) in spoken.and_ and line.text(half) in spoken.parts:
        value, i = value + spoken.parts[line.text(half)], half + 1
    return Part(value, value, "", i)


def worded(line: Line, i: int) -> Part | None:
    """Number words: two, twenty-five, a dozen, half a dozen, a quarter, a few, a pinch, an hour."""
    spoken, first = line.spoken, line.text(i)
    if first in spoken.numbers:
        return _counted(line, i)
    if first in spoken.parts:
        pack = line.skip(i + 1, spoken.of, spoken.articles)
        times = spoken.packs.get(line.text(pack))
        part = spoken.parts[first] * (times or 1)
        return Part(part, part, "", pack + 1 if times else i + 1)
    if first in spoken.vague:
        return Part(*spoken.vague[first], i + 1)
    if first in spoken.packs and first != "k":
        return packed(line, 1, i)
    inner = line.text(i + 1)
    return worded(line, i + 1) if first in spoken.articles and inner not in spoken.articles else None


def _counted(line: Line, i: int) -> Part:
    """'five', 'twenty five', 'two hundred'."""
    numbers = line.spoken.numbers
    value, i = numbers[line.text(i)], i + 1
    ones = line.skip(i, ("-",))
    if value >= 20 and 1 <= numbers.get(line.text(ones), 0) <= 9:
        value, i = value + numbers[line.text(ones)], ones + 1
    return packed(line, value, i)


def amount(line: Line, i: int) -> Part | None:
    """One amount without its unit, a minus sign included."""
    minus = line.text(i) in line.spoken.minus or (
        line.text(i) == "-" and line.glued(i + 1) and not line.glued(i)
    )
    part = _figure(line, i + minus) or worded(line, i + minus)
    return Part(-part.high, -part.low, part.unit, part.next) if part and minus else part


def bounded(part: Part, bound: Bound | None) -> Part:
    low, high, unit, after = part
    floor = 0.0 if low >= 0 else -math.inf
    if bound == "about" and low == high:
        low, high = sorted((low * (1 - ABOUT), high * (1 + ABOUT)))
    elif bound in ("over", "at least"):
        low, high = (math.nextafter(low, math.inf) if bound == "over" else low), math.inf
    elif bound in ("under", "up to"):
        low, high = floor, (math.nextafter(high, -math.inf) if bound == "under" else high)
    return Part(low, high, unit, after)
