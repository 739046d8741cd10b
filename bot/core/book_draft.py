"""A typed line while it is being read: what is understood is taken out, and what is left is kept."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from bot.core.book_terms import FILLER, KNOWN, MEANT
from bot.core.spoken import ENGLISH, Spoken, fold, slipped

TAKEN = "¦"  # stands for a letter that was understood
PART = " ; "  # between clauses that belong together
SHOWN = 40  # characters of a rider's words in a trouble
_WORD = re.compile(r"[^\W\d_]{5,}")
_RUN = re.compile(rf"[^{TAKEN};]+")
_EDGE = " ,.:!-()/+&=@"


@dataclass(frozen=True)
class Trouble:
    """Why a line is not written yet; `book.trouble.<key>` says what to do. `text`: all that was typed."""

    key: str
    values: tuple[tuple[str, str], ...]
    text: str


class Troubled(Exception):
    """Stops the reading of a line."""

    def __init__(self, key: str, **values: str) -> None:
        super().__init__(key)
        self.key, self.values = key, tuple(values.items())


@dataclass
class Draft:
    """`plain` is the folded text, and `back` tells for each of its letters which letters were typed."""

    text: str
    plain: str
    back: Sequence[tuple[int, int]]
    spoken: Spoken = ENGLISH
    left: str = ""
    far: str = "km"  # the unit of a distance that is told without one

    def __post_init__(self) -> None:
        self.left = self.left or self.plain

    def take(self, start: int, end: int) -> None:
        self.left = self.left[:start] + TAKEN * (end - start) + self.left[end:]

    def take_all(self, pattern: re.Pattern[str]) -> list[re.Match[str]]:
        """Every match in what is left; taken."""
        found = list(pattern.finditer(self.left))
        for match in found:
            self.take(*match.span())
        return found

    def cut(self, clauses: Iterable[tuple[int, int]]) -> Draft:
        """A draft of these clauses alone, without what is taken already."""
        plain, left = "", ""
        back: list[tuple[int, int]] = []
        for start, end in clauses:
            gap = PART if plain else ""
            plain, left = plain + gap + self.plain[start:end], left + gap + self.left[start:end]
            back += [*list(self.back[start : start + 1]) * len(gap), *self.back[start:end]]
        return Draft(self.text, plain, back, self.spoken, left, self.far)

    def said(self, start: int, end: int) -> str:
        """As it was typed."""
        return self.text[self.back[start][0] : self.back[end - 1][1]]

    def rest(self, filler: frozenset[str] = FILLER) -> str:
        """The words not taken, as they were typed; small words at the ends of a run say nothing."""
        runs = (self._run(match, filler) for match in _RUN.finditer(self.left))
        return ", ".join(run for run in runs if run)

    def _run(self, match: re.Match[str], filler: frozenset[str]) -> str:
        words = [(m.group().strip(_EDGE), m) for m in re.finditer(r"\S+", match.group())]
        while words and words[0][0] in filler:
            words.pop(0)
        while words and words[-1][0] in filler:
            words.pop()
        if not words:
            return ""
        start, end = match.start() + words[0][1].start(), match.start() + words[-1][1].end()
        return " ".join(self.said(start, end).strip(_EDGE).split())


def draft(text: str, spoken: Spoken = ENGLISH, far: str = "km") -> Draft:
    """The text folded letter by letter, with one slip in a word of the book righted."""
    plain, back = [], []
    for i, char in enumerate(text):
        inside = char in "'’" and text[i - 1 : i].isalpha() and text[i + 1 : i + 2].isalpha()
        folded = "" if inside else fold(char)
        plain.append(folded)
        back += [(i, i + 1)] * len(folded)
    return _righted(Draft(text, "".join(plain).replace("\n", ";").replace(TAKEN, "|"), back, spoken, far=far))


def _righted(page: Draft) -> Draft:
    plain, back, at = "", [], 0
    for match in _WORD.finditer(page.plain):
        meant = _meant(match.group())
        span = (page.back[match.start()][0], page.back[match.end() - 1][1])
        plain += page.plain[at : match.start()] + meant
        back += list(page.back[at : match.start()])
        same = meant == match.group()
        back += list(page.back[match.start() : match.end()]) if same else [span] * len(meant)
        at = match.end()
    return Draft(page.text, plain + page.plain[at:], [*back, *page.back[at:]], page.spoken, far=page.far)


def _meant(word: str) -> str:
    if word in KNOWN:
        return word
    near = [meant for meant in MEANT if slipped(word, meant)]
    return near[0] if len(near) == 1 else word
