"""Rules across a whole flow, and the one call that judges a file.

Each rule yields what is wrong and its path; here the path becomes a place in the file. What the
common file brings and this flow does not use is not this flow's fault.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable
from pathlib import Path

from bot.authoring import load
from bot.authoring.problems import FlowError, Problem, problem
from bot.authoring.rules import causes, references, safety, signs, texts
from bot.authoring.rules.fault import Fault, Rule

RULES: tuple[Rule, ...] = (
    *references.RULES,
    *signs.RULES,
    *causes.RULES,
    *safety.RULES,
    *texts.RULES,
)
MOST_OF_ONE = 100  # faults told by one rule; each costs a search for near names
_OF_THE_FLOW = frozenset({"L201", "L202", "L203", "L309"})  # nobody must use all of the common file
_UNKNOWN = frozenset(f"L1{n:02}" for n in range(1, 19))  # names that lead nowhere
_STUMBLED_OVER = frozenset({*(f"L1{n:02}" for n in range(2, 11)), "L113", "L116", "L119", "L120"})
_ECHO = frozenset({"L201", "L202", "L203", "L303", "L304", "L307", "L309"})  # what a wrong name leaves unused


def lint(loaded: load.Loaded) -> tuple[Problem, ...]:
    """Every problem across a flow, sorted by place. Errors must be mended, warnings may stay.

    While a name leads nowhere nothing is called unused: most likely it was meant there.
    """
    found = _placed(loaded, RULES)
    if any(p.code in _UNKNOWN for p in found):
        found = [p for p in found if p.code not in _ECHO]
    return tuple(sorted({*loaded.mild, *found}))


def sound(loaded: load.Loaded) -> load.Loaded:
    """The flow itself, unless a talk would stumble in it: over a name that leads nowhere. FlowError."""
    if found := [p for p in lint(loaded) if p.code in _STUMBLED_OVER]:
        raise FlowError(found)
    return loaded


def judge(path: Path, common: Path | None = None) -> tuple[Problem, ...]:
    """Every problem of a flow file and its common file, whatever stage finds it."""
    try:
        return lint(load.load(path, common))
    except FlowError as error:
        return error.problems


def _placed(loaded: load.Loaded, rules: Iterable[Rule]) -> list[Problem]:
    return [
        _problem(loaded, fault)
        for rule in rules
        for fault in itertools.islice(rule(loaded.flow), MOST_OF_ONE)
        if fault.code not in _OF_THE_FLOW or loaded.is_own(fault.path)
    ]


def _problem(loaded: load.Loaded, fault: Fault) -> Problem:
    file, line, column = loaded.place(fault.path, fault.key)
    return problem(file, (line, column), fault.code, **fault.fields)
