"""Causes, looks and remedies: shares, what finds what, and what leads nowhere."""

from __future__ import annotations

from collections.abc import Iterator

from bot.authoring.rules.fault import Fault, Path, Rule, fault
from bot.authoring.rules.mentions import mentions
from bot.authoring.rules.references import asked
from bot.core.flow import Finds, Flow, Look, Several

MOST_PAIRED = 11


def looks(flow: Flow) -> Iterator[tuple[str, tuple[Finds, ...], Path]]:
    """Every observable that finds causes: its name, what it finds, where that stands."""
    for part, id, ask in asked(flow):
        if isinstance(ask, Look):
            yield f"{id}.bad", ask.finds, (part, id, "finds")
        for name, mark in ask.marks.items() if isinstance(ask, Several) else ():
            if mark.finds:
                yield f"{id}.{name}", mark.finds, (part, id, "marks", name, "finds")


def shares(flow: Flow) -> Iterator[Fault]:
    """L301: of 100 cases, 100 are accounted for."""
    total = sum(cause.share for cause in flow.causes.values()) + flow.unlisted.share
    if abs(total - 100) > 1:
        yield fault("L301", "unlisted", "share", total=f"{total:g}")


def paired(flow: Flow) -> Iterator[Fault]:
    """L302: with more pairs than this, sets of three could not be left out."""
    if flow.paired > MOST_PAIRED:
        yield fault("L302", "paired", found=f"{flow.paired:g}")


def causes_without_look(flow: Flow) -> Iterator[Fault]:
    """L303: a cause that can be put right can be found; one that is only watched need not be."""
    found = {f.cause for _, finds, _ in looks(flow) for f in finds}
    for id, cause in flow.causes.items():
        if id not in found and cause.remedy:
            yield fault("L303", "causes", id, key=True, id=id)


def causes_alike(flow: Flow) -> Iterator[Fault]:
    """L304: two causes with different remedies differ in a look, a sign or a trait."""
    found: dict[str, set[str]] = {id: set() for id in flow.causes}
    for name, finds, _ in looks(flow):
        for f in finds:
            found.get(f.cause, set()).add(f"{name} {f.catches}")
    seen: dict[object, str] = {}
    for id, cause in flow.causes.items():
        face = (frozenset(found[id]), frozenset(cause.shows.items()), repr(cause.only_when))
        first = seen.setdefault(face, id)
        if first != id and cause.remedy != flow.causes[first].remedy:
            yield fault("L304", "causes", id, key=True, id=id, other=first)


def no_way_on(flow: Flow) -> Iterator[Fault]:
    """L305: every cause leads on to work or to watching."""
    for id, cause in flow.causes.items():
        if cause.remedy is None and cause.second_look is None:
            yield fault("L305", "causes", id, key=True, id=id)


def worthless_looks(flow: Flow) -> Iterator[Fault]:
    """L306: a look says bad more often with the cause than without."""
    for _, finds, path in looks(flow):
        for i, f in enumerate(finds):
            if f.catches <= f.false_alarm:
                fields = {"id": f.cause, "catches": f"{f.catches:g}", "false_alarm": f"{f.false_alarm:g}"}
                yield Fault("L306", (*path, i, "catches"), fields=dict(fields))


def remedies_unused(flow: Flow) -> Iterator[Fault]:
    """L307: a remedy puts a cause right."""
    used = {cause.remedy for cause in flow.causes.values()}
    return (fault("L307", "remedies", id, key=True, id=id) for id in flow.remedies if id not in used)


def causes_without_sign(flow: Flow) -> Iterator[Fault]:
    """L308: something can speak for every cause."""
    for id, cause in flow.causes.items():
        if not cause.shows:
            yield fault("L308", "causes", id, key=True, id=id)


def unused(flow: Flow) -> Iterator[Fault]:
    """L309: what is written is used somewhere."""
    used = {(m.kind, m.id) for m in mentions(flow)}
    for part in ("access", "cautions", "tools", "sources", "normal", "second_looks"):
        for id in getattr(flow, part):
            if (part, id) not in used:
                yield fault("L309", part, id, key=True, id=id, part=part)


def prices_without_currency(flow: Flow) -> Iterator[Fault]:
    """L310: a price says in which money."""
    if flow.money is None:
        yield from (fault("L310", *path) for path in _prices(flow))


def _prices(flow: Flow) -> Iterator[Path]:
    if flow.hand_over.money:
        yield "hand_over", "money"
    for part, id, ask in asked(flow):
        if ask.money:
            yield part, id, "money"
    for id, access in flow.access.items():
        yield from (("access", id, k) for k in ("open_money", "close_money") if getattr(access, k))
    for part in ("access", "remedies"):
        for id, owner in getattr(flow, part).items():
            yield from ((part, id, "parts", p, "price") for p, bought in owner.parts.items() if bought.price)


RULES: tuple[Rule, ...] = (
    shares,
    paired,
    causes_without_look,
    causes_alike,
    no_way_on,
    worthless_looks,
    remedies_unused,
    causes_without_sign,
    unused,
    prices_without_currency,
)
