"""The number of a frame: how it is written, and whether its check digit fits.

Seventeen characters, no I, O or Q, the ninth of them the check digit (49 CFR 565.15; from memory). Many
frames outside North America carry seventeen characters without one, so a wrong digit proves nothing, and
older frames have shorter numbers.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Digit = Literal["right", "wrong", "none"]

LONG = 17
LONGEST = 40  # characters that are kept of what can be no frame number
PLACE = 8  # of the check digit, from 0
WEIGHTS = (8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2)
VALUES = {
    **{str(n): n for n in range(10)},
    **dict(zip("ABCDEFGH", range(1, 9), strict=True)),
    **dict(zip("JKLMN", range(1, 6), strict=True)),
    "P": 7, "R": 9,
    **dict(zip("STUVWXYZ", range(2, 10), strict=True)),
}  # fmt: skip


@dataclass(frozen=True)
class Vin:
    """A frame number in capitals without spaces or dashes. `digit`: none where it is not seventeen long."""

    text: str
    digit: Digit


def read(text: str) -> Vin | None:
    """A frame number from what was typed; None where there is none in it."""
    plain = "".join(ch for ch in text.upper() if ch.isalnum())[:LONGEST]
    if not any(ch.isdigit() for ch in plain):
        return None
    return Vin(plain, _digit(plain))


def _digit(plain: str) -> Digit:
    if len(plain) != LONG:
        return "none"
    if any(ch not in VALUES for ch in plain):
        return "wrong"
    left = sum(VALUES[ch] * weight for ch, weight in zip(plain, WEIGHTS, strict=True)) % 11
    return "right" if plain[PLACE] == ("X" if left == 10 else str(left)) else "wrong"
