"""Length as a text message: 7-bit alphabet and extension table of 3GPP TS 23.038 (from memory)."""

from __future__ import annotations

import pytest

from bot.authoring.rules.septets import foreign, septets


@pytest.mark.parametrize(
    ("text", "length"),
    [
        ("", 0),
        ("abc", 3),
        ("é", 1),
        ("€", 2),
        ("{}[]~|^\\", 16),
        ("a€b", 4),
        ("a\nb", 3),
        ("ÄÖÜäöüß", 7),
        ("@£$", 3),
    ],
)
def test_length(text: str, length: int) -> None:
    assert foreign(text) == ""
    assert septets(text) == length


@pytest.mark.parametrize("letter", list("`\t’“”–…ç°µ\xa0·×✓Я中\U0001f527êÉ".replace("É", "")))
def test_letters_that_are_not_in_the_alphabet(letter: str) -> None:
    assert foreign("a" + letter + "b") == letter


def test_the_alphabet_has_its_127_letters() -> None:
    """128 places, one of which is the escape to the extension table."""
    letters = [chr(n) for n in range(0x3000) if not foreign(chr(n))]
    assert len([c for c in letters if septets(c) == 1]) == 127
    assert len([c for c in letters if septets(c) == 2]) == 10
