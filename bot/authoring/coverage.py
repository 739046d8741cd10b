"""What no sample conversation would notice: the flow is changed in one place and played again.

One change at a time: an answer that says nothing, a caution that is not said, a stop rule that is
gone or lacks a condition, good and bad swapped, a text that reads otherwise. Only conversations
that used the changed place are played, from the exchange that used it first, up to the first
difference or broken rule. Strengths are not tried: the odds have their own tests.
"""

from __future__ import annotations

import copy
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

from pydantic import ValidationError

from bot.authoring.load import Loaded
from bot.authoring.musts import broken
from bot.authoring.play import Exchange, Played, exchanges_of
from bot.authoring.stage import Stage
from bot.core import events
from bot.core.flow import Flow, read
from bot.core.stops import reasons, survey

Group = Literal["caution", "stop rule", "good and bad", "answer", "text"]
GROUPS: tuple[Group, ...] = ("caution", "stop rule", "good and bad", "answer", "text")
NONE_MAY_SURVIVE: tuple[Group, ...] = ("caution", "stop rule", "good and bad")
ANSWERS_MAY_SURVIVE = 0.10
OTHER_WORDS = " (otherwise)"  # what an altered text ends with

Path = tuple[str | int, ...]
Data = dict[str, Any]


@dataclass(frozen=True)
class Change:
    """One change of a flow: where it stands, what it would be noticed as, and how it is made.

    `used`: whether an exchange used the place.
    """

    group: Group
    path: Path
    what: str
    make: Callable[[Data], None] = field(compare=False)
    used: Callable[[Exchange], bool] = field(compare=False)


@dataclass(frozen=True)
class Survivor:
    """A change that no sample conversation noticed."""

    file: str
    line: int
    column: int
    group: Group
    what: str

    def __str__(self) -> str:
        return f"{self.file}:{self.line}:{self.column}: no sample conversation would notice if {self.what}"


@dataclass(frozen=True)
class Coverage:
    """How many changes were tried in each group, and which survived."""

    tried: Mapping[Group, int]
    survivors: tuple[Survivor, ...]

    def survived(self, group: Group) -> int:
        return sum(s.group == group for s in self.survivors)

    def share(self, group: Group) -> float:
        """The part of a group's changes that survived; 0 when there was nothing to try."""
        return self.survived(group) / self.tried[group] if self.tried.get(group) else 0.0

    @property
    def passes(self) -> bool:
        """No survivor among cautions, stop rules, good and bad; at most a tenth among answers."""
        none = all(self.survived(group) == 0 for group in NONE_MAY_SURVIVE)
        return none and self.share("answer") <= ANSWERS_MAY_SURVIVE

    @property
    def figures(self) -> tuple[str, ...]:
        """One line a group: how many changes were noticed."""
        counts = [(group, self.tried.get(group, 0)) for group in GROUPS]
        return tuple(f"{group}: {tried - self.survived(group)} of {tried} noticed" for group, tried in counts)


# --- the changes -------------------------------------------------------------------------------


def _at(data: Any, path: Path) -> Any:
    for part in path:
        data = data[part]
    return data


def _drop(path: Path) -> Callable[[Data], None]:
    """Take one value out, be it an item of a list or a key."""

    def make(data: Data) -> None:
        del _at(data, path[:-1])[path[-1]]

    return make


def _answered(ask: str, value: str) -> Callable[[Exchange], bool]:
    return lambda x: any(
        isinstance(e, events.Answered) and e.ask == ask and value in e.value for e in _fresh(x)
    )


def _fresh(exchange: Exchange) -> Iterator[Any]:
    """The events of one exchange."""
    return (entry.event for entry in exchange.after.entries[len(exchange.before.entries) :])


def _answers(data: Data) -> Iterator[Change]:
    """Each answer, mark and range that says something, saying nothing."""
    for part in ("questions", "checks"):
        for ask, model in (data.get(part) or {}).items():
            for kind in ("answers", "marks"):
                for name, answer in (model.get(kind) or {}).items():
                    if any(answer.get(key) for key in _SAYS):
                        yield _silenced((part, ask, kind, name), ask, _answered(ask, name))
            for n, piece in enumerate(model.get("ranges") or ()):
                if any(piece.get(key) for key in _SAYS):
                    yield _silenced((part, ask, "ranges", n), ask, _answered(ask, str(n)))
    for trait, model in (data.get("traits") or {}).items():
        for name, answer in model["answers"].items():
            if any(answer.get(key) for key in _SAYS):
                yield _silenced(("traits", trait, "answers", name), trait, _told(trait, name))


_SAYS = ("shows", "denies", "finds")


def _told(trait: str, answer: str) -> Callable[[Exchange], bool]:
    return lambda x: x.after.traits.get(trait) == answer


def _silenced(path: Path, ask: str, used: Callable[[Exchange], bool]) -> Change:
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

    return Change("caution", ("cautions", caution), f"{caution} were not said", make, lambda x: _said(x, say))


def _forget(node: Any, caution: str) -> None:
    """Take a caution out of every list of cautions below a node."""
    if isinstance(node, dict):
        for key in ("cautions", "shut_cautions"):
            if isinstance(node.get(key), list):
                node[key] = [c for c in node[key] if c != caution]
        for child in node.values():
            _forget(child, caution)
    elif isinstance(node, list):
        for child in node:
            _forget(child, caution)


def _said(exchange: Exchange, text: str) -> bool:
    return any(text in m.text or text in m.more for m in exchange.messages)


def _stop_rules(data: Data, flow: Flow) -> Iterator[Change]:
    """Each stop rule gone, each of its conditions gone, each thing that clears it gone."""
    for rule, model in (data.get("stop_rules") or {}).items():
        path = ("stop_rules", rule)
        yield Change("stop rule", path, f"the stop rule {rule} were gone", _drop(path), _raised(rule))
        yield from _conditions(flow, rule, model)
        for part in ("any", "all"):
            for n, name in enumerate(model["cleared_by"].get(part) or ()):
                place = (*path, "cleared_by", part, n)
                yield Change("stop rule", place, f"{name} did not clear {rule}", _drop(place), _lifted(rule))


def _conditions(flow: Flow, rule: str, model: Data) -> Iterator[Change]:
    """A rule that was raised may rest on the condition; without it, it may be raised elsewhere too."""
    for part in ("all", "any", "unless"):
        for n, condition in enumerate(model["when"].get(part) or ()):
            path: Path = ("stop_rules", rule, "when", part, n)
            what = f"{rule} did not ask for {_named(condition)} under '{part}'"
            yield Change("stop rule", path, what, _drop(path), _raised_or_looser(flow, rule, part, n))


def _raised_or_looser(flow: Flow, rule: str, part: str, n: int) -> Callable[[Exchange], bool]:
    was = flow.stop_rules[rule]
    left = tuple(c for i, c in enumerate(getattr(was.when, part)) if i != n)
    looser = was.model_copy(update={"when": was.when.model_copy(update={part: left})})
    raised = _raised(rule)

    def used(x: Exchange) -> bool:
        return raised(x) or reasons(flow, looser, survey(flow, x.after)) not in (None, ())

    return used


def _named(condition: Any) -> str:
    return condition if isinstance(condition, str) else ": ".join(next(iter(condition.items())))


def _raised(rule: str) -> Callable[[Exchange], bool]:
    return lambda x: any(isinstance(e, events.StopRaised) and e.rule == rule for e in _fresh(x))


def _lifted(rule: str) -> Callable[[Exchange], bool]:
    return lambda x: any(isinstance(e, events.StopLifted) and e.rule == rule for e in _fresh(x))


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


def _put(ask: str) -> Callable[[Exchange], bool]:
    return lambda x: any(isinstance(e, events.WasAsked) and e.id == ask for e in _fresh(x))


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
    return Change("text", path, what, make, lambda x: _said_or_offered(x, text))


def _said_or_offered(exchange: Exchange, text: str) -> bool:
    return any(text in shown for shown in exchange.shown)


def changes(data: Data, flow: Flow) -> Iterator[Change]:
    """All changes to try, in the order of the groups."""
    yield from _cautions(data)
    yield from _stop_rules(data, flow)
    yield from _sides(data)
    yield from _answers(data)
    yield from _texts(data)


# --- trying them ---------------------------------------------------------------------------------


def cover(played: Sequence[Played], stage: Stage, groups: Iterable[Group] = GROUPS) -> Coverage:
    """Try every change of these groups on plays of one flow that all went as written."""
    wanted = frozenset(groups)
    tried = dict.fromkeys(GROUPS, 0)
    survivors = []
    for change in changes(stage.loaded.merged, stage.flow):
        if change.group not in wanted:
            continue
        tried[change.group] += 1
        if not noticed(change, played, stage):
            survivors.append(_survivor(stage.loaded, change))
    return Coverage(tried, tuple(survivors))


def _survivor(loaded: Loaded, change: Change) -> Survivor:
    return Survivor(*loaded.place(change.path, key=True), change.group, change.what)


def noticed(change: Change, played: Sequence[Played], stage: Stage) -> bool:
    """Whether one of the plays that used the place goes otherwise on the changed flow."""
    plays = _first_used(change, played)
    flow = changed(change, stage.loaded.merged) if plays else stage.flow
    if flow is None:
        return True  # what is no flow any more is refused when it is read
    other = stage.with_flow(flow)
    return any(_differs(change, play, other) for play in plays)


def changed(change: Change, data: Data) -> Flow | None:
    """The changed flow; None when it is no flow any more, which lint would notice."""
    copied = copy.deepcopy(data)
    change.make(copied)
    try:
        return read(copied)
    except ValidationError:
        return None


def _first_used(change: Change, played: Sequence[Played]) -> list[Played]:
    """The plays that used the place; those that used it early come first."""
    at = [(n, i) for i, p in enumerate(played) if (n := _use(change, p)) is not None]
    return [played[i] for _, i in sorted(at)]


def _use(change: Change, played: Played) -> int | None:
    return next((n for n, x in enumerate(played.exchanges) if change.used(x)), None)


def _differs(change: Change, played: Played, stage: Stage) -> bool:
    """Play from the exchange that used the place first, to the first difference or the end."""
    skip = _use(change, played) or 0
    start = played.exchanges[skip].before if skip else played.start
    again: list[Exchange] = []
    plays = exchanges_of(played.script, stage, start, skip)
    for was in played.exchanges[skip:]:
        try:
            now = next(plays)
        except (KeyError, IndexError, StopIteration):
            return True  # the talk itself broke on the changed flow
        if now.shown != was.shown:
            return True
        again.append(now)
    whole = Played(played.script, played.start, (*played.exchanges[:skip], *again))
    return bool(broken(whole, stage.flow))
