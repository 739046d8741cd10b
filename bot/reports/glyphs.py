"""Which letters a font has, and texts of anyone's made fit to print with the fonts that there are."""

from __future__ import annotations

import re
import struct
import unicodedata
from collections.abc import Collection, Iterator
from pathlib import Path

UNSHOWN = "\ufffd"  # in place of a pictogram that no font has
LONG = 30  # letters of a word after which it may be broken
BREAK = "\u200b"  # a place where a line may end, of no width


def letters_of(font: Path) -> frozenset[int]:
    """The code points that a TrueType or OpenType font has a shape for. ValueError for another file.

    OpenType specification, tables `cmap` 4 (segments) and 12 (groups); others hold no more than these.
    """
    data = font.read_bytes()
    try:
        return frozenset(_letters(data))
    except struct.error as err:
        raise ValueError(f"{font.name} is cut short") from err


def _letters(data: bytes) -> Iterator[int]:
    table = _table(data, b"cmap")
    (count,) = struct.unpack_from(">H", data, table + 2)
    for n in range(count):
        platform, _, offset = struct.unpack_from(">HHL", data, table + 4 + 8 * n)
        if platform in (0, 3):  # Unicode, and the same by its other name
            yield from _subtable(data, table + offset)


def _table(data: bytes, name: bytes) -> int:
    """Where a table of the font begins; of a collection, that of its first font."""
    start = struct.unpack_from(">L", data, 12)[0] if data[:4] == b"ttcf" else 0
    (count,) = struct.unpack_from(">H", data, start + 4)
    for n in range(count):
        tag, _, offset, _ = struct.unpack_from(">4sLLL", data, start + 12 + 16 * n)
        if tag == name:
            return int(offset)
    raise ValueError("this is no font, or it says nothing of its letters")


def _subtable(data: bytes, at: int) -> Iterator[int]:
    (form,) = struct.unpack_from(">H", data, at)
    if form == 4:
        yield from _segments(data, at)
    elif form == 12:
        (count,) = struct.unpack_from(">L", data, at + 12)
        for n in range(count):
            first, last, glyph = struct.unpack_from(">LLL", data, at + 16 + 12 * n)
            yield from (c for c in range(first, last + 1) if glyph + c - first)


def _segments(data: bytes, at: int) -> Iterator[int]:
    """Runs of letters; of each the glyph is reckoned, or looked up at a place reckoned from its own."""
    (twice,) = struct.unpack_from(">H", data, at + 6)
    half = twice // 2
    ends, starts, deltas, places = (at + 14, at + 16 + twice, at + 16 + 2 * twice, at + 16 + 3 * twice)
    for n in range(half):
        end, start, delta, place = (
            struct.unpack_from(">H", data, row + 2 * n)[0] for row in (ends, starts, deltas, places)
        )
        for code in range(start, min(end, 0xFFFE) + 1):
            glyph = code
            if place:
                (glyph,) = struct.unpack_from(">H", data, places + 2 * n + place + 2 * (code - start))
            if glyph and (glyph + delta) % 0x10000:
                yield code


# --- texts -----------------------------------------------------------------------------------


def printable(text: str, known: Collection[int], notice: str) -> str:
    """A text as it can be printed with letters `known`, on one line.

    Control and direction marks are left out. Letters of a script that no font has give way to `notice`, a
    run of them to one; a pictogram to `UNSHOWN`. A word of more than `LONG` letters may be broken.
    """
    composed = unicodedata.normalize("NFC", " ".join(text.split()))
    shown = "".join(c for c in composed if unicodedata.category(c)[0] != "C")
    marked = "".join(c if ord(c) in known else _mark(c) for c in shown)
    told = re.sub(f"{_FOREIGN}(?:[ {_FOREIGN}]*{_FOREIGN})?", notice, marked)
    told = re.sub(f"{UNSHOWN}+", UNSHOWN, told)
    return re.sub(rf"\S{{{LONG}}}(?=\S)", rf"\g<0>{BREAK}", told)


_FOREIGN = "\x00"  # stands for one letter that no font has; no text holds it any more


def _mark(letter: str) -> str:
    """What stands for a letter that cannot be shown; a mark on another letter is left out."""
    kind = unicodedata.category(letter)
    if kind[0] == "Z":
        return " "
    if kind[0] == "M":
        return ""
    return UNSHOWN if kind in ("So", "Sk") else _FOREIGN
