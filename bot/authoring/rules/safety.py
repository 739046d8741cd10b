"""What can hurt: cautions where words name a hazard, good and bad texts, figures, stop rules.

The hazards are those that a pit crew is told about first. The words that give them away and the
words by which a caution is known to speak of them stand in one table below; both are common
practice of the trade, no source.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from bot.authoring.problems import listed
from bot.authoring.rules.causes import looks
from bot.authoring.rules.fault import Fault, Path, Rule, fault
from bot.authoring.rules.mentions import figure_lists
from bot.authoring.rules.references import asked
from bot.core.flow import Caution, Flow, Several, StopRule

LEAST_CLEARING = 0.9
MOST_NAMED = 3  # cautions named as examples
TORQUE_UNITS = {
    "nm",
    "n·m",
    "n.m",
    "n m",
    "n⋅m",
    "ft lb",
    "ft-lb",
    "lb ft",
    "lbf ft",
    "lbf·ft",
    "kgf·m",
    "kgm",
}


@dataclass(frozen=True)
class Hazard:
    """`named`: words in a step that mean this hazard; `warned`: words of a caution about it."""

    name: str
    named: re.Pattern[str]
    warned: re.Pattern[str]


def _hazard(name: str, named: str, warned: str) -> Hazard:
    return Hazard(name, re.compile(named, re.I), re.compile(warned, re.I))


RUNNING = _hazard(
    "the running engine",
    r"\b(?:start|run|rev) (?:the engine|it up|it for)\b|\blet (?:it|the engine) (?:run|idle)\b"
    r"|\bengine (?:runs|running)\b(?! hours)|\bidl(?:e|es|ing)\b",
    r"moving|hands|cloth|outdoors|running|helmet|clear of|exhaust",
)
HAZARDS = (
    RUNNING,
    _hazard(
        "hot oil",
        r"\b(?:hot|warm) (?:engine |gearbox )?oil\b|\bdrain(?:ed|ing)?\b.{0,30}\boil\b"
        r"|\b(?:undo|loosen|open|remove|pull|take out)\b[^.]{0,15}\bdrain plug\b|\bdrain plug (?:out|off)\b",
        r"\bhot\b|burn|scald|cool|used oil",
    ),
    _hazard(
        "fuel",
        r"\b(?:fuel|petrol|carburett?or|float bowl)\b",
        r"fuel|petrol|vapour|flame",
    ),
    _hazard(
        "the hot exhaust",
        r"\b(?:exhaust|silencer|muffler|header pipe)s?\b(?! (?:ports?|valves?|cam|side)\b)",
        r"exhaust|\bhot\b|burn",
    ),
    _hazard(
        "a falling bike",
        r"\b(?:on|off) (?:a|the|its) (?:\w+ )?(?:stand|lift|jack|hoist)\b|\bjack\b|\bhoist\b"
        r"|\b(?:centre|center|paddock|bike|side) ?stand\b"
        r"|\blift(?:ed|ing)? (?:up )?(?:the |its |a )?(?:bike|engine|wheel|front|rear)\b"
        r"|\bwheel (?:up|off the ground|in the air)\b|\bon its side\b",
        r"stand|lift|strap|prop|fall|topple|held|laying|on its side",
    ),
    _hazard(
        "fingers in the chain",
        r"(?<!cam )(?<!timing )(?<!primary )\bchain\b(?! (?:tunnel|guides?|tensioner|slipper))",
        r"chain|sprocket|finger|moving|hands",
    ),
    _hazard(
        "parts under spring load",
        r"\b(?:loosen|undo|unhook|hook|release|compress|press|tighten|unload|remove|fit)\w*\b[^.]{0,25}\bsprings?\b"
        r"(?! washer)|\bsprings? (?:bolts?|covers?|off|out|in|tight\w*|loose\w*)\b",
        r"spring|\bfly\b|flies|glasses|eyes",
    ),
    _hazard("battery acid", r"\b(?:battery|electrolyte|acid)\b", r"battery|acid|spark|eyes"),
    _hazard("brakes", r"\bbrakes?\b(?! ?-?clean)", r"brake|grip|mechanic|helmet"),
)

Spoken = tuple[Path, str, tuple[str, ...], bool]  # place, text, ids of cautions, engine running?


def steps_spoken(flow: Flow) -> Iterator[Spoken]:
    """Every text that tells somebody to do something, with the cautions said along with it."""
    yield from _of_asks(flow)
    for id, access in flow.access.items():
        yield ("access", id, "do"), access.do, access.cautions, False
        yield ("access", id, "shut"), access.shut, access.shut_cautions, False
    for id, remedy in flow.remedies.items():
        for i, step in enumerate(remedy.steps):
            path: Path = ("remedies", id, "steps", i, "do")
            yield path, step.do, (*step.cautions, *remedy.cautions), False
        if remedy.proof:
            run = remedy.proof
            yield ("remedies", id, "proof", "do"), run.do, run.cautions, run.needs != "nothing"
    for id, plan in flow.second_looks.items():
        for i, look in enumerate(plan.looks):
            yield ("second_looks", id, "looks", i, "do"), look.do, look.cautions, False


def _of_asks(flow: Flow) -> Iterator[Spoken]:
    """Questions count only when they send somebody to work or start the engine."""
    for part, id, ask in asked(flow):
        running = ask.needs != "nothing"
        said = (*ask.cautions, *(c for step in ask.steps for c in step.cautions))
        if part == "checks" or running or ask.steps:
            yield (part, id, "ask"), ask.ask, said, running
        for i, step in enumerate(ask.steps):
            yield (part, id, "steps", i, "do"), step.do, (*step.cautions, *ask.cautions), False


def _met(text: str, running: bool) -> Iterator[tuple[Hazard, str]]:
    """The hazards a text names, with the words that name them."""
    for hazard in HAZARDS:
        found = hazard.named.search(text)
        if found:
            yield hazard, found.group()
        elif running and hazard is RUNNING:
            yield hazard, "needs: running"


def _hazards(flow: Flow, code: str) -> Iterator[Fault]:
    for path, text, ids, running in steps_spoken(flow):
        said = [(id, flow.cautions[id]) for id in ids if id in flow.cautions]
        for hazard, word in _met(text, running):
            if _lack(hazard, said) == code:
                fields = {"word": word, "hazard": hazard.name, "such": _such(flow, hazard)}
                yield Fault(code, path, fields=fields)


def _such(flow: Flow, hazard: Hazard) -> str:
    """Cautions of the flow that speak of the hazard, as examples."""
    fit = [id for id, said in flow.cautions.items() if not _lack(hazard, [(id, said)])]
    return f", such as {listed(fit[:MOST_NAMED])}" if fit else ""


def _lack(hazard: Hazard, said: list[tuple[str, Caution]]) -> str:
    if not said:
        return "L401"
    if all(caution.signal == "notice" for _, caution in said):
        return "L402"
    about = any(
        hazard.warned.search(f"{id.replace('-', ' ')} {caution.say}")
        for id, caution in said
        if caution.signal != "notice"
    )
    return "" if about else "L403"


def hazards_without_caution(flow: Flow) -> Iterator[Fault]:
    """L401: a step that names a hazard carries a caution."""
    return _hazards(flow, "L401")


def only_notices(flow: Flow) -> Iterator[Fault]:
    """L402: a notice is not about injury at all (ANSI Z535), so it is not enough for a hazard."""
    return _hazards(flow, "L402")


def other_cautions(flow: Flow) -> Iterator[Fault]:
    """L403: the caution speaks of the hazard that the step names."""
    return _hazards(flow, "L403")


# --- good and bad ---------------------------------------------------------------------------------


def _marks_without(flow: Flow, code: str, text: str) -> Iterator[Fault]:
    for part, id, ask in asked(flow):
        if part == "checks" and isinstance(ask, Several):
            for name, mark in ask.marks.items():
                if getattr(mark, text) is None:
                    yield fault(code, part, id, "marks", name, key=True, id=name)


def marks_without_bad(flow: Flow) -> Iterator[Fault]:
    """L404: a mark of a check says what bad looks like."""
    return _marks_without(flow, "L404", "looks_like")


def marks_without_good(flow: Flow) -> Iterator[Fault]:
    """L405: and what good looks like."""
    return _marks_without(flow, "L405", "good_looks_like")


# --- figures and sources ----------------------------------------------------------------------------


def without_source(flow: Flow) -> Iterator[Fault]:
    """L406: what is sourced or borrowed names its source."""
    for path, basis, source in _based(flow):
        if basis != "practice" and source is None:
            yield Fault("L406", (*path, "basis"), fields={"basis": basis})


def _based(flow: Flow) -> Iterator[tuple[Path, str, str | None]]:
    for figures, path in figure_lists(flow):
        yield from (((*path, i), f.basis, f.source) for i, f in enumerate(figures))
    yield from ((("stop_rules", id), r.basis, r.source) for id, r in flow.stop_rules.items())
    yield from ((("second_looks", id), p.basis, p.source) for id, p in flow.second_looks.items())


def bare_torques(flow: Flow) -> Iterator[Fault]:
    """L407: a torque is shown with thread direction and with dry, oiled or locker."""
    for figures, path in figure_lists(flow):
        for i, figure in enumerate(figures):
            lacking = [name for name in ("thread", "thread_state") if getattr(figure, name) is None]
            if figure.unit.lower() in TORQUE_UNITS and lacking:
                missing = " and ".join(f"'{name}'" for name in lacking)
                fields = {"value": figure.value, "unit": figure.unit, "missing": missing}
                yield Fault("L407", (*path, i, "unit"), fields=dict(fields))


def figures_reversed(flow: Flow) -> Iterator[Fault]:
    """L408: a span rises."""
    for figures, path in figure_lists(flow):
        for i, figure in enumerate(figures):
            if figure.upto is not None and figure.upto < figure.value:
                yield fault("L408", *path, i, "upto", value=figure.value, upto=figure.upto)


# --- stop rules and second looks ----------------------------------------------------------------------


def stops_for_ever(flow: Flow) -> Iterator[Fault]:
    """L409: something, or a mechanic, lifts every stop."""
    for id, rule in flow.stop_rules.items():
        by = rule.cleared_by
        if not by.any and not by.all and by.by == "rider":
            yield fault("L409", "stop_rules", id, "cleared_by", key=True)


def ends_questions_for_a_person(flow: Flow) -> Iterator[Fault]:
    """L413: only a stop about a person ends the questions."""
    for id, rule in flow.stop_rules.items():
        by = rule.cleared_by
        if rule.ends_questions and (by.by != "doctor" or by.any or by.all):
            yield fault("L413", "stop_rules", id, "ends_questions", key=True)


def weak_clearing(flow: Flow) -> Iterator[Fault]:
    """L410: a look that lifts a stop finds nine of ten at least."""
    best = _best_catches(flow)
    for id, rule in flow.stop_rules.items():
        for part, names in (("any", rule.cleared_by.any), ("all", rule.cleared_by.all)):
            for i, name in enumerate(names):
                catches = best.get(name.removesuffix(".good")) if name.endswith(".good") else None
                if catches is not None and catches < LEAST_CLEARING:
                    fields = {"id": name, "catches": f"{catches:g}"}
                    yield Fault("L410", ("stop_rules", id, "cleared_by", part, i), fields=dict(fields))


def _best_catches(flow: Flow) -> dict[str, float]:
    """What each look or check of marks catches best; a check that only shows signs catches nothing."""
    best = {id: 0.0 for part, id, ask in asked(flow) if part == "checks" and isinstance(ask, Several)}
    for name, finds, _ in looks(flow):
        id = name.partition(".")[0]
        best[id] = max(best.get(id, 0.0), *(f.catches for f in finds))
    return best


def stops_never(flow: Flow) -> Iterator[Fault]:
    """L411: a stop rule has something to become true by, and nothing that always excuses it."""
    for id, rule in flow.stop_rules.items():
        why = _never(rule)
        if why:
            yield fault("L411", "stop_rules", id, "when", key=True, why=why)


def _never(rule: StopRule) -> str:
    if not rule.when.all and not rule.when.any:
        return "'when' has neither 'all' nor 'any'"
    both = [c for c in rule.when.unless if c in rule.when.all]
    return f"{both[0]!r} is asked for by 'all' and excused by 'unless'" if both else ""


def looks_without_time(flow: Flow) -> Iterator[Fault]:
    """L412: each look again has one time."""
    for id, plan in flow.second_looks.items():
        for i, look in enumerate(plan.looks):
            given = _given((look.after_minutes, look.after_hours))
            if given != 1:
                yield fault("L412", "second_looks", id, "looks", i, found="both" if given else "neither")


def _given(times: Iterable[float | None]) -> int:
    return sum(time is not None for time in times)


RULES: tuple[Rule, ...] = (
    hazards_without_caution,
    only_notices,
    other_cautions,
    marks_without_bad,
    marks_without_good,
    without_source,
    bare_torques,
    figures_reversed,
    stops_for_ever,
    ends_questions_for_a_person,
    weak_clearing,
    stops_never,
    looks_without_time,
)
