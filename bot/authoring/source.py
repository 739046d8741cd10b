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

from bot.authoring.problems import Place, Problem, problem

MAX_BYTES, MAX_DEPTH, MAX_VALUES = 256_000, 16, 20_000
MAX_NUMBER = 1e15

Path = tuple[str | int, ...]

# What YAML takes for a line end and editors do not (U+0085, U+2028, U+2029, a lone CR), what
# cannot be seen, and what turns the order of shown letters around so that a reviewer reads
# something else than the bot.
_FORBIDDEN = re.compile(
    "[^\t\n\r\x20-\x7e\xa0-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]"
    "|[\u2028\u2029\u202a-\u202e\u2066-\u2069\ufeff]|\r(?!\n)"
)
_SHOW_AT_MOST = 20


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


def read(raw: bytes, file: str, most: int = MAX_BYTES) -> Source:
    """Data and places of one file of at most so many bytes, or why it cannot be read.

    Never raises for what is in it.
    """
    text, problems = _decode(raw, file, most)
    if problems:
        return Source(file, text, None, {}, tuple(problems))
    loader = FlowLoader(text)
    try:
        return _walked(file, text, loader)
    except _RefusedError as refused:
        found = problem(file, _place(refused.mark), refused.code, **refused.fields)
    except yaml.MarkedYAMLError as error:
        found = _slip(file, text, error, loader.long_quote)
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


def _decode(raw: bytes, file: str, most: int) -> tuple[str, list[Problem]]:
    if len(raw) > most:
        return "", [problem(file, (1, 1), "Y001", found=len(raw), limit=most)]
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        before = raw[: error.start].decode("utf-8-sig", "replace")
        return before, [problem(file, _end_of(before), "Y002", byte=f"0x{raw[error.start]:02x}")]
    found = []
    for match in _FORBIDDEN.finditer(text):
        place = _end_of(text[: match.start()])
        found.append(problem(file, place, "Y014", character=f"U+{ord(match.group()):04X}"))
        if len(found) == _SHOW_AT_MOST:
            break
    return text, found


def _end_of(text: str) -> Place:
    return text.count("\n") + 1, len(text) - text.rfind("\n")


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
                first[key.value] = key.start_mark.line + 1
                out[key.value] = self.value(value, (*path, key.value), key.start_mark)
        return out

    def scalar(self, node: yaml.Node) -> Any:
        kind, said = node.tag.rpartition(":")[2], str(node.value)
        if getattr(node, "style", None) is None:
            self.look_for_cut(node)
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

    def look_for_hidden(self, node: yaml.Node, said: str) -> None:
        """Escapes in double quotes can bring in what may not stand in the file itself."""
        hidden = _FORBIDDEN.search(said)
        if hidden:
            self.report(_place(node.start_mark), "Y014", character=f"U+{ord(hidden.group()):04X}")


# --- the parser's words, replaced by ours ----------------------------------------------------

_SLIPS = (
    ("cannot start any token", "Y021"),
    ("sequence entries are not allowed", "Y021"),
    ("mapping keys are not allowed", "Y021"),
    ("expected chomping", "Y021"),
    ("expected indentation indicator", "Y021"),
    ("expected a comment or a line break", "Y021"),
    ("expected the node content", "Y021"),
    ("expected ',' or", "Y025"),
    ("could not find expected ':'", "Y026"),
    ("unknown escape character", "Y027"),
    ("expected escape sequence", "Y027"),
    ("expected a single document", "Y007"),
    ("expected <document start>", "Y023"),
    ("expected '<document start>'", "Y023"),
)


def _slip(
    file: str, text: str, error: yaml.MarkedYAMLError, quote: tuple[yaml.Mark, yaml.Mark] | None
) -> Problem:
    """One of the ordinary slips, in our words and at the place where the cure is."""
    said = " ".join(filter(None, (error.context, error.problem)))
    mark = error.problem_mark or error.context_mark
    if mark is None:  # the parser always gives one of the two
        return problem(file, (1, 1), "Y029", said=said)
    if error.context_mark and "quoted scalar" in (error.context or "") and "escape" not in said:
        return problem(file, _place(error.context_mark), "Y022")
    if quote and quote[1].line == mark.line:  # the quote ran on to the next one, lines below
        return problem(file, _place(quote[0]), "Y022")
    glued = _glued(text, mark) if "mapping values are not allowed" in said else None
    if glued:
        return problem(file, glued, "Y026")
    code, line = _slip_code(text, said, mark), mark.line + 1
    where_cured = code in ("Y025", "Y026") or "block scalar" in said
    if where_cured and error.context_mark:
        mark = error.context_mark
    return problem(file, _place(mark), code, said=said, line=line, character=_at(text, mark))


def _glued(text: str, mark: yaml.Mark) -> tuple[int, int] | None:
    """Where the line before has 'word:value': without its space the parser stumbles a line later."""
    above = text[: mark.index - mark.column].split("\n")[:-1]
    line = next((n for n in range(len(above), 0, -1) if above[n - 1].strip()), 0)
    found = re.fullmatch(r"\s*(?:- )?[\w-]+(:)[^\s:/].*", above[line - 1]) if line else None
    return (line, found.start(1) + 1) if found else None


def _slip_code(text: str, said: str, mark: yaml.Mark) -> str:
    before = text[mark.index - mark.column : mark.index]
    if "\t" in (_at(text, mark), before[-1:]) and not before.strip():
        return "Y024"
    if "mapping values are not allowed" in said:
        # The first colon of its line is a key that stands too far right; a second one is text.
        return "Y020" if re.search(r":\s", before) else "Y023"
    if "expected <block end>" in said:
        return "Y028" if before.strip() else "Y023"
    return next((code for words, code in _SLIPS if words in said), "Y029")


def _at(text: str, mark: yaml.Mark) -> str:
    return text[mark.index : mark.index + 1]
