"""The base flow with one thing changed, for tests of what shows across a flow."""

from __future__ import annotations

import copy
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

from bot.authoring import lint, load, source
from bot.authoring.problems import Problem
from bot.core import flow as language

HERE = Path(__file__).resolve().parent
GONE = object()  # as a new value: take the key out


@cache
def files() -> load.Loaded:
    return load.load(HERE / "base.yaml")


def base() -> dict[str, Any]:
    """The base flow's own plain data, to be changed at will."""
    return copy.deepcopy(files().own.data or {})


def put(data: dict[str, Any], path: str, value: object) -> None:
    """Set `a/b/0/c` in plain data."""
    *way, last = [int(p) if p.isdecimal() else p for p in path.split("/")]
    at: Any = data
    for part in way:
        at = at[part] if isinstance(part, int) else at.setdefault(part, {})
    if value is GONE:
        del at[last]
    else:
        at[last] = copy.deepcopy(value)


def paths(data: Any, path: source.Path = ()) -> Iterator[source.Path]:
    yield path
    inside = data.items() if isinstance(data, dict) else enumerate(data) if isinstance(data, list) else ()
    for part, value in inside:
        yield from paths(value, (*path, part))


def judged(changes: dict[str, object]) -> tuple[Problem, ...]:
    """Every problem of the base flow with these changes.

    Nothing is written out and read again here; each path has a line of its own, so that no two
    problems fall together. That real places are right is the business of test_mistakes.py.
    """
    data, shared = base(), files().shared
    for path, value in changes.items():
        put(data, path, value)
    spots = {path: source.Spot((n, 1), (n, 2)) for n, path in enumerate(paths(data), 1)}
    own = source.Source("flow.yaml", "", data, spots, ())
    merged = language.merge(data, (shared and shared.data) or {})
    return lint.lint(load.Loaded(language.read(merged), "", merged, own, shared))


def codes(changes: dict[str, object]) -> list[str]:
    """The codes of those problems, sorted."""
    return sorted(p.code for p in judged(changes))
