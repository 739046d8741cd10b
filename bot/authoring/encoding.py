"""The bytes of a file to text: what is no text, letters saved in another way, characters nobody sees."""

from __future__ import annotations

import re

from bot.authoring.problems import Place, Problem, problem

MAX_BYTES = 256_000

# What YAML takes for a line end and editors do not (U+0085, U+2028, U+2029, a lone CR), what
# cannot be seen, and what turns the order of shown letters around so that a reviewer reads
# something else than the bot.
FORBIDDEN = re.compile(
    "[^\t\n\r\x20-\x7e\xa0-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]"
    "|[\u200b\u2060\u2028\u2029\u202a-\u202e\u2066-\u2069\ufeff]|\r(?!\n)"
)
# Spaces of web pages and word processors, where only a plain one keeps words apart.
_ODD_SPACE = re.compile(r"(?m)^[ \t-]*([\u00a0\u2000-\u200a\u202f\u3000])|^ *(?:- )?[\w-]+:([\u00a0\u202f])")
_SHOW_AT_MOST = 20

# How other files begin, as their published descriptions have it.
_OTHER_FILES = (
    (rb"\xff\xd8\xff|\x89PNG|GIF8|BM.{4}\0\0\0\0|II\*\0|MM\0\*", "a picture"),
    (rb"RIFF.{4}WEBP|.{4}ftyp(?:hei|avif|mif)", "a picture"),
    (rb"%PDF-", "a PDF page"),
    (rb"PK\x03\x04|\xd0\xcf\x11\xe0", "a file of an office program, or a packed one"),
    (rb"\x1f\x8b|BZh|7z\xbc\xaf|Rar!", "a packed file"),
    (rb"\{\\rtf", "a file of a word processor"),
    (rb"\s*<(?:!doctype|html|\?xml)", "a web page"),
    (rb"SQLite format 3", "a record of the bot"),
)  # fmt: skip


def decode(raw: bytes, file: str, most: int = MAX_BYTES) -> tuple[str, list[Problem]]:
    """The text of a file, and why it cannot be read as a flow if there is a reason."""
    other = next((what for begins, what in _OTHER_FILES if re.match(begins, raw, re.S | re.I)), None)
    if other:
        return "", [problem(file, (1, 1), "Y019", what=other)]
    if len(raw) > most:
        return "", [problem(file, (1, 1), "Y001", found=-(-len(raw) // 1000), limit=most // 1000)]
    if raw[:2] in (b"\xff\xfe", b"\xfe\xff") or raw[:200].count(0) > len(raw[:200]) // 4:
        return "", [problem(file, (1, 1), "Y002", what="the file is saved as UTF-16")]
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        before = raw[: error.start].decode("utf-8-sig", "replace")
        what = f"a letter here{_after(before)} is not saved as UTF-8"
        return before, [problem(file, _end_of(before), "Y002", what=what)]
    return text, [*_hidden(text, file), *_odd_spaces(text, file)]


def _after(before: str) -> str:
    """The word that the letter stands in, as far as it could be read."""
    word = re.search(r"\S+$", before[-40:])
    return f", after '{word[0]}'," if word else ""


def _hidden(text: str, file: str) -> list[Problem]:
    found = []
    for match in FORBIDDEN.finditer(text):
        place = _end_of(text[: match.start()])
        found.append(problem(file, place, "Y014", character=f"U+{ord(match.group()):04X}"))
        if len(found) == _SHOW_AT_MOST:
            break
    return found


def _odd_spaces(text: str, file: str) -> list[Problem]:
    found = []
    for match in _ODD_SPACE.finditer(text):
        place = _end_of(text[: match.start(match.lastindex or 0)])
        found.append(problem(file, place, "Y031"))
        if len(found) == _SHOW_AT_MOST:
            break
    return found


def _end_of(text: str) -> Place:
    return text.count("\n") + 1, len(text) - text.rfind("\n")
