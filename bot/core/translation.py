"""A flow in another language: its texts by id, and the flow as it reads once they are translated.

A text's id is its path through the flow with ids, never with positions. Things in a list that have no
id of their own are called by a digest of their first text, so that a step put in before them moves none.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, TypeVar

from bot.core.flow import Common, Flow, Strict

Said = str | tuple[str, ...]
Path = tuple[str | int, ...]
_Node = TypeVar("_Node", bound=Strict)

TEXTS = frozenset(
    [
        *("title", "say", "short", "name", "what", "remark", "point", "why", "look_like", "do", "shut"),
        *("looks_like", "good_looks_like", "usually", "trouble", "label", "ask", "about", "good", "bad"),
        *("less", "same", "more", "new_kind"),
    ]
)  # fields that hold one text which a rider may read
PHRASES = frozenset(["words", "told_as", "riders_say"])  # fields that hold what a rider may write
APART = frozenset(["signs", "sources"])  # parts of a flow that no rider reads, or that are names of books


@dataclass(frozen=True)
class Line:
    """One translated text. `of`: digest of the text that it was made from."""

    of: str
    said: Said


def digest(said: Said) -> str:
    """Eight hex digits of sha256 over a text; of phrases, over one a line."""
    text = said if isinstance(said, str) else "\n".join(said)
    return hashlib.sha256(text.encode()).hexdigest()[:8]


def texts_of(flow: Flow | Common) -> dict[str, Said]:
    """Every text of a flow that can be translated, by its id, in the author's order."""
    return {place: text for place, _, text in _texts(flow, "", ())}


def paths_of(flow: Flow | Common) -> dict[str, Path]:
    """Where each text stands in the flow's own data: keys, and positions in lists."""
    return {place: path for place, path, _ in _texts(flow, "", ())}


def translate(flow: Flow, lines: Mapping[str, Line]) -> Flow:
    """The flow with every text that has a line made from it; other texts stay as they are.

    Meaning, figures and ids are the same, so it answers for cases that are pinned to `flow`.
    """
    return _translated(flow, "", lines)


def _texts(node: Strict, called: str, path: Path) -> Iterator[tuple[str, Path, Said]]:
    for field, place, value in _filled(node, called):
        if _is_text(field, value):
            yield place, (*path, field), value
        for below, key, child in _below(place, value):
            yield from _texts(child, below, (*path, field, *key))


def _translated(node: _Node, called: str, lines: Mapping[str, Line]) -> _Node:
    """The same node where nothing below it is translated, so that what is shared stays shared."""
    new: dict[str, Any] = {}
    for field, place, value in _filled(node, called):
        said = _said(field, place, value, lines) if _is_text(field, value) else _among(place, value, lines)
        if said is not value:
            new[field] = said
    return node.model_copy(update=new) if new else node


def _said(field: str, place: str, value: Said, lines: Mapping[str, Line]) -> Said:
    line = lines.get(place)
    fits = line is not None and line.of == digest(value) and isinstance(line.said, type(value))
    return line.said if line is not None and fits else value


def _among(place: str, value: Any, lines: Mapping[str, Line]) -> Any:
    """A field with the models in it translated; the field itself where none is."""
    below = tuple(_below(place, value))
    new = [_translated(child, called, lines) for called, _, child in below]
    if all(one is child for one, (_, _, child) in zip(new, below, strict=True)):
        return value
    if isinstance(value, Strict):
        return new[0]
    return dict(zip(value, new, strict=True)) if isinstance(value, Mapping) else tuple(new)


def _filled(node: Strict, called: str) -> Iterator[tuple[str, str, Any]]:
    """Each field that holds something, with what it is called."""
    for field in type(node).model_fields:
        value = getattr(node, field)
        if value and (called or field not in APART):
            yield field, f"{called}.{field}" if called else field, value


def _is_text(field: str, value: Any) -> bool:
    return field in PHRASES or (field in TEXTS and isinstance(value, str))


def _below(place: str, value: Any) -> Iterator[tuple[str, Path, Strict]]:
    """The models in a field, each with what it is called and its key. A field holds models only, or none."""
    if isinstance(value, Strict):
        yield place, (), value
    elif isinstance(value, Mapping):
        for key, child in value.items():
            if isinstance(child, Strict):
                yield f"{place}.{key}", (key,), child
    elif isinstance(value, tuple):
        for n, child in enumerate(value):
            if isinstance(child, Strict):
                yield f"{place}.{_name(child)}", (n,), child


def _name(item: Strict) -> str:
    """Its own id, else a digest of its first text."""
    own = getattr(item, "id", None)
    return str(own) if own else digest(next((text for _, _, text in _texts(item, "x", ())), ""))
