"""Names that lead nowhere, loops, and results that cannot be."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator, Mapping

from bot.authoring.problems import hint, listed
from bot.authoring.rules.fault import Fault, Path, Rule, fault
from bot.authoring.rules.mentions import conditions, mentions, only_whens, step_lists
from bot.core.flow import Asked_, Flow, Graded, Look, Number, One, Several

_KINDS = {
    "signs": "L102",
    "causes": "L103",
    "access": "L104",
    "cautions": "L105",
    "tools": "L106",
    "sources": "L107",
    "remedies": "L108",
    "second_looks": "L109",
    "traits": "L110",
    "normal": "L112",
    "asks": "L113",
}
_MOST_WAYS = 1000  # combinations of trait answers tried before loops are sought in all of them at once


def unknown(kind: str, code: str) -> Rule:
    """The rule that every mention of one kind must exist."""

    def judge(flow: Flow) -> Iterator[Fault]:
        known = getattr(flow, kind)
        for m in mentions(flow):
            if m.kind == kind and m.id not in known:
                yield Fault(code, m.path, m.key, {"id": m.id, "hint": hint(m.id, known)})

    return judge


def unknown_trait_answers(flow: Flow) -> Iterator[Fault]:
    """L111: `only_when`, `share_if`, `after_when` name answers that their trait has."""
    for ids, path, key in _trait_answers(flow):
        trait = flow.traits.get(str(path[-1]))
        for i, id in enumerate(ids):
            if trait and id not in trait.answers:
                at = (*path, id) if key else (*path, i)
                fields = {"id": id, "trait": path[-1], "known": listed(trait.answers)}
                yield Fault("L111", at, key, {**fields, "hint": hint(id, trait.answers)})


def _trait_answers(flow: Flow) -> Iterator[tuple[Iterable[str], Path, bool]]:
    for when, path in only_whens(flow):
        yield from ((answers, (*path, trait), False) for trait, answers in when.items())
    for id, cause in flow.causes.items():
        yield from ((by, ("causes", id, "share_if", trait), True) for trait, by in cause.share_if.items())
    for id, access in flow.access.items():
        for trait, choices in access.after_when.items():
            yield choices, ("access", id, "after_when", trait), True


def unknown_parts(flow: Flow) -> Iterator[Fault]:
    """L114: a step fits parts that its remedy lists."""
    for m in mentions(flow):
        if m.kind == "parts" and m.id not in m.how.split():
            yield Fault("L114", m.path, fields={"id": m.id, "hint": hint(m.id, m.how.split())})


def results(flow: Flow, id: str) -> tuple[str, ...]:
    """What a condition may say of a look or a check of several marks; nothing of other questions."""
    ask = flow.asks.get(id)
    if isinstance(ask, Look):
        return ("good", "bad")
    if isinstance(ask, Several) and id in flow.checks:
        return ("good", "bad", *ask.marks)
    return ()


def unknown_results(flow: Flow) -> Iterator[Fault]:
    """L113 and L115: `check.result` in conditions."""
    for condition, path in conditions(flow):
        if isinstance(condition, dict) or "." not in condition:
            continue
        id, _, result = condition.partition(".")
        if id not in flow.asks:
            yield Fault("L113", path, fields={"id": id, "hint": hint(id, flow.asks)})
        elif result not in results(flow, id):
            yield Fault("L115", path, fields=_result_fields(flow, id, result))


def _result_fields(flow: Flow, id: str, result: str) -> dict[str, object]:
    known = results(flow, id)
    cure = listed(known) if known else "the sign that its answer shows"
    kind = f"'{flow.asking(id).kind}' question" if id in flow.questions else "check"
    return {"id": result, "ask": id, "kind": kind, "known": cure, "hint": hint(result, known)}


def unknown_steps(flow: Flow) -> Iterator[Fault]:
    """L116: `sign: step` in conditions, and `step` in the ranges of a number."""
    for condition, path in conditions(flow):
        if isinstance(condition, dict):
            [(sign, step)] = condition.items()
            yield from _step_fault(flow, sign, step, (*path, sign))
    for part, id, ask in asked(flow):
        if isinstance(ask, Number) and ask.sign:
            for i, piece in enumerate(ask.ranges):
                if piece.step:
                    yield from _step_fault(flow, ask.sign, piece.step, (part, id, "ranges", i, "step"))


def _step_fault(flow: Flow, sign: str, step: str, path: Path) -> Iterator[Fault]:
    steps = flow.signs[sign].steps if sign in flow.signs else None
    if steps and step not in steps:
        fields: dict[str, object] = {"id": step, "sign": sign, "known": listed(steps)}
        yield Fault("L116", path, fields={**fields, "hint": hint(step, steps)})


def asked(flow: Flow) -> Iterator[tuple[str, str, Asked_]]:
    """Part, id and question of every question and check."""
    for id, ask in flow.questions.items():
        yield "questions", id, ask
    for id, ask in flow.checks.items():
        yield "checks", id, ask


def ends(ask: Asked_, flow: Flow) -> tuple[str, ...]:
    """What a question of a second look can come to."""
    match ask:
        case One():
            return tuple(ask.answers)
        case Several():
            return ("none", *ask.marks)
        case Graded():
            return tuple(ask.classes)
        case Number(sign=str(sign)) if sign in flow.signs:
            return flow.signs[sign].steps or ()
        case Look():
            return ("good", "bad")
    return ()


def unknown_ends(flow: Flow) -> Iterator[Fault]:
    """L113 and L117: `gone_when` names a question, or a graded sign, and an end of it."""
    for id, plan in flow.second_looks.items():
        for name, end in plan.gone_when.items():
            path: Path = ("second_looks", id, "gone_when", name)
            known = _ends_of(flow, name)
            if known is None:
                yield Fault("L113", path, True, {"id": name, "hint": hint(name, flow.asks)})
            elif end not in known:
                fields = {"id": end, "ask": name, "known": listed(known), "hint": hint(end, known)}
                yield Fault("L117", path, fields=fields)


def _ends_of(flow: Flow, name: str) -> tuple[str, ...] | None:
    if name in flow.asks:
        return ends(flow.asking(name), flow)
    return flow.signs[name].steps if name in flow.signs else None


def not_clearing(flow: Flow) -> Iterator[Fault]:
    """L118: only the good side of a look, or a remedy, lifts a stop."""
    good = [f"{id}.good" for id in flow.asks if results(flow, id)]
    for id, rule in flow.stop_rules.items():
        for part in ("any", "all"):
            for i, name in enumerate(getattr(rule.cleared_by, part)):
                if name not in good and name not in flow.remedies:
                    fields = {"id": name, "hint": hint(name, [*good, *flow.remedies])}
                    yield Fault("L118", ("stop_rules", id, "cleared_by", part, i), fields=fields)


# --- loops -------------------------------------------------------------------------------------


def access_loops(flow: Flow) -> Iterator[Fault]:
    """L119: nothing may have to be open before itself, whatever the traits are."""
    told: set[frozenset[str]] = set()
    for edges in _ways(flow):
        loop = _loop(edges)
        if loop and frozenset(loop) not in told:
            told.add(frozenset(loop))
            yield fault("L119", "access", loop[0], key=True, loop=" after ".join([*loop, loop[0]]))


def _ways(flow: Flow) -> Iterator[dict[str, tuple[str, ...]]]:
    """`after` of every access, for each combination of the traits that choose it."""
    used: dict[str, list[str | None]] = {}
    for access in flow.access.values():
        for trait, choices in access.after_when.items():
            used[trait] = list(dict.fromkeys([*used.get(trait, [None]), *choices]))
    size = 1
    for answers in used.values():
        size *= len(answers)
    if size > _MOST_WAYS:
        yield {id: _all_after(flow, id) for id in flow.access}
        return
    for chosen in itertools.product(*used.values()):
        traits = dict(zip(used, chosen, strict=True))
        yield {id: _after(flow, id, traits) for id in flow.access}


def _after(flow: Flow, id: str, traits: Mapping[str, str | None]) -> tuple[str, ...]:
    access = flow.access[id]
    for trait, choices in access.after_when.items():
        answer = traits.get(trait)
        if answer in choices:
            return choices[answer]
    return access.after


def _all_after(flow: Flow, id: str) -> tuple[str, ...]:
    access = flow.access[id]
    others = (a for choices in access.after_when.values() for after in choices.values() for a in after)
    return tuple(dict.fromkeys([*access.after, *others]))


def _loop(edges: Mapping[str, tuple[str, ...]]) -> list[str] | None:
    """One loop in the author's order of ids, or None."""
    done: set[str] = set()
    for start in edges:
        trail: list[str] = []
        stack: list[tuple[str, Iterator[str]]] = []
        _enter(start, edges, done, trail, stack)
        while stack:
            id, rest = stack[-1]
            step = next((n for n in rest if n in edges and n not in done), None)
            if step is None:
                stack.pop()
                trail.pop()
                done.add(id)
            elif step in trail:
                return trail[trail.index(step) :]
            else:
                _enter(step, edges, done, trail, stack)
    return None


def _enter(
    id: str,
    edges: Mapping[str, tuple[str, ...]],
    done: set[str],
    trail: list[str],
    stack: list[tuple[str, Iterator[str]]],
) -> None:
    if id not in done:
        trail.append(id)
        stack.append((id, iter(edges[id])))


# --- ids and lists --------------------------------------------------------------------------------


def same_ids(flow: Flow) -> Iterator[Fault]:
    """L120: questions and checks share one set of ids."""
    for id in flow.checks:
        if id in flow.questions:
            yield fault("L120", "checks", id, key=True, id=id)


def plain_use_of_graded(flow: Flow) -> Iterator[Fault]:
    """L121: a graded sign is told by steps only."""
    for m in mentions(flow):
        sign = flow.signs.get(m.id) if m.kind == "signs" else None
        if sign and sign.steps and m.how in ("shows", "denies", "both", "rule"):
            yield Fault("L121", m.path, fields={"id": m.id})


def steps_of_plain(flow: Flow) -> Iterator[Fault]:
    """L122: a sign without steps is named alone."""
    for m in mentions(flow):
        sign = flow.signs.get(m.id) if m.kind == "signs" else None
        if sign and not sign.steps and m.how == "step":
            condition = next(c for c, path in conditions(flow) if path == m.path[:-1])
            step = condition[m.id] if isinstance(condition, dict) else ""
            yield Fault("L122", m.path, True, {"id": m.id, "step": step})


def empty_lists(flow: Flow) -> Iterator[Fault]:
    """L123: `only_when` must leave at least one answer."""
    for when, path in only_whens(flow):
        for trait, answers in when.items():
            if not answers:
                yield Fault("L123", (*path, trait), True, {"id": trait})


def listed_twice(flow: Flow) -> Iterator[Fault]:
    """L124: an id stands once in a list; a sign shown twice would count twice."""
    seen: set[tuple[Path, str]] = set()
    for m in mentions(flow):
        if not isinstance(m.path[-1], int):
            continue
        if (m.path[:-1], m.id) in seen:
            yield Fault("L124", m.path, fields={"id": m.id})
        seen.add((m.path[:-1], m.id))


def asked_first(flow: Flow) -> Iterator[Fault]:
    """L125: what is asked before all else needs no work on the bike."""
    for m in mentions(flow):
        if m.how == "first" and m.id in flow.asks:
            ask = flow.asking(m.id)
            need = "access" if ask.behind else "a running engine" if ask.needs != "nothing" else ""
            if need:
                yield Fault("L125", m.path, fields={"id": m.id, "need": need, "part": m.path[0]})


def step_ids_twice(flow: Flow) -> Iterator[Fault]:
    """L126: ids of steps and of closing points differ within their list."""
    lists = [([s.id for s in steps], path) for steps, path, _ in step_lists(flow)]
    for part in ("access", "remedies"):
        for id, owner in getattr(flow, part).items():
            lists.append(([p.id for p in owner.closing], (part, id, "closing")))
    for ids, path in lists:
        for i, id in enumerate(ids):
            if id is not None and id in ids[:i]:
                yield fault("L126", *path, i, "id", id=id)


RULES: tuple[Rule, ...] = (
    *(unknown(kind, code) for kind, code in _KINDS.items()),
    unknown_trait_answers,
    unknown_parts,
    unknown_results,
    unknown_steps,
    unknown_ends,
    not_clearing,
    access_loops,
    same_ids,
    plain_use_of_graded,
    steps_of_plain,
    empty_lists,
    listed_twice,
    asked_first,
    step_ids_twice,
)
