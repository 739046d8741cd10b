"""Signs and the answers that tell them: weight, completeness, steps, ranges."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from math import prod

from bot.authoring.rules.fault import Fault, Path, Rule, fault
from bot.authoring.rules.mentions import mentions
from bot.authoring.rules.references import asked
from bot.core.flow import Answer, Cause, Flow, Graded, Number, One, Range, Several, fits

LEAST_SUM = 0.9

Said = tuple[tuple[str, ...], tuple[str, ...]]  # signs shown, signs denied


def signs_without_weight(flow: Flow) -> Iterator[Fault]:
    """L201: each sign speaks for a cause or stands in a rule."""
    used = {
        m.id for m in mentions(flow) if m.kind == "signs" and m.how in ("weight", "rule", "step", "silent")
    }
    used |= _remedy_signs(flow)
    return (fault("L201", "signs", id, key=True, id=id) for id in flow.signs if id not in used)


def _remedy_signs(flow: Flow) -> set[str]:
    """Signs that share their id with a question after a repair are read there."""
    return {id for remedy in flow.remedies.values() for id in remedy.ask_after}


def _told(flow: Flow, *hows: str) -> set[str]:
    return {m.id for m in mentions(flow) if m.kind == "signs" and m.how in hows}


def signs_never_told(flow: Flow) -> Iterator[Fault]:
    """L202: each sign is told by an answer, or comes from the bike's book."""
    told = _told(flow, "shows", "denies", "both", "graded")
    for id, sign in flow.signs.items():
        if id not in told and not sign.from_book:
            yield fault("L202", "signs", id, key=True, id=id)


def signs_never_shown(flow: Flow) -> Iterator[Fault]:
    """L203: what can be denied can be shown."""
    shown = _told(flow, "shows", "both", "graded")
    denied = {m.id: m.path for m in reversed(list(mentions(flow))) if m.kind == "signs" and m.how == "denies"}
    for id, first in denied.items():
        if id not in shown and id in flow.signs and not flow.signs[id].from_book:
            yield fault("L203", *first, id=id)


# --- answers --------------------------------------------------------------------------------------


def _effect(said: Answer | Range) -> tuple[object, ...]:
    opens = frozenset(said.opens) if isinstance(said, Answer) else frozenset()
    step = said.step if isinstance(said, Range) else None
    return frozenset(said.shows), frozenset(said.denies), opens, step


def answers_change_nothing(flow: Flow) -> Iterator[Fault]:
    """L204: the answers of a question differ in what they say."""
    for part, id, ask in asked(flow):
        said: Iterable[Answer | Range] = ()
        if isinstance(ask, One):
            said = ask.answers.values()
        elif isinstance(ask, Number) and not ask.meter:  # a meter's reading is kept for itself
            said = ask.ranges
        if said and len({_effect(one) for one in said}) == 1:
            yield fault("L204", part, id, key=True, id=id)


def answers_alike(flow: Flow) -> Iterator[Fault]:
    """L205: two answers of one question that say the same are one answer."""
    for part, id, ask in asked(flow):
        effects: dict[tuple[object, ...], str] = {}
        for name, answer in ask.answers.items() if isinstance(ask, One) else ():
            first = effects.setdefault(_effect(answer), name)
            if first != name:
                yield fault("L205", part, id, "answers", name, key=True, id=name, other=first)


def marks_change_nothing(flow: Flow) -> Iterator[Fault]:
    """L206: a mark shows a sign or finds a cause."""
    for part, id, ask in asked(flow):
        for name, mark in ask.marks.items() if isinstance(ask, Several) else ():
            if not mark.shows and not mark.finds:
                yield fault("L206", part, id, "marks", name, key=True, id=name)


def answers_missing(flow: Flow) -> Iterator[Fault]:
    """L207: with any one cause the answers of a question add up to .9 before they are evened out.

    A sign is shown unless both the cause and everything else keep it away (noisy-or). Answers
    without signs fit every bike, so a question that has one always adds up.
    """
    for part, id, ask in asked(flow):
        said = _said(ask)
        worst = min(_sums(flow, ask.only_when, said), default=(1.0, ""))
        if worst[0] < LEAST_SUM:
            yield fault("L207", part, id, key=True, id=id, cause=worst[1], total=f"{worst[0]:.2f}")


def _said(ask: object) -> list[Said]:
    if isinstance(ask, One):
        return [(a.shows, a.denies) for a in ask.answers.values()]
    if isinstance(ask, Number) and ask.sign is None:
        return [(r.shows, r.denies) for r in ask.ranges]
    return []


def _sums(flow: Flow, only_when: object, said: list[Said]) -> Iterator[tuple[float, str]]:
    known = all(id in flow.signs and not flow.signs[id].steps for pair in said for ids in pair for id in ids)
    if not said or not known:  # another rule has spoken
        return
    for id, cause in flow.causes.items():
        if _can_meet(cause, only_when):
            yield sum(_chance(flow, cause, *pair) for pair in said), id


def _can_meet(cause: Cause, only_when: object) -> bool:
    """Whether a bike may have this cause and be asked this question."""
    wanted = only_when if isinstance(only_when, dict) else {}
    return all(
        any(fits({trait: allowed}, {trait: answer}) for answer in wanted.get(trait, allowed))
        for trait, allowed in cause.only_when.items()
        if allowed
    )


def _chance(flow: Flow, cause: Cause, shows: tuple[str, ...], denies: tuple[str, ...]) -> float:
    return prod(_shown(flow, cause, s) for s in shows) * prod(1 - _shown(flow, cause, s) for s in denies)


def _shown(flow: Flow, cause: Cause, sign: str) -> float:
    background, link = flow.signs[sign].background, cause.shows.get(sign, 0.0)
    if isinstance(background, tuple) or isinstance(link, tuple):  # another rule has spoken
        return 0.5
    return 1 - (1 - background) * (1 - link)


def shown_and_denied(flow: Flow) -> Iterator[Fault]:
    """L208: one answer does not say both."""
    found = [m for m in mentions(flow) if m.kind == "signs" and m.how in ("shows", "denies")]
    shown = {(m.path[:-2], m.id) for m in found if m.how == "shows"}
    for m in found:
        if m.how == "denies" and (m.path[:-2], m.id) in shown:
            yield Fault("L208", m.path, fields={"id": m.id})


# --- steps ----------------------------------------------------------------------------------------


def _strengths(flow: Flow) -> Iterator[tuple[str, object, Path]]:
    for id, sign in flow.signs.items():
        yield id, sign.background, ("signs", id, "background")
    for id, cause in flow.causes.items():
        for name, strength in cause.shows.items():
            if name in flow.signs:
                yield name, strength, ("causes", id, "shows", name)


def strength_steps(flow: Flow) -> Iterator[Fault]:
    """L209: one number for each step."""
    for name, strength, path in _strengths(flow):
        steps = flow.signs[name].steps
        if steps and isinstance(strength, tuple) and len(strength) != len(steps):
            yield fault("L209", *path, sign=name, steps=len(steps), found=len(strength))


def strength_form(flow: Flow) -> Iterator[Fault]:
    """L210: a list for a graded sign, a word or chance for a plain one."""
    for name, strength, path in _strengths(flow):
        steps = flow.signs[name].steps
        if steps and not isinstance(strength, tuple):
            cure = f"'of 100' for each of its {len(steps)} steps, like [70, 20, 10]"
            yield fault("L210", *path, sign=name, has="has steps", cure=cure)
        elif not steps and isinstance(strength, tuple):
            yield fault("L210", *path, sign=name, has="has no steps", cure="a word like 'often', or 0.7")


def classes_differ(flow: Flow) -> Iterator[Fault]:
    """L211: the classes of a graded question are the steps of its sign."""
    for part, id, ask in asked(flow):
        steps = flow.signs[ask.sign].steps if isinstance(ask, Graded) and ask.sign in flow.signs else None
        if steps and isinstance(ask, Graded) and tuple(ask.classes) != steps:
            fields = {"sign": ask.sign, "found": ", ".join(ask.classes), "steps": ", ".join(steps)}
            yield Fault("L211", (part, id, "classes"), True, dict(fields))


def classes_do_not_rise(flow: Flow) -> Iterator[Fault]:
    """L212: amounts rise from class to class and the last is open, or there are none."""
    for part, id, ask in asked(flow):
        if not isinstance(ask, Graded) or all(c.upto is None for c in ask.classes.values()):
            continue
        before = float("-inf")
        *most, last = ask.classes
        for name in most:
            upto = ask.classes[name].upto
            if upto is None or upto <= before:
                why = "is missing" if upto is None else f"is {upto:g} and does not rise"
                path = (
                    (part, id, "classes", name, "upto") if upto is not None else (part, id, "classes", name)
                )
                yield Fault("L212", path, upto is None, {"id": name, "why": why})
            before = upto if upto is not None else before
        if ask.classes[last].upto is not None:
            why = "must not be there, the last is open"
            yield fault("L212", part, id, "classes", last, "upto", id=last, why=why)


def sign_not_graded(flow: Flow) -> Iterator[Fault]:
    """L213: what is asked by amounts has steps."""
    for m in mentions(flow):
        if m.how == "graded" and m.id in flow.signs and not flow.signs[m.id].steps:
            yield Fault("L213", m.path, fields={"sign": m.id})


def _numbers(flow: Flow) -> Iterator[tuple[Path, Number]]:
    for part, id, ask in asked(flow):
        if isinstance(ask, Number):
            yield (part, id), ask


def ranges_do_not_rise(flow: Flow) -> Iterator[Fault]:
    """L214: ranges do not overlap."""
    for path, ask in _numbers(flow):
        before = ask.allowed[0]
        for i, piece in enumerate(ask.ranges):
            # The first range is judged by L215: it must reach into what is allowed.
            if piece.upto is not None:
                if i and piece.upto <= before:
                    fields = {"found": f"{piece.upto:g}", "before": f"{before:g}"}
                    yield Fault("L214", (*path, "ranges", i, "upto"), fields=dict(fields))
                before = piece.upto


def ranges_outside(flow: Flow) -> Iterator[Fault]:
    """L215: every range can be reached, and there is something allowed."""
    for path, ask in _numbers(flow):
        low, high = ask.allowed
        limits: dict[str, object] = {"low": f"{low:g}", "high": f"{high:g}"}
        if low >= high:
            yield Fault("L215", (*path, "allowed"), True, {"found": "everything", **limits})
            continue
        for i, piece in enumerate(ask.ranges):
            if piece.upto is not None and not low <= piece.upto < high:
                at = (*path, "ranges", i, "upto")
                yield Fault("L215", at, fields={"found": f"'upto' {piece.upto:g}", **limits})


def range_gaps(flow: Flow) -> Iterator[Fault]:
    """L216: together the ranges hold every number once: only the last is open."""
    for path, ask in _numbers(flow):
        for i, piece in enumerate(ask.ranges[:-1]):
            if piece.upto is None:
                yield Fault("L216", (*path, "ranges", i), fields={"what": "this range has no 'upto'"})
        last = len(ask.ranges) - 1
        if ask.ranges[last].upto is not None:
            at = (*path, "ranges", last, "upto")
            yield Fault("L216", at, fields={"what": "the last range ends here"})


def ranges_without_step(flow: Flow) -> Iterator[Fault]:
    """L217: a number that tells a graded sign gives a step for each range, and nothing else."""
    for path, ask in _numbers(flow):
        for i, piece in enumerate(ask.ranges if ask.sign else ()):
            if piece.step is None or piece.shows or piece.denies:
                yield Fault("L217", (*path, "ranges", i), fields={"sign": ask.sign})


def steps_without_sign(flow: Flow) -> Iterator[Fault]:
    """L218: a step belongs to a sign."""
    for path, ask in _numbers(flow):
        for i, piece in enumerate(ask.ranges if not ask.sign else ()):
            if piece.step is not None:
                yield Fault("L218", (*path, "ranges", i, "step"))


RULES: tuple[Rule, ...] = (
    signs_without_weight,
    signs_never_told,
    signs_never_shown,
    answers_change_nothing,
    answers_alike,
    marks_change_nothing,
    answers_missing,
    shown_and_denied,
    strength_steps,
    strength_form,
    classes_differ,
    classes_do_not_rise,
    sign_not_graded,
    ranges_do_not_rise,
    ranges_outside,
    range_gaps,
    ranges_without_step,
    steps_without_sign,
)
