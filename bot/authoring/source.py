"""YAML bytes to plain data with the place of every value; knows nothing of flows.

Only a small part of YAML is let through. Names that copy (`&`, `*`, `<<`), tags (`!`), directives
and second documents are refused as soon as the scanner meets them, nesting and the number of values
are counted while the file is read, so a hostile file costs no more than an honest one. Keys are
always text, and so are yes, no, on, 1:30 and dates: only true, false, null and plain decimal
numbers are anything else. The pure-Python scanner is used so that places and words are the same on
every machine.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, NoReturn

import yaml

from bot.authoring import encoding, slips
from bot.authoring.problems import Place, Problem, problem

MAX_DEPTH, MAX_VALUES = 16, 20_000
MAX_NUMBER = 1e15

Path = tuple[str | int, ...]


@dataclass(frozen=True)
class Spot:
    """Where a value stands, and where its key does (the value's own place in lists)."""

    key: Place
    value: Place


@dataclass(frozen=True)
class Source:
    """One file. `data` is None when it could not be read; `scanned` counts characters looked at."""

    file: str
    text: str
    data: dict[str, Any] | None
    spots: Mapping[Path, Spot]
    problems: tuple[Problem, ...]
    scanned: int = 0

    def place(self, path: Path, key: bool = False) -> Place:
        """Line and column of a path; of its nearest parent's key when the file does not have it."""
        for end in range(len(path), 0, -1):
            spot = self.spots.get(path[:end])
            if spot:
                return spot.key if key or end < len(path) else spot.value
        return (1, 1)


class _RefusedError(Exception):
    """Something of YAML that a flow may not use."""

    def __init__(self, code: str, mark: yaml.Mark, **fields: object) -> None:
        super().__init__(code)
        self.code, self.mark, self.fields = code, mark, fields


class FlowLoader(yaml.SafeLoader):
    """The guarded part of YAML. Counts while it reads."""

    depth = 0
    values = 0
    long_quote: tuple[yaml.Mark, yaml.Mark] | None = None

    def _refuse(self, code: str, **fields: object) -> NoReturn:
        raise _RefusedError(code, self.get_mark(), **fields)

    def fetch_anchor(self) -> None:
        self._refuse("Y003", sign="&")

    def fetch_alias(self) -> None:
        if self.peek(1) in " \n":
            self._refuse("Y018")
        self._refuse("Y003", sign="*")

    def fetch_tag(self) -> None:
        self._refuse("Y004")

    def fetch_directive(self) -> None:
        self._refuse("Y011")

    def fetch_flow_collection_start(self, token_class: Any) -> None:
        # Here and not only in compose_node: the scanner runs up to 1024 characters ahead.
        if self.flow_level >= MAX_DEPTH:
            self._refuse("Y005", limit=MAX_DEPTH)
        super().fetch_flow_collection_start(token_class)

    def scan_flow_scalar(self, style: Any) -> Any:
        token = super().scan_flow_scalar(style)
        if token.end_mark.line > token.start_mark.line:
            self.long_quote = (token.start_mark, token.end_mark)
        return token

    def compose_node(self, parent: Any, index: Any) -> Any:
        self.depth += 1
        self.values += 1
        mark = self.peek_event().start_mark  # type: ignore[no-untyped-call]
        # The value itself does not nest; only what holds others does.
        if self.depth > MAX_DEPTH and not self.check_event(yaml.ScalarEvent):
            raise _RefusedError("Y005", mark, limit=MAX_DEPTH)
        if self.values > MAX_VALUES:
            raise _RefusedError("Y006", mark, limit=MAX_VALUES)
        node = super().compose_node(parent, index)
        self.depth -= 1
        return node


FlowLoader.yaml_implicit_resolvers = {}
for _tag, _pattern, _first in (
    ("bool", r"^(?:true|false)$", "tf"),
    ("null", r"^(?:null|~|)$", ["n", "~", ""]),
    ("int", r"^-?(?:0|[1-9][0-9]*)$", "-0123456789"),
    ("float", r"^-?(?:0|[1-9][0-9]*)(?:\.[0-9]+)?(?:[eE][-+]?[0-9]+)?$", "-0123456789"),
):
    FlowLoader.add_implicit_resolver(f"tag:yaml.org,2002:{_tag}", re.compile(_pattern), list(_first))


def read(raw: bytes, file: str, most: int = encoding.MAX_BYTES) -> Source:
    """Data and places of one file of at most so many bytes, or why it cannot be read.

    Never raises for what is in it.
    """
    text, problems = encoding.decode(raw, file, most)
    if problems:
        return Source(file, text, None, {}, tuple(problems))
    loader = FlowLoader(text)
    try:
        return _walked(file, text, loader)
    except _RefusedError as refused:
        found = problem(file, _place(refused.mark), refused.code, **refused.fields)
    except yaml.MarkedYAMLError as error:
        found = slips.slip(file, text, error, loader.long_quote)
    except (ValueError, OverflowError):  # an escape beyond the last character, "\U00110000"
        mark = loader.get_mark()
        found = problem(file, _place(mark), "Y027")
    return Source(file, text, None, {}, (found,), loader.index)


def _walked(file: str, text: str, loader: FlowLoader) -> Source:
    node = loader.get_single_node()
    if node is None:
        return Source(file, text, None, {}, (problem(file, (1, 1), "Y012"),), loader.index)
    walk = _Walk(file, text)
    data = walk.value(node, (), None)
    if not isinstance(data, dict):
        walk.report(_place(node.start_mark), "Y013")
        data = None
    return Source(file, text, data, walk.spots, tuple(walk.problems), loader.index)


def _place(mark: yaml.Mark) -> Place:
    return mark.line + 1, mark.column + 1


class _Walk:
    """One walk over the nodes: builds plain data and the spot of every path."""

    def __init__(self, file: str, text: str) -> None:
        self.file, self.text = file, text
        self.spots: dict[Path, Spot] = {}
        self.problems: list[Problem] = []

    def report(self, place: Place, code: str, **fields: object) -> None:
        self.problems.append(problem(self.file, place, code, **fields))

    def value(self, node: yaml.Node, path: Path, key: yaml.Mark | None) -> Any:
        self.spots[path] = Spot(_place(key or node.start_mark), _place(node.start_mark))
        if isinstance(node, yaml.SequenceNode):
            return [self.value(item, (*path, i), None) for i, item in enumerate(node.value)]
        if isinstance(node, yaml.MappingNode):
            return self.mapping(node, path)
        return self.scalar(node)

    def mapping(self, node: yaml.MappingNode, path: Path) -> dict[str, Any]:
        out: dict[str, Any] = {}
        first: dict[str, int] = {}
        for key, value in node.value:
            if not isinstance(key, yaml.ScalarNode):
                self.report(_place(key.start_mark), "Y009")
            elif key.value == "<<" and not key.style:
                self.report(_place(key.start_mark), "Y010")
            elif key.value in first:
                self.report(_place(key.start_mark), "Y008", key=key.value, line=first[key.value])
            else:
                self.look_for_curly(key, key.value)
                first[key.value] = key.start_mark.line + 1
                out[key.value] = self.value(value, (*path, key.value), key.start_mark)
        return out

    def scalar(self, node: yaml.Node) -> Any:
        kind, said = node.tag.rpartition(":")[2], str(node.value)
        if getattr(node, "style", None) is None:
            self.look_for_cut(node)
            self.look_for_curly(node, said)
        if kind == "bool":
            return said == "true"
        if kind == "null":
            return None
        if kind in ("int", "float"):
            return self.number(node, said)
        self.look_for_hidden(node, said)
        return said

    def number(self, node: yaml.Node, said: str) -> float | int:
        value = float(said)
        if len(said) > 30 or abs(value) > MAX_NUMBER:
            self.report(_place(node.start_mark), "Y015", found=said[:30], limit=f"{MAX_NUMBER:.0e}")
            return 0
        return int(said) if value.is_integer() and said.lstrip("-").isdecimal() else value

    def look_for_cut(self, node: yaml.Node) -> None:
        """A '#' after unquoted text starts a comment, also where a mechanic means 'number'."""
        end = node.end_mark.index
        rest = self.text[end : end + 3]
        if re.match(r"[ \t]#[^\s#]", rest):
            self.report((node.end_mark.line + 1, node.end_mark.column + 2), "Y016")

    def look_for_curly(self, node: yaml.Node, said: str) -> None:
        """Curly quotes of a word processor or a phone are letters like any other."""
        if slips.curly(said):
            self.report(_place(node.start_mark), "Y017")

    def look_for_hidden(self, node: yaml.Node, said: str) -> None:
        """Escapes in double quotes can bring in what may not stand in the file itself."""
        hidden = encoding.FORBIDDEN.search(said)
        if hidden:
            self.report(_place(node.start_mark), "Y014", character=f"U+{ord(hidden.group()):04X}")
