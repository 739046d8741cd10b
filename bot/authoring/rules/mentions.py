"""Every place where a flow names something else: what is named, of which kind, and where.

All rules about references and about unused things go through this one walk, so that a new field
of the language needs one new line here.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from bot.authoring.rules.fault import Path
from bot.core.flow import (
    Access,
    Answer,
    Asked_,
    Cause,
    Figure,
    Flow,
    Graded,
    Look,
    Number,
    One,
    Range,
    Remedy,
    Several,
    Step,
)


@dataclass(frozen=True)
class Mention:
    """`kind` is the part of the flow that should hold `id`; `how` says what for."""

    kind: str
    id: str
    path: Path
    key: bool = False
    how: str = ""


def _each(kind: str, ids: Iterable[str], *path: str | int, how: str = "") -> Iterator[Mention]:
    return (Mention(kind, id, (*path, i), how=how) for i, id in enumerate(ids))


def _keys(kind: str, ids: Iterable[str], *path: str | int, how: str = "") -> Iterator[Mention]:
    return (Mention(kind, id, (*path, id), key=True, how=how) for id in ids)


def _maybe(kind: str, id: str | None, *path: str | int, how: str = "") -> Iterator[Mention]:
    if id is not None:
        yield Mention(kind, id, path, how=how)


def conditions(flow: Flow) -> Iterator[tuple[str | dict[str, str], Path]]:
    """Every condition of stop rules and second looks with its path."""
    for id, rule in flow.stop_rules.items():
        for part in ("all", "any", "unless"):
            for i, condition in enumerate(getattr(rule.when, part)):
                yield condition, ("stop_rules", id, "when", part, i)
    for id, plan in flow.second_looks.items():
        for i, condition in enumerate(plan.back_when.any):
            yield condition, ("second_looks", id, "back_when", "any", i)


def step_lists(flow: Flow) -> Iterator[tuple[tuple[Step, ...], Path, tuple[str, ...]]]:
    """Steps, their path, and the parts they may name."""
    for part, asks in (("questions", flow.questions), ("checks", flow.checks)):
        for id, ask in asks.items():
            yield ask.steps, (part, id, "steps"), ()
    for id, remedy in flow.remedies.items():
        yield remedy.steps, ("remedies", id, "steps"), tuple(remedy.parts)


def figure_lists(flow: Flow) -> Iterator[tuple[tuple[Figure, ...], Path]]:
    for part in ("questions", "checks", "access", "remedies"):
        for id, owner in getattr(flow, part).items():
            yield owner.figures, (part, id, "figures")


def only_whens(flow: Flow) -> Iterator[tuple[Mapping[str, tuple[str, ...]], Path]]:
    for part in ("questions", "checks", "traits", "causes", "remedies"):
        for id, owner in getattr(flow, part).items():
            yield owner.only_when, (part, id, "only_when")


def _head(flow: Flow) -> Iterator[Mention]:
    yield from _each("traits", flow.needs_traits, "needs_traits")
    yield from _each("asks", flow.safety, "safety", how="first")
    yield from _each("asks", flow.opening, "opening", how="first")
    for id, sign in flow.signs.items():
        yield from _each("signs", sign.silent_while, "signs", id, "silent_while", how="silent")


def _says(said: Answer | Range, *path: str | int) -> Iterator[Mention]:
    yield from _each("signs", said.shows, *path, "shows", how="shows")
    yield from _each("signs", said.denies, *path, "denies", how="denies")


def _answers(answers: Mapping[str, Answer], *path: str | int) -> Iterator[Mention]:
    for id, answer in answers.items():
        yield from _says(answer, *path, id)
        yield from _each("access", answer.opens, *path, id, "opens")


def _asking(ask: Asked_, *path: str | int) -> Iterator[Mention]:
    for part in ("behind", "tools", "cautions", "normal"):
        yield from _each("access" if part == "behind" else part, getattr(ask, part), *path, part)
    match ask:
        case One():
            yield from _answers(ask.answers, *path, "answers")
        case Several():
            for id, mark in ask.marks.items():
                yield from _maybe("signs", mark.shows, *path, "marks", id, "shows", how="both")
                for i, finds in enumerate(mark.finds):
                    yield Mention("causes", finds.cause, (*path, "marks", id, "finds", i, "cause"))
        case Graded():
            yield Mention("signs", ask.sign, (*path, "sign"), how="graded")
        case Number():
            yield from _maybe("signs", ask.sign, *path, "sign", how="graded")
            for i, part_ in enumerate(ask.ranges):
                yield from _says(part_, *path, "ranges", i)
        case Look():
            for i, finds in enumerate(ask.finds):
                yield Mention("causes", finds.cause, (*path, "finds", i, "cause"))


def _access(access: Access, *path: str | int) -> Iterator[Mention]:
    yield from _each("access", access.after, *path, "after")
    yield from _each("access", access.given_by, *path, "given_by")
    yield from _each("tools", access.tools, *path, "tools")
    yield from _each("cautions", access.cautions, *path, "cautions")
    yield from _each("cautions", access.shut_cautions, *path, "shut_cautions")
    yield from _keys("traits", access.after_when, *path, "after_when")
    for trait, choices in access.after_when.items():
        for answer, after in choices.items():
            yield from _each("access", after, *path, "after_when", trait, answer)


def _cause(cause: Cause, *path: str | int) -> Iterator[Mention]:
    yield from _keys("signs", cause.shows, *path, "shows", how="weight")
    yield from _keys("traits", cause.share_if, *path, "share_if")
    yield from _maybe("remedies", cause.remedy, *path, "remedy", how="cause")
    yield from _maybe("second_looks", cause.second_look, *path, "second_look")


def _remedy(remedy: Remedy, *path: str | int) -> Iterator[Mention]:
    yield from _each("access", remedy.behind, *path, "behind")
    yield from _each("tools", remedy.tools, *path, "tools")
    yield from _each("cautions", remedy.cautions, *path, "cautions")
    yield from _keys("causes", remedy.may_leave, *path, "may_leave")
    yield from _maybe("second_looks", remedy.second_look, *path, "second_look")
    if remedy.proof:
        yield from _each("cautions", remedy.proof.cautions, *path, "proof", "cautions")


def _rules(flow: Flow) -> Iterator[Mention]:
    for condition, path in conditions(flow):
        if isinstance(condition, dict):
            yield from _keys("signs", condition, *path, how="step")
        elif "." not in condition:
            yield Mention("signs", condition, path, how="rule")
    for id, rule in flow.stop_rules.items():
        yield from _maybe("sources", rule.source, "stop_rules", id, "source")
        yield from _maybe("second_looks", rule.second_look, "stop_rules", id, "second_look")
    for id, plan in flow.second_looks.items():
        yield from _maybe("sources", plan.source, "second_looks", id, "source")
        yield from _each("asks", plan.asks, "second_looks", id, "asks")
        for i, look in enumerate(plan.looks):
            yield from _each("cautions", look.cautions, "second_looks", id, "looks", i, "cautions")


def _everywhere(flow: Flow) -> Iterator[Mention]:
    for steps, path, parts in step_lists(flow):
        for i, step in enumerate(steps):
            yield from _each("cautions", step.cautions, *path, i, "cautions")
            yield from _each("tools", step.tools, *path, i, "tools")
            yield from _each("parts", step.parts, *path, i, "parts", how=" ".join(parts))
    for figures, path in figure_lists(flow):
        for i, figure in enumerate(figures):
            yield from _maybe("sources", figure.source, *path, i, "source")
    for when, path in only_whens(flow):
        yield from _keys("traits", when, *path)


def mentions(flow: Flow) -> tuple[Mention, ...]:
    """Every mention of the flow, in the order of its parts."""
    out = [*_head(flow), *_rules(flow), *_everywhere(flow)]
    for id, trait in flow.traits.items():
        out += _answers(trait.answers, "traits", id, "answers")
    for part, asks in (("questions", flow.questions), ("checks", flow.checks)):
        for id, ask in asks.items():
            out += _asking(ask, part, id)
    for id, access in flow.access.items():
        out += _access(access, "access", id)
    for id, cause in flow.causes.items():
        out += _cause(cause, "causes", id)
    for id, remedy in flow.remedies.items():
        out += _remedy(remedy, "remedies", id)
    return tuple(out)
