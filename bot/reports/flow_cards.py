"""A flow as cards for a picture: what is asked first, what lies behind what, what finds, causes and stops."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Literal

from bot.core.flow import Asked_, Condition, Finds, Flow, StopRule
from bot.reports.flow_weight import Saying, sayings

Mark = Literal["", "+", "-", "!", "?", ">"]  # speaks for, against, stop, asks or looks, leads on
Role = Literal["plain", "faint", "strong"]
Shared = frozenset[tuple[str, str]]  # part of a flow and id
PART_NAMES = ("opening", "access", "looks", "causes", "stops", "speaks")
TITLES = {
    "opening": "what is asked",
    "access": "what comes off, and what lies behind",
    "looks": "what each look finds",
    "causes": "causes",
    "stops": "stop rules",
    "speaks": "which question speaks about which cause",
}
MOST = 4  # causes, looks or repairs named in a row
SIGNS = 3  # signs of a cause


@dataclass(frozen=True)
class Row:
    """One thing on a card. `level`: how far it stands in."""

    text: str
    mark: Mark = ""
    role: Role = "plain"
    level: int = 0


@dataclass(frozen=True)
class Card:
    """`depth`: its place in a tree; `joined`: a line leads from the card above. `bar`: 0 to 1, a share."""

    head: str
    rows: tuple[Row, ...]
    note: str = ""
    depth: int = 0
    joined: bool = False
    bar: float | None = None
    bold: bool = False


@dataclass(frozen=True)
class Grid:
    """Who speaks about whom: names of the rows and columns, and how dark each dot is (0 to 1)."""

    rows: tuple[str, ...]
    columns: tuple[str, ...]
    dots: Mapping[tuple[int, int], float]


@dataclass(frozen=True)
class Part:
    """One part of a flow: cards below each other, or a grid."""

    name: str
    title: str
    lead: tuple[Row, ...]
    cards: tuple[Card, ...] = ()
    grid: Grid | None = None


LEADS: Mapping[str, tuple[Row, ...]] = {
    "opening": (
        Row("speaks for", "+"),
        Row("speaks against", "-"),
        Row("raises a stop", "!"),
        Row("is off already", ">"),
    ),
    "access": (Row("looks behind it", "?"), Row("repairs behind it", ">")),
    "looks": (
        Row("finds: bad on so many of 100 bikes with that cause; and by mistake on so many without", "+"),
        Row("raises a stop", "!"),
        Row("lifts one", ">"),
    ),
    "causes": (
        Row("bar: its share"),
        Row("signs of it", "+"),
        Row("looks that find it", "?"),
        Row("what puts it right", ">"),
    ),
    "stops": (Row("what raises it", "!"), Row("what keeps it off", "-"), Row("what lifts it", ">")),
    "speaks": (
        Row("A dot: one of its answers makes that cause at least twice as likely. Darker and larger: more."),
    ),
}


def part(flow: Flow, name: str, shared: Shared = frozenset()) -> Part:
    """One part by its name. `shared`: what comes from the common file and is shown last. KeyError."""
    title = f"{flow.title}: {TITLES[name]}"
    if name == "speaks":
        return Part(name, title, LEADS[name], grid=grid(flow))
    made: Mapping[str, Callable[[], Iterable[Card]]] = {
        "opening": lambda: opening(flow, shared),
        "access": lambda: access(flow),
        "looks": lambda: looks(flow),
        "causes": lambda: causes(flow),
        "stops": lambda: stops(flow, shared),
    }
    return Part(name, title, LEADS[name], tuple(made[name]()))


def _own_first(part: str, ids: Iterable[str], shared: Shared) -> list[str]:
    return sorted(ids, key=lambda id: (part, id) in shared)


# --- what is asked ------------------------------------------------------------------------------


def opening(flow: Flow, shared: Shared = frozenset()) -> Iterator[Card]:
    """Safety questions, the opening, and what the bot chooses from after that."""
    first = tuple(dict.fromkeys((*flow.safety, *flow.opening)))
    rest = _own_first("questions", (id for id in flow.questions if id not in first), shared)
    for n, id in enumerate(first):
        note = f"{n + 1}. safety" if id in flow.safety else f"{n + 1}. opening"
        yield _question(flow, id, note, joined=n > 0)
    for n, id in enumerate(rest):
        yield _question(flow, id, "when it pays", joined=n == 0 and bool(first))


def _question(flow: Flow, id: str, note: str, joined: bool) -> Card:
    ask = flow.asking(id)
    rows = [*_conditions_of(ask), *(row for said in sayings(flow, id) for row in _answer(flow, said))]
    return Card(ask.called, tuple(rows), note, joined=joined, bold=note != "when it pays")


def _conditions_of(ask: Asked_) -> Iterator[Row]:
    for trait, wanted in ask.only_when.items():
        yield Row(f"only if {words(trait)}: {_or(map(words, wanted))}", role="faint")
    if ask.needs != "nothing":
        yield Row(f"needs it {ask.needs}", role="faint")


def _answer(flow: Flow, said: Saying) -> Iterator[Row]:
    yield Row(said.label, role="strong")
    if said.speaks_for:
        yield Row(_names(flow, said.speaks_for), "+", level=1)
    if said.speaks_against:
        yield Row(_names(flow, said.speaks_against), "-", level=1)
    for rule in raised_by(flow, said):
        yield Row(f"stop: {words(rule)}", "!", level=1)
    if said.opens:
        yield Row(f"already off: {_or(map(words, said.opens), 'and')}", ">", level=1)


def raised_by(flow: Flow, said: Saying) -> tuple[str, ...]:
    """Stop rules that name what an answer tells, in `all` or in `any`."""
    told = set(said.tells)
    return tuple(
        id
        for id, rule in flow.stop_rules.items()
        if told & {_key(condition) for condition in (*rule.when.all, *rule.when.any)}
    )


def _key(condition: Condition) -> str:
    if isinstance(condition, str):
        return condition
    return next(f"{sign}:{step}" for sign, step in condition.items())


# --- what comes off --------------------------------------------------------------------------------


def access(flow: Flow) -> Iterator[Card]:
    """A tree: each access under the one that comes off last before it, with what lies behind."""
    yield Card("Nothing off", tuple(_behind(flow, "")))
    for id, depth in tree(flow):
        off = flow.access[id]
        rows = [*_other_ways(flow, id), *_behind(flow, id)]
        yield Card(named(id), tuple(rows), f"{off.open:g} min off, {off.close:g} on", depth, depth > 0)


def tree(flow: Flow) -> list[tuple[str, int]]:
    """Access ids with their depth, each after the one that it stands under."""
    depths: dict[str, int] = {}

    def depth(id: str, above: tuple[str, ...] = ()) -> int:
        if id not in depths:
            before = [a for a in flow.access[id].after if a in flow.access and a not in above]
            depths[id] = max((depth(a, (*above, id)) + 1 for a in before), default=0)
        return depths[id]

    for id in flow.access:
        depth(id)
    below: dict[str, list[str]] = {}
    for id in flow.access:
        below.setdefault(_stands_under(flow, id, depths), []).append(id)
    return list(_walk(below, "", 0))


def _stands_under(flow: Flow, id: str, depths: Mapping[str, int]) -> str:
    """Of what must come off before it, that which itself comes last."""
    before = [a for a in flow.access[id].after if a in depths and depths[a] < depths[id]]
    return max(before, key=lambda a: (depths[a], before.index(a)), default="")


def _walk(below: Mapping[str, list[str]], id: str, depth: int) -> Iterator[tuple[str, int]]:
    for child in below.get(id, ()):
        yield child, depth
        yield from _walk(below, child, depth + 1)


def _other_ways(flow: Flow, id: str) -> Iterator[Row]:
    off = flow.access[id]
    if len(off.after) > 1:
        yield Row(f"after {_or(map(words, off.after), 'and')}", role="faint")
    for trait, ways in off.after_when.items():
        for answer, after in ways.items():
            way = f"after {_or(map(words, after), 'and')}" if after else "nothing before it"
            yield Row(f"{words(trait)} {words(answer)}: {way}", role="faint")
    if off.given_by:
        yield Row(f"also open with {_or(map(words, off.given_by))}", role="faint")


def _behind(flow: Flow, id: str) -> Iterator[Row]:
    """Looks and repairs that wait for this one and nothing later."""
    for check in flow.checks.values():
        if (check.behind[-1] if check.behind else "") == id:
            yield Row(f"{check.called} ({check.minutes:g} min)", "?")
    for remedy in flow.remedies.values():
        if (remedy.behind[-1] if remedy.behind else "") == id:
            yield Row(f"{remedy.name} ({remedy.minutes:g} min)", ">", "faint")


# --- looks, causes, stops ------------------------------------------------------------------------------


def looks(flow: Flow) -> Iterator[Card]:
    """Each check with where it lies and what it finds."""
    for id, ask in flow.checks.items():
        behind = f"behind {_or(map(words, ask.behind), 'and')}" if ask.behind else "nothing off"
        rows = [Row(f"{behind}; {_or(ask.at)}; {ask.skill}", role="faint"), *_conditions_of(ask)]
        rows += [row for said in sayings(flow, id) for row in _side(flow, said)]
        rows += [Row(f"lifts {words(rule)}", ">") for rule in lifted_by(flow, f"{id}.good")]
        yield Card(ask.called, tuple(rows), f"{ask.minutes:g} min")


def _side(flow: Flow, said: Saying) -> Iterator[Row]:
    stops_ = raised_by(flow, said)
    if not said.finds and not said.speaks_for and not stops_:
        return
    yield Row(said.label, role="strong")
    for found in said.finds:
        name = name_of(flow, found.cause)
        yield Row(
            f"{name}: {found.catches * 100:.0f}, by mistake {found.false_alarm * 100:.2g}", "+", level=1
        )
    if not said.finds and said.speaks_for:
        yield Row(_names(flow, said.speaks_for), "+", level=1)
    for rule in stops_:
        yield Row(f"stop: {words(rule)}", "!", level=1)


def causes(flow: Flow) -> Iterator[Card]:
    """Each cause with its share, what it shows most, what finds it and what puts it right."""
    largest = max(cause.share for cause in flow.causes.values())
    for n, (id, cause) in enumerate(flow.causes.items(), 1):
        found = [flow.checks[c].called for c in flow.checks if any(f.cause == id for f in _finds(flow, c))]
        rows = [Row(text, "+") for text in _shown_by(flow, id)]
        rows.append(Row(_or(found, "and") if found else "no look finds it", "?"))
        end = flow.remedies[cause.remedy].name if cause.remedy in flow.remedies else ""
        watched = f"watched: {words(cause.second_look)}" if cause.second_look else ""
        rows += [Row(text, ">") for text in (end, watched) if text]
        rows += [
            Row(f"only if {words(trait)}: {_or(map(words, wanted))}", role="faint")
            for trait, wanted in cause.only_when.items()
        ]
        yield Card(f"{n}. {cause.name}", tuple(rows), f"{cause.share:g} of 100", bar=cause.share / largest)


def _finds(flow: Flow, check: str) -> list[Finds]:
    return [found for said in sayings(flow, check) for found in said.finds]


def _shown_by(flow: Flow, id: str) -> list[str]:
    """Its signs, those that tell it best from other bikes first."""
    told: list[tuple[float, str]] = []
    for sign, strength in flow.causes[id].shows.items():
        means, base = flow.signs[sign].means, flow.signs[sign].background
        if isinstance(strength, float) and isinstance(base, float):
            chance = 1 - (1 - base) * (1 - strength)
            told.append((chance / base, f"{means} ({chance * 100:.0f} of 100, else {base * 100:.0f})"))
    best = [text for factor, text in sorted(told, reverse=True) if factor >= 1.5][:SIGNS]
    rest = len(told) - len(best)
    if best and rest:
        best[-1] += f", and {rest} more"
    return best


def stops(flow: Flow, shared: Shared = frozenset()) -> Iterator[Card]:
    """Each stop rule with what raises and what lifts it."""
    tellers = _tellers(flow)
    for id in _own_first("stop_rules", flow.stop_rules, shared):
        rule = flow.stop_rules[id]
        rows = [
            Row(rule.short or rule.say, role="strong"),
            *_raising(flow, rule, tellers),
            *_lifting(flow, rule),
        ]
        yield Card(named(id), tuple(rows), f"no {_or(rule.bars, 'and no')}")


def _tellers(flow: Flow) -> dict[str, list[str]]:
    """Which questions and looks tell a thing that a rule can name."""
    found: dict[str, list[str]] = {}
    for id, ask in flow.asks.items():
        for said in sayings(flow, id):
            for thing in said.tells:
                if ask.called not in (known := found.setdefault(thing, [])):
                    known.append(ask.called)
    return found


def _raising(flow: Flow, rule: StopRule, tellers: Mapping[str, list[str]]) -> Iterator[Row]:
    groups = (("all of", rule.when.all), ("one of", rule.when.any), ("unless", rule.when.unless))
    for lead, conditions in groups:
        level = int(len(conditions) > 1 or lead == "unless")
        if conditions and level:
            yield Row(f"{lead}:", "-" if lead == "unless" else "!", "faint")
        told = [_or(tellers.get(_key(condition), [])[:MOST]) for condition in conditions]
        for n, condition in enumerate(conditions):
            yield Row(_means(flow, condition), "" if level else "!", level=level)
            if _is_asked(condition, tellers) and told[n] != (told[n + 1 : n + 2] or [""])[0]:
                yield Row(f"asked by: {told[n]}", role="faint", level=1)


def _is_asked(condition: Condition, tellers: Mapping[str, list[str]]) -> bool:
    """A side of a look names its look itself; a sign does not say who asks for it."""
    return _key(condition) in tellers and "." not in _key(condition)


def _lifting(flow: Flow, rule: StopRule) -> Iterator[Row]:
    for lead, things in (("all of", rule.cleared_by.all), ("one of", rule.cleared_by.any)):
        if len(things) > 1:
            yield Row(f"{lead}:", ">", "faint")
        for thing in things[:MOST]:
            yield Row(_means(flow, thing), "" if len(things) > 1 else ">", level=int(len(things) > 1))
        if len(things) > MOST:
            yield Row(f"and {len(things) - MOST} more", level=1, role="faint")
    if not rule.cleared_by.all and not rule.cleared_by.any:
        yield Row(f"only a {rule.cleared_by.by}" if rule.cleared_by.by != "rider" else "nothing", ">")


def lifted_by(flow: Flow, thing: str) -> tuple[str, ...]:
    return tuple(
        id for id, rule in flow.stop_rules.items() if thing in (*rule.cleared_by.any, *rule.cleared_by.all)
    )


def _means(flow: Flow, condition: Condition) -> str:
    """A condition or a clearing in words: a sign, a sign from a step on, a side of a look, a repair."""
    if not isinstance(condition, str):
        sign, step = next(iter(condition.items()))
        return f"{_sign(flow, sign)}, {words(step)} or more"
    if condition in flow.remedies:
        return flow.remedies[condition].name
    id, _, side = condition.partition(".")
    if side and id in flow.asks:
        return f"{flow.asks[id].called}: {_side_label(flow.asks[id], side)}"
    return _sign(flow, condition)


def _side_label(ask: Asked_, side: str) -> str:
    if side in ("good", "bad") and hasattr(ask, side):
        return str(getattr(ask, side).label)
    if side == "good":
        return "none of these"
    mark = getattr(ask, "marks", {}).get(side)
    return mark.label if mark else words(side)


def _sign(flow: Flow, id: str) -> str:
    return flow.signs[id].means if id in flow.signs else words(id)


# --- who speaks about what ----------------------------------------------------------------------------


def grid(flow: Flow) -> Grid:
    """All questions and looks beside all causes; the dot is the strongest of the answers."""
    ids, names = list(flow.causes), [name_of(flow, id) for id in flow.causes]
    rows, dots = list[str](), dict[tuple[int, int], float]()
    for id, ask in flow.asks.items():
        best = _best(flow, id)
        if not best:
            continue
        for cause, factor in best.items():
            dots[len(rows), ids.index(cause)] = min(1.0, 0.25 + 0.75 * min(factor, 20.0) / 20.0)
        rows.append(ask.called)
    return Grid(tuple(rows), tuple(names), dots)


def _best(flow: Flow, id: str) -> dict[str, float]:
    found: dict[str, float] = {}
    for said in sayings(flow, id):
        for cause in said.speaks_for:
            if cause in flow.causes:
                found[cause] = max(found.get(cause, 0.0), said.factors[cause])
    return found


# --- words -------------------------------------------------------------------------------------------


def words(id: str) -> str:
    """An id as an author reads it aloud."""
    return id.replace("-", " ").replace("_", " ")


def named(id: str) -> str:
    """The same as a heading."""
    return words(id)[:1].upper() + words(id)[1:]


def name_of(flow: Flow, cause: str) -> str:
    known = flow.causes.get(cause)
    return (known.short or known.name) if known else words(cause)


def _names(flow: Flow, ids: tuple[str, ...]) -> str:
    named = [name_of(flow, id) for id in ids[:MOST]]
    rest = len(ids) - len(named)
    return ", ".join(named) + (f", and {rest} more" if rest else "")


def _or(parts: Iterable[str], word: str = "or") -> str:
    *most, last = list(parts) or ["nothing"]
    return f"{', '.join(most)} {word} {last}" if most else last
