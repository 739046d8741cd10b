"""Which letters a font has, and texts made fit for them."""

from __future__ import annotations

import unicodedata
from pathlib import Path

import fontpkg
import matplotlib as mpl
import pytest
from fontTools.ttLib import TTFont
from hypothesis import given
from hypothesis import strategies as st

from bot.reports.glyphs import BREAK, LONG, UNSHOWN, letters_of, printable

PACKED = [file.path for file in fontpkg.family("noto-sans").files]
OTHERS = sorted(Path(mpl.get_data_path(), "fonts", "ttf").glob("DejaVu*.ttf"))
NOTO = letters_of(PACKED[0])
NOTICE = "[other script]"


@pytest.mark.parametrize("font", [*PACKED, *OTHERS], ids=lambda path: path.name)
def test_the_letters_of_a_font_are_those_that_another_program_reads(font: Path) -> None:
    found = {
        code
        for table in TTFont(font)["cmap"].tables
        if table.isUnicode()
        for code, glyph in table.cmap.items()
        if glyph != ".notdef"
    }
    assert letters_of(font) == found


@pytest.mark.parametrize("data", [b"", b"\0\1\0\0", b"\0\1\0\0\0\5" + b"\0" * 200, b"no font at all" * 40])
def test_what_is_no_font_is_refused(tmp_path: Path, data: bytes) -> None:
    path = tmp_path / "a.ttf"
    path.write_bytes(data)
    with pytest.raises(ValueError):  # noqa: PT011  # either sentence
        letters_of(path)


# What the font package has: Latin, Greek, Cyrillic, Devanagari, Vietnamese; no Chinese, Arabic or pictures.
@pytest.mark.parametrize(
    ("told", "shown"),
    [
        ("metal, 43 h", "metal, 43 h"),
        ("масло, όλα", "масло, όλα"),
        ("हिन्दी", "हिन्दी"),
        ("油里 有 金属 at 43 h", f"{NOTICE} at 43 h"),
        ("油 x 油", f"{NOTICE} x {NOTICE}"),
        ("مرحبا ok", f"{NOTICE} ok"),
        ("hot \U0001f525\U0001f525 oil", f"hot {UNSHOWN} oil"),
        ("a\x00b\x1b[31mc", "ab[31mc"),
        ("a\u202eb\u2066c\u200f", "abc"),
        ("two\r\n\tlines", "two lines"),
        ("e\u0301", "\u00e9"),
        ("", ""),
    ],
)
def test_texts_by_hand(told: str, shown: str) -> None:
    assert printable(told, NOTO, NOTICE) == shown


def test_a_long_word_may_be_broken() -> None:
    shown = printable("x" * 70, NOTO, NOTICE)
    assert shown.split(BREAK) == ["x" * 30, "x" * 30, "x" * 10]
    assert BREAK not in printable("x" * LONG + " " + "y" * LONG, NOTO, NOTICE)


@given(st.text(max_size=200))
def test_whatever_is_written_can_be_printed(told: str) -> None:
    shown = printable(told, NOTO, NOTICE)
    assert all(ord(c) in NOTO or c in (BREAK, UNSHOWN) for c in shown)
    assert not any(unicodedata.category(c) in ("Cc", "Cs") for c in shown)
    assert max((len(word) for word in shown.replace(BREAK, " ").split()), default=0) <= LONG


@given(st.text("abc äéж.,;:()[]{}#$*_=`\"'<>\\/@~^|0123", max_size=200))
def test_what_the_font_has_is_left_as_it_is(told: str) -> None:
    assert printable(told, NOTO, NOTICE).replace(BREAK, "") == " ".join(told.split())
