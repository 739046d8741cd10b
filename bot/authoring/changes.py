"""The changes that coverage tries on a flow: one place each, and which exchanges used that place.

An answer that says nothing, a caution that is not said, a stop rule that is gone or lacks a
condition, good and bad swapped, a text that reads otherwise. Strengths are not changed.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from bot.authoring.play import Exchange
from bot.core import events
from bot.core.flow import Flow
from bot.core.stops import Seen, reasons, survey

Group = Literal["caution", "stop rule", "good and bad", "answer", "text"]
GROUPS: tuple[Group, ...] = ("caution", "stop rule", "good and bad", "answer", "text")
OTHER_WORDS = " (otherwise)"  # what an altered text ends with

Path = tuple[str | int, ...]
Data = dict[str, Any]


@dataclass(frozen=True, eq=False)
class Trace:
    """What one exchange used: events that it made, texts that it said, signs that then stood."""

    asked: frozenset[str]
    answered: frozenset[tuple[str, str]]
    raised: frozenset[str]
    lifted: frozenset[tuple[str, str]]
    stood: frozenset[str]
    traits: Mapping[str, str]
    said: str
    shown: str
    seen: Mapping[str, Seen]


@dataclass(frozen=True)
class Change:
    """One change of a flow: where it stands, what it would be noticed as, and how it is made.

    `used`: whether an exchange used the place.
    """

    group: Group
    path: Path
    what: str
    make: Callable[[Data], None] = field(compare=False)
    used: Callable[[Trace], bool] = field(compare=False)


def _at(data: Any, path: Path) -> Any:
    for part in path:
        data = data[part]
    return data


def _drop(path: Path) -> Callable[[Data], None]:
    """Take one value out, be it an item of a list or a key."""

    def make(data: Data) -> None:
        del _at(data, path[:-1])[path[-1]]

    return make


def traced(exchange: Exchange, flow: Flow) -> Trace:
    """What an exchange used of its flow."""
    fresh = [entry.event for entry in exchange.after.entries[len(exchange.before.entries) :]]
    return Trace(
        asked=frozenset(e.id for e in fresh if isinstance(e, events.WasAsked)),
        answered=frozenset((e.ask, v) for e in fresh if isinstance(e, events.Answered) for v in e.value),
        raised=frozenset(e.rule for e in fresh if isinstance(e, events.StopRaised)),
        lifted=frozenset((e.rule, e.by) for e in fresh if isinstance(e, events.StopLifted)),
        stood=frozenset(s.rule for s in exchange.before.standing),
        traits=exchange.after.traits,
        said="\0".join(f"{m.text}\0{m.more}" for m in exchange.messages),
        shown="\0".join(exchange.shown),
        seen=survey(flow, exchange.after),
    )


def _answered(ask: str, value: str) -> Callable[[Trace], bool]:
    return lambda x: (ask, value) in x.answered


def _answers(data: Data, flow: Flow) -> Iterator[Change]:
    """Each answer, mark and range that says something, saying nothing."""
    for part in ("questions", "checks"):
        for ask, model in (data.get(part) or {}).items():
            for kind in ("answers", "marks"):
                for name, answer in (model.get(kind) or {}).items():
                    if _tells(flow, answer):
                        yield _silenced((part, ask, kind, name), ask, _answered(ask, name))
            for n, piece in enumerate(model.get("ranges") or ()):
                if _tells(flow, piece):
                    yield _silenced((part, ask, "ranges", n), ask, _answered(ask, str(n)))
    for trait, model in (data.get("traits") or {}).items():
        for name, answer in model["answers"].items():
            if _tells(flow, answer):
                yield _silenced(("traits", trait, "answers", name), trait, _told(trait, name))


_SAYS = ("shows", "denies", "finds")


def _tells(flow: Flow, answer: Data) -> bool:
    """Whether it says anything that acts. To deny what only raises a stop is as good as to say nothing."""
    denied = answer.get("denies") or ()
    return any(answer.get(key) for key in ("shows", "finds")) or any(_acts(flow, sign) for sign in denied)


def _acts(flow: Flow, sign: str) -> bool:
    """Whether a sign that is denied may lead to another step: a cause shows it, or a rule waits for it."""
    if any(sign in cause.shows for cause in flow.causes.values()):
        return True
    rules = [rule.when for rule in flow.stop_rules.values()]
    waited = [when for when in rules if len(when.all) + bool(when.any) > 1]
    return any(sign in _signs(when.unless) for when in rules) or any(
        sign in _signs((*when.all, *when.any)) for when in waited
    )


def _signs(conditions: Iterable[Any]) -> set[str]:
    """The signs in conditions, whichever step of them is meant."""
    return {said if isinstance(said, str) else next(iter(said)) for said in conditions}


def _told(trait: str, answer: str) -> Callable[[Trace], bool]:
    return lambda x: x.traits.get(trait) == answer


def _silenced(path: Path, ask: str, used: Callable[[Trace], bool]) -> Change:
    def make(data: Data) -> None:
        for key in _SAYS:
            _at(data, path).pop(key, None)

    return Change("answer", path, f"{ask} > {path[-1]} said nothing about any sign", make, used)


def _cautions(data: Data) -> Iterator[Change]:
    """Each caution, said nowhere."""
    for caution, model in (data.get("cautions") or {}).items():
        yield _unsaid(caution, model["say"])


def _unsaid(caution: str, say: str) -> Change:
    def make(data: Data) -> None:
        _forget(data, caution)

    return Change("caution", ("cautions", caution), f"{caution} were not said", make, lambda x: say in x.said)


def cautions_named(node: Any) -> frozenset[str]:
    """The cautions that a flow's steps name, as far as its file can be read."""
    if isinstance(node, dict):
        said = [c for key in _CAUTIONED if isinstance(node.get(key), list) for c in node[key]]
        return frozenset(said).union(*map(cautions_named, node.values()))
    return frozenset().union(*map(cautions_named, node)) if isinstance(node, list) else frozenset()


_CAUTIONED = ("cautions", "shut_cautions")


def _forget(node: Any, caution: str) -> None:
    """Take a caution out of every list of cautions below a node."""
    if isinstance(node, dict):
        for key in _CAUTIONED:
            if isinstance(node.get(key), list):
                node[key] = [c for c in node[key] if c != caution]
        for child in node.values():
            _forget(child, caution)
    elif isinstance(node, list):
        for child in node:
            _forget(child, caution)


def _stop_rules(data: Data, flow: Flow) -> Iterator[Change]:
    """Each stop rule gone, each of its conditions gone, each thing that clears it gone."""
    for rule, model in (data.get("stop_rules") or {}).items():
        path = ("stop_rules", rule)
        yield Change("stop rule", path, f"the stop rule {rule} were gone", _drop(path), _raised(rule))
        yield from _conditions(flow, rule, model)
        for part in ("any", "all"):
            for n, name in enumerate(model["cleared_by"].get(part) or ()):
                place = (*path, "cleared_by", part, n)
                used = _stood(rule) if part == "all" else _lifted(rule, name)
                yield Change("stop rule", place, f"{name} did not clear {rule}", _drop(place), used)


def _conditions(flow: Flow, rule: str, model: Data) -> Iterator[Change]:
    """A rule that was raised may rest on the condition; without it, it may be raised elsewhere too."""
    for part in ("all", "any", "unless"):
        for n, condition in enumerate(model["when"].get(part) or ()):
            path: Path = ("stop_rules", rule, "when", part, n)
            what = f"{rule} did not ask for {_named(condition)} under '{part}'"
            yield Change("stop rule", path, what, _drop(path), _raised_or_looser(flow, rule, part, n))


def _raised_or_looser(flow: Flow, rule: str, part: str, n: int) -> Callable[[Trace], bool]:
    was = flow.stop_rules[rule]
    left = tuple(c for i, c in enumerate(getattr(was.when, part)) if i != n)
    looser = was.model_copy(update={"when": was.when.model_copy(update={part: left})})
    return lambda x: rule in x.raised or reasons(flow, looser, x.seen) is not None


def _named(condition: Any) -> str:
    return condition if isinstance(condition, str) else ": ".join(next(iter(condition.items())))


def _raised(rule: str) -> Callable[[Trace], bool]:
    return lambda x: rule in x.raised


def _lifted(rule: str, by: str) -> Callable[[Trace], bool]:
    return lambda x: (rule, by) in x.lifted


def _stood(rule: str) -> Callable[[Trace], bool]:
    """With one look less to be good, a rule is lifted earlier than it was."""
    return lambda x: rule in x.stood


def _sides(data: Data) -> Iterator[Change]:
    """Each look with what is good and what is bad changed over."""
    for part in ("questions", "checks"):
        for ask, model in (data.get(part) or {}).items():
            if model.get("kind") == "look":
                what = f"good and bad of {ask} were swapped"
                yield Change("good and bad", (part, ask), what, _swap((part, ask)), _put(ask))


def _swap(path: Path) -> Callable[[Data], None]:
    def make(data: Data) -> None:
        look = _at(data, path)
        look["good"], look["bad"] = look["bad"], look["good"]

    return make


def _put(ask: str) -> Callable[[Trace], bool]:
    return lambda x: ask in x.asked


# Texts that a rider reads in a sample; `short` is for other channels, ids and words are no texts.
_SPOKEN = frozenset(
    [
        *("ask", "say", "do", "shut", "why", "label", "looks_like", "good_looks_like", "point", "look_like"),
        *("name", "good", "bad", "title", "what", "usually", "trouble", "less", "same", "more", "new_kind"),
        "remark",
    ]
)


def _texts(node: Any, path: Path = ()) -> Iterator[Change]:
    """Each text that is spoken, reading otherwise."""
    if isinstance(node, dict):
        for key, child in node.items():
            if isinstance(child, str) and key in _SPOKEN:
                yield _reworded((*path, key), child)
            else:
                yield from _texts(child, (*path, key))
    elif isinstance(node, list):
        for n, child in enumerate(node):
            yield from _texts(child, (*path, n))


def _reworded(path: Path, text: str) -> Change:
    def make(data: Data) -> None:
        _at(data, path[:-1])[path[-1]] = text + OTHER_WORDS

    what = f"{' > '.join(str(p) for p in path)} said something else"
    return Change("text", path, what, make, lambda x: text in x.shown)


def changes(data: Data, flow: Flow) -> Iterator[Change]:
    """All changes to try, in the order of the groups."""
    yield from _cautions(data)
    yield from _stop_rules(data, flow)
    yield from _sides(data)
    yield from _answers(data, flow)
    yield from _texts(data)
