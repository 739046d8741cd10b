"""What a text costs as text messages, in the 7-bit alphabet of 3GPP TS 23.038 or in units of UTF-16.

The alphabet and its extension table (two septets each) are written from memory of clauses 6.2.1 and 6.2.1.1.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Literal

Coding = Literal["gsm", "ucs2"]
ONE: dict[Coding, int] = {"gsm": 160, "ucs2": 70}
JOINED: dict[Coding, int] = {"gsm": 153, "ucs2": 67}
_ALPHABET = frozenset(
    "@£$¥èéùìòÇ\nØø\rÅåΔ_ΦΓΛΩΠΨΣΘΞÆæßÉ !\"#¤%&'()*+,-./0123456789:;<=>?"
    "¡ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§¿abcdefghijklmnopqrstuvwxyzäöñüà"
)
_EXTENSION = frozenset("\f^{}\\[~]|€")


@dataclass(frozen=True)
class Split:
    """A text as it goes out: the parts, in order, are the text."""

    coding: Coding
    parts: tuple[str, ...]


def is_plain(text: str) -> bool:
    """Whether it can go out in the 7-bit alphabet as it is."""
    return all(c in _ALPHABET or c in _EXTENSION for c in text)


def septets(text: str) -> int:
    """Length in the 7-bit alphabet."""
    return sum(2 if c in _EXTENSION else 1 for c in text)


def split(text: str) -> Split:
    """How it goes out: in the 7-bit alphabet if every character is in it, else all of it in UTF-16."""
    coding: Coding = "gsm" if is_plain(text) else "ucs2"
    costs = [septets(c) for c in text] if coding == "gsm" else [1 + (c > "\uffff") for c in text]
    if sum(costs) <= ONE[coding]:
        return Split(coding, (text,))
    return Split(coding, tuple(_cut(text, costs, JOINED[coding])))


def _cut(text: str, costs: Iterable[int], room: int) -> Iterator[str]:
    begin, used = 0, 0
    for at, cost in enumerate(costs):
        if used + cost > room:
            yield text[begin:at]
            begin, used = at, 0
        used += cost
    yield text[begin:]
