"""One thing wrong with a flow, where it is, and how it is printed."""

from __future__ import annotations

import difflib
import json
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass

from bot.authoring.catalogue import CATALOGUE, Severity

Place = tuple[int, int]  # line and column, both from 1

_WIDTH = 100  # of a source line that is shown


@dataclass(frozen=True, order=True)
class Problem:
    """One thing wrong at one place; line and column count from 1."""

    file: str
    line: int
    column: int
    code: str
    text: str

    @property
    def severity(self) -> Severity:
        return CATALOGUE[self.code].severity

    @property
    def stops(self) -> bool:
        """Whether the flow may not be used as it is."""
        return self.severity == "error"

    def __str__(self) -> str:
        mild = "" if self.stops else "warning: "
        return f"{self.file}:{self.line}:{self.column}: {self.code} {mild}{self.text}"


class FlowError(Exception):
    """A flow that cannot be used; carries every problem found, sorted."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems = tuple(sorted(set(problems)))
        super().__init__("\n".join(map(str, self.problems)))


def problem(file: str, place: Place, code: str, **fields: object) -> Problem:
    """A problem worded from the catalogue, in one line. KeyError when a field of its sentence is missing."""
    said = CATALOGUE[code].sentence.format_map(fields)
    return Problem(file, *place, code, " ".join(said.split("\n")))


def hint(said: str, known: Iterable[str], cutoff: float = 0.6) -> str:
    """` (did you mean 'x'?)`, or nothing."""
    near = difflib.get_close_matches(said, list(known), n=1, cutoff=cutoff)
    return f" (did you mean '{near[0]}'?)" if near else ""


def listed(words: Iterable[str]) -> str:
    """'a', 'b' or 'c'; nothing is said as 'nothing'."""
    *most, last = [f"'{w}'" for w in words] or ["nothing"]
    return f"{', '.join(most)} or {last}" if most else last


def show(found: Problem, text: str | None) -> str:
    """The problem with its line and a caret below; `text` is the whole file."""
    lines = (text or "").split("\n")  # not splitlines(): editors count '\n' only
    if found.line > len(lines) or not text:
        return str(found)
    line, at = lines[found.line - 1].rstrip("\r"), found.column - 1
    if len(line) > _WIDTH:
        start = max(0, at - _WIDTH // 2)
        line, at = line[start : start + _WIDTH], at - start
    lead = "".join("\t" if c == "\t" else " " for c in line[:at].ljust(at))
    return f"{found}\n  {line}\n  {lead}^"


def show_all(problems: Iterable[Problem], texts: Mapping[str, str]) -> str:
    """All of them, in the order of the files; `texts` by file name."""
    return "\n".join(show(p, texts.get(p.file)) for p in sorted(set(problems)))


def annotation(found: Problem) -> str:
    """One line as editors and CI read it: file:line:column: error: text [code]."""
    return f"{found.file}:{found.line}:{found.column}: {found.severity}: {found.text} [{found.code}]"


def as_json(found: Problem) -> str:
    """One line of JSON: file, line, column, code, severity, text."""
    return json.dumps({**asdict(found), "severity": found.severity}, ensure_ascii=False, sort_keys=True)
