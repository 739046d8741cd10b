"""New shares in the text of a flow: only the figures are replaced; all else stays byte for byte.

Each figure is replaced where the reader found it, so that comments, order, spacing and line ends are the
author's. The version goes up by one, and a comment line at the head says what was done.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from datetime import date
from typing import Any

from bot.authoring import lint, load, source
from bot.authoring.load import Loaded
from bot.authoring.problems import FlowError
from bot.authoring.source import Path, Source
from bot.core.flow import Flow
from bot.core.outcomes import UNLISTED, conditional

REMARK = "# Shares updated from {cases} closed cases on {day}."
_FIGURE = re.compile(r"-?[0-9][0-9.eE+-]*")
_BOM = "\ufeff"


def make_version(
    text: str, common: str, author: Flow, shares: Mapping[str, float], cases: int, day: date
) -> tuple[Loaded, str]:
    """The next version of a flow with these shares, judged like any flow; and its text.

    `text`, `common`: of the version in use; `shares`: of 100 by cause, "" for what is not in the list;
    `author`: the flow as its author wrote it, from which each `share_if` moves along. FlowError when the
    new version has a mistake.
    """
    new = rewrite(text, shares, conditional(author, shares), REMARK.format(cases=cases, day=day.isoformat()))
    loaded = load.load_text(new.encode(), common.encode() or None)
    problems = lint.lint(loaded)
    if any(problem.stops for problem in problems):
        raise FlowError(problems)
    return loaded, new


def rewrite(
    text: str, shares: Mapping[str, float], moved: Mapping[tuple[str, str, str], float], remark: str
) -> str:
    """The text with these figures in place of the old ones, its version one higher, headed by the remark.

    FlowError when the text cannot be read. KeyError for a share of a cause that it does not have.
    """
    read = source.read(text.encode(), "flow.yaml")
    if read.data is None or (read.problems and any(p.stops for p in read.problems)):
        raise FlowError(read.problems)
    starts = _starts(read.text)
    changes = {
        _index(starts, read.place(path)): figure for path, figure in _figures(read, shares, moved) if figure
    }
    out = read.text
    for at in sorted(changes, reverse=True):
        old = _FIGURE.match(out, at)
        assert old is not None, "where a number was read there is one"
        out = out[:at] + changes[at] + out[old.end() :]
    end = "\r\n" if "\r\n" in out else "\n"
    return f"{_BOM if text.startswith(_BOM) else ''}{remark}{end}{out}"


def _figures(
    read: Source, shares: Mapping[str, float], moved: Mapping[tuple[str, str, str], float]
) -> Iterator[tuple[Path, str]]:
    """Each figure's place and what is to stand there; "" where it says that already."""
    yield ("version",), f"{_found(read, ('version',)) + 1:.0f}"
    for id, share in shares.items():
        path: Path = ("unlisted", "share") if id == UNLISTED else ("causes", id, "share")
        yield path, _figure(_found(read, path), share)
    for (id, trait, answer), share in moved.items():
        path = ("causes", id, "share_if", trait, answer)
        yield path, _figure(_found(read, path), share)


def _found(read: Source, path: Path) -> float:
    found: Any = read.data
    for part in path:
        found = found[part]
    return float(found)


def _figure(before: float, after: float) -> str:
    return "" if before == after else f"{after:g}"


def _starts(text: str) -> list[int]:
    """Where each line begins."""
    return [0, *(found.end() for found in re.finditer("\n", text))]


def _index(starts: list[int], place: tuple[int, int]) -> int:
    line, column = place
    return starts[line - 1] + column - 1
