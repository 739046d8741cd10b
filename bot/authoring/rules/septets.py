"""How long a text is as a text message, in the 7-bit alphabet of 3GPP TS 23.038.

The alphabet and its extension table (two septets each) are written from memory of clause 6.2.1 and
6.2.1.1 of that standard. One message holds 160 septets, each of two joined ones 153.
"""

from __future__ import annotations

_ALPHABET = frozenset(
    "@£$¥èéùìòÇ\nØø\rÅåΔ_ΦΓΛΩΠΨΣΘΞÆæßÉ !\"#¤%&'()*+,-./0123456789:;<=>?"
    "¡ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§¿abcdefghijklmnopqrstuvwxyzäöñüà"
)
_EXTENSION = frozenset("\f^{}\\[~]|€")
ONE, TWO = 160, 306


def septets(text: str) -> int:
    """Length of a text; a character outside the alphabet counts as one (see `foreign`)."""
    return sum(2 if c in _EXTENSION else 1 for c in text)


def foreign(text: str) -> str:
    """The first character that would force the whole message into 16-bit letters, or ''."""
    return next((c for c in text if c not in _ALPHABET and c not in _EXTENSION), "")
