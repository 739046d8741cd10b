"""All keys of the flow language, read from its models: what each is, what holds without it, what it means."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterator
from dataclasses import dataclass
from types import UnionType
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from bot.authoring.meanings import BLOCKS, meaning
from bot.core import flow as language

_LIMITS = ("gt", "ge", "lt", "le", "min_length", "max_length")
_KINDS = (
    (language.Id, "name"),
    (language.Condition, "condition"),
    (language.Chance, "how often"),
    (language.Strength, "how often, or one figure a step"),
    (language.Ask, "question"),
)


@dataclass(frozen=True)
class Key:
    """One key of a block; `default` is empty where the key must be there."""

    block: str
    name: str
    kind: str
    default: str
    means: str

    @property
    def needed(self) -> bool:
        return not self.default


def blocks() -> dict[str, tuple[Key, ...]]:
    """The keys of every block, from the file inwards, in the order of the language."""
    return {model.__name__: tuple(_keys(model)) for model in _models()}


def _models() -> list[type[BaseModel]]:
    """The file itself, then each block where it is first used; the common file last."""
    found: list[type[BaseModel]] = []

    def visit(model: type[BaseModel]) -> None:
        if model in found:
            return
        if issubclass(model, language.Asking) and model is not language.Asking:
            visit(language.Asking)
        found.append(model)
        for field in model.model_fields.values():
            for inner in _inside(_whole(field)):
                visit(inner)

    visit(language.Flow)
    visit(language.Common)
    return found


def _inside(kind: Any) -> Iterator[type[BaseModel]]:
    if isinstance(kind, type) and issubclass(kind, BaseModel):
        yield kind
    for part in get_args(kind):
        yield from _inside(part)


def _whole(field: FieldInfo) -> Any:
    """The type of a field with its limits, as it was written."""
    if not field.metadata:
        return field.annotation
    return Annotated[(field.annotation, *field.metadata)]


def _keys(model: type[BaseModel]) -> Iterator[Key]:
    asking = language.Asking.model_fields
    told = asking if issubclass(model, language.Asking) and model is not language.Asking else {}
    for name, field in model.model_fields.items():
        if name in told:  # told once, for all questions
            continue
        yield Key(
            model.__name__,
            name,
            kind_of(_whole(field)),
            _default(field),
            meaning(model.__name__, name),
        )


# --- what a value is -----------------------------------------------------------------------------


def kind_of(kind: Any) -> str:
    """What may stand behind the colon, in plain words."""
    known = next((words for one, words in _KINDS if one == kind), "")
    if known:
        return known
    if get_origin(kind) is Annotated:
        inner, *limits = get_args(kind)
        rest = kind_of(inner)
        return f"{rest}{_limits(limits, rest)}"
    if isinstance(kind, type) and issubclass(kind, BaseModel):
        return f"[{kind.__name__}](#{kind.__name__.lower()})"
    return _plain(kind) or _holding(kind)


def _plain(kind: Any) -> str:
    if kind is str:
        return "text"
    if kind is bool:
        return "true or false"
    return {int: "whole number", float: "number"}.get(kind, "")


def _holding(kind: Any) -> str:
    """Lists, blocks of names, choices and 'or nothing'."""
    origin, parts = get_origin(kind), get_args(kind)
    if origin is Literal:
        return " or ".join(f"`{part}`" for part in parts)
    if origin in (Union, UnionType):
        some = [part for part in parts if part is not type(None)]
        return " or ".join(dict.fromkeys(map(kind_of, some)))
    if origin is tuple:
        return f"list of {_many(parts[0])}" if parts[-1] is ... else f"{len(parts)} {_many(parts[0])}"
    if origin is dict:
        return f"block by name, each {kind_of(parts[1])}"
    raise TypeError(f"no words for {kind}")  # a new kind of value: give it words here


def _many(kind: Any) -> str:
    one = kind_of(kind)
    return f"{one}s" if one in ("name", "text", "number", "condition", "question") else one


def _limits(limits: list[Any], kind: str) -> str:
    """The limits of a number, or how many of a list or letters of a text there may be."""
    told: dict[str, Any] = {}
    for limit in (inner for part in limits for inner in (part, *getattr(part, "metadata", ()))):
        told |= {name: at for name in _LIMITS if (at := getattr(limit, name, None)) is not None}
    said = [words for words in (_range(told), _length(told, kind)) if words]
    return f", {', '.join(said)}" if said else ""


def _range(told: dict[str, Any]) -> str:
    leads = (("gt", "above"), ("ge", "from"), ("lt", "below"), ("le", "to"))
    return " ".join(f"{lead} {told[name]:,.10g}" for name, lead in leads if name in told)


def _length(told: dict[str, Any], kind: str) -> str:
    least, most = told.get("min_length", 0), told.get("max_length")
    if kind == "text":
        return f"up to {most} letters" if most else ""
    if most:
        return f"{least} to {most}"
    return f"at least {least}" if least else ""


def _default(field: FieldInfo) -> str:
    if field.is_required():
        return ""
    value = field.get_default(call_default_factory=True)
    if value is None or value == () or value == {}:
        return "nothing"
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, BaseModel):
        return "as its keys say"
    return ", ".join(map(str, value)) if isinstance(value, tuple) else f"{value}"


# --- the page and the command ----------------------------------------------------------------------

_HEAD = """# The keys of a flow

What may stand in a flow file, made from the models in `bot/core/flow.py` by `python -m tests.test_docs`.
`sumpline flow keys WORD` shows one of them in the terminal; `sumpline flow new` writes a flow to begin with.

- What says **needed** must be there; else the value under *left out* holds.
- A **name** is small letters, digits and single hyphens.
- **How often** is a number between 0 and 1, or one of these words:
{words}
- A **condition** is a sign, a side of a look such as `filter.bad`, or `sign: step` for that step or above.
- A **question** has the keys of [Asking](#asking) and those of its kind:
  {kinds}.
"""


def page() -> str:
    """The page of all keys."""
    asks = [m.__name__ for m in _models() if "kind" in m.model_fields]
    words = ", ".join(f"`{word}` {chance:g}" for word, chance in language.FREQUENCY.items())
    folded = textwrap.fill(f"{words}.", 100, initial_indent="  ", subsequent_indent="  ")
    kinds = ", ".join(f"[{name.lower()}](#{name.lower()})" for name in asks)
    return "\n".join([_HEAD.format(words=folded, kinds=kinds), *map(_section, blocks())])


def _section(block: str) -> str:
    rows = [
        f"| `{key.name}` | {key.kind} | {key.default or '**needed**'} | {key.means} |"
        for key in blocks()[block]
    ]
    head = ("| key | what it is | left out | what it means |", "| --- | --- | --- | --- |")
    return "\n".join((f"## {block}", "", BLOCKS[block], "", *head, *rows, ""))


def listing(word: str) -> list[str]:
    """One key wherever it stands, or the keys of one block, as lines for a terminal; nothing if unknown."""
    found = [
        key for block, keys in blocks().items() for key in keys if word in (key.name, block, block.lower())
    ]
    lines = []
    for key in found:
        left_out = "needed" if key.needed else f"left out: {key.default}"
        lines += [f"{key.block} > {key.name}: {key.means}", f"    {_bare(key.kind)}; {left_out}"]
    return lines


def known() -> tuple[str, ...]:
    """All words that `listing` knows."""
    return tuple(
        dict.fromkeys(w for b, keys in blocks().items() for w in (b.lower(), *(k.name for k in keys)))
    )


def _bare(kind: str) -> str:
    """Without the signs of a page."""
    return re.sub(r"\[(\w+)\]\(#\w+\)", r"\1", kind).replace("`", "")
