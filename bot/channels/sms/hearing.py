"""What a text message says before the talk reads it: an opt-out, a tag, a fixed word, or words for the talk.

Pure. The reserved words are those that networks in many countries act on themselves, whatever a program
thinks of them: STOP, END, CANCEL, QUIT, UNSUBSCRIBE, STOPALL; HELP, INFO; START, UNSTOP. Source: "SMS
Standard Keywords" of a voice platform's documentation, which names a monitoring handbook of the US carriers,
v1.8. Other countries differ. They act only as a whole message: "engine would not stop" is words.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from typing import Literal

Kind = Literal["opt_out", "opt_in", "info", "more", "control", "tagged", "words"]

OPT_OUT = frozenset({"stop", "stopall", "stop all", "end", "cancel", "quit", "unsubscribe", "baja"})
OPT_IN = frozenset({"start", "unstop", "alta"})
YES = frozenset({"yes", "si", "sí"})  # opens again only what was closed
INFO = frozenset({"info", "help", "ayuda"})
MORE = frozenset({"more", "mas", "más"})
# Short words that every keypad has, and the fixed word of the talk that each is.
CONTROLS = {
    "0": "back", "back": "back", "menu": "where", "new": "start_over", "skip": "not_sure", "sum": "summary",
}  # fmt: skip
SHORT = 40  # characters up to which a text may be an answer alone
_TAGGED = re.compile(r"q\s*(\d{1,5})(?:\s*[-:.,)]\s*|\s+)(\S.*)", re.S)
_DASHED = re.compile(r"(\d{1,5})\s*-\s*(\d{1,2}(?:[ ,]+\d{1,2})*)")
_ANSWER = re.compile(r"\d{1,2}(?:[ ,.]+\d{1,2})*[.)]?|y|n|yes|no|ok|s[ií]")


@dataclass(frozen=True)
class Reading:
    """What a text is. `tag`: the question that it names, 0 for none; `text`: what is left for the talk.

    `sure`: whether it can be nothing but a tag; "6-20" may also be an amount.
    """

    kind: Kind
    text: str
    tag: int = 0
    control: str = ""
    sure: bool = True


def read(text: str, *, opted_out: bool = False) -> Reading:
    """What kind of text it is. `opted_out`: whether the number wants no texts now."""
    folded = fold(text)
    if folded in OPT_OUT:
        return Reading("opt_out", text)
    if opted_out and folded in OPT_IN | YES:
        return Reading("opt_in", text)
    if folded in INFO:
        return Reading("info", text)
    if folded in MORE:
        return Reading("more", text)
    if folded in CONTROLS:
        return Reading("control", text, control=CONTROLS[folded])
    return _tagged(folded) or Reading("words", squeezed(text))


def _tagged(folded: str) -> Reading | None:
    found = _TAGGED.fullmatch(folded)
    if found is not None:
        return Reading("tagged", found[2], int(found[1]))
    dashed = _DASHED.fullmatch(folded)
    return None if dashed is None else Reading("tagged", dashed[2], int(dashed[1]), sure=False)


def fold(text: str) -> str:
    """A short text without what keyboards add: case, wide digits, a full stop, spaces."""
    return " ".join(unicodedata.normalize("NFKC", text).casefold().split()).strip(" .!\"'")


def squeezed(text: str) -> str:
    """A text for the talk: digits of any keyboard as ours where the whole of it may be an answer."""
    return unicodedata.normalize("NFKC", text).strip() if len(text) <= SHORT else text


def is_answer(text: str) -> bool:
    """Whether a text can only be an answer to the question it crossed with: numbers, yes or no."""
    return _ANSWER.fullmatch(fold(text)) is not None


def numbers(text: str) -> tuple[int, ...]:
    """The numbers of answers in a text that has nothing else; none for any other."""
    found = re.fullmatch(r"\d{1,2}(?:[ ,.]+\d{1,2})*[.)]?", text.strip())
    return tuple(map(int, re.findall(r"\d+", text))) if found else ()
