"""HTML as the Telegram Bot API reads it: tags out of a text, what is left, and what is wrong with it.

Follows the Telegram Bot API manual, "Formatting options", "HTML style", and "MessageEntity".
"""

from __future__ import annotations

import html
import re
from dataclasses import dataclass, field
from typing import Any

# tag -> kind of entity
TAGS = {
    "b": "bold", "strong": "bold",
    "i": "italic", "em": "italic",
    "u": "underline", "ins": "underline",
    "s": "strikethrough", "strike": "strikethrough", "del": "strikethrough",
    "span": "spoiler", "tg-spoiler": "spoiler",
    "a": "text_link", "tg-emoji": "custom_emoji",
    "code": "code", "pre": "pre",
    "blockquote": "blockquote",
}  # fmt: skip
NAMED = ("lt", "gt", "amp", "quot")  # "The API currently supports only the following named HTML entities"
PIECE = re.compile(
    r"<(?P<end>/?)(?P<tag>[^\s<>/]*)(?P<rest>(?:\"[^\"]*\"|'[^']*'|[^<>\"'])*)>"
    r"|(?P<sign>&(?:#x[0-9a-fA-F]+|#[0-9]+|[A-Za-z]+);)"
    r"|(?P<bare>[<>&])"
)
ATTRIBUTE = re.compile(r"([\w-]+)(?:\s*=\s*(?:\"([^\"]*)\"|'([^']*)'|([^\s\"'>]+)))?")


class BadEntities(ValueError):
    """The service refuses the text; the words are its own."""


@dataclass
class Parsed:
    """Text without markup, its entities (offsets in UTF-16 units), what the manual forbids but is taken."""

    text: str = ""
    entities: list[dict[str, Any]] = field(default_factory=list)
    remarks: list[str] = field(default_factory=list)


@dataclass
class _Open:
    tag: str
    entity: dict[str, Any]


def units(text: str) -> int:
    """Length in UTF-16 units, in which the service counts offsets."""
    return len(text.encode("utf-16-le")) // 2


def parse(source: str) -> Parsed:
    """Take the tags out. Raises BadEntities where the service answers 400."""
    reading = _Reading(source)
    place = 0
    for piece in PIECE.finditer(source):
        reading.add(source[place : piece.start()])
        reading.take(piece)
        place = piece.end()
    reading.add(source[place:])
    return reading.end()


class _Reading:
    """What has been read so far of one text."""

    def __init__(self, source: str) -> None:
        self.source = source
        self.out: list[str] = []
        self.length = 0
        self.open: list[_Open] = []
        self.parsed = Parsed()

    def add(self, text: str) -> None:
        self.out.append(text)
        self.length += units(text)

    def take(self, piece: re.Match[str]) -> None:
        if piece["sign"]:
            self._sign(piece["sign"])
        elif piece["bare"]:
            self._bare(piece)
        elif piece["end"]:
            self._close(piece)
        else:
            self._begin(piece)

    def _sign(self, sign: str) -> None:
        known = sign[1] == "#" or sign[1:-1] in NAMED
        if not known:
            self.parsed.remarks.append(f"{sign} is not a sign the service knows: it is shown as typed")
        self.add(html.unescape(sign) if known else sign)

    def _bare(self, piece: re.Match[str]) -> None:
        if piece["bare"] == "<":
            name = re.match(r"[^\s>]*", self.source[piece.end() :])
            rest = self.source[piece.end() + len(name.group() if name else "") :]
            if not rest:
                raise BadEntities(f"Unclosed start tag at byte offset {self._byte(piece)}")
            word = name.group().lower() if name else ""
            raise BadEntities(f'Unsupported start tag "{word}" at byte offset {self._byte(piece)}')
        self.parsed.remarks.append(f"a bare {piece['bare']} must be written as a sign")
        self.add(piece["bare"])

    def _begin(self, piece: re.Match[str]) -> None:
        tag, at = piece["tag"].lower(), self._byte(piece)
        if tag not in TAGS:
            raise BadEntities(f'Unsupported start tag "{tag}" at byte offset {at}')
        given = {m[1].lower(): m[2] or m[3] or m[4] or "" for m in ATTRIBUTE.finditer(piece["rest"])}
        if tag == "span" and given.get("class") != "tg-spoiler":
            raise BadEntities(f'Tag "span" must have class "tg-spoiler" at byte offset {at}')
        self._nested(tag)
        self.open.append(_Open(tag, self._entity(tag, given)))

    def _entity(self, tag: str, given: dict[str, str]) -> dict[str, Any]:
        entity: dict[str, Any] = {"type": TAGS[tag], "offset": self.length, "length": 0}
        if tag == "a":
            entity["url"] = html.unescape(given.get("href", ""))
        elif tag == "tg-emoji":
            entity["custom_emoji_id"] = given.get("emoji-id", "")
        elif tag == "blockquote" and "expandable" in given:
            entity["type"] = "expandable_blockquote"
        elif tag == "code" and given.get("class", "").startswith("language-"):
            entity["language"] = given["class"].removeprefix("language-")
        return entity

    def _nested(self, tag: str) -> None:
        """pre and code hold no other entity, and a quotation holds no quotation."""
        outer = [o.tag for o in self.open]
        if outer == ["pre"] and tag == "code":
            return
        if "pre" in outer or "code" in outer:
            self.parsed.remarks.append(f"<{tag}> inside <{outer[-1]}>")
        if tag == "blockquote" and tag in outer:
            self.parsed.remarks.append("<blockquote> inside <blockquote>")

    def _close(self, piece: re.Match[str]) -> None:
        at = self._byte(piece)
        if not self.open:
            raise BadEntities(f"Unexpected end tag at byte offset {at}")
        last, found = self.open.pop(), piece["tag"].lower()
        if found and found != last.tag:
            raise BadEntities(
                f'Unmatched end tag at byte offset {at}, expected "</{last.tag}>", found "</{found}>"'
            )
        last.entity["length"] = self.length - last.entity["offset"]
        self.parsed.entities.append(last.entity)

    def end(self) -> Parsed:
        if self.open:
            raise BadEntities(f'Can\'t find end tag corresponding to start tag "{self.open[-1].tag}"')
        self.parsed.text = "".join(self.out)
        self.parsed.entities = [e for e in self.parsed.entities if e["length"] and e.get("url", "x")]
        return trimmed(self.parsed)

    def _byte(self, piece: re.Match[str]) -> int:
        return len(self.source[: piece.start()].encode())


def trimmed(parsed: Parsed) -> Parsed:
    """The service cuts white space off both ends and moves the entities with it."""
    text = parsed.text.strip()
    cut = units(parsed.text[: len(parsed.text) - len(parsed.text.lstrip())])
    kept = []
    for entity in parsed.entities:
        start = max(entity["offset"] - cut, 0)
        end = min(entity["offset"] - cut + entity["length"], units(text))
        if end > start:
            kept.append({**entity, "offset": start, "length": end - start})
    return Parsed(text, sorted(kept, key=lambda e: (e["offset"], -e["length"])), parsed.remarks)


TYPED = (
    ("bot_command", re.compile(r"(?<![\w/@])/[A-Za-z0-9_]{1,64}(?:@\w{3,32})?\b")),
    ("mention", re.compile(r"(?<![\w@])@\w{3,32}\b")),
    ("url", re.compile(r"\bhttps?://[^\s<>]+")),
)


def typed(text: str) -> list[dict[str, Any]]:
    """The entities that the service finds by itself in what a person types."""
    found = [
        {"type": kind, "offset": units(text[: m.start()]), "length": units(m.group())}
        for kind, pattern in TYPED
        for m in pattern.finditer(text)
    ]
    return sorted(found, key=lambda e: int(str(e["offset"])))
