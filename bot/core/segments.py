"""What a text costs as text messages: its 7-bit letters, how it is spelled with them, where it is cut.

3GPP TS 23.038 has the letters (clause 6.2.1, and the extension table in 6.2.1.1), 3GPP TS 23.040 the six
octets that each of several joined messages loses to their heading (clause 9.2.3.24.1); clause numbers from
memory. The letters come from gsm0338, what our own table does not spell from anyascii. Both are imported
when the first text is looked at, so that a talk on a screen begins without them.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

Coding = Literal["gsm", "ucs2"]
# Room of a lone message and of each of several: septets, and units of UTF-16.
ONE: dict[Coding, int] = {"gsm": 160, "ucs2": 70}
JOINED: dict[Coding, int] = {"gsm": 153, "ucs2": 67}
ESCAPE = 0x1B  # leads into the extension table; no letter by itself


@dataclass(frozen=True)
class Split:
    """A text as it goes out: the parts, in order, are the text."""

    coding: Coding
    parts: tuple[str, ...]


# --- the letters -------------------------------------------------------------------------------------------


@lru_cache(maxsize=1)
def _alphabet() -> dict[str, int]:
    """Each letter that goes out in the 7-bit alphabet, and its septets: 1, or 2 of the extension table."""
    import gsm0338  # type: ignore[import-untyped]

    decode = gsm0338.Codec().decode
    letters = {decode(bytes((n,)))[0]: 1 for n in range(128) if n != ESCAPE}
    for n in range(128):
        letter = decode(bytes((ESCAPE, n)), "ignore")[0]
        if letter:
            letters[letter] = 2
    return letters


def foreign(text: str) -> str:
    """The first character that the 7-bit alphabet lacks, or ''."""
    known = _alphabet()
    return next((c for c in text if c not in known), "")


def is_plain(text: str) -> bool:
    """Whether it can go out in the 7-bit alphabet as it is."""
    return not foreign(text)


def septets(text: str) -> int:
    """Length in the 7-bit alphabet; a character that is not in it counts one (see `foreign`)."""
    known = _alphabet()
    return sum(known.get(c, 1) for c in text)


# --- spelling ----------------------------------------------------------------------------------------------

_MARK = "\x00"  # where a picture stood; never a letter of ours
_SPELLED = {
    **dict.fromkeys("\t\u00a0\u2007\u202f\u3000", " "),
    **dict.fromkeys("\x0b\x85\u2028\u2029", "\n"),
    **dict.fromkeys("‘’‚‛′`´ʼˋ‹›", "'"),
    **dict.fromkeys("“”„‟″«»", '"'),
    **dict.fromkeys("‐‑‒–—―−•‣", "-"),
    **dict.fromkeys("°˚", " deg"),
    **dict.fromkeys("✓✔☑✅🆗", "OK"),
    **dict.fromkeys("→⇒➔➙➜➝➞➡⟶", "->"),
    **dict.fromkeys("←⇐⬅⟵", "<-"),
    **dict.fromkeys("↑⬆", "up"),
    **dict.fromkeys("↓⬇", "down"),
    **dict.fromkeys("×✕✖✗✘❌❎☒", "x"),
    **dict.fromkeys("·⋅∙", ""),
    **dict.fromkeys("❗❕", "!"),
    **dict.fromkeys("❓❔", "?"),
    "…": "...", "µ": "u", "ç": "c", "⌀": "Ø", "±": "+/-", "≈": "about ", "≠": "not ", "⁄": "/", "↔": "<->",
    "℃": " deg C", "℉": " deg F", "➕": "+", "➖": "-", "➗": "/", "‼": "!!", "⁉": "!?", "ℹ": "i", "Ⓜ": "M",
    "🔟": "10", "🆘": "SOS", "ا": "a",
}  # fmt: skip
_RAISED_AND_LOWERED = "⁰¹²³⁴⁵⁶⁷⁸⁹₀₁₂₃₄₅₆₇₈₉"  # digits of one number
_FLAGS = re.compile("[\U0001f1e6-\U0001f1ff\U000e0020-\U000e007f]")  # halves of one, and what tells which
_GREEK = "\u0370-\u03ff\u1f00-\u1fff"
# What a character means by its neighbours; without this 2½ would be read as 21/2 and 10² as 102.
_IN_PLACE = (
    (re.compile(r" ?[°˚º] ?(?=[CF]\b)"), " deg "),
    (re.compile(r" [°˚]"), " deg"),
    (re.compile(r" (?=[℃℉])"), ""),
    (re.compile(r"(?<=\d)º(?=[\s.,;]|$)"), "o"),
    (re.compile(rf"(?<![{_GREEK}])μ(?![{_GREEK}])"), "u"),
    (re.compile(r"(?<=\d)[·⋅∙](?=\d)"), "x"),
    (re.compile(r"(?<!\S)[·⋅∙](?!\S)"), "-"),
    (re.compile(r"(?<=\d)(?=[⁺⁻]?[⁰¹²³⁴-⁹])"), "^"),
    (re.compile(r"≈ "), "about "),
    (re.compile(r"≠ "), "not "),
)


def plain(text: str) -> str:
    """The text in letters of the 7-bit alphabet; as it is if it can be, so twice is as once.

    Pictures are left out, signs and accents that the alphabet lacks are spelled, other scripts are
    written in Latin letters. What nobody can spell is '?', so that a reader sees that something stood there.
    """
    if is_plain(text):
        return text
    composed = unicodedata.normalize("NFC", text)
    for found, said in _IN_PLACE:
        composed = found.sub(said, composed)
    said = re.sub(rf" *{_MARK}[ {_MARK}]*", _closed, "".join(_spelled(composed)))
    return said if said.strip() or not any(map(str.isalnum, text)) else "?"


def _spelled(text: str) -> Iterator[str]:
    """Each character spelled; a number does not run into the digits before it."""
    known, before = _alphabet(), ""
    for c in text:
        said = c if c in known else _spelling(c)
        digits = said[:1].isdigit() and before[-1:].isdigit()
        apart = digits and unicodedata.category(c) == "No" and c not in _RAISED_AND_LOWERED
        yield f" {said}" if apart else said
        before = said


@lru_cache(maxsize=1024)
def _spelling(c: str) -> str:
    """One character that the alphabet lacks, in letters of it; a picture is `_MARK`."""
    if c in _SPELLED:
        return _SPELLED[c]
    if _FLAGS.match(c):
        return _MARK
    from anyascii import anyascii

    said = str(anyascii(c)).replace("`", "'")
    if len(said) > 2 and said[0] == said[-1] == ":":  # it tells the names of pictures: ':wrench:'
        said = ""
    return said if said and is_plain(said) else _unspelled(c)


def _unspelled(c: str) -> str:
    """For what anyascii does not spell: a picture is left out, a sign that says something is missed."""
    kind = unicodedata.category(c)
    if kind == "So":
        return _MARK
    if kind[0] == "Z":
        return " "
    if kind[0] == "L":  # most such letters only carry a vowel or a tone; a character of a whole word does not
        return "?" if kind == "Lo" and unicodedata.east_asian_width(c) == "W" else ""
    return "?" if kind[0] in "NPS" and kind != "Sk" else ""


def _closed(found: re.Match[str]) -> str:
    """The place of left-out pictures: one space if there was any between two words, else nothing."""
    edge = found.start() == 0 or found.end() == len(found.string)
    lines = "\n" in found.string[max(found.start() - 1, 0) : found.end() + 1]
    return " " if " " in found.group() and not edge and not lines else ""


# --- cutting -----------------------------------------------------------------------------------------------


def split(text: str) -> Split:
    """How it goes out: in the 7-bit alphabet if every character is in it, else all of it in UTF-16.

    A letter of two septets, and a character of two units, stay whole: what does not fit begins a part.
    """
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


def segments(text: str) -> int:
    """How many messages it takes, as it is."""
    return len(split(text).parts)
