"""The number on a frame: read from what was typed, and what its check digit says.

ISO 3779 (from memory): 17 capital letters and digits, without I, O and Q, which look like digits.
49 CFR 565.15 gives the values and weights of the check digit, which stands in the ninth place. Outside
North America many numbers carry none, so a digit that fails asks for another look at the frame and
rejects nothing. Off-road frames may have a shorter number without one; it is kept as free
text, in capitals and without what parts it (common practice, no source).
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from typing import Literal

LENGTH = 17
LONGEST = 25  # letters and digits of a frame number that is no VIN; common practice, no source
GROUPS = 3  # parts that such a number is stamped in
SERIAL = 4  # digits in a row that it has at least
WEIGHTS = (8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2)
VALUES = {
    **{digit: int(digit) for digit in "0123456789"},
    **dict(zip("ABCDEFGH", (1, 2, 3, 4, 5, 6, 7, 8), strict=True)),
    **dict(zip("JKLMN", (1, 2, 3, 4, 5), strict=True)),
    **dict(zip("PR", (7, 9), strict=True)),
    **dict(zip("STUVWXYZ", (2, 3, 4, 5, 6, 7, 8, 9), strict=True)),
}
_DASHES = re.compile(r"[\u2010-\u2015\u2212_]")
_WHOLE = re.compile(r"[A-Z0-9]{17}")
_STAMPED = re.compile(r"[A-Z0-9]+(?:[ ./-]+[A-Z0-9]+)*")


@dataclass(frozen=True)
class Vin:
    """A frame number in capitals, without spaces and dashes.

    `digit`: right or wrong by the check digit, or "none": it has no such digit.
    """

    text: str
    digit: Literal["right", "wrong", "none"]


def read(text: str) -> Vin | None:
    """The frame number that a message tells; None when it holds none.

    One of 17 may stand among other words, in parts or not; a shorter one must be the whole message.
    """
    plain = _plain(text)
    for told in (plain, *plain.split()):
        whole = _joined(told)
        if _WHOLE.fullmatch(whole) and _has_serial(whole):
            return Vin(whole, "right" if whole[8] == check_digit(whole) else "wrong")
    return Vin(_joined(plain), "none") if _is_stamped(plain) else None


def _joined(told: str) -> str:
    """Without what only parts it."""
    return re.sub(r"[ ./-]", "", told)


def weighted_sum(vin: str) -> int | None:
    """The sum of all places' values by their weights; None for a letter that is never used."""
    if any(letter not in VALUES for letter in vin):
        return None
    return sum(VALUES[letter] * weight for letter, weight in zip(vin, WEIGHTS, strict=True))


def check_digit(vin: str) -> str:
    """The check digit that 17 places must have: 0 to 9 or X; '' where a letter is never used."""
    total = weighted_sum(vin)
    if total is None:
        return ""
    rest = total % 11
    return "X" if rest == 10 else str(rest)


def _plain(text: str) -> str:
    """In capitals of one width, plain dashes, single spaces, without a word for what it is before it."""
    told = _DASHES.sub("-", unicodedata.normalize("NFKC", text)).upper()
    told = re.sub(
        r"^\s*(?:THE |MY )?(?:VIN|FRAME(?: NUMBER| NO\.?)?|CHASSIS(?: NUMBER| NO\.?)?)\b(?: IS)?", "", told
    )
    return " ".join(told.split()).strip(" *:#.-")


def _has_serial(told: str) -> bool:
    """A word of 17 letters is no number: some of it is digits."""
    return sum(letter.isdigit() for letter in told) >= SERIAL


def _is_stamped(told: str) -> bool:
    """Whether it looks like a shorter number: few parts, and a serial of several digits in one of them."""
    bare = re.sub(r"[^A-Z0-9]", "", told)
    return (
        _STAMPED.fullmatch(told) is not None
        and len(bare) <= LONGEST
        and len(told.split()) <= GROUPS
        and re.search(rf"\d{{{SERIAL}}}", told) is not None
    )
